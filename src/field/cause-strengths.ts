/** Strengths in physical units with their intervals, from the bootstrap draws and what the laws leave out. */
import type { Uncertain } from '../measure/result.js';
import type { Context } from './cause-context.js';
import { drawnSigma, type FieldFit } from './model.js';
import { comaNm, defocusUm } from './response.js';

/** Bootstrap misses what the laws leave out: factor on its errors (from the benchmark's coverage). */
const SIGMA_FACTOR = 1.1;

/** value ± σ with the systematic part, a share of the value. */
export function withSystematics(value: number, sigma: number, share: number): Uncertain {
  const error = Math.sqrt((SIGMA_FACTOR * sigma) ** 2 + (share * value) ** 2);
  return { value, low: value - error, high: value + error };
}

export function focusStrength(
  context: Context,
  px: (p: Float64Array) => number,
  factor: number,
): { strength: Uncertain; unit: 'µm' | 'px' } {
  const { fit, input } = context;
  const { focalRatio, pixelSizeUm } = input.optics;
  const value = px(fit.p);
  const sigma = drawnSigma(fit, px);
  if (focalRatio === null || pixelSizeUm === null) {
    return {
      strength: withSystematics(factor * value, factor * sigma, fit.response.systematic),
      unit: 'px',
    };
  }
  const um = defocusUm(factor, focalRatio, pixelSizeUm);
  return { strength: withSystematics(um * value, um * sigma, fit.response.systematic), unit: 'µm' };
}

export function comaStrength(
  context: Context,
  px: (p: Float64Array) => number,
): { strength: Uncertain; unit: 'nm' | 'px' } {
  const { fit, input } = context;
  const { focalRatio, pixelSizeUm } = input.optics;
  const value = px(fit.p);
  const sigma = drawnSigma(fit, px);
  if (focalRatio === null || pixelSizeUm === null) {
    return { strength: withSystematics(value, sigma, fit.response.systematic), unit: 'px' };
  }
  const nm = comaNm(1, focalRatio, pixelSizeUm);
  return { strength: withSystematics(nm * value, nm * sigma, fit.response.systematic), unit: 'nm' };
}

/** Direction of a vector in degrees with its error; `period` 360 for arrows, 180 for axes. */
export function direction(fit: FieldFit, a: number, b: number, period: 180 | 360): Uncertain {
  const angle = (Math.atan2(fit.p[b] as number, fit.p[a] as number) * 180) / Math.PI;
  const value = ((angle % period) + period) % period;
  const across = drawnSigma(fit, (p) => {
    const r = (Math.atan2(p[b] as number, p[a] as number) * 180) / Math.PI - angle;
    return r - 360 * Math.round(r / 360);
  });
  const error = Math.sqrt((SIGMA_FACTOR * across) ** 2 + 1);
  return { value, low: value - error, high: value + error };
}
