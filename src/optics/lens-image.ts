/** The image of a star in each colour through a lens with colour error: wave optics, wavelength by wavelength.
 *
 * For every wavelength: the defocused round pupil (defocused-pupil.ts) ⊗ long-exposure air (seeing.ts) ⊗ pixel (pixel.ts). A band is the
 * mean over its light. Lengths on the sky in arcsec; the focus is the one at which green is brightest in the middle.
 */
import { type BandLight, type ColourBand, WAVELENGTHS_NM } from './colour-bands.js';
import { defocusedOtf, defocusWaves } from './defocused-pupil.js';
import {
  applyOperator,
  brightnessOperator,
  encircledEnergyOperator,
  frequencyNodes,
} from './hankel.js';
import { pixelOtf } from './pixel.js';
import { findMinimum, type Quadrature } from './quadrature.js';
import { seeingFwhmAt, seeingOtf } from './seeing.js';

const ARCSEC_PER_RADIAN = 648000 / Math.PI;
/** Wavelength at which seeing is quoted, nm: common practice. */
const SEEING_AT_NM = 500;
/** R_max in green FWHM, as measurement has it (docs/algorithms.md). */
const RMAX_FWHM = 8;
const CURVE_POINTS = 96;
/** Light of a wavelength below this share of the green band is left out while focusing. */
const NEGLIGIBLE = 1e-5;

export interface LensImageInput {
  apertureMm: number;
  focalRatio: number;
  /** Focus of a wavelength against any fixed plane, µm; positive = farther from the lens. */
  focusUm: (wavelengthNm: number) => number;
  /** Of which green decides the focus. */
  light: BandLight;
  /** FWHM of the long-exposure air at 500 nm. */
  seeingArcsec: number;
  /** Null leaves the pixel out. */
  pixelArcsec: number | null;
  /** Radius within which light is counted; null = 8 × the FWHM of green. */
  rMaxArcsec: number | null;
}

/** Light inside each radius, wavelength by wavelength, with green in focus. */
export interface LensImage {
  /** Plane of best green focus, in the terms of `focusUm`. */
  bestFocusUm: number;
  greenFwhmArcsec: number;
  rMaxArcsec: number;
  /** The last is R_max. */
  radiusArcsec: Float64Array;
  /** At each of `WAVELENGTHS_NM` a share of all light of that wavelength. */
  enclosed: Float64Array[];
}

/** Transfer functions of what does not hang on the focus, wavelength by wavelength. */
interface Fixed {
  nodes: Quadrature;
  transfer: Float64Array[];
}

/** Diffraction ends there: cycles per arcsec. */
function cutoff(apertureMm: number, wavelengthNm: number): number {
  return (apertureMm * 1e6) / wavelengthNm / ARCSEC_PER_RADIAN;
}

function fixedTransfer(input: LensImageInput, maxRadiusArcsec: number): Fixed {
  const { seeingArcsec, pixelArcsec, apertureMm } = input;
  // Seeing of width w leaves less than 10⁻⁶ beyond 2.25/w.
  const air = 2.25 / seeingFwhmAt(seeingArcsec, SEEING_AT_NM, WAVELENGTHS_NM.at(-1) as number);
  const optics = cutoff(apertureMm, WAVELENGTHS_NM[0] as number);
  const nodes = frequencyNodes(Math.min(air, optics), maxRadiusArcsec);
  const pixel = nodes.node.map((f) => (pixelArcsec === null ? 1 : pixelOtf(f * pixelArcsec)));
  const transfer = WAVELENGTHS_NM.map((nm) => {
    const seeing = seeingFwhmAt(seeingArcsec, SEEING_AT_NM, nm);
    return nodes.node.map((f, i) => seeingOtf(f, seeing) * (pixel[i] as number));
  });
  return { nodes, transfer };
}

/** Transfer function of the wavelength numbered `k` with the detector at `detectorUm`. */
function wavelengthTransfer(
  input: LensImageInput,
  { nodes, transfer }: Fixed,
  k: number,
  detectorUm: number,
): Float64Array {
  const nm = WAVELENGTHS_NM[k] as number;
  const waves = defocusWaves(input.focusUm(nm) - detectorUm, nm, input.focalRatio);
  const ofCutoff = 1 / cutoff(input.apertureMm, nm);
  return (transfer[k] as Float64Array).map(
    (fixed, i) => fixed * defocusedOtf((nodes.node[i] as number) * ofCutoff, waves),
  );
}

function greenTransfer(input: LensImageInput, fixed: Fixed, detectorUm: number): Float64Array {
  const out = new Float64Array(fixed.nodes.node.length);
  input.light.G.forEach((share, k) => {
    if (share < NEGLIGIBLE) return;
    const own = wavelengthTransfer(input, fixed, k, detectorUm);
    for (let i = 0; i < out.length; i++) out[i] = (out[i] as number) + share * (own[i] as number);
  });
  return out;
}

/** Steps of the first look for the focus. */
const FOCUS_STEPS = 16;
/** Wavelengths with this share of green's strongest stand for the band: its feet do not decide where it focuses. */
const BODY_SHARE = 0.3;

/** Detector plane at which green is brightest in the middle. */
function greenFocus(input: LensImageInput, fixed: Fixed): number {
  const { light, focusUm } = input;
  const strongest = Math.max(...light.G);
  const foci = WAVELENGTHS_NM.filter((_, k) => (light.G[k] as number) > BODY_SHARE * strongest).map(
    focusUm,
  );
  const low = Math.min(...foci);
  const high = Math.max(...foci);
  if (!(high > low)) return low;
  const centre = brightnessOperator(fixed.nodes, [0]);
  const dimness = (detectorUm: number): number =>
    -(applyOperator(centre, greenTransfer(input, fixed, detectorUm))[0] as number);
  const step = (high - low) / FOCUS_STEPS;
  let best = low;
  let least = Number.POSITIVE_INFINITY;
  for (let i = 0; i <= FOCUS_STEPS; i++) {
    const here = dimness(low + i * step);
    if (here < least) {
      least = here;
      best = low + i * step;
    }
  }
  return findMinimum(dimness, best - step, best + step, 0.02 * step);
}

/** FWHM of an image by its transfer function, arcsec. */
function fwhmOf({ nodes }: Fixed, otf: Float64Array, startArcsec: number): number {
  const at = (radius: number): number =>
    applyOperator(brightnessOperator(nodes, [radius]), otf)[0] as number;
  const half = at(0) / 2;
  let low = 0;
  let high = startArcsec / 4;
  while (at(high) > half) {
    low = high;
    high *= 1.3;
  }
  for (let i = 0; i < 24; i++) {
    const middle = (low + high) / 2;
    if (at(middle) > half) low = middle;
    else high = middle;
  }
  return low + high;
}

/** The images of a star at all wavelengths. About 0.1 s for a fast achromat. */
export function lensImage(input: LensImageInput): LensImage {
  const near = fixedTransfer(input, 2 * input.seeingArcsec);
  const bestFocusUm = greenFocus(input, near);
  const green = greenTransfer(input, near, bestFocusUm);
  const greenFwhmArcsec = fwhmOf(near, green, input.seeingArcsec);
  const rMaxArcsec = input.rMaxArcsec ?? RMAX_FWHM * greenFwhmArcsec;
  const radiusArcsec = Float64Array.from(
    { length: CURVE_POINTS },
    (_, i) => rMaxArcsec * ((i + 1) / CURVE_POINTS) ** 1.5,
  );
  const far = fixedTransfer(input, rMaxArcsec);
  const operator = encircledEnergyOperator(far.nodes, radiusArcsec);
  const enclosed = WAVELENGTHS_NM.map((_, k) =>
    applyOperator(operator, wavelengthTransfer(input, far, k, bestFocusUm)),
  );
  return { bestFocusUm, greenFwhmArcsec, rMaxArcsec, radiusArcsec, enclosed };
}

/** Light inside each radius in one colour, 1 at R_max. */
export function enclosedInBand(
  { enclosed }: LensImage,
  light: BandLight,
  band: ColourBand,
): Float64Array {
  const out = new Float64Array(CURVE_POINTS);
  light[band].forEach((share, k) => {
    const own = enclosed[k] as Float64Array;
    for (let i = 0; i < out.length; i++) out[i] = (out[i] as number) + share * (own[i] as number);
  });
  const total = out[CURVE_POINTS - 1] as number;
  return out.map((value) => value / total);
}

/** Ends of the stretch of a curve in which `rising` reaches `value`: radius and light of both. The curve begins with no light at 0. */
function stretchAt(
  radiusArcsec: Float64Array,
  curve: Float64Array,
  rising: Float64Array,
  value: number,
): [number, number, number, number] {
  let i = 0;
  while (i < curve.length - 1 && (rising[i] as number) < value) i++;
  const [r0, e0] = i === 0 ? [0, 0] : [radiusArcsec[i - 1] as number, curve[i - 1] as number];
  return [r0, e0, radiusArcsec[i] as number, curve[i] as number];
}

/** Radius that holds `share` of the light of a curve, linear in radius² between its points. */
export function radiusOfShare(
  { radiusArcsec }: LensImage,
  curve: Float64Array,
  share: number,
): number {
  const [r0, e0, r1, e1] = stretchAt(radiusArcsec, curve, curve, share);
  const t = (share - e0) / (e1 - e0);
  return Math.sqrt(r0 * r0 + t * (r1 * r1 - r0 * r0));
}

/** Light of a curve inside `radius`, interpolated as `radiusOfShare` does. */
export function shareWithin(
  { radiusArcsec }: LensImage,
  curve: Float64Array,
  radius: number,
): number {
  const [r0, e0, r1, e1] = stretchAt(radiusArcsec, curve, radiusArcsec, radius);
  const t = (radius * radius - r0 * r0) / (r1 * r1 - r0 * r0);
  return e0 + t * (e1 - e0);
}
