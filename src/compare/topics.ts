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
    merit: 'less spread of light',
    subject: 'the spread of light',
  },
  'r80 green': {
    merit: 'less spread of green light',
    subject: 'the spread of green light',
  },
  'r80 red': {
    merit: 'less spread of red light',
    subject: 'the spread of red light',
  },
  'r80 blue': {
    merit: 'less spread of blue light',
    subject: 'the spread of blue light',
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
  depth: {
    merit: 'more reach to faint stars in one exposure',
    subject: 'the reach to faint stars',
  },
  'depth per second': {
    merit: 'more reach to faint stars in the same time',
    subject: 'the reach to faint stars in the same time',
  },
  'depth per second and cm²': {
    merit: 'more reach to faint stars for time and aperture',
    subject: 'the reach to faint stars for time and aperture',
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

/** Decimals that the values of a row deserve by their errors, and no fewer than tell `labels` apart where a verdict does; at most three. */
function decimalsOf(row: ComparisonRow): number {
  const known = Object.values(row.values).filter((value) => value !== null);
  const errors = known.map(halfWidth).filter((error) => error > 0);
  const most = row.unit === '%' ? 1 : row.unit === '' ? 3 : 2;
  if (errors.length === 0) return most;
  const least = Math.max(0, Math.min(most, Math.ceil(-Math.log10(Math.min(...errors)))));
  const differences = row.pairs
    .filter(({ better }) => better !== null)
    .map(({ difference }) => Math.abs(difference.value));
  let places = least;
  while (places < most && differences.some((d) => d < 2 * 10 ** -places)) places++;
  return places;
}

/** A label's value without unit. */
export function numberOf(row: ComparisonRow, label: string): string {
  const value = row.values[label]?.value;
  if (value === undefined) return 'not measured';
  const text = decimal(value, decimalsOf(row));
  return row.group === 'field' && row.unit === '%' && value > 0 && Number(text) !== 0
    ? `+${text}`
    : text;
}

/** `3.05 arcsec`, `21 %`, `0.034`. */
export function valueWords(row: ComparisonRow, label: string): string {
  const number = numberOf(row, label);
  const unit = row.unit === 'count' ? 'stars' : row.unit;
  return row.values[label] && unit !== '' ? `${number} ${unit}` : number;
}

/** Labels from the best value to the worst. */
export function byMerit(row: ComparisonRow, labels: readonly string[]): string[] {
  const merit = (label: string): number => {
    const value = row.values[label]?.value ?? Number.NaN;
    return row.betterWhen === 'larger'
      ? value
      : row.betterWhen === 'smaller'
        ? -value
        : -Math.abs(value);
  };
  return [...labels].sort((a, b) => merit(b) - merit(a));
}

/** More telescopes behind than this are told as a range. */
const TOLD_BEHIND = 2;

/** `3.31 in b and 3.40 in c`, `3.31 to 4.7 in the others`; with the unit, if asked for. */
export function behindWords(
  row: ComparisonRow,
  behind: readonly string[],
  words: (row: ComparisonRow, label: string) => string,
): string {
  const order = byMerit(row, behind);
  if (order.length <= TOLD_BEHIND)
    return listOf(order.map((label) => `${words(row, label)} in ${label}`));
  const [best, worst] = [order[0] as string, order.at(-1) as string];
  return `${numberOf(row, best)} to ${words(row, worst)} in the others`;
}

/** `3.05 arcsec, against 3.31 arcsec in b and 3.40 arcsec in c`; of depths, which are relative, the difference alone. */
function valuesAgainst(
  row: ComparisonRow,
  leaders: readonly string[],
  behind: readonly string[],
): string {
  if (row.group === 'depth' && row.unit === 'mag') {
    const by = decimal(Math.abs(row.difference?.value ?? Number.NaN), 2);
    return `by ${leaders.length + behind.length > 2 ? 'at least ' : ''}${by} mag`;
  }
  const own = listOf(
    leaders.map((label) => `${valueWords(row, label)}${leaders.length > 1 ? ` in ${label}` : ''}`),
  );
  return `${own}, against ${behindWords(row, behind, valueWords)}`;
}

/** Quantities whose numbers say something to everybody. */
const TELLING = /^(fwhm( green)?|halo blue minus red|growth .*|corner illumination|depth.*)$/;

/** ` (3.05 arcsec, against 3.31 arcsec in b)` where the numbers say something to everybody, else nothing. */
export function tellingValues(
  row: ComparisonRow,
  leaders: readonly string[],
  behind: readonly string[],
): string {
  return TELLING.test(row.quantity) ? ` (${valuesAgainst(row, leaders, behind)})` : '';
}

const ITEM_WORDS: Readonly<Record<string, string>> = {
  exposure: 'the exposures',
  gain: 'the gain',
  filter: 'the filters',
  'time between': 'the time between the frames',
  'air mass': 'the height in the sky',
  seeing: 'the steadiness of the air',
  background: 'the brightness of the sky',
  sampling: 'the pixels',
  'pixels on the sky': 'the pixels',
  saturation: 'clipped stars',
  linearity: 'possible stretching',
  'linearity of shapes': 'possible stretching',
  'mosaic or interpolated': 'interpolation or stacking',
  calibration: 'the calibration',
  overlap: 'the fields',
  'number of stars': 'the small number of stars',
};

/** Fairness items in a sentence, each once. */
export function itemsWords(items: readonly string[]): string {
  const words = items.map((item) =>
    Object.hasOwn(ITEM_WORDS, item) ? (ITEM_WORDS[item] as string) : item,
  );
  return listOf([...new Set(words)]);
}
