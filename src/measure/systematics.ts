/** Systematic parts of the intervals: what a bootstrap over stars cannot see.
 *
 * Found on simulated frames with known truth (docs/benchmarks.md; three lenses and a control, mosaic and planes, 300 stars): centres fitted to
 * the same noisy samples sharpen the core a little, unresolved faint stars lift the wings a little. Added in quadrature to both sides.
 */
import type { Uncertain } from './result.js';

/** Relative error of the FWHM where every second or every site of the grid belongs to the channel, and on red or blue sites (every fourth). */
const FWHM_DENSE = 0.006;
const FWHM_SPARSE = 0.015;
const R50 = 0.003;
const R80 = 0.004;
const R90 = 0.006;
/** Encircled-energy differences, points of the star's light: absolute, and as a share of the excess. */
const EXCESS_POINTS = 0.06;
const EXCESS_SHARE = 0.005;

/** Error of the perfect lens's excess, points: one effective wavelength stands for a whole band. */
export const PERFECT_LENS_POINTS = 0.25;

/** Widens both sides of an interval by `error`, in quadrature. */
export function widen(value: Uncertain | null, error: number): Uncertain | null {
  if (!value) return null;
  const down = value.value - value.low;
  const up = value.high - value.value;
  return {
    value: value.value,
    low: value.value - Math.sqrt(down * down + error * error),
    high: value.value + Math.sqrt(up * up + error * error),
  };
}

/** Below this recorded FWHM, px, a star is narrower than the grid can show: nothing smaller than the pixel's own 1.08 px exists. */
export const UNDERSAMPLED_PX = 1.3;
/** Relative error of every size there. */
const UNDERSAMPLED = 0.25;

/** Systematic relative error of a size; `fwhmPx` is the channel's. */
export function sizeError(
  key: 'fwhm' | 'r50' | 'r80' | 'r90',
  sparse: boolean,
  fwhmPx: number,
): number {
  if (fwhmPx < UNDERSAMPLED_PX) return UNDERSAMPLED;
  if (key === 'fwhm') return sparse ? FWHM_SPARSE : FWHM_DENSE;
  return key === 'r50' ? R50 : key === 'r80' ? R80 : R90;
}

/** Crowding (neighbours' light within R_max over the star's own) from which it shows, and points of excess per unit beyond. */
const CROWDING_FROM = 0.5;
const CROWDING_POINTS = 2;

/** Systematic error of an excess, points. */
export function excessError(percent: number, crowding: number): number {
  return (
    EXCESS_POINTS +
    EXCESS_SHARE * Math.abs(percent) +
    CROWDING_POINTS * Math.max(0, crowding - CROWDING_FROM)
  );
}

/** Share of a blur diameter: which colours of star stand for the profiles. */
const BLUR_SHARE = 0.02;
/** What is missing where R_max cuts the disc: a simulated classical f/6 achromat within 39 px reads 11 % small. */
const CUT_BLUR_SHARE = 0.12;

/**
 * Systematic error of the diameter of a blur disc, in the unit of both lengths: the perfect lens that is taken off is known to
 * PERFECT_LENS_POINTS out to about r90, which is ∫ 2 r δX dr of mean square radius, and the diameter is √(8 M).
 */
export function blurError(diameter: number, r90: number, cut: boolean): number {
  const square = diameter * diameter;
  const fromLens =
    diameter - Math.sqrt(Math.max(0, square - (8 * PERFECT_LENS_POINTS * r90 * r90) / 100));
  const share = cut ? CUT_BLUR_SHARE : BLUR_SHARE;
  return Math.sqrt((share * diameter) ** 2 + fromLens ** 2);
}
