/** How much of a difference the conditions may make by themselves: added to its error before it is called the telescope's. */
import type { FairnessFacts } from './fairness-facts.js';
import { CORRELATED, largestRatio } from './fairness-item.js';
import { airmassBlurPercent } from './fairness-sky.js';
import type { ComparisonRow } from './result.js';

/** 1 σ: per cent of the larger value, or an amount in the row's unit. */
export interface Allowance {
  percent?: number;
  amount?: number;
}

/** Fairness item → quantity, or else group of rows → what it adds to their differences. Of several items the largest counts. */
export type Allowances = Readonly<Record<string, Readonly<Record<string, Allowance>>>>;

/** Sizes that differ by this share for reasons of the air are taken as known no better, per cent. */
const LEAST_AIR = 5;

/** Exposures taken as unknown to this factor where a header says nothing. */
const UNKNOWN_EXPOSURE = 4;
/** Readout noise and the light of the star itself make depth per second differ from the sky-limited one: mag per factor of ten in time. */
const NOT_SKY_LIMITED = 0.2;
/** Widening by interpolation where nothing is known of the stars, per cent. */
const LEAST_INTERPOLATED = 5;
/** Linear interpolation of every second sample of a row adds up to 1 px² and on average ½ px² to the variance of a star along an axis. */
const INTERPOLATED_FWHM_SQUARED = 0.5 * 8 * Math.LN2;
/** Noise of neighbours that share it is known no better, mag. */
const SHARED_NOISE = 0.3;
/** Stars grow by 5 % in number with 0.05 mag of depth, as for the smallest difference that matters. */
const STARS_PER_MAG = 0.42;

/**
 * What `percent` of blur by the air does: a halo is diluted by about as much as the star grows; with the sky as noise, the limit goes with
 * the size; the peak of a star falls with its square.
 */
function ofAir(percent: number): Record<string, Allowance> {
  return {
    size: { percent },
    colour: { percent },
    light: { amount: 5 * Math.log10(1 + percent / 100) },
    depth: { amount: 2.5 * Math.log10(1 + percent / 100) },
  };
}

/** One telescope looked `ratio` times longer: with the sky as noise, depth goes with the root of the time, and a star's peak with the time. */
function ofExposure(ratio: number): Record<string, Allowance> {
  const decades = Math.log10(ratio);
  return {
    depth: { amount: 1.25 * decades },
    'depth per second': { amount: NOT_SKY_LIMITED * decades },
    'depth per second and cm²': { amount: NOT_SKY_LIMITED * decades },
    light: { amount: 2.5 * decades },
  };
}

function ofInterpolation(percent: number): Record<string, Allowance> {
  return {
    size: { percent },
    colour: { percent: Math.max(10, percent) },
    light: { amount: 5 * Math.log10(1 + percent / 100) },
    depth: { amount: SHARED_NOISE },
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
  exposure: ofExposure(UNKNOWN_EXPOSURE),
  // Interpolation widens stars and hides noise.
  'mosaic or interpolated': ofInterpolation(LEAST_INTERPOLATED),
  // A stretch, sharpening or eight bits make stars of unlike brightness unlike in shape; which ones stand where is chance.
  'linearity of shapes': { shape: { percent: 50 }, field: { percent: 50 } },
  // Another band: in air, size goes as wavelength^−0.2, and half an octave makes 7 %.
  filter: { size: { percent: 5 }, colour: { percent: 15 }, depth: { amount: 0.2 } },
};

/**
 * The same with what is known of these telescopes: differences of seeing as given, of air mass and of exposure; and how much interpolation
 * widens stars that are as narrow as these where only some of the frames have been through it.
 */
export function allowancesOf(facts: readonly FairnessFacts[]): Allowances {
  const seeing = largestRatio(facts.map(({ seeingArcsec }) => seeingArcsec));
  const airmass = airmassBlurPercent(facts);
  const exposure = largestRatio(facts.flatMap(({ exposureSeconds }) => exposureSeconds ?? [null]));
  const interpolated = interpolatedPercent(facts);
  return {
    ...USUAL_ALLOWANCES,
    ...(seeing === null ? {} : { seeing: ofAir(Math.max(LEAST_AIR, 100 * (seeing - 1))) }),
    ...(airmass === null ? {} : { 'air mass': ofAir(Math.max(LEAST_AIR, airmass)) }),
    ...(exposure === null ? {} : { exposure: ofExposure(exposure) }),
    ...(interpolated === null
      ? {}
      : {
          'mosaic or interpolated': ofInterpolation(Math.max(LEAST_INTERPOLATED, interpolated)),
        }),
  };
}

/** By how much interpolation widens stars as narrow as those of the frames that have not been through it; null where all are alike. */
function interpolatedPercent(facts: readonly FairnessFacts[]): number | null {
  const untouched = facts.filter(
    ({ layout, noiseCorrelation }) => layout !== 'rgb' && noiseCorrelation < CORRELATED,
  );
  if (untouched.length === 0 || untouched.length === facts.length) return null;
  const narrowest = Math.min(...untouched.map(({ fwhmPx }) => fwhmPx));
  return narrowest > 0
    ? 100 * (Math.sqrt(1 + INTERPOLATED_FWHM_SQUARED / narrowest ** 2) - 1)
    : null;
}

/** What `item` adds to a row; null = nothing. Magnitudes become a share where stars are counted. */
export function allowanceFor(
  allowances: Allowances,
  item: string,
  { quantity, group, unit }: Pick<ComparisonRow, 'quantity' | 'group' | 'unit'>,
): Allowance | null {
  const own = Object.hasOwn(allowances, item) ? allowances[item] : undefined;
  if (own === undefined) return null;
  const name = Object.hasOwn(own, quantity) ? quantity : group;
  const one = Object.hasOwn(own, name) ? own[name] : undefined;
  if (one === undefined) return null;
  return unit === 'count' && one.amount !== undefined
    ? { percent: 100 * (10 ** (STARS_PER_MAG * one.amount) - 1) }
    : one;
}

/**
 * Blur hides a halo inside the green star. A telescope with less halo whose green stars are wider by some share, for whatever reason, may
 * owe that share of it to the blur, as with worse air.
 * @param wider green FWHM of the one with less halo over that of the other
 */
export function blurAllowance(wider: number): Allowance | null {
  return wider > 1 ? { percent: 100 * (wider - 1) } : null;
}
