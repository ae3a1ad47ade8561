/** What the good frames of a night show: centre and spread of a quantity, from the good side alone, so that even a night with nearly half
 * its frames spoiled is not taken for usual.
 */
import { quantileOf } from '../stats/robust.js';

export interface Usual {
  centre: number;
  spread: number;
}

/** Quantiles on the good side, and where they lie for a normal distribution, in σ below its centre. */
const INNER = { share: 0.3, sigma: 0.5244 };
const OUTER = { share: 0.1, sigma: 1.2816 };

/**
 * A normal distribution through the 10 % and 30 % quantiles counted from the good end. Frames spoiled on the bad side move these
 * little: with 40 % spoiled frames the centre moves by 0.7 σ and the spread grows by a quarter.
 *
 * @param values any order, finite
 * @param better 'low' when small values are good
 * @param least smallest spread, in the unit of the values: frames that differ by less are alike whatever the night
 * @returns null without values
 */
export function usualOf(
  values: readonly number[],
  better: 'low' | 'high',
  least: number | ((centre: number) => number),
): Usual | null {
  if (values.length === 0) return null;
  const sign = better === 'low' ? 1 : -1;
  const signed = values.map((value) => sign * value);
  const inner = quantileOf(signed, INNER.share);
  const outer = quantileOf(signed, OUTER.share);
  const found = (inner - outer) / (OUTER.sigma - INNER.sigma);
  const centre = sign * (inner + INNER.sigma * found);
  const floor = typeof least === 'number' ? least : least(centre);
  return { centre, spread: Math.max(found, floor) };
}
