/** From a transform that holds round one figure to the one that holds over the whole overlap. */
import { medianOf } from '../stats/robust.js';
import {
  type Pairing,
  type Pairs,
  pairSigma,
  residuals,
  starsOnB,
  wideTolerance,
} from './pairing.js';
import type { PreparedList } from './star-list.js';
import {
  applyTransform,
  describeTransform,
  fitTransform,
  PARAMETERS,
  type PointPairs,
  type Transform,
  type TransformKind,
} from './transform.js';
import type { Proposal } from './vote.js';

/** A transform fitted to its pairs. */
export interface Refined {
  transform: Transform;
  pairs: Pairs;
  residualPx: Float64Array;
  /** Two stars further apart than this are no pair, px of B. */
  tolerancePx: number;
}

/** The disc in which stars are paired starts at this many base lengths, and grows by this factor. */
const FIRST_RADIUS = 1.5;
const GROWTH = 1.6;
/** A transform held by a few stars errs farther out: so many σ of that widen the tolerance, by this share of it at most. */
const LEVER_SIGMAS = 2.5;
const MOST_LEVER = 2;
/** Scatter round a line, in σ, that still is a line. */
const LINE_SIGMAS = 3;
/** Growth ends when this many stars were asked and no more agree than by chance: its mean, σ of it, and a few. */
const ENOUGH_ASKED = 60;
const CHANCE_SIGMAS = 2.5;
const CHANCE_MORE = 3;
/** Pairs that each model needs before the growing disc uses it. */
const GROW_SIMILARITY = 4;
const GROW_AFFINE = 12;
const GROW_QUADRATIC = 60;
/** Pairs that each model needs to be chosen in the end: about two a parameter. */
const LEAST_PAIRS: Readonly<Record<TransformKind, number>> = {
  shift: 1,
  similarity: 2,
  affine: 10,
  quadratic: 30,
  cubic: 50,
};
/** Share of the cells with stars in the overlap that a polynomial's pairs must occupy, on a 4 × 4 grid. */
const CELLS = 4;
const LEAST_COVERAGE = 0.75;
/** A richer model must lower the information criterion by this much: strong evidence on the scale of Kass and Raftery (1995, J. Am. Stat. Assoc. 90, 773). */
const LEAST_GAIN = 10;
/** Final tolerance in σ of the residuals, and the σ of a Rayleigh distribution from its median. */
const FINAL_SIGMAS = 4;
const RAYLEIGH_MEDIAN = Math.sqrt(2 * Math.LN2);
export const LEAST_TOLERANCE_PX = 0.3;
const FINAL_ROUNDS = 4;

/** Models from plain to rich. */
const KINDS: readonly TransformKind[] = ['similarity', 'affine', 'quadratic', 'cubic'];
const KINDS_ALIGNED: readonly TransformKind[] = ['shift', ...KINDS];

/**
 * How a proposal grows. `stiff` keeps to affine models: right in crowded fields, where a curved model follows chance pairs
 * astray. `flexible` follows strong distortion over few stars better. `shift-only` is for a handful of stars in frames that
 * lie nearly on each other.
 */
export type Growth = 'stiff' | 'flexible' | 'shift-only';

/**
 * Pairs stars in a growing disc round the figure, refitting at every step, until the disc holds all of A; then chooses
 * the model, and shrinks the tolerance to what the residuals ask. Null when support is lost on the way.
 */
export function refine(
  a: PreparedList,
  b: PreparedList,
  proposal: Proposal,
  pairing: Pairing,
  growth: Growth,
): Refined | null {
  const { x, y } = proposal;
  const stiff = growth !== 'flexible';
  let t = proposal.transform;
  const scale = describeTransform(t).scale;
  const wide = wideTolerance(a, b, scale);
  const chance = 1 - Math.exp(-Math.PI * wide * wide * b.density);
  const whole = Math.sqrt(a.width * a.width + a.height * a.height);
  const sigma = pairSigma(a, b, scale);
  let uncertain = 0;
  for (let radius = FIRST_RADIUS * proposal.base; ; radius *= GROWTH) {
    const pairs = pairing.search(t, wide + Math.min(MOST_LEVER * wide, uncertain), x, y, radius);
    if (pairing.asked >= ENOUGH_ASKED) {
      const byChance = pairing.asked * chance;
      if (pairs.n < byChance + CHANCE_SIGMAS * Math.sqrt(byChance) + CHANCE_MORE) return null;
    }
    const least = proposal.transform.kind;
    const kind = growth === 'shift-only' ? 'shift' : growKind(pairs.n, least, stiff);
    const fitted = fitTransform(kind, pairs) ?? fitTransform(least, pairs);
    // A known shift may have no star near the middle: it is kept until the disc reaches some.
    if (fitted !== null) t = fitted;
    else if (least !== 'shift') return null;
    if (!isSane(t, scale)) return null;
    uncertain = (LEVER_SIGMAS * sigma * GROWTH * radius) / leverOf(pairs);
    if (radius > whole) break;
  }

  const withShift = proposal.transform.kind === 'shift' ? KINDS_ALIGNED : KINDS;
  const kinds: readonly TransformKind[] = growth === 'shift-only' ? ['shift'] : withShift;
  let tolerance = wide;
  let pairs = pairing.search(t, wide, x, y, Number.POSITIVE_INFINITY);
  for (let round = 0; round < FINAL_ROUNDS; round++) {
    const next = chooseModel(a, b, t, pairs, kinds);
    if (next === null || !isSane(next, scale)) return null;
    t = next;
    const parameters = PARAMETERS[t.kind];
    const spare = Math.sqrt((2 * pairs.n) / Math.max(1, 2 * pairs.n - parameters));
    const sigma = (medianOf(residuals(t, pairs)) / RAYLEIGH_MEDIAN) * spare;
    const floor = Math.max(LEAST_TOLERANCE_PX, pairSigma(a, b, scale));
    tolerance = Math.min(wide, Math.max(FINAL_SIGMAS * sigma, floor));
    pairs = pairing.search(t, tolerance, x, y, Number.POSITIVE_INFINITY);
  }
  const last = fitTransform(t.kind, pairs);
  if (last === null) return null;
  if (proposal.transform.kind !== 'shift' && areOnLine(pairs, (LINE_SIGMAS * sigma) / scale)) {
    return null;
  }
  const copied = copyPairs(pairs);
  return {
    transform: last,
    pairs: copied,
    residualPx: residuals(last, copied),
    tolerancePx: tolerance,
  };
}

/** How well pairs hold a transform: their distance from their middle, px of A, times the root of their number. */
function leverOf({ n, ax, ay }: PointPairs): number {
  let sumX = 0;
  let sumY = 0;
  let sum2 = 0;
  for (let i = 0; i < n; i++) {
    sumX += ax[i];
    sumY += ay[i];
    sum2 += ax[i] * ax[i] + ay[i] * ay[i];
  }
  return Math.sqrt(Math.max(0, sum2 - (sumX * sumX + sumY * sumY) / Math.max(1, n)));
}

/** Whether the stars scatter round one line by less than `limit`, px of A: then their mirror image fits as well. */
function areOnLine({ n, ax, ay }: PointPairs, limit: number): boolean {
  const meanX = ax.subarray(0, n).reduce((sum, x) => sum + x, 0) / n;
  const meanY = ay.subarray(0, n).reduce((sum, y) => sum + y, 0) / n;
  let xx = 0;
  let xy = 0;
  let yy = 0;
  for (let i = 0; i < n; i++) {
    xx += (ax[i] - meanX) ** 2;
    xy += (ax[i] - meanX) * (ay[i] - meanY);
    yy += (ay[i] - meanY) ** 2;
  }
  // Smaller eigenvalue of the covariance.
  const smaller = 0.5 * (xx + yy - Math.sqrt((xx - yy) ** 2 + 4 * xy * xy));
  return smaller < n * limit * limit;
}

/** `least` is the model of the proposal, for a handful of pairs. A cubic would extrapolate too wildly to grow with. */
function growKind(n: number, least: TransformKind, stiff: boolean): TransformKind {
  if (n >= GROW_QUADRATIC && !stiff) return 'quadratic';
  if (n >= GROW_AFFINE) return 'affine';
  return n >= GROW_SIMILARITY ? 'similarity' : least;
}

/** A frame of the sky is not stretched much: a fit that does so follows chance pairs. */
function isSane(t: Transform, scale: number): boolean {
  const now = describeTransform(t);
  return now.stretchRatio < 1.1 && Math.abs(Math.log(now.scale / scale)) < 0.2;
}

/**
 * The model with the smallest Bayesian information criterion (Schwarz 1978, Ann. Stat. 6, 461), 2n ln(RSS/2n) + k ln 2n
 * over n pairs and k parameters; each richer model must win by a clear margin, and polynomials need pairs all over the
 * overlap.
 */
function chooseModel(
  a: PreparedList,
  b: PreparedList,
  t: Transform,
  pairs: PointPairs,
  kinds: readonly TransformKind[],
): Transform | null {
  let best: Transform | null = null;
  let bestCriterion = Number.POSITIVE_INFINITY;
  let covered: boolean | null = null;
  for (const kind of kinds) {
    if (pairs.n < LEAST_PAIRS[kind]) break;
    if (PARAMETERS[kind] > PARAMETERS.affine) {
      covered ??= covers(a, b, t, pairs);
      if (!covered) break;
    }
    const fitted = fitTransform(kind, pairs);
    if (fitted === null) break;
    let sum = 0;
    for (const r of residuals(fitted, pairs)) sum += r * r;
    const samples = 2 * pairs.n;
    // Exact copies leave no residuals: rounding is not evidence for a richer model.
    const variance = Math.max(sum / samples, 1e-8);
    const criterion = samples * Math.log(variance) + PARAMETERS[kind] * Math.log(samples);
    if (best === null || criterion < bestCriterion - LEAST_GAIN) {
      best = fitted;
      bestCriterion = criterion;
    }
  }
  return best;
}

/** Whether pairs stand in most cells of the overlap that have stars of A. */
function covers(a: PreparedList, b: PreparedList, t: Transform, pairs: PointPairs): boolean {
  const inside = starsOnB(a, b, t);
  let x0 = Number.POSITIVE_INFINITY;
  let x1 = Number.NEGATIVE_INFINITY;
  let y0 = Number.POSITIVE_INFINITY;
  let y1 = Number.NEGATIVE_INFINITY;
  for (const i of inside) {
    x0 = Math.min(x0, a.x[i]);
    x1 = Math.max(x1, a.x[i]);
    y0 = Math.min(y0, a.y[i]);
    y1 = Math.max(y1, a.y[i]);
  }
  const cellOf = (x: number, y: number): number => {
    const cx = Math.floor(((x - x0) / (x1 - x0)) * CELLS);
    const cy = Math.floor(((y - y0) / (y1 - y0)) * CELLS);
    return Math.max(0, Math.min(CELLS - 1, cy)) * CELLS + Math.max(0, Math.min(CELLS - 1, cx));
  };
  const withStars = new Set<number>();
  for (const i of inside) withStars.add(cellOf(a.x[i], a.y[i]));
  const withPairs = new Set<number>();
  for (let i = 0; i < pairs.n; i++) withPairs.add(cellOf(pairs.ax[i], pairs.ay[i]));
  return withPairs.size >= LEAST_COVERAGE * withStars.size;
}

function copyPairs(pairs: Pairs): Pairs {
  const { n } = pairs;
  return {
    n,
    a: pairs.a.slice(0, n),
    b: pairs.b.slice(0, n),
    ax: pairs.ax.slice(0, n),
    ay: pairs.ay.slice(0, n),
    bx: pairs.bx.slice(0, n),
    by: pairs.by.slice(0, n),
  };
}

/** Share of the pairs that two refinements of one truth have in common, at least. */
const SAME_PAIRS = 0.3;

/** Whether two refined transforms are one: they pair the same stars. */
export function isSame(one: Refined, other: Refined): boolean {
  const partner = new Map<number, number>();
  for (let i = 0; i < one.pairs.n; i++) partner.set(one.pairs.a[i], one.pairs.b[i]);
  let same = 0;
  for (let i = 0; i < other.pairs.n; i++) {
    if (partner.get(other.pairs.a[i]) === other.pairs.b[i]) same++;
  }
  return same > SAME_PAIRS * Math.min(one.pairs.n, other.pairs.n);
}

/** Whether a proposal says the same as a refined transform where its figure stands. */
export function agreesWith({ transform, x, y, base }: Proposal, other: Refined): boolean {
  const here = new Float64Array(2);
  const there = new Float64Array(2);
  const t = other.transform;
  const { scale } = describeTransform(t, x, y);
  const limit = 3 * other.tolerancePx + 0.02 * base * scale;
  for (let corner = 0; corner < 3; corner++) {
    const px = x + (corner === 1 ? base : 0);
    const py = y + (corner === 2 ? base : 0);
    applyTransform(transform, px, py, here);
    applyTransform(t, px, py, there);
    if ((here[0] - there[0]) ** 2 + (here[1] - there[1]) ** 2 > limit * limit) return false;
  }
  return true;
}
