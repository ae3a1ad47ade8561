/** How likely a match is to be chance: bounds that hold however the numbers came about. */

/**
 * Upper bound of ln P(at least k of n) for n independent trials of mean chance p. For k ≥ np + 1 it is the tail of the
 * binomial with p, which unequal chances never exceed (Hoeffding 1956, Ann. Math. Stat. 27, 713); for one hit, np; else
 * the weaker `lnTailBound`. k and n are whole numbers.
 */
export function lnHitsBound(k: number, n: number, p: number): number {
  if (!(n > 0 && k > 0)) return 0;
  if (k === 1) return Math.min(0, Math.log(Math.max(n * p, Number.MIN_VALUE)));
  if (k < n * p + 1) return lnTailBound(k, n, p);
  const chance = Math.max(p, Number.MIN_VALUE);
  const top = Math.min(k, n);
  const first =
    lnFactorial(n) -
    lnFactorial(top) -
    lnFactorial(n - top) +
    top * Math.log(chance) +
    (n - top) * Math.log1p(-chance);
  // Terms in units of the first; k lies above the mean, so they fall.
  const odds = chance / (1 - chance);
  let sum = 1;
  let term = 1;
  for (let i = top; i < n; i++) {
    term *= ((n - i) / (i + 1)) * odds;
    sum += term;
    if (term < 1e-9 * sum) break;
  }
  return Math.min(0, first + Math.log(sum));
}

/**
 * Upper bound of ln P(at least k of n): −n · KL(k/n ‖ p), Hoeffding (1963, J. Am. Stat. Assoc. 58, 13, theorem 1). Weaker
 * than the tail itself, and quick: it ranks proposals. 0 when k is not above expectation.
 */
export function lnTailBound(k: number, n: number, p: number): number {
  if (!(n > 0 && k > 0) || !(k / n > p)) return 0;
  const q = Math.min(1, k / n);
  const chance = Math.max(p, Number.MIN_VALUE);
  const hits = q * Math.log(q / chance);
  const misses = q < 1 ? (1 - q) * Math.log((1 - q) / (1 - chance)) : 0;
  return -n * (hits + misses);
}

const FACTORIALS = 256;
const lnFactorials = new Float64Array(FACTORIALS);
for (let i = 2; i < FACTORIALS; i++) lnFactorials[i] = lnFactorials[i - 1] + Math.log(i);

/** Exact sums, then Stirling's series (Abramowitz and Stegun 6.1.41; error below 1e-12 from 256 on). */
function lnFactorial(n: number): number {
  if (n < FACTORIALS) return lnFactorials[n];
  return (
    (n + 0.5) * Math.log(n) - n + 0.5 * Math.log(2 * Math.PI) + 1 / (12 * n) - 1 / (360 * n ** 3)
  );
}

/** Longer orders are cut to this many: their evidence is beyond the cap long before. */
const MOST_ORDERED = 60;
/** Cumulative distributions of the inversions, by the number of elements. */
const inversionTails: Float64Array[] = [];

/**
 * Exact P(at most as many inversions) of a random order of the values: the one-sided p of Kendall's rank correlation
 * (Kendall 1938, Biometrika 30, 81), by his recursion over the number of elements. `ranks` are different numbers; small
 * where they rise. Of more than 60 the first 60 count.
 */
export function orderChance(ranks: ArrayLike<number>): number {
  const n = Math.min(ranks.length, MOST_ORDERED);
  if (n < 2) return 1;
  let inversions = 0;
  for (let i = 0; i < n; i++) {
    for (let j = i + 1; j < n; j++) if (ranks[i] > ranks[j]) inversions++;
  }
  return inversionTail(n)[inversions];
}

function inversionTail(n: number): Float64Array {
  const known = inversionTails[n];
  if (known !== undefined) return known;
  let chance = Float64Array.of(1);
  for (let size = 2; size <= n; size++) {
    // The newest element makes 0 … size − 1 further inversions, each as likely: a running mean.
    const next = new Float64Array((size * (size - 1)) / 2 + 1);
    let sum = 0;
    for (let i = 0; i < next.length; i++) {
      if (i < chance.length) sum += chance[i];
      if (i >= size) sum -= chance[i - size];
      next[i] = Math.max(0, sum) / size;
    }
    chance = next;
  }
  let total = 0;
  const tail = chance.map((one) => {
    total += one;
    return Math.min(1, total);
  });
  inversionTails[n] = tail;
  return tail;
}

/** What the search was free to try. Scales are px of B per px of A. */
export interface SearchSpace {
  minScale: number;
  maxScale: number;
  /** Whether B is a mirror image of A; null = both are tried. */
  mirrored: boolean | null;
  /** Largest rotation either way, degrees; 180 = any. */
  maxRotationDeg: number;
  /** Largest shift along each axis, px of B; Infinity = any. */
  maxShiftPx: number;
}

/**
 * ln of the expected number of different transforms that a search of this space can try on unrelated stars: the smaller of
 * two counts. It may be negative: a small space is most often empty.
 *
 * (1) Two stars of A laid on two stars of B fix a similarity: nA (nA − 1)/2 × nB (nB − 1) per parity, times the share of
 * them that the space admits. Of stars strewn evenly, a share 2s/W lies within ±s of each other along an axis of length W, a
 * share r/180° of pairs is turned by at most ±r, and at most 1 per unit of ln scale has its length within bounds (ln d of
 * random pairs in a square has a density below 0.9, thinner rectangles a lower one). With `shiftOnly` one star laid on one
 * fixes the transform. (2) The space's volume in steps of the tolerance at the rim of the smaller frame: shifts × angles ×
 * ln scale.
 */
export function lnTransformsTried(
  space: SearchSpace,
  a: { n: number; width: number; height: number },
  b: { n: number; width: number; height: number },
  scale: number,
  tolerancePx: number,
  shiftOnly: boolean,
): number {
  const parities = space.mirrored === null ? 2 : 1;
  const { maxShiftPx } = space;
  const shareX = Math.min(1, (2 * maxShiftPx) / Math.max(b.width, a.width * scale));
  const shareY = Math.min(1, (2 * maxShiftPx) / Math.max(b.height, a.height * scale));
  const reachX = Math.min(2 * maxShiftPx, b.width + a.width * scale);
  const reachY = Math.min(2 * maxShiftPx, b.height + a.height * scale);
  const shifts = Math.max(1, reachX / tolerancePx) * Math.max(1, reachY / tolerancePx);
  if (shiftOnly) return Math.log(Math.min(a.n * b.n * shareX * shareY, shifts));
  const stretch = Math.log(space.maxScale / space.minScale);
  const shareTurned = Math.min(1, space.maxRotationDeg / 180);
  const pairs = ((a.n * (a.n - 1)) / 2) * b.n * (b.n - 1) * parities;
  const admitted = pairs * shareX * shareY * shareTurned * Math.min(1, stretch);
  const rim =
    0.5 *
    Math.min(
      Math.sqrt(a.width * a.width + a.height * a.height) * scale,
      Math.sqrt(b.width * b.width + b.height * b.height),
    );
  const angle = 2 * Math.PI * shareTurned;
  const steps =
    shifts *
    Math.max(1, (angle * rim) / tolerancePx) *
    Math.max(1, (stretch * rim) / tolerancePx) *
    parities;
  return Math.log(Math.min(admitted, steps));
}
