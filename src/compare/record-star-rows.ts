/** Rows of records that are paired star by star: sizes, roundness, headroom, depth, from the columns of the star catalogues. */

import type { FrameResult } from '../measure/result.js';
import { sizeError } from '../measure/systematics.js';
import { createRandom } from '../stats/random.js';
import { madSigma, medianOf } from '../stats/robust.js';
import type { CompareOptions } from './options.js';
import type { Reading } from './readings.js';
import type { LaidFrame, LaidLabel, RecordCommon } from './record-common.js';
import { squaredEllipticity } from './record-field-rows.js';
import { columnOf } from './record-label.js';
import { COLOURS, recordRow, spec } from './record-rows.js';
import type { ComparisonRow } from './result.js';

const FEWEST = 5;
const MOST_FAINT = 400;
/** Errors that more stars do not lessen: as in the rows from frames. */
const ELLIPTICITY_ERROR = 0.003;
const DEPTH_ERROR = 0.02;
const HEADROOM_ERROR = 0.02;
const OUTLIER_SIGMA = 6;

export function recordStarRows(data: RecordCommon, options: CompareOptions): ComparisonRow[] {
  return [
    ...starSizeRows(data, options),
    ellipticityRow(data, options),
    headroomRow(data, options),
    ...depthRows(data, options),
  ];
}

/** A statistic over the same stars in every label, with its bootstrap: equal seeds and lists draw the same stars. */
function pairedReading(
  frames: readonly Float64Array[],
  used: readonly number[],
  statistic: (values: Float64Array) => number,
  systematic: number,
  { seed, bootstrapDraws }: CompareOptions,
): Reading {
  const n = used.length;
  const mean = Float64Array.from(
    used,
    (k) => frames.reduce((sum, column) => sum + (column[k] as number), 0) / frames.length,
  );
  const random = createRandom(seed);
  const draw = new Float64Array(n);
  return {
    value: statistic(mean),
    draws: Float64Array.from({ length: bootstrapDraws }, () => {
      for (let i = 0; i < n; i++) draw[i] = mean[Math.floor(random() * n)] as number;
      return statistic(draw);
    }),
    stars: n,
    systematic,
    frames: frames.map((column) => statistic(Float64Array.from(used, (k) => column[k] as number))),
  };
}

/** Common stars with a finite value in every frame of every label, at most `most`, the brightest first. */
function measuredIn(columns: readonly (readonly Float64Array[])[], common: number, most: number) {
  const used: number[] = [];
  for (let k = 0; k < common && used.length < most; k++) {
    const finite = columns.every((list) =>
      list.every((column) => Number.isFinite(column[k] as number)),
    );
    if (finite) used.push(k);
  }
  return used;
}

/** Values of a column for the common stars, in every frame of a label. */
function commonColumns(
  { frames }: LaidLabel,
  value: (frame: LaidFrame, row: number) => number,
): Float64Array[] {
  return frames.map((frame) => Float64Array.from(frame.common, (row) => value(frame, row)));
}

/** Median FWHM of single-star fits: not the profile's FWHM, which it falls short of where a narrow core stands on a wide skirt. */
function starSizeRows({ labels, common, unit }: RecordCommon, options: CompareOptions) {
  const allMono = labels.every(({ frames }) => frames[0].frame.reference === 'L');
  const list = allMono ? ([['L', '']] as const) : COLOURS;
  return list.map(([channel, word]) => {
    const columns = labels.map((label) =>
      commonColumns(label, (frame, i) => {
        const own = frame.frame.stars.channels.includes(channel) ? channel : 'L';
        // A camera without colour stands for green alone.
        if (own === 'L' && channel !== 'G' && channel !== 'L') return Number.NaN;
        return (columnOf(frame.frame, `fwhm_${own}`)[i] as number) * frame.unitPerPx;
      }),
    );
    const used = measuredIn(columns, common, options.maxStars);
    const enough = used.length >= FEWEST;
    const readings = columns.map((frames, l) => {
      if (!enough) return null;
      const one = pairedReading(frames, used, medianOf, 0, options);
      const fwhmPx = one.value / (labels[l] as LaidLabel).unitPerPx;
      return { ...one, systematic: sizeError('fwhm', false, fwhmPx) * one.value };
    });
    return recordRow(
      spec(`fwhm ${word}`.trim().concat(', single stars'), 'size', 'same stars', unit, 'smaller'),
      labels,
      readings,
      used.length,
      enough ? null : `only ${used.length} common stars have a size there`,
    );
  });
}

/** Root of the mean squared ellipticity, noise taken off. */
function ellipticityRow({ labels, common }: RecordCommon, options: CompareOptions) {
  const columns = labels.map((label) => {
    const squared = new Map(label.frames.map((one) => [one, squaredEllipticity(one.frame)]));
    return commonColumns(label, (one, i) => squared.get(one)?.[i] ?? Number.NaN);
  });
  const limits = columns.map((frames) => {
    const all = Float64Array.from(frames.flatMap((column) => [...column])).filter(Number.isFinite);
    const median = medianOf(all);
    return median + OUTLIER_SIGMA * Math.max(1e-4, madSigma(all, median));
  });
  const used = measuredIn(columns, common, options.maxStars).filter((k) =>
    columns.every((frames, l) =>
      frames.every((column) => (column[k] as number) <= (limits[l] as number)),
    ),
  );
  const enough = used.length >= FEWEST;
  const root = (values: Float64Array): number =>
    Math.sqrt(Math.max(0, values.reduce((sum, v) => sum + v, 0) / values.length));
  return recordRow(
    spec('ellipticity', 'shape', 'same stars', '', 'nearer zero'),
    labels,
    columns.map((frames) =>
      enough
        ? { ...pairedReading(frames, used, root, ELLIPTICITY_ERROR, options), least: 0 }
        : null,
    ),
    used.length,
    enough ? null : `only ${used.length} stars have a measured shape in all frames`,
  );
}

/** Magnitudes from the highest sample of a star up to the clipping level: the least over the channels. */
function headroomRow({ labels, common }: RecordCommon, options: CompareOptions) {
  const columns = labels.map((label) =>
    commonColumns(label, ({ frame }, i) => {
      const level = frame.result.stars?.saturationAdu ?? Number.NaN;
      let least = Number.POSITIVE_INFINITY;
      for (const channel of frame.stars.channels) {
        const sky = columnOf(frame, `background_${channel}`)[i] as number;
        const peak = columnOf(frame, `peak_${channel}`)[i] as number;
        least = Math.min(least, 2.5 * Math.log10((level - sky) / peak));
      }
      return least;
    }),
  );
  const unknown = labels.filter((_, l) =>
    columns[l]?.some((column) => column.every((v) => !Number.isFinite(v))),
  );
  const used = measuredIn(columns, common, options.maxStars);
  const enough = used.length >= FEWEST;
  return recordRow(
    spec('saturation headroom', 'light', 'same stars', 'mag', 'larger'),
    labels,
    columns.map((frames) =>
      enough ? pairedReading(frames, used, medianOf, HEADROOM_ERROR, options) : null,
    ),
    used.length,
    enough
      ? null
      : unknown.length > 0
        ? `the level at which stars clip is not known for ${unknown.map(({ label }) => label.label).join(', ')}`
        : 'too few common stars',
  );
}

/** What the fainter half of the common stars says of the limit at equal signal-to-noise, against the first label. */
function depthRows({ labels, common }: RecordCommon, options: CompareOptions): ComparisonRow[] {
  const snr = labels.map((label) =>
    commonColumns(label, ({ frame }, i) => 2.5 * Math.log10(columnOf(frame, 'snr')[i] as number)),
  );
  const mean = (frames: readonly Float64Array[], k: number): number =>
    frames.reduce((sum, column) => sum + (column[k] as number), 0) / frames.length;
  const all = measuredIn(snr, common, Number.POSITIVE_INFINITY);
  const brightness = new Map(
    all.map((k) => [k, snr.reduce((sum, frames) => sum + mean(frames, k), 0)]),
  );
  const faint = [...all]
    .sort((a, b) => (brightness.get(a) as number) - (brightness.get(b) as number) || a - b)
    .slice(0, Math.min(MOST_FAINT, Math.max(FEWEST, Math.ceil(all.length / 2))))
    .sort((a, b) => a - b);
  const enough = faint.length >= FEWEST;
  const first = snr[0] as Float64Array[];
  const depth = snr.map((frames, l): Reading | null => {
    if (!enough) return null;
    const against = frames.map((column) => column.map((v, k) => v - mean(first, k)));
    const one = pairedReading(against, faint, medianOf, DEPTH_ERROR, options);
    // The first telescope is the zero point.
    return l === 0
      ? { ...one, value: 0, draws: new Float64Array(options.bootstrapDraws), systematic: 0 }
      : one;
  });
  const per = (
    quantity: string,
    amount: (metadata: NonNullable<FrameResult['metadata']>) => number | null,
    what: string,
  ): ComparisonRow => {
    const amounts = labels.map(({ frames }) => {
      const { metadata } = frames[0].frame.result;
      return metadata === null ? null : amount(metadata);
    });
    const unknown = labels.filter((_, l) => !((amounts[l] ?? 0) > 0));
    const readings = depth.map((one, l): Reading | null => {
      if (one === null || unknown.length > 0) return null;
      // Where the sky is the noise, signal-to-noise grows with the root of time and of area.
      const off = 1.25 * Math.log10((amounts[l] as number) / (amounts[0] as number));
      return {
        ...one,
        value: one.value - off,
        draws: Array.from(one.draws, (v) => v - off),
        frames: one.frames.map((v) => v - off),
      };
    });
    const missing =
      unknown.length > 0
        ? `${what} not known for ${unknown.map(({ label }) => label.label).join(', ')}`
        : null;
    const row = spec(quantity, 'depth', 'same stars', 'mag', 'larger');
    return recordRow(row, labels, readings, faint.length, few ?? missing);
  };
  const few = enough ? null : `only ${faint.length} faint common stars`;
  return [
    recordRow(
      spec('depth', 'depth', 'same stars', 'mag', 'larger'),
      labels,
      depth,
      faint.length,
      few,
    ),
    per('depth per second', ({ exposureSeconds }) => exposureSeconds, 'exposure time'),
    per(
      'depth per second and cm²',
      ({ exposureSeconds, apertureMm }) =>
        exposureSeconds === null || apertureMm === null ? null : exposureSeconds * apertureMm ** 2,
      'exposure time or aperture',
    ),
  ];
}
