/** Rows from the numbers that each record made for itself, from its own stars: their errors are taken as independent, and they are compared only
 * when the light was counted within the same angle.
 */
import type { ChannelName, FrameResult, Uncertain } from '../measure/result.js';
import { halfWidth } from '../measure/uncertain.js';
import { makeRow, type Reading, type RowSpec } from './readings.js';
import type { LaidFrame, LaidLabel, RecordCommon } from './record-common.js';
import type { ComparisonRow } from './result.js';

export const COLOURS: readonly [ChannelName, string][] = [
  ['G', 'green'],
  ['R', 'red'],
  ['B', 'blue'],
];
/** R_max of two records that differ by less count as equal. */
const SAME_RADIUS = 0.02;

/** Rows that need the frames themselves. */
const NEEDS_PIXELS: readonly RowSpec[] = [
  spec('corner illumination', 'light', 'own field', '%', 'larger'),
  spec('stars found', 'depth', 'same stars', 'stars', 'larger'),
];

export function spec(
  quantity: string,
  group: RowSpec['group'],
  scope: RowSpec['scope'],
  unit: string,
  betterWhen: RowSpec['betterWhen'],
): RowSpec {
  return { quantity, group, scope, unit, betterWhen };
}

/** Rows from the profiles of the records, and empty ones for what needs pixels. */
export function recordProfileRows(data: RecordCommon): ComparisonRow[] {
  const without = data.labels.filter(({ label }) => !label.hasPixels);
  const names = without.map(({ label }) => label.label).join(', ');
  return [
    ...profileRows(data),
    ...NEEDS_PIXELS.map((each) =>
      recordRow(each, data.labels, [], 0, `needs the frames themselves: ${names} came as a record`),
    ),
  ];
}

/** A row from one reading per label; null = not measured. */
export function recordRow(
  row: RowSpec,
  labels: readonly LaidLabel[],
  readings: readonly (Reading | null)[],
  stars: number,
  reason: string | null,
): ComparisonRow {
  const names = labels.map(({ label }) => ({ label: label.label }));
  return makeRow(row, names, readings, stars, reason);
}

/** R_max of a record, px: the end of its reference profile. */
function radiusPx({ frame }: LaidFrame): number {
  return frame.result.channels[frame.reference]?.profile?.radiusPx.at(-1) ?? Number.NaN;
}

/** Why numbers of the profiles cannot be compared, or null. */
export function radiusDisagrees({ labels, unit }: RecordCommon): string | null {
  const radii = labels.map(({ frames }) =>
    frames.map((frame) => radiusPx(frame) * frame.unitPerPx),
  );
  const all = radii.flat();
  if (all.some((radius) => !Number.isFinite(radius))) return 'no profile in one of the records';
  const [low, high] = [Math.min(...all), Math.max(...all)];
  if (high / low <= 1 + SAME_RADIUS) return null;
  const again = labels.map(
    ({ label, frames }) => `${label.label} ${(high / frames[0].unitPerPx).toFixed(1)}`,
  );
  return `light was counted within ${low.toFixed(1)} to ${high.toFixed(1)} ${unit}, not the same for all; measure again with --halo-radius (px): ${again.join(', ')}`;
}

/** A number of every frame's record, averaged; errors of the frames are independent. */
export function recordReading(
  { frames }: LaidLabel,
  read: (result: FrameResult) => Uncertain | null | undefined,
  factor: (frame: LaidFrame) => number | null = () => 1,
): Reading | null {
  const values: number[] = [];
  let variance = 0;
  for (const frame of frames) {
    const one = read(frame.frame.result);
    const scale = factor(frame);
    if (!one || scale === null) return null;
    const sigma = halfWidth(one);
    // In a document, an end of an interval that is not known is null.
    if (one.low === null || one.high === null || !Number.isFinite(sigma)) return null;
    values.push(one.value * scale);
    variance += (sigma * scale) ** 2;
  }
  const n = values.length;
  return {
    value: values.reduce((sum, v) => sum + v, 0) / n,
    draws: [],
    sigma: Math.sqrt(variance) / n,
    stars: Math.min(...frames.map(({ frame }) => frame.result.stars?.used ?? 0)),
    systematic: 0,
    frames: values,
  };
}

function profileRows(data: RecordCommon): ComparisonRow[] {
  const { labels, unit } = data;
  const disagree = radiusDisagrees(data);
  const allMono = labels.every(({ frames }) => frames[0].frame.reference === 'L');
  const stars = Math.min(
    ...labels.flatMap(({ frames }) => frames.map(({ frame }) => frame.result.stars?.used ?? 0)),
  );
  const note = 'from each record’s own stars: not paired';
  const row = (
    each: RowSpec,
    read: (result: FrameResult) => Uncertain | null | undefined,
    factor?: (frame: LaidFrame) => number | null,
  ): ComparisonRow => {
    const readings = labels.map((label) =>
      disagree === null ? recordReading(label, read, factor) : null,
    );
    return recordRow(each, labels, readings, stars, disagree ?? note);
  };
  const rows: ComparisonRow[] = [];
  for (const key of ['fwhmPx', 'r80Px'] as const) {
    const name = key === 'fwhmPx' ? 'fwhm' : 'r80';
    const list = allMono ? ([['L', '']] as const) : COLOURS;
    for (const [channel, word] of list) {
      rows.push(
        row(
          spec(`${name} ${word}`.trim(), 'size', 'own field', unit, 'smaller'),
          ({ channels }) =>
            (channels[channel] ?? (channel === 'G' ? channels.L : undefined))?.[key],
          ({ unitPerPx }) => unitPerPx,
        ),
      );
    }
  }
  if (allMono) return rows;
  const colour = (quantity: string, rowUnit: string): RowSpec =>
    spec(quantity, 'colour', 'own field', rowUnit, 'nearer zero');
  const contrasts = [
    ['blueMinusRed', 'halo blue minus red'],
    ['blueMinusGreen', 'halo blue minus green'],
    ['redMinusGreen', 'halo red minus green'],
  ] as const;
  for (const [key, quantity] of contrasts) {
    rows.push(row(colour(quantity, '%'), ({ halo }) => halo?.[key].excessPercent));
  }
  for (const [key, quantity] of contrasts) {
    rows.push(
      row(
        colour(`${quantity} over perfect lens`, '%'),
        ({ halo }) => halo?.[key].overPerfectLensPercent,
      ),
    );
  }
  rows.push(
    row(colour('core tint', 'mag'), ({ halo }) => halo?.coreTintMag),
    row(colour('rim tint', 'mag'), ({ halo }) => halo?.rimTintMag),
    row(
      colour('equivalent blue defocus', '‰ of focal length'),
      ({ equivalentDefocus }) => equivalentDefocus?.blueFocalLengthFraction,
      () => 1000,
    ),
  );
  return rows;
}
