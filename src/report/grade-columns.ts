/** A graded night as flat columns, for CSV and Parquet: stable names with units, one row per frame in input order. */
import { stringify } from 'csv-stringify/sync';
import type { GradedFrame, Night } from '../grade/result.js';
import type { Uncertain } from '../measure/result.js';

export interface NightColumn {
  name: string;
  type: 'STRING' | 'DOUBLE' | 'INT32' | 'BOOLEAN' | 'TIMESTAMP';
  meaning: string;
  value: (frame: GradedFrame, night: Night) => string | number | boolean | Date | null;
}

const half = (u: Uncertain | null): number | null =>
  u === null || !Number.isFinite(u.high - u.low) ? null : (u.high - u.low) / 2;

/** Add at the end; never rename or reorder: other programs rely on it. */
const NIGHT_COLUMNS: readonly NightColumn[] = [
  { name: 'file', type: 'STRING', meaning: 'path as given', value: ({ file }) => file },
  {
    name: 'decision',
    type: 'STRING',
    meaning: 'keep, doubtful or drop',
    value: ({ decision }) => decision,
  },
  {
    name: 'reasons',
    type: 'STRING',
    meaning: 'what is against the frame, gravest first, separated by semicolons',
    value: ({ reasons }) => reasons.map(({ code }) => code).join('; '),
  },
  {
    name: 'weight',
    type: 'DOUBLE',
    meaning: 'for stacking; the reference frame has 1',
    value: ({ weight }) => weight,
  },
  {
    name: 'group',
    type: 'STRING',
    meaning: 'target, filter and exposure',
    value: ({ group }, { groups }) => (group === null ? null : (groups[group]?.name ?? null)),
  },
  {
    name: 'start_utc',
    type: 'TIMESTAMP',
    meaning: 'start of the exposure',
    value: ({ startMs }) => (startMs === null ? null : new Date(startMs)),
  },
  {
    name: 'exposure_s',
    type: 'DOUBLE',
    meaning: 'exposure, seconds',
    value: ({ exposureSeconds }) => exposureSeconds,
  },
  { name: 'stars_found', type: 'INT32', meaning: 'sources', value: (f) => f.starsFound },
  { name: 'stars_used', type: 'INT32', meaning: 'stars measured', value: (f) => f.starsUsed },
  {
    name: 'matched_share',
    type: 'DOUBLE',
    meaning: 'share of the reference’s brightest stars that the frame shows',
    value: (f) => f.matchedShare,
  },
  {
    name: 'fwhm_px',
    type: 'DOUBLE',
    meaning: 'median of single-star fits, pixel included',
    value: (f) => f.fwhmPx?.value ?? null,
  },
  { name: 'fwhm_err_px', type: 'DOUBLE', meaning: '1 sigma', value: (f) => half(f.fwhmPx) },
  {
    name: 'fwhm_arcsec',
    type: 'DOUBLE',
    meaning: 'the same in arcsec',
    value: (f) => f.fwhmArcsec?.value ?? null,
  },
  {
    name: 'ellipticity',
    type: 'DOUBLE',
    meaning: '(a − b)/(a + b) of the mean star',
    value: (f) => f.ellipticity?.value ?? null,
  },
  {
    name: 'elongation_angle_deg',
    type: 'DOUBLE',
    meaning: '0–180 from +x towards +y',
    value: (f) => f.elongationAngleDeg,
  },
  { name: 'background_adu', type: 'DOUBLE', meaning: 'sky level', value: (f) => f.backgroundAdu },
  { name: 'noise_adu', type: 'DOUBLE', meaning: 'noise of a sample', value: (f) => f.noiseAdu },
  {
    name: 'transparency',
    type: 'DOUBLE',
    meaning: 'light of the same stars over that in the reference frame',
    value: (f) => f.transparency?.value ?? null,
  },
  {
    name: 'transparency_err',
    type: 'DOUBLE',
    meaning: '1 sigma',
    value: (f) => half(f.transparency),
  },
  {
    name: 'offset_x_px',
    type: 'DOUBLE',
    meaning: 'where the frame’s centre lies among the stars',
    value: (f) => f.offsetPx?.[0] ?? null,
  },
  {
    name: 'offset_y_px',
    type: 'DOUBLE',
    meaning: 'the same along y',
    value: (f) => f.offsetPx?.[1] ?? null,
  },
  {
    name: 'rotation_deg',
    type: 'DOUBLE',
    meaning: 'turn of the field',
    value: (f) => f.rotationDeg,
  },
  {
    name: 'meridian_turned',
    type: 'BOOLEAN',
    meaning: 'turned by half a turn against the reference',
    value: (f) => f.meridianTurned,
  },
  {
    name: 'blue_minus_red_percent',
    type: 'DOUBLE',
    meaning: 'radial excess of blue over red at r80 of green',
    value: (f) => f.blueMinusRedPercent?.value ?? null,
  },
  { name: 'trails', type: 'INT32', meaning: 'lines of light', value: (f) => f.trails.length },
  {
    name: 'focus_position',
    type: 'DOUBLE',
    meaning: 'focuser, steps',
    value: (f) => f.focusPosition,
  },
  {
    name: 'ambient_temperature_c',
    type: 'DOUBLE',
    meaning: 'air or focuser, degrees Celsius',
    value: (f) => f.ambientTemperatureC,
  },
  { name: 'airmass', type: 'DOUBLE', meaning: 'air mass', value: (f) => f.airmass },
];

/** CSV with a header line; text that a spreadsheet would run as a formula is defused. */
export function nightCsv(night: Night): string {
  const rows = night.frames.map((frame) =>
    NIGHT_COLUMNS.map(({ value }) => {
      const cell = value(frame, night);
      return cell instanceof Date ? cell.toISOString() : cell;
    }),
  );
  return stringify([NIGHT_COLUMNS.map(({ name }) => name), ...rows], {
    record_delimiter: 'windows',
    escape_formulas: true,
    cast: { boolean: (yes) => String(yes) },
  });
}

/** The same as an Apache Parquet file. */
export async function nightParquet(night: Night): Promise<Uint8Array> {
  const { parquetWriteBuffer } = await import('hyparquet-writer');
  const columnData = NIGHT_COLUMNS.map(({ name, type, value }) => ({
    name,
    type,
    nullable: true,
    data: night.frames.map((frame) => value(frame, night)),
  }));
  return new Uint8Array(parquetWriteBuffer({ columnData }));
}
