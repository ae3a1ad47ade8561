/** Is the data linear? In linear data a star's shape does not depend on its brightness (measurement.md, section 12). */
import { robustLinear } from '../stats/regression.js';
import { madSigma } from '../stats/robust.js';
import type { FrameResult, Uncertain } from './result.js';

/** Stars, and decades of flux between the 5 % and 95 % star, needed for a verdict. */
const FEWEST_STARS = 20;
const FEWEST_DECADES = 0.6;
/** Growth of size per decade of flux that linear data does not show, and growth that it may show. */
const STRETCHED_PERCENT = 6;
const LINEAR_PERCENT = 4;
/** A trend known less well than this says nothing. */
const LARGEST_ERROR_PERCENT = 5;

export interface LinearityInput {
  /** Fitted FWHM and flux of unsaturated good stars. */
  fwhmPx: readonly number[];
  flux: readonly number[];
  probablyProcessed: boolean;
  /** Stars narrower than the grid: their fitted sizes follow the sampling, not the light. */
  undersampled: boolean;
}

/** Trend of size with brightness and what follows from it. */
export function judgeLinearity(input: LinearityInput): NonNullable<FrameResult['linearity']> {
  const reasons: string[] = [];
  const n = input.fwhmPx.length;
  let trend: Uncertain | null = null;
  const logFlux = input.flux.map((value) => Math.log10(value));
  const sorted = [...logFlux].sort((a, b) => a - b);
  const decades =
    n > 1
      ? (sorted[Math.floor(0.95 * (n - 1))] as number) -
        (sorted[Math.floor(0.05 * (n - 1))] as number)
      : 0;
  if (!input.undersampled && n >= FEWEST_STARS && decades >= FEWEST_DECADES) {
    // A robust straight line; its error from the scatter of the residuals.
    const mean = logFlux.reduce((sum, value) => sum + value, 0) / n;
    const columns = new Float64Array(2 * n);
    let spread = 0;
    for (let i = 0; i < n; i++) {
      const x = (logFlux[i] as number) - mean;
      columns[2 * i] = 1;
      columns[2 * i + 1] = x;
      spread += x * x;
    }
    const logSize = input.fwhmPx.map((value) => Math.log(value));
    const line = robustLinear(n, 2, columns, logSize, null);
    if (line) {
      const residual = logSize.map(
        (value, i) =>
          value - (line[0] as number) - (line[1] as number) * (columns[2 * i + 1] as number),
      );
      const percent = (slope: number): number => 100 * (Math.exp(slope) - 1);
      const slope = line[1] as number;
      const error = madSigma(residual, 0) / Math.sqrt(spread);
      trend = {
        value: percent(slope),
        low: percent(slope - error),
        high: percent(slope + error),
      };
    }
  }
  let verdict: 'linear' | 'stretched' | 'cannot tell' = 'cannot tell';
  if (trend) {
    const sigma = Math.max(0.2, 0.5 * (trend.high - trend.low));
    if (trend.value > STRETCHED_PERCENT && trend.value > 3 * sigma) {
      verdict = 'stretched';
      reasons.push(
        `brighter stars are wider, by ${trend.value.toFixed(0)} % per factor of ten in brightness; in linear data they are not`,
      );
    } else if (sigma > LARGEST_ERROR_PERCENT) {
      reasons.push('the stars scatter too much to compare sizes of bright and faint ones');
    } else if (Math.abs(trend.value) <= LINEAR_PERCENT + 2 * sigma) {
      verdict = 'linear';
      reasons.push('bright and faint stars have the same size');
    } else {
      reasons.push('size changes with brightness, but not clearly enough for a verdict');
    }
  } else if (input.undersampled) {
    reasons.push('the stars are too narrow to compare sizes of bright and faint ones');
  } else {
    reasons.push('too few unsaturated stars, or too small a range of brightness, to compare sizes');
  }
  if (input.probablyProcessed) {
    reasons.push('the file type is nearly always written after processing');
    if (verdict !== 'stretched') verdict = 'cannot tell';
  }
  return { verdict, sizeTrendPercentPerDecade: trend, reasons };
}
