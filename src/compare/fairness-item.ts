/** Building blocks of fairness items. */
import type { FairnessFacts } from './fairness-facts.js';
import type { FairnessItem, FairnessStatus, RowGroup } from './result.js';

/** As in a measurement: neighbouring samples share their noise. */
export const CORRELATED = 1.5;

/** An item with a value in words for every label. */
export function fairnessItem(
  item: string,
  facts: readonly FairnessFacts[],
  value: (one: FairnessFacts) => string | null,
  status: FairnessStatus,
  weight: FairnessItem['weight'],
  affects: RowGroup[],
  effect: string,
): FairnessItem {
  return {
    item,
    status,
    values: Object.fromEntries(facts.map((one) => [one.label, value(one)])),
    effect,
    affects,
    weight,
  };
}

/** Largest over smallest of positive numbers; null unless all are known. */
export function largestRatio(values: readonly (number | null)[]): number | null {
  const known = values.filter((value): value is number => value !== null && value > 0);
  return known.length < values.length || known.length === 0
    ? null
    : Math.max(...known) / Math.min(...known);
}

/** Label with the largest, and with the smallest number. */
export function extremeLabels(
  facts: readonly FairnessFacts[],
  value: (one: FairnessFacts) => number,
): { most: FairnessFacts; least: FairnessFacts } {
  const order = [...facts].sort((a, b) => value(b) - value(a));
  return { most: order[0] as FairnessFacts, least: order.at(-1) as FairnessFacts };
}

/** Names of the labels for which `test` holds. */
export function labelsWith(
  facts: readonly FairnessFacts[],
  test: (one: FairnessFacts) => boolean,
): string[] {
  return facts.filter(test).map(({ label }) => label);
}
