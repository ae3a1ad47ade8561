/** Who leads, from the differences of every two telescopes. */
import type { PairDifference } from './result.js';

/** Order of the telescopes in one row or purpose. */
export interface Standing {
  /** No other is better than these, and each of these is better than every one of `behind`. Empty when the order is not that simple. */
  leaders: string[];
  behind: string[];
}

/** Whether some pair says that `one` is better than `other`. */
export function beats(
  pairs: readonly Pick<PairDifference, 'first' | 'second' | 'better'>[],
  one: string,
  other: string,
): boolean {
  return pairs.some(
    ({ first, second, better }) =>
      better === one &&
      ((first === one && second === other) || (first === other && second === one)),
  );
}

/**
 * Splits the labels into those that lead and those behind: every leader must be better than every one behind, and none of them better than
 * another. All level, or an order with gaps, gives two empty lists.
 */
export function standingOf(
  labels: readonly string[],
  isBetter: (one: string, other: string) => boolean,
): Standing {
  const leaders = labels.filter((one) => !labels.some((other) => isBetter(other, one)));
  const behind = labels.filter((one) => !leaders.includes(one));
  const clear =
    behind.length > 0 && leaders.every((one) => behind.every((other) => isBetter(one, other)));
  return clear && leaders.length > 0 ? { leaders, behind } : { leaders: [], behind: [] };
}
