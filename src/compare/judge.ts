/** From rows with paired differences to verdicts: what is forbidden, what is sure over all rows together, what is large enough to matter. */
import { halfWidth } from '../measure/uncertain.js';
import { studentTwoSided } from '../stats/student.js';
import {
  type Allowance,
  type Allowances,
  allowanceFor,
  blurAllowance,
  USUAL_ALLOWANCES,
} from './allowances.js';
import { smallestAmount } from './matters.js';
import {
  type ComparisonRow,
  type FairnessItem,
  NO_DIFFERENCE,
  NOT_COMPARABLE,
  type PairDifference,
} from './result.js';
import { beats, standingOf } from './standing.js';
import { listOf } from './words.js';

/** Items that a modelled row takes off by itself. */
const MODELLED: readonly string[] = ['seeing', 'air mass', 'sampling'];
/** Items that touch the group of a quantity, but not the quantity. */
const UNTOUCHED: Readonly<Record<string, readonly string[]>> = {
  'corner illumination': ['exposure', 'saturation', 'seeing', 'mosaic or interpolated'],
  'saturation headroom': ['overlap'],
};

/** Quantities that describe, but of which less is not better. */
const NO_MERIT: Readonly<Record<string, string>> = {
  'rim tint':
    'a faint tint of the rim is no merit by itself: where a halo is wide, blue leaves the rim as it leaves the core',
};

/**
 * Rows with verdicts; the given ones stay as they are.
 *
 * A row that an item forbids is 'not comparable', with that item's effect as the reason; its pairs are not tested. All pairs of all other
 * rows are one family of tests (Holm). The better one of a pair is named when its adjusted p is below 1 − confidence and the difference is
 * larger than the smallest that matters. A row's verdict is the label that is better than every other measured one; several labels
 * joined by 'and' where each of them is better than all the rest and none better than another; otherwise 'no difference shown'.
 * @param confidence over all rows together, 0 … 1
 * @param allowances what items that weaken a row add to the error of its differences
 */
export function judge(
  rows: readonly ComparisonRow[],
  fairness: readonly FairnessItem[],
  confidence: number,
  allowances: Allowances = USUAL_ALLOWANCES,
): ComparisonRow[] {
  const sizes = greenRow(rows);
  const starSize = smallestStar(sizes);
  const open = rows.map((row) => prepared(row, fairness, allowances));
  const tests = open.flatMap(({ row, allowed }) =>
    row.verdict === NOT_COMPARABLE
      ? []
      : row.pairs.map((pair) => ({
          pair,
          p: allowedP(row, pair, [...allowed, ...(blurOf(row, pair, sizes) ?? [])]),
        })),
  );
  const adjusted = holmAdjusted(tests.map(({ p }) => p));
  const adjustedOf = new Map(tests.map(({ pair }, k) => [pair, adjusted[k] as number]));
  return open.map(({ row }) => {
    const pairs = row.pairs.map((pair): PairDifference => {
      const p = adjustedOf.get(pair) ?? Number.NaN;
      const sure = p < 1 - confidence;
      return {
        ...pair,
        adjustedPValue: Number.isNaN(p) ? 1 : p,
        better: sure && matters(row, pair, starSize) ? betterOf(row, pair) : null,
      };
    });
    return decided({ ...row, pairs });
  });
}

function greenRow(rows: readonly ComparisonRow[]): ComparisonRow | undefined {
  return rows.find(({ quantity }) => quantity === 'fwhm green' || quantity === 'fwhm');
}

/** For a row of colour: what the wider green stars of the better one may hide. */
function blurOf(
  row: ComparisonRow,
  pair: PairDifference,
  sizes: ComparisonRow | undefined,
): Allowance[] | null {
  if (row.group !== 'colour' || sizes === undefined) return null;
  const better = betterOf(row, pair);
  const of = (label: string): number => sizes.values[label]?.value ?? Number.NaN;
  const one = blurAllowance(of(better) / of(better === pair.first ? pair.second : pair.first));
  return one === null ? null : [one];
}

/** Smallest green (or only) star of the comparison. */
function smallestStar(row: ComparisonRow | undefined): number | null {
  const sizes = Object.values(row?.values ?? {})
    .map((value) => value?.value ?? Number.NaN)
    .filter((value) => value > 0);
  return sizes.length === 0 ? null : Math.min(...sizes);
}

/** The row with its caveats, or forbidden. */
function prepared(
  row: ComparisonRow,
  fairness: readonly FairnessItem[],
  allowances: Allowances,
): { row: ComparisonRow; allowed: Allowance[] } {
  const touching = fairness.filter(
    ({ item, affects }) =>
      affects.includes(row.group) &&
      !(row.scope === 'model' && MODELLED.includes(item)) &&
      !(Object.hasOwn(UNTOUCHED, row.quantity) && UNTOUCHED[row.quantity]?.includes(item)),
  );
  const noMerit = Object.hasOwn(NO_MERIT, row.quantity) ? NO_MERIT[row.quantity] : undefined;
  if (noMerit !== undefined) {
    return {
      row: { ...row, verdict: NOT_COMPARABLE, reason: row.pairs.length > 0 ? noMerit : row.reason },
      allowed: [],
    };
  }
  const forbidding = touching.find(({ weight }) => weight === 'forbids');
  if (forbidding) {
    return {
      row: {
        ...row,
        verdict: NOT_COMPARABLE,
        reason: forbidding.effect,
        caveats: [],
      },
      allowed: [],
    };
  }
  const weakening = touching.filter(({ weight }) => weight === 'weakens').map(({ item }) => item);
  const known = row.pairs.length > 0;
  return {
    row: {
      ...row,
      verdict: known ? NO_DIFFERENCE : NOT_COMPARABLE,
      reason: known ? row.reason : (row.reason ?? 'measured in fewer than two of the telescopes'),
      caveats: known ? weakening : [],
    },
    allowed: weakening.flatMap((item) => allowanceFor(allowances, item, row) ?? []),
  };
}

/** p of a pair, no smaller than its difference would have with the allowance for what is unfair added to its error. */
function allowedP(row: ComparisonRow, pair: PairDifference, allowed: readonly Allowance[]): number {
  const [first, second] = valuesOf(row, pair);
  // Own-field and modelled rows suffer as the others do: the allowance is a share of the larger value.
  const size = Math.max(Math.abs(first), Math.abs(second));
  const extra = Math.max(
    0,
    ...allowed.map(({ percent, amount }) => amount ?? ((percent ?? 0) / 100) * size),
  );
  if (!(extra > 0) || !Number.isFinite(pair.pValue)) return pair.pValue;
  const sigma = halfWidth(pair.difference);
  const z = pair.difference.value / Math.sqrt(sigma * sigma + extra * extra);
  return Math.max(pair.pValue, studentTwoSided(z, Number.POSITIVE_INFINITY));
}

function valuesOf(row: ComparisonRow, { first, second }: PairDifference): [number, number] {
  const of = (label: string): number => row.values[label]?.value ?? Number.NaN;
  return [of(first), of(second)];
}

function matters(row: ComparisonRow, pair: PairDifference, starSize: number | null): boolean {
  const [first, second] = valuesOf(row, pair);
  return Math.abs(pair.difference.value) > smallestAmount(row, first, second, starSize);
}

/** The better one by the sign of the difference; for 'nearer zero' it is a difference of magnitudes. */
function betterOf({ betterWhen }: ComparisonRow, pair: PairDifference): string {
  return pair.difference.value < 0 === (betterWhen !== 'larger') ? pair.first : pair.second;
}

/** Verdict, its difference and its confidence, from the pairs. */
function decided(row: ComparisonRow): ComparisonRow {
  if (row.verdict === NOT_COMPARABLE) {
    return { ...row, difference: null, differenceOf: null, confidence: null };
  }
  const labels = Object.keys(row.values).filter((label) => row.values[label] !== null);
  const { leaders, behind } = standingOf(labels, (one, other) => beats(row.pairs, one, other));
  const decisive = row.pairs.filter(
    ({ first, second }) =>
      (leaders.includes(first) && behind.includes(second)) ||
      (leaders.includes(second) && behind.includes(first)),
  );
  const shown = decisive.length > 0 ? closest(row, decisive) : bestTwo(row, labels);
  return {
    ...row,
    ...shown,
    verdict: leaders.length > 0 ? listOf(leaders) : NO_DIFFERENCE,
    confidence:
      leaders.length > 0
        ? 1 - Math.max(...decisive.map(({ adjustedPValue }) => adjustedPValue))
        : null,
  };
}

/** How good a value is: larger is better. */
function merit({ betterWhen }: ComparisonRow, value: number): number {
  return betterWhen === 'larger' ? value : betterWhen === 'smaller' ? -value : -Math.abs(value);
}

type Shown = Pick<ComparisonRow, 'difference' | 'differenceOf'>;

/** The smallest difference between a leader and one behind: the lead is at least that. */
function closest(row: ComparisonRow, pairs: readonly PairDifference[]): Shown {
  const pair = pairs.reduce((a, b) =>
    Math.abs(b.difference.value) < Math.abs(a.difference.value) ? b : a,
  );
  return oriented(pair, pair.better === null ? betterOf(row, pair) : pair.better);
}

/** The best value less the next best. */
function bestTwo(row: ComparisonRow, labels: readonly string[]): Shown {
  const order = [...labels].sort(
    (a, b) =>
      merit(row, row.values[b]?.value ?? Number.NaN) -
        merit(row, row.values[a]?.value ?? Number.NaN) || labels.indexOf(a) - labels.indexOf(b),
  );
  const [best, next] = order;
  const pair = row.pairs.find(
    ({ first, second }) =>
      (first === best && second === next) || (first === next && second === best),
  );
  return pair && best !== undefined
    ? oriented(pair, best)
    : { difference: null, differenceOf: null };
}

/** The pair's difference with `best` first. */
function oriented(pair: PairDifference, best: string): Shown {
  const { value, low, high } = pair.difference;
  return pair.first === best
    ? { difference: { value, low, high }, differenceOf: [pair.first, pair.second] }
    : {
        difference: { value: -value, low: -high, high: -low },
        differenceOf: [pair.second, pair.first],
      };
}

/**
 * p values corrected by Holm's step-down method (Holm 1979, Scandinavian Journal of Statistics 6, 65): the k-th smallest of m times
 * m − k + 1, never below the one before, never above 1. However the tests depend on each other, the chance that any true null
 * hypothesis has an adjusted p below α is at most α. NaN entries are no tests: they are not counted and stay NaN.
 */
export function holmAdjusted(pValues: readonly number[]): number[] {
  const order = pValues
    .map((_, i) => i)
    .filter((i) => !Number.isNaN(pValues[i] as number))
    .sort((a, b) => (pValues[a] as number) - (pValues[b] as number) || a - b);
  const adjusted = new Array<number>(pValues.length).fill(Number.NaN);
  let least = 0;
  order.forEach((i, k) => {
    least = Math.max(least, Math.min(1, (order.length - k) * (pValues[i] as number)));
    adjusted[i] = least;
  });
  return adjusted;
}
