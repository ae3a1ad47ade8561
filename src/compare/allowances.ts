/** How much of a difference the conditions may make by themselves: added to its error before it is called the telescope's. */
import type { FairnessFacts } from './fairness-facts.js';
import { largestRatio } from './fairness-item.js';
import { airmassBlurPercent } from './fairness-sky.js';
import type { RowGroup } from './result.js';

/** 1 σ: per cent of the larger value, or an amount in the row's unit. */
export interface Allowance {
  percent?: number;
  amount?: number;
}

/** Fairness item → what it adds to the differences of the groups that it weakens. Of several items the largest counts. */
export type Allowances = Readonly<Record<string, Partial<Record<RowGroup, Allowance>>>>;

/** Sizes that differ by this share for reasons of the air are taken as known no better, per cent. */
const LEAST_AIR = 5;

/** What `percent` of blur by the air does: a halo is diluted by about as much as the star grows; with the sky as noise, the limit goes with the size. */
function ofAir(percent: number): Partial<Record<RowGroup, Allowance>> {
  return {
    size: { percent },
    colour: { percent },
    depth: { amount: 2.5 * Math.log10(1 + percent / 100) },
  };
}

/**
 * Usual sizes where nothing is known. They are estimates, not measurements. Items that are not listed are told as a caveat and add nothing.
 */
export const USUAL_ALLOWANCES: Allowances = {
  // Seeing wanders by a tenth from one quarter of an hour to the next on ordinary nights.
  seeing: ofAir(10),
  'air mass': ofAir(LEAST_AIR),
  // Clearness of the air and brightness of the sky.
  'time between': { depth: { amount: 0.1 } },
  background: { depth: { amount: 0.1 } },
  // Pixels that take another share in the stars.
  sampling: { size: { percent: 5 } },
  // Readout noise of more or fewer pixels under a star; none under a bright sky.
  'pixels on the sky': { depth: { amount: 0.1 } },
  // Interpolation widens stars by a few per cent and hides noise.
  'mosaic or interpolated': {
    size: { percent: 5 },
    colour: { percent: 10 },
    depth: { amount: 0.1 },
  },
  // Another band: in air, size goes as wavelength^−0.2, and half an octave makes 7 %.
  filter: { size: { percent: 5 }, colour: { percent: 15 }, depth: { amount: 0.2 } },
};

/** The same with what is known of the air of these telescopes: differences of seeing as given, and of air mass. */
export function allowancesOf(facts: readonly FairnessFacts[]): Allowances {
  const seeing = largestRatio(facts.map(({ seeingArcsec }) => seeingArcsec));
  const airmass = airmassBlurPercent(facts);
  return {
    ...USUAL_ALLOWANCES,
    ...(seeing === null ? {} : { seeing: ofAir(Math.max(LEAST_AIR, 100 * (seeing - 1))) }),
    ...(airmass === null ? {} : { 'air mass': ofAir(Math.max(LEAST_AIR, airmass)) }),
  };
}
