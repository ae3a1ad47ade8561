/** Judgement of a refined transform: how much of the overlap agrees, and could that be chance? */
import { starsOnA, starsOnB, wideTolerance } from './pairing.js';
import { LEAST_TOLERANCE_PX, type Refined } from './refine.js';
import { lnHitsBound, lnTransformsTried, orderChance, type SearchSpace } from './significance.js';
import { indexOfBrightest, type PreparedList } from './star-list.js';
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
const SAMPLE = 200;
/** Neighbour whose distance gives the local density; the nearest may be the partner itself and is not counted. */
const DENSITY_RANK = 8;
/** Radii tried: the widest tolerance, and less by this factor down to the narrowest. */
const RADIUS_STEP = 0.65;
const MOST_RADII = 12;
/** The brightest stars alone are tried too, halving the list down to this many: one list may be far deeper. */
const FEWEST_OF_DEPTH = 4;
/** Agreement in brightness never counts for more than this: vignetting and clusters order unrelated stars too. */
const ORDER_CAP = 1e-4;
/** ln of E[1/max(U, cap)], U uniform: what it costs to let the order count besides the number. */
const LN_ORDER_PRICE = Math.log(1 - Math.log(ORDER_CAP));
/** Trials judged with the local density: the most promising by the mean density. */
const MOST_JUDGED = 8;

/** One way to count: the brightest of each list, within one radius. */
interface Trial {
  depthA: number;
  depthB: number;
  /** Stars of these in the overlap. */
  insideA: number;
  insideB: number;
  limitPx: number;
  agreed: number;
  /** ln of the chance that the order of brightness agrees so well. */
  lnOrder: number;
  lnFalse: number;
}

/** Counts the overlap and bounds the probability of chance. */
export function assess(
  a: PreparedList,
  b: PreparedList,
  refined: Refined,
  space: SearchSpace,
): Assessed {
  const { transform: t, pairs } = refined;
  const insideA = starsOnB(a, b, t);
  const insideB = starsOnA(a, b, t);
  const scale = describeTransform(t).scale;
  const overlapA = Math.max(1, overlapArea(a, b, refined));
  const expected = Math.min(insideA.length, insideB.length);

  const depthsA = depthsOf(a);
  const depthsB = depthsOf(b);
  const radii = radiiOf(a, b, scale);
  const ordered = a.ordered && b.ordered;
  const lnPrice = Math.log(depthsA.length * depthsB.length * radii.length * (ordered ? 2 : 1));
  // The pairs that fixed the transform are no evidence for it.
  const spent = PARAMETERS[t.kind] / 2;
  const shiftOnly = t.kind === 'shift';

  const lnFalseOf = (trial: Trial, chance: number): number => {
    const { depthA, depthB, insideA: nA, insideB: nB, limitPx, agreed, lnOrder } = trial;
    const lnNumber = lnHitsBound(agreed - spent, Math.min(nA, nB) - spent, chance);
    if (lnNumber === 0) return 0;
    const tried = lnTransformsTried(
      space,
      { ...a, n: depthA },
      { ...b, n: depthB },
      scale,
      limitPx,
      shiftOnly,
    );
    return lnPrice + tried + lnNumber + Math.min(0, lnOrder + LN_ORDER_PRICE);
  };

  // First with the mean density, which costs nothing and never looks worse than the local one.
  const trials: Trial[] = [];
  for (const depthA of depthsA) {
    const nA = countBelow(insideA, depthA);
    for (const depthB of depthsB) {
      const nB = countBelow(insideB, depthB);
      for (const limitPx of radii) {
        const trial = count(refined, depthA, depthB, limitPx, ordered);
        trial.insideA = nA;
        trial.insideB = nB;
        const area = Math.PI * limitPx * limitPx;
        const density = Math.max(nA, nB) / (overlapA * scale * scale);
        trial.lnFalse = lnFalseOf(trial, 1 - Math.exp(-area * density));
        if (trial.lnFalse < 0) trials.push(trial);
      }
    }
  }
  trials.sort((one, other) => one.lnFalse - other.lnFalse);
  let lnFalse = 0;
  for (const trial of trials.slice(0, MOST_JUDGED)) {
    if (trial.lnFalse >= lnFalse) break;
    const chance = localChance(a, b, refined, trial, insideA, insideB, overlapA, scale);
    lnFalse = Math.min(lnFalse, lnFalseOf(trial, chance));
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

/** Depths tried, deepest first. */
function depthsOf(list: PreparedList): number[] {
  const depths = [list.n];
  if (!list.ordered) return depths;
  for (let n = list.n >> 1; n >= FEWEST_OF_DEPTH; n >>= 1) depths.push(n);
  return depths;
}

/** Fixed by the lists and the scale, not by the residuals: then the price of trying several is their number. */
function radiiOf(a: PreparedList, b: PreparedList, scale: number): number[] {
  const radii: number[] = [];
  let radius = wideTolerance(a, b, scale);
  do {
    radii.push(radius);
    radius *= RADIUS_STEP;
  } while (radius >= LEAST_TOLERANCE_PX && radii.length < MOST_RADII);
  return radii;
}

/** Pairs of the brightest stars within the limit, and how well their order agrees. */
function count(
  { pairs, residualPx }: Refined,
  depthA: number,
  depthB: number,
  limitPx: number,
  ordered: boolean,
): Trial {
  // Pairs come in the order of B's brightness; their numbers in A are ranks.
  const ranks: number[] = [];
  for (let i = 0; i < pairs.n; i++) {
    if (residualPx[i] > limitPx || pairs.a[i] >= depthA || pairs.b[i] >= depthB) continue;
    ranks.push(pairs.a[i]);
  }
  const lnOrder = ordered ? Math.log(Math.max(ORDER_CAP, orderChance(ranks))) : 0;
  return {
    depthA,
    depthB,
    insideA: 0,
    insideB: 0,
    limitPx,
    agreed: ranks.length,
    lnOrder,
    lnFalse: 0,
  };
}

/**
 * Mean chance of a star of the sparser list to meet one of the denser within the limit, at the density round its place: at
 * least the mean density of the overlap, more in clusters.
 */
function localChance(
  a: PreparedList,
  b: PreparedList,
  { transform: t }: Refined,
  { depthA, depthB, insideA: nA, insideB: nB, limitPx }: Trial,
  insideA: Int32Array,
  insideB: Int32Array,
  overlapA: number,
  scale: number,
): number {
  const forward = nA <= nB;
  const sparse = forward ? a : b;
  const stars = forward ? insideA : insideB;
  const trials = forward ? nA : nB;
  // Everything in px of the denser list.
  const unit = forward ? 1 : 1 / scale;
  const mean = Math.max(nA, nB) / (overlapA * (forward ? scale * scale : 1));
  const depth = forward ? depthB : depthA;
  const index = indexOfBrightest(forward ? b : a, depth);
  const rank = Math.min(DENSITY_RANK, depth);
  const found = new Int32Array(rank);
  const d2 = new Float64Array(rank);
  const point = new Float64Array(2);
  const area = Math.PI * (limitPx * unit) ** 2;
  const step = Math.max(1, Math.floor(trials / SAMPLE));
  let asked = 0;
  let chance = 0;
  for (let i = 0; i < trials; i += step) {
    const star = stars[i];
    if (forward) applyTransform(t, sparse.x[star], sparse.y[star], point);
    else applyInverse(t, sparse.x[star], sparse.y[star], point);
    index.kNearest(point[0], point[1], rank, found, d2);
    const here = rank > 1 ? (rank - 1) / (Math.PI * Math.max(d2[rank - 1], 1e-6)) : 0;
    chance += 1 - Math.exp(-area * Math.max(here, mean));
    asked++;
  }
  return asked === 0 ? 1 : chance / asked;
}

/** How many of the rising numbers are below the limit. */
function countBelow(numbers: Int32Array, limit: number): number {
  let low = 0;
  let high = numbers.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (numbers[middle] < limit) low = middle + 1;
    else high = middle;
  }
  return low;
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
