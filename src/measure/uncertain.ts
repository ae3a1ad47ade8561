/** Values with their 68 % interval from bootstrap draws. */
import { interval68 } from '../stats/robust.js';
import type { Uncertain } from './result.js';

/**
 * Interval around `value` from draws, widened by `factor` about the value; null when value or draws say nothing.
 * The value always lies inside: a draw distribution that misses it is stretched to reach it.
 */
export function uncertain(
  value: number,
  draws: ArrayLike<number>,
  factor: number,
): Uncertain | null {
  if (!Number.isFinite(value)) return null;
  const [low, high] = interval68(draws);
  if (!Number.isFinite(low) || !Number.isFinite(high)) return null;
  return {
    value,
    low: Math.min(value, value + (low - value) * factor),
    high: Math.max(value, value + (high - value) * factor),
  };
}

/** value ± error. */
export function plusMinus(value: number, error: number): Uncertain {
  return { value, low: value - error, high: value + error };
}

/** The same value in another unit. */
export function scaled(value: Uncertain | null, factor: number | null): Uncertain | null {
  if (!value || factor === null) return null;
  return { value: value.value * factor, low: value.low * factor, high: value.high * factor };
}

/** Half the interval: 1 σ for symmetric ones. */
export function halfWidth(value: Uncertain): number {
  return 0.5 * (value.high - value.low);
}
