/** Is the data linear? In linear data a star's shape does not depend on its brightness (docs/algorithms.md). */
import { robustLinear } from '../stats/regression.js';
import { madSigma, medianOf, quantileOf } from '../stats/robust.js';
import type { FrameResult, Uncertain } from './result.js';

/** Stars, and decades of flux between the 5 % and 95 % star, needed for a verdict. */
const FEWEST_STARS = 20;
const FEWEST_DECADES = 0.6;
/** Growth of size per decade of flux that linear data does not show, and growth that it may show. */
const STRETCHED_PERCENT = 6;
const LINEAR_PERCENT = 4;
/** Thousands of sky samples reach at least 3 σ down; a background whose lowest sample is nearer than this was cut off. */
const CUT_OFF_SIGMA = 2.2;
/** Share by which noise² falls over the range of sky levels from which on it contradicts linear data. */
const NOISE_FALL = 0.3;
/** A trend known less well than this says nothing. */
const LARGEST_ERROR_PERCENT = 5;

export interface LinearityInput {
  /** Fitted FWHM and flux of unsaturated good stars. */
  fwhmPx: readonly number[];
  flux: readonly number[];
  probablyProcessed: boolean;
  /** Lowest sample below the sky level, in σ of the sky noise; small where the background was cut off. */
  lowestSampleSigma: number;
  /** Sky level and noise of the mesh cells of one channel: noise must not fall where the sky is brighter. */
  cellLevel: ArrayLike<number>;
  cellNoise: ArrayLike<number>;
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
  const cutOff = input.lowestSampleSigma < CUT_OFF_SIGMA;
  const falling = noiseFall(input.cellLevel, input.cellNoise) > NOISE_FALL;
  if (cutOff) reasons.push('the dark end of the sky is cut off: faint light round stars is lost');
  if (falling) {
    reasons.push('the noise is smaller where the sky is brighter; in linear data it never is');
  }
  if (cutOff && falling) verdict = 'stretched';
  else if ((cutOff || falling) && verdict === 'linear') verdict = 'cannot tell';
  if (input.probablyProcessed) {
    reasons.push('the file type is nearly always written after processing');
    if (verdict !== 'stretched') verdict = 'cannot tell';
  }
  return { verdict, sizeTrendPercentPerDecade: trend, reasons };
}

/**
 * Share by which noise² falls from the darkest to the brightest sky cells: photon noise makes σ² = a + b · level with b ≥ 0. 0 when the sky
 * spans too little (less than four times its noise) or the fall is not significant at 4 σ.
 */
function noiseFall(level: ArrayLike<number>, noise: ArrayLike<number>): number {
  const n = level.length;
  if (n < 20) return 0;
  const low = quantileOf(level, 0.05);
  const high = quantileOf(level, 0.95);
  const typical = medianOf(noise);
  if (!(high - low > 4 * typical)) return 0;
  const columns = new Float64Array(2 * n);
  const values = new Float64Array(n);
  let spread = 0;
  for (let i = 0; i < n; i++) {
    const x = ((level[i] as number) - 0.5 * (low + high)) / (high - low);
    columns[2 * i] = 1;
    columns[2 * i + 1] = x;
    spread += x * x;
    values[i] = ((noise[i] as number) / typical) ** 2;
  }
  const line = robustLinear(n, 2, columns, values, null);
  if (!line) return 0;
  const residual = values.map(
    (v, i) => v - (line[0] as number) - (line[1] as number) * (columns[2 * i + 1] as number),
  );
  const error = madSigma(residual, 0) / Math.sqrt(spread);
  const slope = line[1] as number;
  return slope < -4 * error ? -slope : 0;
}
