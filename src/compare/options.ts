/** What a caller may choose about a comparison, with the defaults that every output repeats. */
import { DEFAULT_MEASURE_OPTIONS, type MeasureOptions } from '../measure/options.js';

/** `rMaxPx` is in px of the first telescope; `maxStars` bounds the common stars. */
export interface CompareOptions extends MeasureOptions {
  /** Confidence over all rows together at which a row names a winner, 0.5 … 0.9999. */
  confidence: number;
  /** Adds rows with air and pixel taken off in quadrature, where the seeing of every label is given. */
  modelSeeing: boolean;
}

export const DEFAULT_COMPARE_OPTIONS: Readonly<CompareOptions> = {
  ...DEFAULT_MEASURE_OPTIONS,
  confidence: 0.95,
  modelSeeing: false,
};
