/** Robust location and scale: of pixel samples (in place, Float32Array) and of short lists of star values. */
import { medianInPlace } from './select.js';

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
 * @param data samples without NaN; reordered and compacted
 * @param n number of samples
 * @param out receives [location, noise, samples left]; NaN, NaN, 0 when n = 0
 */
export function clippedSky(data: Float32Array, n: number, out: Float64Array): void {
  let count = n;
  let median = medianInPlace(data, count);
  // First cut: a scale that bright stars cannot inflate, the spread of the samples below the median.
  let squares = 0;
  let below = 0;
  for (let i = 0; i < count; i++) {
    const d = median - (data[i] as number);
    if (d >= 0) {
      squares += d * d;
      below++;
    }
  }
  let sigma = Math.sqrt(squares / Math.max(1, below));
  let centre = median;
  let mean = median;
  for (let round = 0; round < MAX_CLIP_ROUNDS && count > 0; round++) {
    const low = centre - 3 * sigma;
    const high = centre + 3 * sigma;
    let kept = 0;
    let sum = 0;
    let sumSquares = 0;
    for (let i = 0; i < count; i++) {
      const value = data[i] as number;
      if (value >= low && value <= high) {
        data[kept++] = value;
        // Relative to the first median: no loss of digits on a high pedestal.
        const d = value - median;
        sum += d;
        sumSquares += d * d;
      }
    }
    const offset = sum / kept;
    mean = median + offset;
    sigma = Math.sqrt(Math.max(0, sumSquares / kept - offset * offset)) / TRUNCATED_3_SIGMA;
    const unchanged = kept === count && round > 0;
    count = kept;
    // Later cuts go round the mean of what is left: close to the median by now, and much cheaper.
    centre = mean;
    if (unchanged || sigma === 0) break;
  }
  median = medianInPlace(data, count);
  out[0] =
    !(sigma > 0) || Math.abs(mean - median) >= 0.3 * sigma ? median : 2.5 * median - 1.5 * mean;
  out[1] = sigma;
  out[2] = count;
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
 * Mean after clipping at `limit` σ around the median until nothing changes; `data[0 … n − 1]` is reordered and compacted.
 * Steadier than the mode of `clippedSky` where contamination is already modelled. out: [mean, σ, samples left].
 */
export function clippedMean(data: Float32Array, n: number, limit: number, out: Float64Array): void {
  let count = n;
  let mean = medianInPlace(data, count);
  let sigma = Number.NaN;
  for (let round = 0; round < MAX_CLIP_ROUNDS && count > 0; round++) {
    const reference = mean;
    let sum = 0;
    let squares = 0;
    for (let i = 0; i < count; i++) {
      const d = (data[i] as number) - reference;
      sum += d;
      squares += d * d;
    }
    mean = reference + sum / count;
    sigma = Math.sqrt(Math.max(0, squares / count - (sum / count) ** 2));
    // The first cut is made around the median, which outliers cannot pull.
    const centre = round === 0 ? reference : mean;
    let kept = 0;
    for (let i = 0; i < count; i++) {
      const value = data[i] as number;
      if (Math.abs(value - centre) <= limit * sigma) data[kept++] = value;
    }
    if (kept === count || kept === 0) break;
    count = kept;
  }
  out[0] = mean;
  out[1] = sigma;
  out[2] = count;
}
