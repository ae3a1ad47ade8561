/** Equivalent chromatic defocus: the extra blur of blue (red) over green, in quadrature, as a geometric defocus (docs/algorithms.md).
 *
 * With all light counted within R_max, the difference of the mean square radii of two images is M = 2 ∫ r X(r) dr, where X is the difference
 * of their encircled energies (integration by parts). What air and diffraction do to a perfect lens is taken off X first. A uniform
 * blur disc of diameter d has mean square radius d²/8, so d = √(8 M), and Δz = d · N.
 */
import { defocusFromBlur } from '../optics/blur.js';
import type { PerfectLens } from '../optics/perfect-lens.js';
import type { BootstrapResult, ProfileReadings } from './bootstrap.js';
import type { FrameResult, Uncertain } from './result.js';
import { blurError, widen } from './systematics.js';
import { scaled, uncertain } from './uncertain.js';

export interface LensGeometry {
  pixelSizeUm: number | null;
  focalLengthMm: number | null;
  apertureMm: number | null;
}

/**
 * @param r, g, b channel indices of the readings
 * @param perfect curves of the perfect lens, or null when it could not be computed (then nothing is taken off)
 */
export function equivalentDefocus(
  bootstrap: BootstrapResult,
  r: number,
  g: number,
  b: number,
  perfect: PerfectLens | null,
  geometry: LensGeometry,
): FrameResult['equivalentDefocus'] {
  const { radii, best, draws, smallSample } = bootstrap;
  const blur = (c: number): Uncertain | null => {
    const expected = perfectDifference(radii, perfect, c === b ? 'B' : 'R');
    const at = (reading: ProfileReadings): number => blurDiameter(reading, radii, c, g, expected);
    const value = uncertain(at(best), draws.map(at), smallSample);
    if (!value) return null;
    const cut = blurIsCut(best, radii, c, g);
    const wider = widen(value, blurError(value.value, best.r90[g] as number, cut)) as Uncertain;
    return { ...wider, low: Math.max(0, wider.low) };
  };
  const blueBlurPx = blur(b);
  const redBlurPx = blur(r);
  if (!blueBlurPx || !redBlurPx) return null;
  const { pixelSizeUm, focalLengthMm, apertureMm } = geometry;
  const umPerPx =
    pixelSizeUm !== null && focalLengthMm !== null && apertureMm !== null
      ? defocusFromBlur(1, pixelSizeUm, focalLengthMm / apertureMm)
      : null;
  const fraction =
    umPerPx !== null && focalLengthMm !== null ? umPerPx / (1000 * focalLengthMm) : null;
  return {
    blueUm: scaled(blueBlurPx, umPerPx),
    redUm: scaled(redBlurPx, umPerPx),
    blueFocalLengthFraction: scaled(blueBlurPx, fraction),
    redFocalLengthFraction: scaled(redBlurPx, fraction),
    blueBlurPx,
    redBlurPx,
  };
}

/** EE of green minus EE of the channel for a perfect lens, on `radii`; zeros without a model. */
export function perfectDifference(
  radii: Float64Array,
  perfect: PerfectLens | null,
  channel: 'R' | 'B',
): Float64Array {
  const out = new Float64Array(radii.length);
  if (!perfect) return out;
  const { radiusPx, G } = perfect.curves;
  const other = perfect.curves[channel];
  let j = 0;
  for (let i = 0; i < radii.length; i++) {
    const r = radii[i] as number;
    while (j < radiusPx.length - 2 && (radiusPx[j + 1] as number) < r) j++;
    const r0 = radiusPx[j] as number;
    const r1 = radiusPx[j + 1] as number;
    const t = Math.max(0, Math.min(1, (r - r0) / (r1 - r0)));
    const at = (k: number): number => (G[k] as number) - (other[k] as number);
    out[i] = at(j) + t * (at(j + 1) - at(j));
  }
  return out;
}

/**
 * Diameter of the disc that turns green into channel `c`, in the unit of `radii`: √(8 M) from the positive lobe of X; beyond the
 * radius where the curves meet again only noise is left.
 * @param within all light is counted within this radius (the nearest of `radii`); within the last when left out
 */
export function blurDiameter(
  reading: ProfileReadings,
  radii: Float64Array,
  c: number,
  g: number,
  expected: Float64Array,
  within = Number.POSITIVE_INFINITY,
): number {
  const n = radii.length;
  let last = n - 1;
  while (last > 1 && (radii[last - 1] as number) >= within) last--;
  const ofGreen = 1 / (reading.enclosed[g * n + last] as number);
  const ofOther = 1 / (reading.enclosed[c * n + last] as number);
  const excess = (i: number): number =>
    (reading.enclosed[g * n + i] as number) * ofGreen -
    (reading.enclosed[c * n + i] as number) * ofOther -
    (expected[i] as number);
  let peak = 0;
  for (let i = 1; i <= last; i++) if (excess(i) > excess(peak)) peak = i;
  let m = 0;
  for (let i = 1; i <= last; i++) {
    const here = excess(i);
    if (i > peak && here <= 0) break;
    const r0 = radii[i - 1] as number;
    const r1 = radii[i] as number;
    m += (r0 * excess(i - 1) + r1 * here) * (r1 - r0);
  }
  return m > 0 ? Math.sqrt(8 * m) : 0;
}

/** Share of the radius, and of the largest excess, at which a blur still has to show for R_max to have cut it. */
const CUT_AT = 0.75;
const CUT_SHARE = 0.04;

/** Whether light of channel `c` is spread so wide that the radius within which all light is counted cuts it off. */
export function blurIsCut(
  reading: ProfileReadings,
  radii: Float64Array,
  c: number,
  g: number,
  within = Number.POSITIVE_INFINITY,
): boolean {
  const n = radii.length;
  const limit = Math.min(within, radii[n - 1] as number);
  let peak = 0;
  let atLimit = 0;
  for (let i = 0; i < n && (radii[i] as number) <= CUT_AT * limit; i++) {
    atLimit = (reading.enclosed[g * n + i] as number) - (reading.enclosed[c * n + i] as number);
    peak = Math.max(peak, atLimit);
  }
  return atLimit > CUT_SHARE * peak;
}
