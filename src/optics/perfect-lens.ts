/** What a lens without any colour error would show: the part of a halo that air and diffraction make.
 *
 * The green image is modelled as long-exposure seeing ⊗ Airy pattern ⊗ pixel, the seeing chosen so that the recorded
 * FWHM is the measured one. Red and blue follow: seeing ∝ λ^{−1/5} (seeing.ts), Airy pattern ∝ λ (airy.ts), the same
 * pixel. Each band is one effective wavelength: a narrow-band idealisation, good to a fraction of a point of halo.
 */
import { diffractionOtf } from './airy.js';
import {
  applyOperator,
  brightnessOperator,
  encircledEnergyOperator,
  frequencyNodes,
} from './hankel.js';
import { PIXEL_FWHM, pixelOtf } from './pixel.js';
import { findRoot, type Quadrature } from './quadrature.js';
import { seeingFwhmAt, seeingOtf } from './seeing.js';

/** Effective wavelengths, nm, of the three bands. */
interface BandsNm {
  readonly R: number;
  readonly G: number;
  readonly B: number;
}

/** Usual values for the filters of colour cameras: common practice, no source. */
export const DEFAULT_BANDS_NM: BandsNm = { R: 620, G: 535, B: 460 };

export interface PerfectLensInput {
  /** Measured FWHM of the green image, pixel included. */
  greenFwhmPx: number;
  /** Radius at which the excess is quoted: r80 of green. */
  atRadiusPx: number;
  /** Radius within which all three profiles are normalised. */
  rMaxPx: number;
  /** Null when the scale is unknown; then, and without an aperture, only the seeing is modelled. */
  scale: { arcsecPerPx: number; apertureMm: number | null } | null;
  bandsNm?: BandsNm;
}

/** Per cent of the star's light. */
interface PercentRange {
  low: number;
  high: number;
}

export interface PerfectLens {
  /** 100 × (EE_R − EE_B) at `atRadiusPx`: positive where blue is wider. */
  blueMinusRedPercent: number;
  /** 100 × (EE_G − EE_B). */
  blueMinusGreenPercent: number;
  /** 100 × (EE_G − EE_R). */
  redMinusGreenPercent: number;
  diffractionIncluded: boolean;
  /** FWHM of the seeing in green before the pixel, px; 0 when pixel and diffraction alone explain the size. */
  seeingFwhmPx: number;
  /**
   * Blue minus red between the two extremes: all of the blur that is neither pixel nor diffraction follows λ^{−1/5}
   * (air), or none of it does (guiding, focus).
   */
  rangePercent: PercentRange;
  blueMinusGreenRangePercent: PercentRange;
  redMinusGreenRangePercent: PercentRange;
  /** Encircled energy within `radiusPx`, 1 at rMaxPx. */
  curves: { radiusPx: number[]; R: number[]; G: number[]; B: number[] };
  notes: string[];
}

const ARCSEC_PER_RADIAN = 648000 / Math.PI;
/** A stand-in for "no seeing": it changes the recorded size of the bare pixel by 2 %, and keeps frequencies finite. */
const NO_SEEING_PX = 0.2;
/** A green image narrower by more than this than pixel and diffraction allow contradicts the given aperture or scale. */
const CONTRADICTION = 0.05;
const CURVE_POINTS = 64;

/** Transfer function of one band at `frequency`, pixel included; `cutoff` in cycles per px, Infinity = no diffraction. */
function bandOtf(frequency: number, seeingPx: number, cutoff: number): number {
  return (
    seeingOtf(frequency, seeingPx) *
    pixelOtf(frequency) *
    (cutoff === Number.POSITIVE_INFINITY ? 1 : diffractionOtf(frequency / cutoff))
  );
}

/** Frequency beyond which seeing of `seeingPx` leaves less than 10⁻⁶ (3.44 x^{5/3} = 13.8). */
function seeingLimit(seeingPx: number): number {
  return 2.25 / seeingPx;
}

/** Brightness at the half radius of green minus half the central one: zero where the recorded FWHM is right. */
function widthMismatch(greenFwhmPx: number, cutoff: number): (seeingPx: number) => number {
  const maximum = Math.min(seeingLimit(NO_SEEING_PX), cutoff);
  const nodes = frequencyNodes(maximum, Math.max(2, greenFwhmPx));
  const operator = brightnessOperator(nodes, [0, greenFwhmPx / 2]);
  const fixed = nodes.node.map(
    (f) => bandOtf(f, 0, cutoff), // seeing of zero width: pixel and diffraction only
  );
  const otf = new Float64Array(nodes.node.length);
  const pair = new Float64Array(2);
  return (seeingPx) => {
    for (let i = 0; i < otf.length; i++) {
      otf[i] = (fixed[i] as number) * seeingOtf(nodes.node[i] as number, seeingPx);
    }
    applyOperator(operator, otf, pair);
    return (pair[1] as number) / (pair[0] as number) - 0.5;
  };
}

/** Seeing (px) that makes the recorded green FWHM, or how the width without seeing compares with it. */
function solveSeeing(greenFwhmPx: number, cutoff: number): { seeingPx: number; tooWide: boolean } {
  const mismatch = widthMismatch(greenFwhmPx, cutoff);
  if (mismatch(NO_SEEING_PX) < 0) {
    const root = findRoot(mismatch, NO_SEEING_PX, 1.05 * greenFwhmPx, 1e-7 * greenFwhmPx);
    return { seeingPx: root, tooWide: false };
  }
  // Without seeing the image is already as wide. Is it wider by more than the error of a size?
  const wider = widthMismatch(greenFwhmPx * (1 + CONTRADICTION), cutoff);
  return { seeingPx: 0, tooWide: wider(NO_SEEING_PX) > 0 };
}

interface BandEnergies {
  R: Float64Array;
  G: Float64Array;
  B: Float64Array;
}

/** Encircled energy of the three bands at `radiiPx`, the last of which is rMaxPx, normalised there. */
function bandEnergies(
  radiiPx: readonly number[],
  seeingPx: BandsNm,
  cutoff: BandsNm,
): BandEnergies {
  const narrowest = Math.min(seeingPx.R, seeingPx.G, seeingPx.B);
  const highest = Math.max(cutoff.R, cutoff.G, cutoff.B);
  const nodes: Quadrature = frequencyNodes(
    Math.min(seeingLimit(narrowest), highest),
    radiiPx[radiiPx.length - 1] as number,
  );
  const operator = encircledEnergyOperator(nodes, radiiPx);
  const energy = (band: keyof BandsNm): Float64Array => {
    const otf = nodes.node.map((f) => bandOtf(f, seeingPx[band], cutoff[band]));
    const curve = applyOperator(operator, otf);
    const total = curve[curve.length - 1] as number;
    return curve.map((value) => value / total);
  };
  return { R: energy('R'), G: energy('G'), B: energy('B') };
}

function range(a: number, b: number): PercentRange {
  return { low: Math.min(a, b), high: Math.max(a, b) };
}

/**
 * The halo of a perfect lens for the measured green size, aperture and bands.
 *
 * Where pixel and diffraction alone explain the green size, the seeing is 0 and a note says so. Where they would make it
 * more than 5 % wider than measured, aperture or scale must be wrong: diffraction is left out, with a note.
 *
 * @returns null when a size or radius is not a positive number, or `atRadiusPx` is beyond `rMaxPx`.
 */
export function perfectLens(input: PerfectLensInput): PerfectLens | null {
  const { greenFwhmPx, atRadiusPx, rMaxPx, scale } = input;
  const bands = input.bandsNm ?? DEFAULT_BANDS_NM;
  for (const value of [greenFwhmPx, atRadiusPx, rMaxPx, bands.R, bands.G, bands.B]) {
    if (!(value > 0 && value < Number.POSITIVE_INFINITY)) return null;
  }
  if (atRadiusPx > rMaxPx) return null;
  const notes = [
    `effective wavelengths R ${bands.R}, G ${bands.G}, B ${bands.B} nm${
      input.bandsNm === undefined ? ' (common practice, no source)' : ''
    }`,
  ];

  const none: BandsNm = { R: Infinity, G: Infinity, B: Infinity };
  let cutoff = none;
  const apertureMm = scale?.apertureMm ?? null;
  if (scale !== null && scale.arcsecPerPx > 0 && apertureMm !== null && apertureMm > 0) {
    const per = (wavelengthNm: number): number =>
      ((apertureMm * 1e6) / wavelengthNm) * (scale.arcsecPerPx / ARCSEC_PER_RADIAN);
    cutoff = { R: per(bands.R), G: per(bands.G), B: per(bands.B) };
  } else {
    notes.push('diffraction not included: image scale or aperture unknown');
  }

  let solution = solveSeeing(greenFwhmPx, cutoff.G);
  if (solution.tooWide && cutoff !== none) {
    notes.push(
      'the green image is more than 5 % narrower than this aperture allows: aperture or scale is probably wrong; diffraction not included',
    );
    cutoff = none;
    solution = solveSeeing(greenFwhmPx, cutoff.G);
  }
  const diffractionIncluded = cutoff !== none;
  if (solution.seeingPx === 0) {
    notes.push(
      diffractionIncluded
        ? 'pixel and diffraction alone explain the green size: no seeing is assumed'
        : `the green image is no wider than the pixel itself makes it (${PIXEL_FWHM.toFixed(2)} px): no seeing can be told from it`,
    );
  }

  // With no seeing the stand-in is the same in all bands, so that it adds no colour of its own.
  const green = Math.max(solution.seeingPx, NO_SEEING_PX);
  const grey: BandsNm = { R: green, G: green, B: green };
  const air: BandsNm =
    solution.seeingPx === 0
      ? grey
      : {
          R: seeingFwhmAt(green, bands.G, bands.R),
          G: green,
          B: seeingFwhmAt(green, bands.G, bands.B),
        };

  const radii = [atRadiusPx];
  for (let i = 1; i <= CURVE_POINTS; i++) radii.push(rMaxPx * (i / CURVE_POINTS) ** 1.5);
  const scaled = bandEnergies(radii, air, cutoff);
  const unscaled = bandEnergies([atRadiusPx, rMaxPx], grey, cutoff);
  const excess = (e: BandEnergies, inner: keyof BandsNm, outer: keyof BandsNm): number =>
    100 * ((e[inner][0] as number) - (e[outer][0] as number));

  return {
    blueMinusRedPercent: excess(scaled, 'R', 'B'),
    blueMinusGreenPercent: excess(scaled, 'G', 'B'),
    redMinusGreenPercent: excess(scaled, 'G', 'R'),
    diffractionIncluded,
    seeingFwhmPx: solution.seeingPx,
    rangePercent: range(excess(scaled, 'R', 'B'), excess(unscaled, 'R', 'B')),
    blueMinusGreenRangePercent: range(excess(scaled, 'G', 'B'), excess(unscaled, 'G', 'B')),
    redMinusGreenRangePercent: range(excess(scaled, 'G', 'R'), excess(unscaled, 'G', 'R')),
    curves: {
      radiusPx: [0, ...radii.slice(1)],
      R: [0, ...scaled.R.slice(1)],
      G: [0, ...scaled.G.slice(1)],
      B: [0, ...scaled.B.slice(1)],
    },
    notes,
  };
}
