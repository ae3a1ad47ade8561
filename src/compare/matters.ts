/** The smallest difference of a quantity that is worth a word: below it a telescope is not called better, however sure the difference is. */
import type { ComparisonRow, RowGroup } from './result.js';

/** Either in the unit of the row, or per cent of the values compared. */
export interface SmallestDifference {
  amount: number;
  percent: boolean;
  reason: string;
}

/** Share of the smallest green star, per cent, below which a shift between the colours is nothing. */
const SHIFT_PERCENT = 5;

const SIZE: SmallestDifference = {
  amount: 2,
  percent: true,
  reason: 'focusing again, or the air of the next minute, changes a star’s size by more',
};
const HALO: SmallestDifference = {
  amount: 1,
  percent: false,
  reason: 'one hundredth of the blue light, spread over a rim, is lost in the noise of any picture',
};
const TINT: SmallestDifference = {
  amount: 0.05,
  percent: false,
  reason: '5 % between two colours is about the least that is seen side by side',
};
const GROWTH: SmallestDifference = {
  amount: 3,
  percent: false,
  reason: 'a ratio of two sizes, each of which matters from 2 % on',
};
const DEPTH: SmallestDifference = {
  amount: 0.05,
  percent: false,
  reason: 'what a tenth more exposure brings under a bright sky',
};

/** By quantity; the longest name that a quantity begins with counts. */
const BY_QUANTITY: Readonly<Record<string, SmallestDifference>> = {
  fwhm: SIZE,
  r80: SIZE,
  'halo ': HALO,
  'core tint': TINT,
  'rim tint': TINT,
  'equivalent blue defocus': {
    amount: 0.05,
    percent: false,
    reason: 'a tenth of what a classical doublet shows between green and the ends (1/2000)',
  },
  ellipticity: {
    amount: 0.01,
    percent: false,
    reason: 'one axis 2 % longer than the other; nobody sees it, and the method errs by as much',
  },
  'ellipticity in the corners': {
    amount: 0.02,
    percent: false,
    reason: 'as for ellipticity, with other stars in every telescope',
  },
  'growth centre to corner': GROWTH,
  'corner illumination': {
    amount: 3,
    percent: false,
    reason: 'a flat field takes it away, and the sky itself is uneven by as much',
  },
  'stars found': {
    amount: 5,
    percent: true,
    reason: 'what 0.05 mag of depth brings in most fields',
  },
  depth: DEPTH,
  'saturation headroom': {
    amount: 0.1,
    percent: false,
    reason: 'a tenth more exposure before the same stars clip',
  },
};

const BY_GROUP: Readonly<Record<RowGroup, SmallestDifference>> = {
  size: SIZE,
  colour: HALO,
  shape: BY_QUANTITY.ellipticity as SmallestDifference,
  field: GROWTH,
  light: BY_QUANTITY['corner illumination'] as SmallestDifference,
  depth: DEPTH,
};

/** For modelled sizes: the seeing that is taken off is itself known no better. */
const MODEL: SmallestDifference = {
  amount: 5,
  percent: true,
  reason: 'the seeing that is taken off is itself known no better',
};

/** What must be exceeded in `row`. Quantities without an entry take that of their group. */
export function smallestDifference({
  quantity,
  group,
  scope,
}: Pick<ComparisonRow, 'quantity' | 'group' | 'scope'>): SmallestDifference {
  if (scope === 'model') return MODEL;
  let found: string | null = null;
  for (const name of Object.keys(BY_QUANTITY)) {
    if (quantity.startsWith(name) && name.length > (found ?? '').length) found = name;
  }
  return found === null ? BY_GROUP[group] : (BY_QUANTITY[found] as SmallestDifference);
}

/**
 * The same as an amount in the unit of the row, between two values of it.
 * @param starSize smallest green (or only) FWHM of the comparison in the row's unit, or null: lateral colour is measured by it. A shift
 *   of 5 % of the FWHM makes the sides of a Gaussian star differ by 8 ln 2 · ½ · 0.05 = 14 % at half its brightness.
 * @returns NaN when there is nothing to measure it by
 */
export function smallestAmount(
  row: Pick<ComparisonRow, 'quantity' | 'group' | 'scope'>,
  first: number,
  second: number,
  starSize: number | null,
): number {
  if (row.quantity === 'lateral colour') {
    return starSize === null ? Number.NaN : (SHIFT_PERCENT / 100) * starSize;
  }
  const { amount, percent } = smallestDifference(row);
  return percent ? (amount / 100) * Math.min(Math.abs(first), Math.abs(second)) : amount;
}
