/** Summary numbers of a list of errors. */

export interface ErrorSummary {
  /** Errors that are numbers. */
  n: number;
  /** Mean without errors beyond five scatters of the median. */
  bias: number;
  biasError: number;
  /** Half of the central 68 % interval. */
  scatter: number;
  /** Missing numbers and errors beyond five scatters. */
  lost: number;
}

export function summarise(errors: readonly number[]): ErrorSummary {
  const good = errors.filter((value) => Number.isFinite(value)).sort((a, b) => a - b);
  const quantile = (p: number): number => {
    if (good.length === 0) return Number.NaN;
    const position = p * (good.length - 1);
    const i = Math.floor(position);
    const next = good[Math.min(i + 1, good.length - 1)];
    return good[i] + (position - i) * (next - good[i]);
  };
  const median = quantile(0.5);
  const scatter = (quantile(0.8413) - quantile(0.1587)) / 2;
  const kept = good.filter((value) => Math.abs(value - median) <= 5 * scatter);
  const bias = kept.reduce((sum, value) => sum + value, 0) / kept.length;
  return {
    n: good.length,
    bias,
    biasError: scatter / Math.sqrt(kept.length),
    scatter,
    lost: errors.length - kept.length,
  };
}
