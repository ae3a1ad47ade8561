/** Judgement of a refined transform: how much of the overlap agrees, and could that be chance? */
import { starsOnA, starsOnB } from './pairing.js';
import type { Refined } from './refine.js';
import { lnTailBound, lnTransformsTried, type SearchSpace } from './significance.js';
import type { PreparedList } from './star-list.js';
import { applyInverse, applyTransform, describeTransform, PARAMETERS } from './transform.js';

/** A refined transform with its evidence. */
export interface Assessed extends Refined {
  /** Stars of A whose images fall on B's frame, and the other way round. */
  starsOfAOnB: number;
  starsOfBOnA: number;
  /** The smaller of these two: more pairs than that cannot be. */
  expected: number;
  /** Pairs over expected. */
  share: number;
  /** ln of the expected number of transforms this good among unrelated stars, at most 0. */
  lnFalse: number;
}

/** Stars asked for the local density. */
const SAMPLE = 400;
/** Neighbour whose distance gives the local density; the nearest may be the partner itself and is not counted. */
const DENSITY_RANK = 8;
/**
 * The chance is judged within the tolerance, and within this share of it, where 95 % of the true pairs lie when the
 * tolerance is 4 σ; the better counts, at the price of two trials.
 */
const RADII = [1, 0.6] as const;

/** Counts the overlap and bounds the probability of chance. */
export function assess(
  a: PreparedList,
  b: PreparedList,
  refined: Refined,
  space: SearchSpace,
): Assessed {
  const { transform: t, pairs, residualPx, tolerancePx } = refined;
  const insideA = starsOnB(a, b, t);
  const insideB = starsOnA(a, b, t);
  const scale = describeTransform(t).scale;
  // Stars of the sparser list are the trials, each with the chance to meet one of the denser.
  const forward = insideA.length <= insideB.length;
  const sparse = forward ? a : b;
  const dense = forward ? b : a;
  const trials = forward ? insideA : insideB;
  const denseInside = forward ? insideB.length : insideA.length;
  const unit = forward ? 1 : 1 / scale;
  const overlap = overlapArea(a, b, refined) * (forward ? scale * scale : 1);
  const mean = denseInside / Math.max(overlap, 1);

  const rank = Math.min(DENSITY_RANK, dense.n);
  const found = new Int32Array(rank);
  const d2 = new Float64Array(rank);
  const point = new Float64Array(2);
  const step = Math.max(1, Math.floor(trials.length / SAMPLE));
  const local = new Float64Array(Math.ceil(trials.length / step));
  let asked = 0;
  for (let i = 0; i < trials.length; i += step) {
    const star = trials[i];
    if (forward) applyTransform(t, sparse.x[star], sparse.y[star], point);
    else applyInverse(t, sparse.x[star], sparse.y[star], point);
    dense.index.kNearest(point[0], point[1], rank, found, d2);
    const here = rank > 1 ? (rank - 1) / (Math.PI * Math.max(d2[rank - 1], 1e-6)) : 0;
    local[asked++] = Math.max(here, mean);
  }
  const expected = Math.min(insideA.length, insideB.length);
  // The pairs that fixed the transform are no evidence for it.
  const spent = PARAMETERS[t.kind] / 2;
  const shiftOnly = t.kind === 'shift';
  let lnFalse = 0;
  for (const share of RADII) {
    const limit = share * tolerancePx;
    let agreed = 0;
    for (const r of residualPx) if (r <= limit) agreed++;
    let chance = 0;
    const area = Math.PI * (limit * unit) ** 2;
    for (let i = 0; i < asked; i++) chance += 1 - Math.exp(-area * local[i]);
    const lnChance =
      asked === 0 ? 0 : lnTailBound(agreed - spent, expected - spent, chance / asked);
    const tried = lnTransformsTried(space, a, b, scale, limit, shiftOnly);
    lnFalse = Math.min(lnFalse, lnChance + tried + Math.log(RADII.length));
  }
  return {
    ...refined,
    starsOfAOnB: insideA.length,
    starsOfBOnA: insideB.length,
    expected,
    share: expected === 0 ? 0 : Math.min(1, pairs.n / expected),
    lnFalse,
  };
}

/** Points per axis that sample the overlap. */
const GRID = 24;

/** Area of A's frame that falls on B, px² of A. */
export function overlapArea(a: PreparedList, b: PreparedList, { transform }: Refined): number {
  const point = new Float64Array(2);
  let inside = 0;
  for (let row = 0; row < GRID; row++) {
    for (let column = 0; column < GRID; column++) {
      const x = ((column + 0.5) / GRID) * a.width - 0.5;
      const y = ((row + 0.5) / GRID) * a.height - 0.5;
      applyTransform(transform, x, y, point);
      if (
        point[0] >= -0.5 &&
        point[1] >= -0.5 &&
        point[0] <= b.width - 0.5 &&
        point[1] <= b.height - 0.5
      ) {
        inside++;
      }
    }
  }
  return (inside / (GRID * GRID)) * a.width * a.height;
}
