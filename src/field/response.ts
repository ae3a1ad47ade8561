/** From aberrations (geometric, px) to what the star fit shows: size T, elongation Q, skew K. Tables by wave optics, not geometry. */
import {
  ABERRATION_SHARE,
  COMA_ELONGATION,
  COMA_GROWTH,
  COMA_SKEW,
  DEFOCUS_GROWTH,
  DIFFRACTION_SHARE,
  DRIFT_ELONGATION,
} from './response-table.js';

/** Wavelength of the tables and of conversions, nm: green. */
const WAVELENGTH_NM = 540;
/** Share of diffraction in a star's size where focal ratio or pixel are unknown: common for small telescopes. */
export const TYPICAL_DIFFRACTION = 0.1;

/** What the laws leave out, as a share of each amplitude (from the benchmark's coverage, light of one wavelength). */
const SYSTEMATIC_SHARE = 0.015;
/**
 * Amplitude that a lens with colour error hides, per excess of red and blue size over green: the tables are for one wavelength, and
 * green light out of focus widens the stars before defocus does. An f/5 achromat (excess 0.85) reads some 10 % low.
 */
const CHROMATIC_SHARE = 0.12;
const LARGEST_EXCESS = 1.5;

type Table = readonly (readonly number[])[];

/** The rows of all tables at one diffraction share: what one frame needs. */
export interface Response {
  diffraction: number;
  defocus: Float64Array;
  comaSize: Float64Array;
  comaElongation: Float64Array;
  skew: Float64Array;
  /** Elongation Q over the mean square of a short straight drift. */
  drift: number;
  /** What size T lacks of the recorded star's, px². Only published sizes use it. */
  recordedOffset: number;
  /** Share of every amplitude that the laws leave uncertain. */
  systematic: number;
}

/** (λN / pixel)² / T0, the share of diffraction in the size of a sharp star; null where it cannot be known. */
export function diffractionShare(
  focalRatio: number | null,
  pixelSizeUm: number | null,
  t0: number,
): number | null {
  if (focalRatio === null || pixelSizeUm === null || !(t0 > 0)) return null;
  const unit = ((WAVELENGTH_NM / 1000) * focalRatio) / pixelSizeUm;
  return (unit * unit) / t0;
}

/** Interpolates the tables to one diffraction share (clamped to their ends). */
export function responseAt(diffraction: number): Response {
  const last = DIFFRACTION_SHARE.length - 1;
  let i = 0;
  while (i < last - 1 && 1000 * diffraction > (DIFFRACTION_SHARE[i + 1] as number)) i++;
  const low = (DIFFRACTION_SHARE[i] as number) / 1000;
  const high = (DIFFRACTION_SHARE[i + 1] as number) / 1000;
  const f = Math.min(1, Math.max(0, (diffraction - low) / (high - low)));
  const row = (table: Table): Float64Array =>
    Float64Array.from(ABERRATION_SHARE, (_, k) => {
      const a = table[i]?.[k] as number;
      const b = table[i + 1]?.[k] as number;
      return (a + f * (b - a)) / 1000;
    });
  const driftAt = (k: number): number => (DRIFT_ELONGATION[k] as number) / 1000;
  return {
    diffraction,
    drift: driftAt(i) + f * (driftAt(i + 1) - driftAt(i)),
    defocus: row(DEFOCUS_GROWTH),
    comaSize: row(COMA_GROWTH),
    comaElongation: row(COMA_ELONGATION),
    skew: row(COMA_SKEW),
    recordedOffset: 0,
    systematic: SYSTEMATIC_SHARE,
  };
}

/**
 * Systematic share behind a lens with colour error.
 * @param redOverGreen, blueOverGreen sizes T of red and blue over that of green; a lens errs where both are wide, bad focus of one
 * colour alone leaves green as it is
 */
export function chromaticSystematic(redOverGreen: number, blueOverGreen: number): number {
  const excess = Math.sqrt(Math.max(0, redOverGreen - 1) * Math.max(0, blueOverGreen - 1));
  const hidden = CHROMATIC_SHARE * Math.min(LARGEST_EXCESS, excess);
  return Math.sqrt(SYSTEMATIC_SHARE ** 2 + (Number.isFinite(hidden) ? hidden : 0) ** 2);
}

/** Value of a row at an aberration share ≥ 0, linear between its columns, constant beyond. */
export function responseValue(row: Float64Array, aberration: number): number {
  const share = 1000 * aberration;
  const last = ABERRATION_SHARE.length - 1;
  if (share <= ABERRATION_SHARE[0]) return row[0] as number;
  if (share >= (ABERRATION_SHARE[last] as number)) return row[last] as number;
  let i = 0;
  while (share > (ABERRATION_SHARE[i + 1] as number)) i++;
  const low = ABERRATION_SHARE[i] as number;
  const high = ABERRATION_SHARE[i + 1] as number;
  const a = row[i] as number;
  return a + ((share - low) / (high - low)) * ((row[i + 1] as number) - a);
}

/** Slope of `responseValue` with the share; 0 beyond the ends. */
export function responseSlope(row: Float64Array, aberration: number): number {
  const share = 1000 * aberration;
  const last = ABERRATION_SHARE.length - 1;
  if (share <= ABERRATION_SHARE[0] || share >= (ABERRATION_SHARE[last] as number)) return 0;
  let i = 0;
  while (share > (ABERRATION_SHARE[i + 1] as number)) i++;
  const step = (ABERRATION_SHARE[i + 1] as number) - (ABERRATION_SHARE[i] as number);
  return (1000 * ((row[i + 1] as number) - (row[i] as number))) / step;
}

/**
 * Distance from focus in µm for a geometric root-mean-square blur radius: a uniform disc of diameter |Δz|/N has mean square
 * radius (|Δz|/N)²/8 (measurement of a disc of radius R: mean r² = R²/2).
 */
export function defocusUm(blurPx: number, focalRatio: number, pixelSizeUm: number): number {
  return 2 * Math.SQRT2 * blurPx * focalRatio * pixelSizeUm;
}

/**
 * Coma in nm root mean square over the pupil (Zernike, Noll 1976, JOSA 66, 207) for a geometric root-mean-square radius in px:
 * rays of √8 (3ρ³ − 2ρ) cos θ · c spread to a mean square radius of 48 (2 N c)².
 */
export function comaNm(radiusPx: number, focalRatio: number, pixelSizeUm: number): number {
  return (1000 * radiusPx * pixelSizeUm) / (2 * focalRatio * Math.sqrt(48));
}

/** FWHM, px, of a star of size T: that of the fitted Moffat, α² = 2 T at exponent 4, before the pixel. */
export function fwhmOfSize(t: number): number {
  return 2 * Math.sqrt(2 * Math.max(0, t)) * Math.sqrt(2 ** 0.25 - 1);
}

/** Size T of a star of that FWHM: the inverse of `fwhmOfSize`. */
export function sizeOfFwhm(fwhmPx: number): number {
  const alpha = fwhmPx / (2 * Math.sqrt(2 ** 0.25 - 1));
  return 0.5 * alpha * alpha;
}
