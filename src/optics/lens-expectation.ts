/** What colour error a lens must show by its aperture, focal length and kind alone: before any star is measured.
 *
 * Geometric optics on the focus curve of the lens (secondary-spectrum.ts), with diffraction as the yardstick beside it. A band is not
 * one wavelength: its blur is the root mean square over the band, so that the equivalent defocus here is the quantity that a measurement
 * of stars reads (the blur of blue over green as a defocus).
 */
import { ParameterError } from '../errors.js';
import { AIRY_DARK_RINGS, airyEncircledEnergy, airyFwhmArcsec, airyFwhmUm } from './airy.js';
import { depthOfFocusUm } from './depth-of-focus.js';
import { F2, type Glass, N_BK7 } from './glass.js';
import { DEFAULT_BANDS_NM } from './perfect-lens.js';
import { doubletFocusShift } from './secondary-spectrum.js';

export type LensKind = 'achromat' | 'ed' | 'apochromat';

/** A kind by name, or a doublet of two glasses. */
export type LensChoice = LensKind | GlassPair;

export interface GlassPair {
  crown: Glass;
  flint: Glass;
  /** Colours brought together, nm; F and C when left out. */
  correctedNm?: readonly [number, number];
}

/**
 * Colour error as a share of the classical achromat's. The achromat is computed from its glasses. The other two are assumptions: common
 * practice, no source; designs differ by a factor of two either way. Computed for comparison: a doublet of fluorite and N-BK7 has 0.12
 * between 460 and 535 nm.
 */
const COLOUR_FACTORS: Readonly<Record<LensKind, number>> = {
  achromat: 1,
  ed: 0.1,
  apochromat: 0.03,
};

/** Classical rules for achromats: focal ratio over aperture in inches at which colour is no longer troublesome. From memory. */
export const CLASSICAL_LIMITS = [
  { name: 'Sidgwick', ratio: 3, source: "J. B. Sidgwick, Amateur Astronomer's Handbook" },
  { name: 'Conrady', ratio: 5, source: 'A. E. Conrady, Applied Optics and Optical Design' },
] as const;

/** Half widths, nm, about the effective wavelengths: ordinary colour cameras behind a UV/IR-cut filter; common practice, no source. */
const BAND_HALF_WIDTH_NM = { R: 40, G: 45, B: 40 } as const;
const BAND_STEPS = 20;

/** Limits of what is taken for a telescope. */
const LENS_RANGES = {
  apertureMm: [10, 2000],
  focalLengthMm: [20, 60_000],
  focalRatio: [1, 60],
} as const;
/** Given all three, length over aperture may differ by this share from the ratio (makers round it). */
const RATIO_TOLERANCE = 0.03;
const MM_PER_INCH = 25.4;
const ARCSEC_PER_RADIAN = 648000 / Math.PI;

export interface LensGeometry {
  apertureMm: number;
  focalLengthMm: number;
  focalRatio: number;
}

export interface ExpectedBand {
  band: 'R' | 'G' | 'B';
  /** Effective wavelength, and the range that the blur is averaged over. */
  wavelengthNm: number;
  rangeNm: [number, number];
  /** Focus of the effective wavelength less that of green; positive = farther from the lens. */
  focusShiftUm: number;
  /** Diameter of the uniform disc that has the band's mean square blur when green is in focus. */
  blurUm: number;
  blurArcsec: number;
  /** The same over the radius of green's first dark ring. */
  blurAiryRadii: number;
  /** Half the depth of focus at the effective wavelength, 2 λN². */
  depthOfFocusUm: number;
}

/** How troublesome the colour is at high power, by the ratio that an achromat of equal colour error has: ≥ 5, ≥ 3, ≥ 1.5, below. */
export type ExpectedColour = 'hard to see' | 'slight' | 'plain' | 'strong';

export interface EquivalentDefocus {
  um: number;
  focalLengthFraction: number;
  /** Over half the depth of focus, ± 2 λN² at green. */
  depthsOfFocus: number;
}

export interface LensExpectation extends LensGeometry {
  /** Name of the kind or of the glasses. */
  lens: string;
  /** 'glasses': computed from refractive indices; 'assumed factor': the achromat's error times `colourFactor`. */
  basis: 'glasses' | 'assumed factor';
  /** Blue over green as a share of the classical achromat's; `null` where a pair of glasses leaves blue no wider than green. */
  colourFactor: number | null;
  /** At green: FWHM, radius of the first dark ring, light inside it. */
  airyFwhmUm: number;
  airyFwhmArcsec: number;
  airyRadiusUm: number;
  airyRadiusArcsec: number;
  airyShare: number;
  /** Half the depth of focus at green, 2 λN² (depth-of-focus.ts). */
  depthOfFocusUm: number;
  secondarySpectrum: ExpectedBand[];
  /** Blur of blue and red over green in quadrature, as a defocus without sign; 0 where not wider. */
  blueDefocus: EquivalentDefocus;
  redDefocus: EquivalentDefocus;
  /** Focal ratio over aperture in inches. */
  apertureSpeedRatio: number;
  /** The ratio of an achromat with the same blue defocus in depths of focus; what limits and class refer to. Infinity without colour. */
  achromatRatio: number;
  classicalLimits: { name: string; ratio: number; source: string; reached: boolean }[];
  expectedColour: ExpectedColour;
}

function checked(name: keyof typeof LENS_RANGES, value: number): number {
  const [low, high] = LENS_RANGES[name];
  if (!(value >= low && value <= high)) {
    throw new ParameterError(name, value, `${low} to ${high}`);
  }
  return value;
}

/**
 * The whole geometry from any two of its three numbers.
 * @throws ParameterError when fewer than two are given, one is out of range, or three contradict each other by more than 3 %.
 */
export function lensGeometry(given: Partial<LensGeometry>): LensGeometry {
  for (const name of ['apertureMm', 'focalLengthMm', 'focalRatio'] as const) {
    const value = given[name];
    if (value !== undefined) checked(name, value);
  }
  const { apertureMm, focalLengthMm, focalRatio } = given;
  if (apertureMm !== undefined && focalLengthMm !== undefined) {
    const ratio = focalLengthMm / apertureMm;
    if (focalRatio !== undefined && Math.abs(ratio / focalRatio - 1) > RATIO_TOLERANCE) {
      throw new ParameterError(
        'focalRatio',
        focalRatio,
        `${ratio.toFixed(2)}, the focal length over the aperture; or any two of the three`,
      );
    }
    return { apertureMm, focalLengthMm, focalRatio: checked('focalRatio', ratio) };
  }
  if (apertureMm !== undefined && focalRatio !== undefined) {
    const length = checked('focalLengthMm', apertureMm * focalRatio);
    return { apertureMm, focalLengthMm: length, focalRatio };
  }
  if (focalLengthMm !== undefined && focalRatio !== undefined) {
    const aperture = checked('apertureMm', focalLengthMm / focalRatio);
    return { apertureMm: aperture, focalLengthMm, focalRatio };
  }
  throw new ParameterError(
    'lens',
    'not determined',
    'any two of aperture, focal length and focal ratio',
  );
}

/**
 * Focus at `wavelengthNm` against the common focus of the corrected colours, as a fraction of the focal length; positive = farther from
 * the lens.
 * @throws RangeError outside the range of the glass data (380–2500 nm at most)
 */
export function focusShiftFraction(lens: LensChoice, wavelengthNm: number): number {
  if (typeof lens === 'string') {
    return COLOUR_FACTORS[lens] * doubletFocusShift(wavelengthNm, N_BK7, F2);
  }
  return doubletFocusShift(wavelengthNm, lens.crown, lens.flint, lens.correctedNm);
}

/** Root mean square of focus less green's focus over a band of even light, as a fraction of the focal length. */
function bandDefocus(lens: LensChoice, band: 'R' | 'G' | 'B'): number {
  const green = focusShiftFraction(lens, DEFAULT_BANDS_NM.G);
  const half = BAND_HALF_WIDTH_NM[band];
  let sum = 0;
  for (let i = 0; i < BAND_STEPS; i++) {
    const nm = DEFAULT_BANDS_NM[band] + half * ((2 * i + 1) / BAND_STEPS - 1);
    const shift = focusShiftFraction(lens, nm) - green;
    sum += shift * shift;
  }
  return Math.sqrt(sum / BAND_STEPS);
}

/** Extra blur of a band over green, in quadrature, as a fraction of the focal length: what a measurement of stars calls equivalent defocus. */
export function equivalentDefocusFraction(lens: LensChoice, band: 'R' | 'B'): number {
  const own = bandDefocus(lens, band);
  const green = bandDefocus(lens, 'G');
  return own > green ? Math.sqrt(own * own - green * green) : 0;
}

/** Blue over green of the classical achromat: f/…; every measured lens is compared with it. */
const ACHROMAT_BLUE = equivalentDefocusFraction('achromat', 'B');

/** A blue defocus (fraction of the focal length, as expected or as measured) as a share of the classical achromat's. */
export function achromatShare(blueFocalLengthFraction: number): number {
  return blueFocalLengthFraction / ACHROMAT_BLUE;
}

/** A defocus as a multiple of half the depth of focus at green, 2 λN². Above 1 it is more than a quarter of a wave. */
export function inDepthsOfFocus(defocusUm: number, focalRatio: number): number {
  return defocusUm / depthOfFocusUm(DEFAULT_BANDS_NM.G, focalRatio);
}

/**
 * Multiples of half the depth of focus for a lens of `apertureMm` and `focalRatio` whose blue defocus is `fraction` of its focal length:
 * fraction · N D / (2 λN²). For one kind of lens it depends on D/N alone, which is why the classical rules are ratios.
 */
export function depthsOfFocusFor(fraction: number, apertureMm: number, focalRatio: number): number {
  return inDepthsOfFocus(fraction * apertureMm * focalRatio * 1000, focalRatio);
}

/** Multiples of half the depth of focus that a classical achromat has at a focal ratio of `ratio` times its aperture in inches. */
export function achromatDepthsAtRatio(ratio: number): number {
  return depthsOfFocusFor(ACHROMAT_BLUE, MM_PER_INCH, ratio);
}

function colourClass(achromatRatio: number): ExpectedColour {
  if (achromatRatio >= 5) return 'hard to see';
  if (achromatRatio >= 3) return 'slight';
  return achromatRatio >= 1.5 ? 'plain' : 'strong';
}

function lensName(lens: LensChoice): string {
  return typeof lens === 'string' ? lens : `${lens.crown.name}/${lens.flint.name}`;
}

/**
 * Everything that aperture, focal length and kind of a refractor say about its colour. No air, no pixels, no other aberration.
 * @param given any two of aperture, focal length and focal ratio
 * @throws ParameterError as `lensGeometry`; RangeError when glass data do not reach 420–660 nm
 */
export function lensExpectation(given: Partial<LensGeometry>, lens: LensChoice): LensExpectation {
  const geometry = lensGeometry(given);
  const { apertureMm, focalLengthMm, focalRatio } = geometry;
  const lengthUm = focalLengthMm * 1000;
  const ringRadii = AIRY_DARK_RINGS[0] as number;
  const airyRadiusUm = ringRadii * DEFAULT_BANDS_NM.G * 1e-3 * focalRatio;
  const umToArcsec = ARCSEC_PER_RADIAN / lengthUm;
  const green = focusShiftFraction(lens, DEFAULT_BANDS_NM.G);
  const secondarySpectrum = (['R', 'G', 'B'] as const).map((band): ExpectedBand => {
    const wavelengthNm = DEFAULT_BANDS_NM[band];
    const half = BAND_HALF_WIDTH_NM[band];
    const blurUm = (bandDefocus(lens, band) * lengthUm) / focalRatio;
    return {
      band,
      wavelengthNm,
      rangeNm: [wavelengthNm - half, wavelengthNm + half],
      focusShiftUm: (focusShiftFraction(lens, wavelengthNm) - green) * lengthUm,
      blurUm,
      blurArcsec: blurUm * umToArcsec,
      blurAiryRadii: blurUm / airyRadiusUm,
      depthOfFocusUm: depthOfFocusUm(wavelengthNm, focalRatio),
    };
  });
  const defocus = (band: 'R' | 'B'): EquivalentDefocus => {
    const focalLengthFraction = equivalentDefocusFraction(lens, band);
    const um = focalLengthFraction * lengthUm;
    return { um, focalLengthFraction, depthsOfFocus: inDepthsOfFocus(um, focalRatio) };
  };
  const blueDefocus = defocus('B');
  const factor = achromatShare(blueDefocus.focalLengthFraction);
  const apertureSpeedRatio = focalRatio / (apertureMm / MM_PER_INCH);
  const achromatRatio = apertureSpeedRatio / factor;
  return {
    ...geometry,
    lens: lensName(lens),
    basis: lens === 'achromat' || typeof lens !== 'string' ? 'glasses' : 'assumed factor',
    colourFactor: factor > 0 ? factor : null,
    airyFwhmUm: airyFwhmUm(DEFAULT_BANDS_NM.G, focalRatio),
    airyFwhmArcsec: airyFwhmArcsec(DEFAULT_BANDS_NM.G, apertureMm),
    airyRadiusUm,
    airyRadiusArcsec: airyRadiusUm * umToArcsec,
    airyShare: airyEncircledEnergy(ringRadii),
    depthOfFocusUm: depthOfFocusUm(DEFAULT_BANDS_NM.G, focalRatio),
    secondarySpectrum,
    blueDefocus,
    redDefocus: defocus('R'),
    apertureSpeedRatio,
    achromatRatio,
    classicalLimits: CLASSICAL_LIMITS.map((limit) => ({
      ...limit,
      reached: achromatRatio >= limit.ratio,
    })),
    expectedColour: colourClass(achromatRatio),
  };
}
