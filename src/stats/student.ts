/** Tails of Student's t distribution, and the rank statistics that use them. */

/** Terms of the continued fraction; it converges in a few dozen for every case that occurs. */
const MOST_TERMS = 300;
const PRECISION = 1e-15;
const TINY = 1e-300;

/** Coefficients of the Lanczos approximation with g = 7, n = 9 (Godfrey; from memory): ln Γ to 1e-15. */
const LANCZOS = [
  0.9999999999998099, 676.5203681218851, -1259.1392167224028, 771.3234287776531, -176.6150291621406,
  12.507343278686905, -0.13857109526572012, 9.984369578019572e-6, 1.5056327351493116e-7,
];

/** ln Γ(x), x > 0.5. */
function logGamma(x: number): number {
  const z = x - 1;
  let sum = LANCZOS[0] as number;
  for (let i = 1; i < LANCZOS.length; i++) sum += (LANCZOS[i] as number) / (z + i);
  const t = z + 7.5;
  return 0.5 * Math.log(2 * Math.PI) + (z + 0.5) * Math.log(t) - t + Math.log(sum);
}

/** Regularised incomplete beta function I_x(a, b) by Lentz's method on its continued fraction (Abramowitz & Stegun 26.5.8). */
function incompleteBeta(a: number, b: number, x: number): number {
  if (x <= 0) return 0;
  if (x >= 1) return 1;
  // The fraction converges fast below the mean; above it the mirrored form does.
  if (x > (a + 1) / (a + b + 2)) return 1 - incompleteBeta(b, a, 1 - x);
  const front =
    Math.exp(logGamma(a + b) - logGamma(a) - logGamma(b) + a * Math.log(x) + b * Math.log1p(-x)) /
    a;
  let c = 1;
  let d = 1 - ((a + b) * x) / (a + 1);
  d = 1 / (Math.abs(d) < TINY ? TINY : d);
  let fraction = d;
  for (let m = 1; m < MOST_TERMS; m++) {
    const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
    const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
    for (const term of [even, odd]) {
      d = 1 + term * d;
      c = 1 + term / c;
      d = 1 / (Math.abs(d) < TINY ? TINY : d);
      c = Math.abs(c) < TINY ? TINY : c;
      fraction *= d * c;
    }
    if (Math.abs(d * c - 1) < PRECISION) break;
  }
  return front * fraction;
}

/**
 * Two-sided p of Student's t: the chance of |T| ≥ |t| with `freedom` degrees of freedom (Abramowitz & Stegun 26.7.1).
 * Infinite freedom is taken as a million, which is normal to 1e-6.
 */
export function studentTwoSided(t: number, freedom: number): number {
  if (Number.isNaN(t) || !(freedom > 0)) return Number.NaN;
  const v = Math.min(freedom, 1e6);
  return incompleteBeta(v / 2, 0.5, v / (v + t * t));
}

/** Ranks from 1, equal values sharing the mean of theirs. */
export function ranksOf(values: readonly number[]): number[] {
  const order = values
    .map((_, i) => i)
    .sort((a, b) => (values[a] as number) - (values[b] as number));
  const ranks = new Array<number>(values.length).fill(0);
  for (let i = 0; i < order.length; ) {
    let j = i;
    while (j < order.length && values[order[j] as number] === values[order[i] as number]) j++;
    for (let k = i; k < j; k++) ranks[order[k] as number] = (i + j + 1) / 2;
    i = j;
  }
  return ranks;
}

/**
 * Spearman's rank correlation and its two-sided p from t = ρ √((n − 2)/(1 − ρ²)); as scipy.stats.spearmanr does.
 * NaN for fewer than three pairs, or when one side does not vary.
 */
export function spearman(
  x: readonly number[],
  y: readonly number[],
): { rho: number; pValue: number } {
  const n = x.length;
  const a = ranksOf(x);
  const b = ranksOf(y);
  const mean = (n + 1) / 2;
  let ab = 0;
  let aa = 0;
  let bb = 0;
  for (let i = 0; i < n; i++) {
    const u = (a[i] as number) - mean;
    const v = (b[i] as number) - mean;
    ab += u * v;
    aa += u * u;
    bb += v * v;
  }
  if (n < 3 || aa === 0 || bb === 0) return { rho: Number.NaN, pValue: Number.NaN };
  const rho = Math.max(-1, Math.min(1, ab / Math.sqrt(aa * bb)));
  if (Math.abs(rho) === 1) return { rho, pValue: 0 };
  return { rho, pValue: studentTwoSided(rho * Math.sqrt((n - 2) / (1 - rho * rho)), n - 2) };
}

/** Theil–Sen slope: the median of the slopes of all pairs with different x; NaN without one. O(n²). */
export function theilSenSlope(x: readonly number[], y: readonly number[]): number {
  const slopes: number[] = [];
  for (let i = 0; i < x.length; i++) {
    for (let j = i + 1; j < x.length; j++) {
      const dx = (x[j] as number) - (x[i] as number);
      if (dx !== 0) slopes.push(((y[j] as number) - (y[i] as number)) / dx);
    }
  }
  if (slopes.length === 0) return Number.NaN;
  slopes.sort((a, b) => a - b);
  const middle = slopes.length >> 1;
  return slopes.length % 2 === 1
    ? (slopes[middle] as number)
    : ((slopes[middle - 1] as number) + (slopes[middle] as number)) / 2;
}
