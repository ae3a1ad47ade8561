/** From readings of every label to a row: values with intervals, and paired differences with theirs.
 *
 * The error of a difference has three parts. Stars: the scatter of the difference over bootstrap draws; where both labels' draws hold the
 * same stars, what is special to the stars (colour, companions, place in the field) cancels. Frames: with two or more frames
 * of a label, the standard error of the mean of its frames' values (air and guiding change from frame to frame), which is
 * nearly independent between labels; with one frame it cannot be known and is taken as none. Method: the systematic errors of
 * systematics.ts, taken as independent between labels (they follow sampling and noise), but for those that come from the sky
 * they share.
 */
import { drawnGroups, smallSampleFactor, studentInflation } from '../measure/bootstrap.js';
import type { Uncertain } from '../measure/result.js';
import { widen } from '../measure/systematics.js';
import { halfWidth, plusMinus, scaled, uncertain } from '../measure/uncertain.js';
import { createRandom } from '../stats/random.js';
import { interval68, medianOf, standardDeviation } from '../stats/robust.js';
import { studentTwoSided } from '../stats/student.js';
import type { LabelData } from './label.js';
import {
  type BetterWhen,
  type ComparisonRow,
  NO_DIFFERENCE,
  NOT_COMPARABLE,
  type PairDifference,
  type RowGroup,
  type RowScope,
} from './result.js';

/** One label's reading of a quantity. */
export interface Reading {
  value: number;
  /** Draw d of every label holds the same stars where the row is paired. */
  draws: ArrayLike<number>;
  /** 1 σ from the stars, where there are no draws. */
  sigma?: number;
  /** The quantity cannot be smaller. */
  least?: number;
  /** Stars that the draws are made of. */
  stars: number;
  /** 1 σ that more stars do not lessen, in the row's unit. */
  systematic: number;
  /** The part of it that another telescope shows alike, since it comes from the sky: it counts for the value, not for the difference. */
  shared?: number;
  /** The value of every frame. */
  frames: readonly number[];
}

/** What a row is about. */
export interface RowSpec {
  quantity: string;
  group: RowGroup;
  scope: RowScope;
  unit: string;
  betterWhen: BetterWhen;
}

/** σ of the starred part of a difference, where it does not come from draws. */
export type PairSigma = (first: number, second: number) => number;

/** A value within this many half-intervals of zero is no base for per cent. */
const BASE_SIGMA = 3;

/**
 * Reading of a number that every star has: the median (or another statistic) over the listed stars of the mean over the frames, with a
 * bootstrap over the stars (Efron 1979, Annals of Statistics 7, 1). The same seed and number of stars draw the same stars.
 * @param frames one column per frame, indexed by star
 */
export function resampled(
  frames: readonly ArrayLike<number>[],
  stars: readonly number[],
  draws: number,
  seed: number,
  systematic: number,
  statistic: (values: Float64Array) => number = medianOf,
): Reading {
  const n = stars.length;
  const columns = frames.map((column) => Float64Array.from(stars, (k) => column[k] as number));
  const mean = Float64Array.from(
    { length: n },
    (_, i) => columns.reduce((sum, column) => sum + (column[i] as number), 0) / columns.length,
  );
  const random = createRandom(seed);
  const picked = new Float64Array(n);
  return {
    value: statistic(mean),
    draws: Float64Array.from({ length: draws }, () => {
      for (let i = 0; i < n; i++) picked[i] = mean[Math.floor(random() * n)] as number;
      return statistic(picked);
    }),
    stars: n,
    systematic,
    frames: columns.map((column) => statistic(column)),
  };
}

/** Standard error of the mean of the frames' values; 0 with one frame. */
function frameError({ frames }: Reading): number {
  const usable = frames.filter((value) => Number.isFinite(value));
  return usable.length < 2 ? 0 : standardDeviation(usable) / Math.sqrt(usable.length);
}

/** The value with its interval. */
export function uncertainOf(reading: Reading): Uncertain | null {
  const value =
    reading.sigma === undefined
      ? uncertain(reading.value, reading.draws, smallSampleFactor(reading.stars))
      : plusMinus(reading.value, reading.sigma);
  // A few frames show too little of their own scatter, as a few stars do.
  const frames =
    reading.frames.length < 2
      ? 0
      : frameError(reading) * studentInflation(reading.frames.length - 1);
  const wide = widen(widen(value, reading.systematic), frames);
  return wide === null || reading.least === undefined
    ? wide
    : { ...wide, low: Math.max(reading.least, wide.low) };
}

/**
 * A row from one reading per label, in the order of `labels`; null = not measured there.
 * @param reason why some are not measured, or null
 * @param pairSigma σ of the difference from stars, when it is not to come from the draws
 */
export function makeRow(
  spec: RowSpec,
  labels: readonly Pick<LabelData, 'label'>[],
  readings: readonly (Reading | null)[],
  stars: number,
  reason: string | null = null,
  pairSigma?: PairSigma,
): ComparisonRow {
  const values: ComparisonRow['values'] = {};
  labels.forEach(({ label }, l) => {
    const reading = readings[l] ?? null;
    values[label] = reading === null ? null : uncertainOf(reading);
  });
  const pairs: PairDifference[] = [];
  for (let i = 0; i < labels.length; i++) {
    for (let j = i + 1; j < labels.length; j++) {
      const [a, b] = [readings[i] ?? null, readings[j] ?? null];
      const [one, two] = [labels[i], labels[j]] as [LabelData, LabelData];
      if (a === null || b === null) continue;
      if (values[one.label] === null || values[two.label] === null) continue;
      const given =
        pairSigma?.(i, j) ??
        (a.sigma === undefined || b.sigma === undefined
          ? undefined
          : Math.sqrt(a.sigma ** 2 + b.sigma ** 2));
      const pair = pairOf(spec, a, b, given);
      if (pair === null) continue;
      const base = values[two.label] as Uncertain;
      const safe = Math.abs(base.value) > BASE_SIGMA * halfWidth(base);
      pairs.push({
        first: one.label,
        second: two.label,
        difference: pair.difference,
        differencePercent: safe ? scaled(pair.difference, 100 / Math.abs(base.value)) : null,
        pValue: pair.pValue,
        adjustedPValue: 1,
        better: null,
      });
    }
  }
  const comparable = pairs.length > 0;
  return {
    ...spec,
    values,
    difference: null,
    differenceOf: null,
    pairs,
    verdict: comparable ? NO_DIFFERENCE : NOT_COMPARABLE,
    confidence: null,
    stars,
    reason: comparable ? reason : (reason ?? 'measured in fewer than two of the telescopes'),
    caveats: [],
  };
}

/** First minus second with its interval and p; of the magnitudes where nearer zero is better. Null when nothing can be said. */
export function pairOf(
  { betterWhen }: Pick<RowSpec, 'betterWhen'>,
  a: Reading,
  b: Reading,
  starSigma?: number,
): { difference: Uncertain; pValue: number; sigma: number } | null {
  // |a| − |b| with the signs of the values: near zero the absolute value of a draw would be pushed away from it by its own noise.
  const signA = betterWhen === 'nearer zero' && a.value < 0 ? -1 : 1;
  const signB = betterWhen === 'nearer zero' && b.value < 0 ? -1 : 1;
  const value = signA * a.value - signB * b.value;
  const n = Math.min(a.draws.length, b.draws.length);
  const draws = Float64Array.from(
    { length: n },
    (_, d) => signA * (a.draws[d] as number) - signB * (b.draws[d] as number),
  );
  const stars = Math.min(a.stars, b.stars);
  let difference: Uncertain | null;
  let sigma: number;
  if (starSigma === undefined) {
    difference = uncertain(value, draws, smallSampleFactor(stars));
    const groups = drawnGroups(stars);
    const [low, high] = interval68(draws);
    sigma = 0.5 * (high - low) * Math.sqrt(groups / (groups - 1));
  } else {
    difference = plusMinus(value, starSigma);
    sigma = starSigma;
  }
  if (difference === null || !Number.isFinite(value)) return null;
  const method = Math.sqrt(ownSquare(a) + ownSquare(b));
  const frames = [a, b].map(frameError) as [number, number];
  const counts = [a.frames.length, b.frames.length] as [number, number];
  const parts: [number, number][] = [
    [sigma, starSigma === undefined ? drawnGroups(stars) - 1 : Number.POSITIVE_INFINITY],
    [method, Number.POSITIVE_INFINITY],
    [frames[0], counts[0] - 1],
    [frames[1], counts[1] - 1],
  ];
  const { total, freedom } = combine(parts);
  const widened = widen(
    difference,
    Math.sqrt(
      method ** 2 +
        frames.reduce(
          (sum, error, k) =>
            sum + (error === 0 ? 0 : (error * studentInflation((counts[k] as number) - 1)) ** 2),
          0,
        ),
    ),
  );
  if (widened === null) return null;
  const pValue = total > 0 ? studentTwoSided(value / total, freedom) : value === 0 ? 1 : 0;
  return { difference: widened, pValue, sigma: total };
}

/** Square of the systematic error that another telescope does not share. */
function ownSquare({ systematic, shared = 0 }: Reading): number {
  return Math.max(0, systematic ** 2 - shared ** 2);
}

/** Errors in quadrature, and their degrees of freedom together (Satterthwaite 1946, Biometrics Bulletin 2, 110). */
function combine(parts: readonly [sigma: number, freedom: number][]): {
  total: number;
  freedom: number;
} {
  let variance = 0;
  let weight = 0;
  for (const [sigma, freedom] of parts) {
    variance += sigma ** 2;
    if (sigma > 0 && freedom > 0) weight += sigma ** 4 / freedom;
  }
  return {
    total: Math.sqrt(variance),
    freedom: weight > 0 ? variance ** 2 / weight : Number.POSITIVE_INFINITY,
  };
}
