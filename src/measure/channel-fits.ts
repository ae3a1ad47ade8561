/** Chooses the Moffat exponent and the fitting radius of a channel from its bright stars. */
import type { ChannelPlan } from '../detect/lattice.js';
import type { Stamps } from '../detect/stamps.js';
import { medianOf } from '../stats/robust.js';
import { opticalFwhm } from './classify.js';
import { fitSources } from './fit-sources.js';
import { createFitColumns, type Sources } from './sources.js';

/** Exponents tried; half-integers keep the power cheap. Infinity is the Gaussian. */
const EXPONENTS = [2, 2.5, 3, 3.5, 4, 5, 6, 8, Number.POSITIVE_INFINITY];
/** Stars that decide. */
const STARS = 32;
/** Drop of χ² (of all stars together) that a step to another exponent must bring: noise alone must not wander. */
const CLEAR_GAIN = 4;
const LOOK_MODEL_ERROR = 0.02;

/**
 * Exponent with the smallest mean ln χ² over the given bright stars: a walk downhill from `start`.
 */
export function chooseExponent(
  stamps: Stamps,
  stampOf: Int32Array,
  plan: ChannelPlan,
  sources: Sources,
  bright: readonly number[],
  channel: number,
  startFwhmPx: number,
  radiusPx: number,
  start: number,
): number {
  const list = bright.slice(0, STARS);
  if (list.length === 0) return start;
  const share = (plan.ofChannel[channel] as number[]).length / (plan.bin === 2 ? 4 : 1);
  const freedom = Math.max(1, share * Math.PI * radiusPx * radiusPx - 7);
  const costs = new Map<number, number>();
  const cost = (index: number): number => {
    const known = costs.get(index);
    if (known !== undefined) return known;
    const out = createFitColumns(sources.n);
    fitSources(
      stamps,
      stampOf,
      plan,
      sources,
      list,
      {
        channel,
        beta: EXPONENTS[index] as number,
        startFwhmPx,
        radiusPx,
        // Weights must not depend on the model, or the exponent with the largest variances would win.
        noisePerSignal: 0,
        modelError: LOOK_MODEL_ERROR,
      },
      out,
    );
    // Mean of ln χ² over the stars: the same stars under every exponent, so that their differences decide, not their spread.
    let sum = 0;
    let n = 0;
    for (const i of list) {
      const chi2 = out.reducedChi2[i] as number;
      if (!(chi2 > 0)) continue;
      sum += Math.log(chi2);
      n++;
    }
    // As a χ² of all stars together: ln χ² of ν samples changes by Δχ²/ν.
    const result = n >= 0.5 * list.length ? sum * freedom : Number.POSITIVE_INFINITY;
    costs.set(index, result);
    return result;
  };
  let at = EXPONENTS.indexOf(start);
  for (;;) {
    const here = cost(at);
    if (at + 1 < EXPONENTS.length && cost(at + 1) < here - CLEAR_GAIN) at++;
    else if (at > 0 && cost(at - 1) < here - CLEAR_GAIN) at--;
    else return EXPONENTS[at] as number;
  }
}

/** Median optical FWHM of the bright stars in a channel, from a fit wide enough for twice the size expected; NaN when none can be fitted. */
export function lookAtWidth(
  stamps: Stamps,
  stampOf: Int32Array,
  plan: ChannelPlan,
  sources: Sources,
  bright: readonly number[],
  channel: number,
  expectedFwhmPx: number,
  beta: number,
  noisePerSignal: number,
): number {
  const list = bright.slice(0, STARS);
  const out = createFitColumns(sources.n);
  fitSources(
    stamps,
    stampOf,
    plan,
    sources,
    list,
    {
      channel,
      beta,
      startFwhmPx: expectedFwhmPx,
      radiusPx: stamps.radius,
      noisePerSignal,
      modelError: LOOK_MODEL_ERROR,
    },
    out,
  );
  return medianOf(list.map((i) => opticalFwhm(out, i, beta)));
}
