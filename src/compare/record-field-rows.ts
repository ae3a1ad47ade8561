/** Rows of records about the field: growth towards the edge, elongation in the corners, lateral colour. Parts of the field as in rows-stars.ts. */
import { halfWidth } from '../measure/uncertain.js';
import { createRandom } from '../stats/random.js';
import { madSigma, medianOf } from '../stats/robust.js';
import type { CompareOptions } from './options.js';
import type { Reading } from './readings.js';
import type { LaidLabel, RecordCommon } from './record-common.js';
import { columnOf, isGood, type RecordFrame } from './record-label.js';
import { recordRow, spec } from './record-rows.js';
import type { ComparisonRow } from './result.js';

/** Inner and outer part of a field, and its corners, as shares of the half diagonal. */
const INNER = 1 / 3;
const OUTER = 2 / 3;
const CORNER = 0.7;
const FEWEST = 5;
const OUTLIER_SIGMA = 6;
/** What sampling and the model of the fit add, 1 σ: to a growth, per cent; to an ellipticity. */
const GROWTH_ERROR = 0.5;
const ELLIPTICITY_ERROR = 0.003;

export function recordFieldRows(data: RecordCommon, options: CompareOptions): ComparisonRow[] {
  return [
    commonGrowthRow(data, options),
    ownGrowthRow(data, options),
    ownCornersRow(data, options),
    lateralRow(data),
  ];
}

/** Distance of every common star from their middle, over that of the farthest; and that distance in px of the first frame. */
export function commonDistances({ labels: [first] }: RecordCommon): {
  share: Float64Array;
  farthestPx: number;
} {
  const [base] = (first as LaidLabel).frames;
  const place = (axis: 'x' | 'y'): Float64Array => {
    const column = columnOf(base.frame, axis);
    return Float64Array.from(base.common, (i) => column[i] as number);
  };
  const [x, y] = [place('x'), place('y')];
  const middle = (list: Float64Array): number => (Math.min(...list) + Math.max(...list)) / 2;
  const [x0, y0] = [middle(x), middle(y)];
  const radius = x.map((v, k) => Math.sqrt((v - x0) ** 2 + ((y[k] as number) - y0) ** 2));
  const farthestPx = Math.max(...radius);
  return { share: radius.map((r) => r / farthestPx), farthestPx };
}

/** Outer over inner median less 1, per cent, with a bootstrap in each part; the same seed and counts draw the same stars. */
function growthReading(
  inner: Float64Array,
  outer: Float64Array,
  { seed, bootstrapDraws }: CompareOptions,
): Reading {
  const random = createRandom(seed + 41);
  const picked = (from: Float64Array): Float64Array =>
    from.map(() => from[Math.floor(random() * from.length)] as number);
  const growth = (a: Float64Array, b: Float64Array): number =>
    100 * (medianOf(b) / medianOf(a) - 1);
  return {
    value: growth(inner, outer),
    draws: Float64Array.from({ length: bootstrapDraws }, () =>
      growth(picked(inner), picked(outer)),
    ),
    stars: inner.length + outer.length,
    systematic: GROWTH_ERROR,
    frames: [],
  };
}

/** Mean size of the common stars over the frames of a label, in the angular unit. */
function commonSizes({ frames }: LaidLabel, common: number): Float64Array {
  const columns = frames.map(({ frame }) => columnOf(frame, `fwhm_${frame.reference}`));
  return Float64Array.from(
    { length: common },
    (_, k) =>
      frames.reduce(
        (sum, { common: rows, unitPerPx }, f) =>
          sum + (columns[f]?.[rows[k] as number] ?? Number.NaN) * unitPerPx,
        0,
      ) / frames.length,
  );
}

function commonGrowthRow(data: RecordCommon, options: CompareOptions): ComparisonRow {
  const { share } = commonDistances(data);
  const sizes = data.labels.map((label) => commonSizes(label, data.common));
  const all = Array.from({ length: data.common }, (_, k) => k).filter((k) =>
    sizes.every((column) => Number.isFinite(column[k] as number)),
  );
  const inner = all.filter((k) => (share[k] as number) < INNER);
  const outer = all.filter((k) => (share[k] as number) > OUTER);
  const enough = Math.min(inner.length, outer.length) >= FEWEST;
  const of = (column: Float64Array, list: readonly number[]): Float64Array =>
    Float64Array.from(list, (k) => column[k] as number);
  return recordRow(
    spec('growth centre to corner (common field)', 'field', 'same stars', '%', 'nearer zero'),
    data.labels,
    sizes.map((column) =>
      enough ? growthReading(of(column, inner), of(column, outer), options) : null,
    ),
    inner.length + outer.length,
    enough ? null : 'too few common stars in the middle or at the edge',
  );
}

/** Good stars of a frame with their distance from its middle over the half diagonal. */
function ownStars(frame: RecordFrame): { row: number; share: number }[] {
  const { width, height } = frame.result;
  const [x, y] = [columnOf(frame, 'x'), columnOf(frame, 'y')];
  const [x0, y0] = [((width ?? 0) - 1) / 2, ((height ?? 0) - 1) / 2];
  const half = Math.sqrt(x0 * x0 + y0 * y0);
  const good = isGood(frame);
  const out: { row: number; share: number }[] = [];
  for (let i = 0; i < frame.stars.length; i++) {
    if (!good(i)) continue;
    const distance = Math.sqrt(((x[i] as number) - x0) ** 2 + ((y[i] as number) - y0) ** 2);
    out.push({ row: i, share: distance / half });
  }
  return out;
}

/** Of the reference frame alone: a second frame of the same field adds little. */
function ownGrowthRow(data: RecordCommon, options: CompareOptions): ComparisonRow {
  const few: string[] = [];
  const readings = data.labels.map(({ label, frames: [{ frame }] }): Reading | null => {
    const fwhm = columnOf(frame, `fwhm_${frame.reference}`);
    const stars = ownStars(frame).filter(({ row }) => Number.isFinite(fwhm[row]));
    const of = (test: (share: number) => boolean): Float64Array =>
      Float64Array.from(
        stars.filter(({ share }) => test(share)),
        ({ row }) => fwhm[row] as number,
      );
    const [inner, outer] = [of((s) => s < INNER), of((s) => s > OUTER)];
    if (Math.min(inner.length, outer.length) >= FEWEST) return growthReading(inner, outer, options);
    few.push(label.label);
    return null;
  });
  return recordRow(
    spec('growth centre to corner (own field)', 'field', 'own field', '%', 'nearer zero'),
    data.labels,
    independent(readings),
    Math.max(0, ...readings.map((reading) => reading?.stars ?? 0)),
    few.length > 0 ? `too few stars in the middle or the corners of ${few.join(', ')}` : null,
  );
}

/** Other stars in every label: draws must not be taken for paired ones. */
function independent(readings: readonly (Reading | null)[]): (Reading | null)[] {
  return readings.map((reading) => {
    if (reading === null) return null;
    const { draws, value } = reading;
    const square = Array.from(draws).reduce((sum, v) => sum + (v - value) ** 2, 0) / draws.length;
    return { ...reading, draws: [], sigma: Math.sqrt(square) };
  });
}

function ownCornersRow(
  data: RecordCommon,
  { seed, bootstrapDraws }: CompareOptions,
): ComparisonRow {
  const few: string[] = [];
  const readings = data.labels.map(({ label, frames: [{ frame }] }): Reading | null => {
    const squared = squaredEllipticity(frame);
    const corner = ownStars(frame)
      .filter(({ row, share }) => share > CORNER && Number.isFinite(squared[row]))
      .map(({ row }) => squared[row] as number);
    const median = medianOf(Float64Array.from(corner));
    const limit = median + OUTLIER_SIGMA * Math.max(1e-4, madSigma(corner, median));
    const values = Float64Array.from(corner.filter((v) => v <= limit));
    if (values.length < FEWEST) {
      few.push(label.label);
      return null;
    }
    const root = (list: Float64Array): number =>
      Math.sqrt(Math.max(0, list.reduce((sum, v) => sum + v, 0) / list.length));
    const random = createRandom(seed + 43);
    return {
      value: root(values),
      draws: Float64Array.from({ length: bootstrapDraws }, () =>
        root(values.map(() => values[Math.floor(random() * values.length)] as number)),
      ),
      stars: values.length,
      systematic: ELLIPTICITY_ERROR,
      least: 0,
      frames: [],
    };
  });
  return recordRow(
    spec('ellipticity in the corners (own field)', 'field', 'own field', '', 'nearer zero'),
    data.labels,
    independent(readings),
    Math.max(0, ...readings.map((reading) => reading?.stars ?? 0)),
    few.length > 0 ? `too few stars in the corners of ${few.join(', ')}` : null,
  );
}

/**
 * e² of every star less what noise adds. The catalogue holds no error of e; that of ln FWHM stands for it: in a fit of an elliptical
 * Gaussian with errors σ of ln a and ln b, ln √(ab) has σ/√2, and so has each component of e ≈ ½ ln(a/b).
 */
export function squaredEllipticity(frame: RecordFrame): Float64Array {
  const of = (name: string): Float64Array => columnOf(frame, `${name}_${frame.reference}`);
  const [e1, e2, fwhm, error] = [of('e1'), of('e2'), of('fwhm'), of('fwhm_err')];
  return e1.map((v, i) => {
    const relative = (error[i] as number) / (fwhm[i] as number);
    return v * v + (e2[i] as number) ** 2 - 2 * relative * relative;
  });
}

/** Radial part of blue minus red of each record, at the distance of the farthest common star. */
function lateralRow(data: RecordCommon): ComparisonRow {
  const { labels } = data;
  const edge = commonDistances(data).farthestPx * (labels[0] as LaidLabel).unitPerPx;
  const without: string[] = [];
  const readings = labels.map(({ label, frames }): Reading | null => {
    const values: number[] = [];
    let variance = 0;
    for (const { frame, unitPerPx } of frames) {
      const { lateralColour, width, height } = frame.result;
      const half = 0.5 * Math.sqrt((width ?? 0) ** 2 + (height ?? 0) ** 2);
      const sigma = lateralColour === null ? Number.NaN : halfWidth(lateralColour.atCornerPx);
      if (lateralColour === null || !Number.isFinite(sigma)) {
        without.push(label.label);
        return null;
      }
      // Linear in the distance: the share of the own corner's shift, px over px, times the edge.
      const factor = edge / (half * unitPerPx);
      values.push(lateralColour.atCornerPx.value * unitPerPx * factor);
      variance += (sigma * unitPerPx * factor) ** 2;
    }
    const n = values.length;
    return {
      value: values.reduce((sum, v) => sum + v, 0) / n,
      draws: [],
      sigma: Math.sqrt(variance) / n,
      stars: Math.min(...frames.map(({ frame }) => frame.result.stars?.used ?? 0)),
      systematic: 0,
      least: 0,
      frames: values,
    };
  });
  return recordRow(
    spec('lateral colour', 'field', 'own field', data.unit, 'nearer zero'),
    labels,
    readings,
    Math.min(...readings.map((reading) => reading?.stars ?? 0)),
    without.length > 0 ? `not measured in ${[...new Set(without)].join(', ')}` : null,
  );
}
