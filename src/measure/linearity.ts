/** Is the data linear? In linear data a star's shape does not depend on its brightness (measurement.md, section 12). */
import { createRandom } from '../stats/random.js';
import { theilSen } from '../stats/regression.js';
import type { FrameResult, Uncertain } from './result.js';
import { uncertain } from './uncertain.js';

/** Stars, and decades of flux between the 5 % and 95 % star, needed for a verdict. */
const FEWEST_STARS = 20;
const FEWEST_DECADES = 0.6;
/** Growth of size per decade of flux that linear data does not show, and growth that it may show. */
const STRETCHED_PERCENT = 6;
const LINEAR_PERCENT = 4;
/** A trend known less well than this says nothing. */
const LARGEST_ERROR_PERCENT = 5;
const DRAWS = 60;

export interface LinearityInput {
  /** Fitted FWHM and flux of unsaturated good stars. */
  fwhmPx: readonly number[];
  flux: readonly number[];
  probablyProcessed: boolean;
  seed: number;
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
  if (n >= FEWEST_STARS && decades >= FEWEST_DECADES) {
    const logSize = input.fwhmPx.map((value) => Math.log(value));
    const percent = (slope: number): number => 100 * (Math.exp(slope) - 1);
    const best = percent(theilSen(logFlux, logSize));
    const random = createRandom(input.seed + 4099);
    const draws = Array.from({ length: DRAWS }, () => {
      // At most 150 stars a draw: the interval is scaled back below.
      const m = Math.min(n, 150);
      const pick = Array.from({ length: m }, () => Math.floor(random() * n));
      return percent(
        theilSen(
          pick.map((i) => logFlux[i] as number),
          pick.map((i) => logSize[i] as number),
        ),
      );
    });
    trend = uncertain(best, draws, Math.sqrt(Math.min(n, 150) / n));
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
  } else {
    reasons.push('too few unsaturated stars, or too small a range of brightness, to compare sizes');
  }
  if (input.probablyProcessed) {
    reasons.push('the file type is nearly always written after processing');
    if (verdict !== 'stretched') verdict = 'cannot tell';
  }
  return { verdict, sizeTrendPercentPerDecade: trend, reasons };
}
