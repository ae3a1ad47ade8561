/** Rows from single-star fits: shape, growth towards the edge, lateral colour; over the common field and over each own field. */

import type { LateralShift } from '../measure/lateral.js';
import type { SearchedFrame } from '../measure/search-frame.js';
import { createRandom } from '../stats/random.js';
import { madSigma, medianOf } from '../stats/robust.js';
import type { CompareData, LabelData } from './label.js';
import type { CompareOptions } from './options.js';
import { makeRow, type Reading } from './readings.js';
import type { ComparisonRow } from './result.js';
import { type CommonShapes, fitShapes } from './star-shapes.js';

/** Inner and outer part of a field, as shares of its half diagonal. */
const INNER = 1 / 3;
const OUTER = 2 / 3;
/** Corners of an own field lie beyond this share. */
const CORNER = 0.7;
/** Fewest stars in a part. */
const FEWEST = 5;
/** Squared elongations this many robust σ above the median are companions or bad fits. */
const OUTLIER_SIGMA = 6;
/** What sampling and the model of the fit add to an elongation, 1 σ, and relative to a size's growth, per cent. */
const ELLIPTICITY_ERROR = 0.003;
const GROWTH_ERROR = 0.5;

export function starRows(
  data: CompareData,
  shapes: CommonShapes,
  options: CompareOptions,
): ComparisonRow[] {
  return [
    ellipticityRow(data, shapes, options),
    commonGrowthRow(data, shapes, options),
    lateralRow(data),
    ownGrowthRow(data, options),
    ownCornersRow(data, options),
  ];
}

/** Picks of a bootstrap: `draws` times `n` positions below n. The same seed and n give the same stars. */
function picksOf(n: number, draws: number, seed: number): Int32Array {
  const random = createRandom(seed);
  return Int32Array.from({ length: n * draws }, () => Math.floor(random() * n));
}

/** A statistic of each draw: `at` holds the picked positions. */
function drawsOf(
  picks: Int32Array,
  n: number,
  statistic: (at: Int32Array) => number,
): Float64Array {
  return Float64Array.from({ length: n === 0 ? 0 : picks.length / n }, (_, d) =>
    statistic(picks.subarray(d * n, (d + 1) * n)),
  );
}

/**
 * Root of the mean squared ellipticity, noise taken off: unlike the mean of the components (which `measure` gives as the frame's
 * ellipticity), it also sees elongation that points another way in every corner. The same stars in every label.
 */
function ellipticityRow(
  data: CompareData,
  shapes: CommonShapes,
  { maxStars, seed, bootstrapDraws }: CompareOptions,
): ComparisonRow {
  const limits = shapes.labels.map(({ squared }) => outlierLimit(squared));
  const used: number[] = [];
  for (let k = 0; k < data.common && used.length < maxStars; k++) {
    if (shapes.labels.every(({ squared }, l) => (squared[k] as number) <= (limits[l] as number))) {
      used.push(k);
    }
  }
  const picks = picksOf(used.length, bootstrapDraws, seed + 31);
  const readings = shapes.labels.map((label): Reading | null => {
    if (used.length < FEWEST) return null;
    const of = (squared: Float64Array, at: ArrayLike<number>): number =>
      rootMean(squared, at, used);
    const every = used.map((_, k) => k);
    return {
      value: of(label.squared, every),
      draws: drawsOf(picks, used.length, (at) => of(label.squared, at)),
      stars: used.length,
      systematic: ELLIPTICITY_ERROR,
      least: 0,
      frames: label.frames.map(({ squared }) => of(squared, every)),
    };
  });
  return makeRow(
    {
      quantity: 'ellipticity',
      group: 'shape',
      scope: 'same stars',
      unit: '',
      betterWhen: 'nearer zero',
    },
    data.labels,
    readings,
    used.length,
    used.length < FEWEST ? `only ${used.length} stars have a measured shape in all frames` : null,
  );
}

function outlierLimit(squared: ArrayLike<number>): number {
  const median = medianOf(squared);
  return median + OUTLIER_SIGMA * Math.max(1e-4, madSigma(squared, median));
}

function rootMean(squared: Float64Array, at: ArrayLike<number>, used: readonly number[]): number {
  let sum = 0;
  for (let i = 0; i < at.length; i++) sum += squared[used[at[i] as number] as number] as number;
  return Math.sqrt(Math.max(0, sum / at.length));
}

/** Growth in per cent from picks among the inner and the outer stars. */
function growth(
  fwhm: Float64Array,
  inner: readonly number[],
  outer: readonly number[],
  atInner: ArrayLike<number>,
  atOuter: ArrayLike<number>,
): number {
  const of = (list: readonly number[], at: ArrayLike<number>): number =>
    medianOf(Float64Array.from(at, (k) => fwhm[list[k] as number] as number));
  return 100 * (of(outer, atOuter) / of(inner, atInner) - 1);
}

function growthReading(
  fwhm: Float64Array,
  frames: readonly Float64Array[],
  inner: readonly number[],
  outer: readonly number[],
  draws: number,
  seed: number,
): Reading {
  const picksInner = picksOf(inner.length, draws, seed);
  const picksOuter = picksOf(outer.length, draws, seed + 1);
  const allInner = inner.map((_, k) => k);
  const allOuter = outer.map((_, k) => k);
  return {
    value: growth(fwhm, inner, outer, allInner, allOuter),
    draws: Float64Array.from({ length: draws }, (_, d) =>
      growth(
        fwhm,
        inner,
        outer,
        picksInner.subarray(d * inner.length, (d + 1) * inner.length),
        picksOuter.subarray(d * outer.length, (d + 1) * outer.length),
      ),
    ),
    stars: inner.length + outer.length,
    systematic: GROWTH_ERROR,
    frames: frames.map((one) => growth(one, inner, outer, allInner, allOuter)),
  };
}

function commonGrowthRow(
  data: CompareData,
  shapes: CommonShapes,
  { seed, bootstrapDraws }: CompareOptions,
): ComparisonRow {
  const measured = Array.from({ length: data.common }, (_, k) => k).filter((k) =>
    shapes.labels.every(({ fwhm }) => Number.isFinite(fwhm[k] as number)),
  );
  const inner = measured.filter((k) => (shapes.distance[k] as number) < INNER);
  const outer = measured.filter((k) => (shapes.distance[k] as number) > OUTER);
  const enough = Math.min(inner.length, outer.length) >= FEWEST;
  return makeRow(
    {
      quantity: 'growth centre to corner (common field)',
      group: 'field',
      scope: 'same stars',
      unit: '%',
      betterWhen: 'nearer zero',
    },
    data.labels,
    shapes.labels.map(({ fwhm, frames }) =>
      enough
        ? growthReading(
            fwhm,
            frames.map(({ fwhmPx }) => fwhmPx),
            inner,
            outer,
            bootstrapDraws,
            seed + 41,
          )
        : null,
    ),
    inner.length + outer.length,
    enough
      ? null
      : `too few common stars: ${inner.length} in the inner and ${outer.length} in the outer third of the common field`,
  );
}

/** Blue minus red shift at the edge of the common field, from the part that grows with the distance; positive = blue farther out. */
function lateralRow(data: CompareData): ComparisonRow {
  const { labels, field } = data;
  const [first] = labels as [LabelData, ...LabelData[]];
  const edge = field.halfDiagonalPx * first.unitPerPx;
  const readings = labels.map((label): Reading | null => {
    const { R, B } = label.channels;
    if (R === undefined || B === undefined) return null;
    const shifts = label.frames.map(({ profiles }) => {
      const red = profiles?.lateral[R];
      const blue = profiles?.lateral[B];
      const lit = profiles?.lit[R] === true && profiles.lit[B] === true;
      return red && blue && lit ? { red, blue } : null;
    });
    const usable = shifts.filter((one) => one !== null);
    if (usable.length < label.frames.length) return null;
    const of = (one: { red: LateralShift; blue: LateralShift }, d: number | null): number =>
      d === null
        ? edge * (one.blue.m - one.red.m)
        : edge * ((one.blue.mDraws[d] as number) - (one.red.mDraws[d] as number));
    const mean = (d: number | null): number =>
      usable.reduce((sum, one) => sum + of(one, d), 0) / usable.length;
    return {
      value: mean(null),
      draws: Float64Array.from(usable[0]?.red.mDraws ?? [], (_, d) => mean(d)),
      stars: Math.min(...usable.map(({ red, blue }) => Math.min(red.stars, blue.stars))),
      systematic: 0,
      frames: usable.map((one) => of(one, null)),
    };
  });
  const without = labels.filter((_, l) => readings[l] === null).map(({ label }) => label);
  return makeRow(
    {
      quantity: 'lateral colour',
      group: 'field',
      scope: 'same stars',
      unit: data.unit,
      betterWhen: 'nearer zero',
    },
    labels,
    readings,
    data.stars,
    data.noProfiles ??
      (without.length > 0 ? `no shift between the colours known for ${without.join(', ')}` : null),
  );
}

/** Stars of a frame by where they stand in it: distance from its middle over its half diagonal. */
function ownStarsOf(searched: SearchedFrame, own: readonly number[]): Float64Array {
  const { width, height } = searched.frame.rows;
  const half = 0.5 * Math.sqrt(width * width + height * height);
  const { x, y } = searched.found.sources;
  return Float64Array.from(
    own,
    (i) =>
      Math.sqrt(
        ((x[i] as number) - (width - 1) / 2) ** 2 + ((y[i] as number) - (height - 1) / 2) ** 2,
      ) / half,
  );
}

/** Own-field rows are read off the reference frame; different stars, so that every label draws for itself. */
function ownGrowthRow(data: CompareData, { seed, bootstrapDraws }: CompareOptions): ComparisonRow {
  const few: string[] = [];
  let stars = Number.POSITIVE_INFINITY;
  const readings = data.labels.map((label, l): Reading | null => {
    const { searched } = label.frames[0];
    const distance = ownStarsOf(searched, label.ownStars);
    const { fwhmPx } = fitShapes(searched, label.ownStars);
    const at = (test: (r: number) => boolean): number[] =>
      label.ownStars
        .map((_, k) => k)
        .filter((k) => Number.isFinite(fwhmPx[k] as number) && test(distance[k] as number));
    const inner = at((r) => r < INNER);
    const outer = at((r) => r > OUTER);
    stars = Math.min(stars, inner.length + outer.length);
    if (Math.min(inner.length, outer.length) < FEWEST) {
      few.push(label.label);
      return null;
    }
    return growthReading(fwhmPx, [], inner, outer, bootstrapDraws, seed + 1009 * (l + 1));
  });
  return makeRow(
    {
      quantity: 'growth centre to corner (own field)',
      group: 'field',
      scope: 'own field',
      unit: '%',
      betterWhen: 'nearer zero',
    },
    data.labels,
    readings,
    stars,
    few.length > 0 ? `too few stars near the middle or the corners of ${few.join(', ')}` : null,
  );
}

function ownCornersRow(data: CompareData, { seed, bootstrapDraws }: CompareOptions): ComparisonRow {
  const few: string[] = [];
  let stars = Number.POSITIVE_INFINITY;
  const readings = data.labels.map((label, l): Reading | null => {
    const { searched } = label.frames[0];
    const distance = ownStarsOf(searched, label.ownStars);
    const { squared } = fitShapes(searched, label.ownStars);
    const far = label.ownStars.map((_, k) => k).filter((k) => (distance[k] as number) > CORNER);
    const limit = outlierLimit(far.map((k) => squared[k] as number));
    const used = far.filter((k) => (squared[k] as number) <= limit);
    stars = Math.min(stars, used.length);
    if (used.length < FEWEST) {
      few.push(label.label);
      return null;
    }
    const picks = picksOf(used.length, bootstrapDraws, seed + 2003 * (l + 1));
    return {
      value: rootMean(
        squared,
        used.map((_, k) => k),
        used,
      ),
      draws: drawsOf(picks, used.length, (at) => rootMean(squared, at, used)),
      stars: used.length,
      systematic: ELLIPTICITY_ERROR,
      least: 0,
      frames: [],
    };
  });
  return makeRow(
    {
      quantity: 'ellipticity in the corners (own field)',
      group: 'field',
      scope: 'own field',
      unit: '',
      betterWhen: 'nearer zero',
    },
    data.labels,
    readings,
    stars,
    few.length > 0 ? `too few stars in the corners of ${few.join(', ')}` : null,
  );
}
