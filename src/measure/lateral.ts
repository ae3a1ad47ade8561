/** Lateral colour: where red and blue land beside green, as a constant plus a part linear in the distance from the frame's centre.
 *
 * docs/algorithms.md: shift = (cx, cy) + m · (X, Y). The constant is dispersion in the air or a wedge; m is lateral
 * chromatic aberration. It is removed before profiles are compared, so that a sideways shift is never mistaken for a halo.
 */
import { createRandom } from '../stats/random.js';
import { robustLinear } from '../stats/regression.js';
import { solveCholesky } from '../stats/solve.js';
import type { FitColumns, Sources } from './sources.js';

export interface LateralShift {
  /** Constant part, px. */
  cx: number;
  cy: number;
  /** px of shift per px from the frame's centre. */
  m: number;
  /** Bootstrap draws of m. */
  mDraws: Float64Array;
  stars: number;
}

/** Stars that enter, the first of the list (best signal-to-noise). */
const MOST_STARS = 250;
/** Shift of one star at most, as a share of the green FWHM, before it counts as a failed fit. */
const LARGEST_SHIFT_FWHM = 3;

/**
 * Fits the shift of `channel` against `reference` over the listed sources; null below 5 stars with both centroids.
 */
export function fitLateral(
  sources: Sources,
  list: readonly number[],
  reference: FitColumns,
  channel: FitColumns,
  width: number,
  height: number,
  fwhmPx: number,
  seed: number,
  draws: number,
): LateralShift | null {
  const usable = list.filter((i) => {
    const d =
      Math.abs((channel.x[i] as number) - (reference.x[i] as number)) +
      Math.abs((channel.y[i] as number) - (reference.y[i] as number));
    return d < LARGEST_SHIFT_FWHM * fwhmPx;
  });
  usable.length = Math.min(usable.length, MOST_STARS);
  const n = usable.length;
  if (n < 5) return null;
  const columns = new Float64Array(2 * n * 3);
  const values = new Float64Array(2 * n);
  const weights = new Float64Array(2 * n);
  // A floor keeps a handful of very bright stars from deciding alone.
  const floor = (0.02 * fwhmPx) ** 2;
  usable.forEach((i, k) => {
    const x = (sources.x[i] as number) - (width - 1) / 2;
    const y = (sources.y[i] as number) - (height - 1) / 2;
    columns.set([1, 0, x], 6 * k);
    columns.set([0, 1, y], 6 * k + 3);
    values[2 * k] = (channel.x[i] as number) - (reference.x[i] as number);
    values[2 * k + 1] = (channel.y[i] as number) - (reference.y[i] as number);
    weights[2 * k] =
      1 / ((channel.xError[i] as number) ** 2 + (reference.xError[i] as number) ** 2 + floor);
    weights[2 * k + 1] =
      1 / ((channel.yError[i] as number) ** 2 + (reference.yError[i] as number) ** 2 + floor);
  });
  const robust = new Float64Array(2 * n);
  const best = robustLinear(2 * n, 3, columns, values, weights, robust);
  if (!best) return null;
  // One weighted least-squares step a draw, with the biweights of the full fit: outliers stay out of every draw.
  const random = createRandom(seed);
  const mDraws = new Float64Array(draws);
  const normal = new Float64Array(9);
  const right = new Float64Array(3);
  const count = new Int32Array(n);
  for (let d = 0; d < draws; d++) {
    count.fill(0);
    for (let k = 0; k < n; k++) {
      const j = Math.floor(random() * n);
      count[j] = (count[j] as number) + 1;
    }
    normal.fill(0);
    right.fill(0);
    for (let row = 0; row < 2 * n; row++) {
      const times = count[row >> 1] as number;
      if (times === 0) continue;
      const w = times * (weights[row] as number) * (robust[row] as number);
      for (let a = 0; a < 3; a++) {
        const ba = w * (columns[row * 3 + a] as number);
        right[a] = (right[a] as number) + ba * (values[row] as number);
        for (let b = 0; b <= a; b++) {
          normal[a * 3 + b] = (normal[a * 3 + b] as number) + ba * (columns[row * 3 + b] as number);
        }
      }
    }
    mDraws[d] = solveCholesky(normal, right, 3) ? (right[2] as number) : Number.NaN;
  }
  return { cx: best[0] as number, cy: best[1] as number, m: best[2] as number, mDraws, stars: n };
}

/** Shift of every source by a lateral model (zeros for null). */
export function shiftsAt(
  shift: LateralShift | null,
  x: Float64Array,
  y: Float64Array,
  width: number,
  height: number,
): { x: Float64Array; y: Float64Array } {
  const sx = new Float64Array(x.length);
  const sy = new Float64Array(x.length);
  if (shift) {
    for (let i = 0; i < x.length; i++) {
      sx[i] = shift.cx + shift.m * ((x[i] as number) - (width - 1) / 2);
      sy[i] = shift.cy + shift.m * ((y[i] as number) - (height - 1) / 2);
    }
  }
  return { x: sx, y: sy };
}
