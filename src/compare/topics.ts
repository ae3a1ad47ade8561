/** What the quantities of a comparison are called in sentences. */
import { halfWidth } from '../measure/uncertain.js';
import { type ComparisonRow, NOT_COMPARABLE } from './result.js';
import { decimal, listOf } from './words.js';

/** A quantity in plain words. */
export interface Topic {
  /** What the better telescope has: “sharper stars”. */
  merit: string;
  /** What was looked at: “the width of stars”. */
  subject: string;
}

const TOPICS: Readonly<Record<string, Topic>> = {
  fwhm: { merit: 'sharper stars', subject: 'the width of stars' },
  'fwhm green': { merit: 'sharper stars', subject: 'the width of stars' },
  'fwhm red': { merit: 'sharper stars in red', subject: 'the width of stars in red' },
  'fwhm blue': { merit: 'sharper stars in blue', subject: 'the width of stars in blue' },
  r80: {
    merit: 'star light that stays closer together',
    subject: 'how far the light of stars spreads',
  },
  'r80 green': {
    merit: 'green light that stays closer together',
    subject: 'how far green light spreads',
  },
  'r80 red': {
    merit: 'red light that stays closer together',
    subject: 'how far red light spreads',
  },
  'r80 blue': {
    merit: 'blue light that stays closer together',
    subject: 'how far blue light spreads',
  },
  'halo blue minus red': { merit: 'less blue halo', subject: 'the blue halo' },
  'halo blue minus green': {
    merit: 'less blue halo beside green',
    subject: 'the blue halo beside green',
  },
  'halo red minus green': { merit: 'less red halo', subject: 'the red halo' },
  'core tint': {
    merit: 'less tint in the middle of stars',
    subject: 'the tint in the middle of stars',
  },
  'rim tint': { merit: 'less tint at the rim of stars', subject: 'the tint at the rim of stars' },
  'equivalent blue defocus': {
    merit: 'blue nearer to the focus of green',
    subject: 'the focus of blue',
  },
  ellipticity: { merit: 'rounder stars', subject: 'the roundness of stars' },
  'growth centre to corner (common field)': {
    merit: 'stars that change less towards the edge of the common field',
    subject: 'growth towards the edge of the common field',
  },
  'growth centre to corner (own field)': {
    merit: 'stars that change less towards its own corners',
    subject: 'growth towards the corners',
  },
  'ellipticity in the corners (own field)': {
    merit: 'rounder stars in its own corners',
    subject: 'roundness in the corners',
  },
  'lateral colour': {
    merit: 'less parting of blue and red at the edge',
    subject: 'the parting of blue and red at the edge',
  },
  'corner illumination': { merit: 'brighter corners', subject: 'light in the corners' },
  'saturation headroom': {
    merit: 'more room before bright stars clip',
    subject: 'the room before bright stars clip',
  },
  'stars found': { merit: 'more stars found', subject: 'the number of stars found' },
  depth: { merit: 'fainter stars in one exposure', subject: 'how faint it sees' },
  'depth per second': {
    merit: 'fainter stars in the same time',
    subject: 'how faint it sees in the same time',
  },
  'depth per second and cm²': {
    merit: 'fainter stars for its time and aperture',
    subject: 'how faint it sees for its time and aperture',
  },
};

/** Words for a row; those of unknown quantities are their names. */
export function topicOf({ quantity }: Pick<ComparisonRow, 'quantity'>): Topic {
  return Object.hasOwn(TOPICS, quantity)
    ? (TOPICS[quantity] as Topic)
    : { merit: `a better ${quantity}`, subject: quantity };
}

/** The row of a quantity that was compared, or null. Mono rows stand for green ones. */
export function comparedRow(
  rows: readonly ComparisonRow[],
  quantity: string,
): ComparisonRow | null {
  const row = rowOf(rows, quantity);
  return row !== null && row.verdict !== NOT_COMPARABLE ? row : null;
}

export function rowOf(rows: readonly ComparisonRow[], quantity: string): ComparisonRow | null {
  const names = [quantity, quantity.replace(/ green$/, '')];
  return rows.find((row) => names.includes(row.quantity)) ?? null;
}

/** Decimals that show the row's differences, at most three. */
function decimalsOf(row: ComparisonRow): number {
  const errors = row.pairs
    .map(({ difference }) => halfWidth(difference))
    .filter((error) => error > 0);
  if (errors.length === 0) return 2;
  const places = Math.ceil(-Math.log10(Math.min(...errors)));
  return Math.max(0, Math.min(row.unit === '%' ? 1 : row.unit === '' ? 3 : 2, places));
}

/** A label's value without unit. */
export function numberOf(row: ComparisonRow, label: string): string {
  const value = row.values[label]?.value;
  if (value === undefined) return 'nothing measured';
  const text = decimal(value, decimalsOf(row));
  return row.group === 'field' && row.unit === '%' && value > 0 ? `+${text}` : text;
}

/** `3.05 arcsec`, `21 %`, `0.034`. */
export function valueWords(row: ComparisonRow, label: string): string {
  const number = numberOf(row, label);
  return row.values[label] && row.unit !== '' ? `${number} ${row.unit}` : number;
}

/** `3.05 arcsec, against 3.31 arcsec for b and 3.4 arcsec for c`. */
export function valuesAgainst(
  row: ComparisonRow,
  leaders: readonly string[],
  behind: readonly string[],
): string {
  const of = (labels: readonly string[], named: boolean): string =>
    listOf(labels.map((label) => `${valueWords(row, label)}${named ? ` for ${label}` : ''}`));
  return `${of(leaders, leaders.length > 1)}, against ${of(behind, true)}`;
}
