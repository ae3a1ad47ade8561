/** Radii that may lie outside the frame, with intervals that may reach there. */

/** A radius with its interval; null = beyond what the frame shows. */
export interface RadiusBound {
  value: number | null;
  low: number | null;
  high: number | null;
}

/** Quantiles of radii of which some lie beyond the frame (Infinity). */
export function radiusBound(value: number, sorted: Float64Array): RadiusBound {
  const n = sorted.length;
  const low = sorted[Math.floor(0.15865 * n)] as number;
  const high = sorted[Math.ceil(0.84135 * n) - 1] as number;
  const known = Number.isFinite(value);
  const lowest = Math.min(low, value);
  const highest = Math.max(high, value);
  return {
    value: known ? value : null,
    low: Number.isFinite(lowest) ? lowest : null,
    high: Number.isFinite(highest) ? highest : null,
  };
}

/** The same in another unit; null when the factor is not known. */
export function scaleBound(bound: RadiusBound, factor: number | null): RadiusBound | null {
  if (factor === null) return null;
  const times = (value: number | null): number | null => (value === null ? null : value * factor);
  return { value: times(bound.value), low: times(bound.low), high: times(bound.high) };
}

/** The interval with a part that more stars do not lessen, a share of the value, in quadrature. */
export function widened({ value, low, high }: RadiusBound, share: number): RadiusBound {
  const to = (end: number | null, sign: number): number | null =>
    end === null || value === null
      ? end
      : value + sign * Math.sqrt((end - value) ** 2 + (share * value) ** 2);
  return { value, low: to(low, -1), high: to(high, 1) };
}
