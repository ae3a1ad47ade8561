/** Robust location and scale: of pixel samples (in place, Float32Array) and of short lists of star values. */
import { createKernels, type Kernels } from '../simd/kernels.js';

/** σ of a normal distribution per median absolute deviation: 1 / Φ⁻¹(0.75). */
export const MAD_TO_SIGMA = 1.482602218505602;

/** Standard deviation of a unit normal cut at ±3 σ: √(1 − 6 φ(3) / (2 Φ(3) − 1)). */
const TRUNCATED_3_SIGMA = 0.986578;

const MAX_CLIP_ROUNDS = 8;

/**
 * Location and noise of the sky among samples that also hold stars, by clipping at 3 σ around the median until nothing changes.
 *
 * Location is the mode estimate 2.5 median − 1.5 mean where the clipped samples are only mildly skewed (|mean − median| < 0.3 σ:
 * Pearson's empirical relation with the coefficients usual for crowded sky; photon noise of 50 electrons is itself skewed and lowers
 * the estimate by 0.1 σ, of 1000 electrons by 0.03 σ), and the
 * median where they are skewed badly (|mean − median| ≥ 0.3 σ). Noise is the clipped
 * standard deviation, corrected for the cut tails.
 *
 * The samples are never moved: a cut is a narrower interval, a median a search for its value. O(n) a round.
 *
 * @param data samples without NaN; left as they are
 * @param n number of samples
 * @param out receives [location, noise, samples left]; NaN, NaN, 0 when n = 0
 */
export function clippedSky(data: Float32Array, n: number, out: Float64Array): void {
  if (n === 0) {
    out.set([Number.NaN, Number.NaN, 0]);
    return;
  }
  const work = skyMemory(n);
  const count = loadSky(work, data, n);
  let low = Number.NEGATIVE_INFINITY;
  let high = Number.POSITIVE_INFINITY;
  const first = skyMedian(work, count, low, high, n);
  // First cut: a scale that bright stars cannot inflate, the spread of the samples below the median.
  skyMoments(work, count, first, low, first);
  let sigma = Math.sqrt(work.squares / Math.max(1, work.kept));
  let centre = first;
  let mean = first;
  let kept = n;
  for (let round = 0; round < MAX_CLIP_ROUNDS; round++) {
    low = Math.max(low, centre - 3 * sigma);
    high = Math.min(high, centre + 3 * sigma);
    // Relative to the first median: no loss of digits on a high pedestal.
    skyMoments(work, count, first, low, high);
    const offset = work.sum / work.kept;
    mean = first + offset;
    sigma = Math.sqrt(Math.max(0, work.squares / work.kept - offset * offset)) / TRUNCATED_3_SIGMA;
    const unchanged = work.kept === kept && round > 0;
    kept = work.kept;
    // Later cuts go round the mean of what is left: close to the median by now, and much cheaper.
    centre = mean;
    if (unchanged || sigma === 0 || kept === 0) break;
  }
  const median = skyMedian(work, count, low, high, kept);
  out[0] =
    !(sigma > 0) || Math.abs(mean - median) >= 0.3 * sigma ? median : 2.5 * median - 1.5 * mean;
  out[1] = sigma;
  out[2] = kept;
}

/** Samples under the kernels, and what the last call of `skyMoments` found. */
interface SkyMemory {
  kernels: Kernels;
  values: Float32Array;
  results: Float64Array;
  sum: number;
  squares: number;
  kept: number;
}

/** Bytes before the samples: three doubles. */
const RESULT_BYTES = 32;

let memory: SkyMemory | null = null;

/** Room for n samples: made once, larger when needed. */
function skyMemory(n: number): SkyMemory {
  if (memory && memory.values.length >= n + 4) return memory;
  const capacity = Math.max(4096, 2 * n);
  const kernels = createKernels(RESULT_BYTES + 4 * capacity);
  memory = {
    kernels,
    values: new Float32Array(kernels.buffer, RESULT_BYTES, capacity),
    results: new Float64Array(kernels.buffer, 0, 3),
    sum: 0,
    squares: 0,
    kept: 0,
  };
  return memory;
}

/** Copies the samples; returns their number up to whole groups of four, where what follows the last one is no number and counts as nothing. */
function loadSky(work: SkyMemory, data: Float32Array, n: number): number {
  const count = (n + 3) & ~3;
  for (let i = 0; i < n; i++) work.values[i] = data[i] as number;
  for (let i = n; i < count; i++) work.values[i] = Number.NaN;
  return count;
}

/** Moments about `centre` of the samples in low … high. */
function skyMoments(
  work: SkyMemory,
  count: number,
  centre: number,
  low: number,
  high: number,
): void {
  work.kernels.moments(RESULT_BYTES, count, centre, low, high, 0);
  work.sum = work.results[0] as number;
  work.squares = work.results[1] as number;
  work.kept = work.results[2] as number;
}

/** Median of the `kept` samples in low … high: the mean of the middle two for an even number. */
function skyMedian(
  work: SkyMemory,
  count: number,
  low: number,
  high: number,
  kept: number,
): number {
  if (kept === 0) return Number.NaN;
  const { kernels } = work;
  let rank = kept >> 1;
  if (low > Number.NEGATIVE_INFINITY) {
    // Samples below the interval come first in rank.
    skyMoments(work, count, low, Number.NEGATIVE_INFINITY, high);
    rank += work.kept - kept;
  }
  const upper = kernels.select(RESULT_BYTES, count, rank, low, high);
  if (kept & 1) return upper;
  const lower =
    kernels.below(RESULT_BYTES, count, upper) === rank
      ? kernels.largestBelow(RESULT_BYTES, count, upper)
      : upper;
  return 0.5 * (lower + upper);
}

/** Median of a list, which stays as it is; NaN entries are left out; NaN for an empty list. */
export function medianOf(values: ArrayLike<number>): number {
  return quantileOf(values, 0.5);
}

/** Quantile by linear interpolation between order statistics (R type 7); NaN entries are left out. */
export function quantileOf(values: ArrayLike<number>, p: number): number {
  return quantileOfSorted(sortedValues(values), p);
}

/** 1.4826 × median absolute deviation from `centre`. */
export function madSigma(values: ArrayLike<number>, centre = medianOf(values)): number {
  const deviations = Float64Array.from(values, (value) => Math.abs(value - centre));
  return MAD_TO_SIGMA * medianOf(deviations);
}

/** Central 68.27 % of bootstrap draws: [low, high], by linear interpolation between order statistics; NaN entries are left out. */
export function interval68(draws: ArrayLike<number>): [number, number] {
  const sorted = sortedValues(draws);
  return [quantileOfSorted(sorted, 0.15865), quantileOfSorted(sorted, 0.84135)];
}

/** Standard deviation (n − 1) of the draws; NaN below two. */
export function standardDeviation(draws: ArrayLike<number>): number {
  const n = draws.length;
  if (n < 2) return Number.NaN;
  let sum = 0;
  for (let i = 0; i < n; i++) sum += draws[i] as number;
  const mean = sum / n;
  let squares = 0;
  for (let i = 0; i < n; i++) squares += ((draws[i] as number) - mean) ** 2;
  return Math.sqrt(squares / (n - 1));
}

function sortedValues(values: ArrayLike<number>): Float64Array {
  const copy = new Float64Array(values.length);
  let n = 0;
  for (let i = 0; i < values.length; i++) {
    const value = values[i] as number;
    if (value === value) copy[n++] = value;
  }
  return copy.subarray(0, n).sort();
}

function quantileOfSorted(sorted: Float64Array, p: number): number {
  const n = sorted.length;
  if (n === 0) return Number.NaN;
  const position = p * (n - 1);
  const i = Math.floor(position);
  const low = sorted[i] as number;
  return i + 1 >= n ? low : low + (position - i) * ((sorted[i + 1] as number) - low);
}

/**
 * Mean after clipping at `limit` σ around the median until nothing changes; `data[0 … n − 1]` is left as it is.
 * Steadier than the mode of `clippedSky` where contamination is already modelled. out: [mean, σ, samples left].
 */
export function clippedMean(data: Float32Array, n: number, limit: number, out: Float64Array): void {
  if (n === 0) {
    out.set([Number.NaN, Number.NaN, 0]);
    return;
  }
  const work = skyMemory(n);
  const count = loadSky(work, data, n);
  let low = Number.NEGATIVE_INFINITY;
  let high = Number.POSITIVE_INFINITY;
  let kept = n;
  let mean = skyMedian(work, count, low, high, n);
  let sigma = Number.NaN;
  skyMoments(work, count, mean, low, high);
  for (let round = 0; round < MAX_CLIP_ROUNDS; round++) {
    const reference = mean;
    const offset = work.sum / work.kept;
    mean = reference + offset;
    sigma = Math.sqrt(Math.max(0, work.squares / work.kept - offset * offset));
    // The first cut is made around the median, which outliers cannot pull.
    const centre = round === 0 ? reference : mean;
    low = Math.max(low, centre - limit * sigma);
    high = Math.min(high, centre + limit * sigma);
    skyMoments(work, count, mean, low, high);
    if (work.kept === kept || work.kept === 0) break;
    kept = work.kept;
  }
  out[0] = mean;
  out[1] = sigma;
  out[2] = kept;
}
