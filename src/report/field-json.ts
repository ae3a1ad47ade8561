/** The machine-readable document of `field`. */

import { type CircleLimits, DEFAULT_CIRCLE_LIMITS } from '../field/corrected-circle.js';
import type { FieldOutcome } from '../field/outcome.js';
import type { FrameOverrides } from '../frame/frame.js';
import type { MeasureOptions } from '../measure/options.js';
import { VERSION } from '../version.js';
import { PIXEL_ORIGIN } from './json.js';
import { type FrameParameters, frameParameters } from './parameters.js';

export const FIELD_SCHEMA_ID = 'bluerim/field/1';

interface FieldParameters extends FrameParameters {
  pixelOrigin: string;
  interval: string;
  seed: number;
  thresholdSigma: number;
  maxGrowth: number;
  maxEllipticity: number;
}

export interface FieldDocument extends FieldOutcome {
  schema: typeof FIELD_SCHEMA_ID;
  version: string;
  parameters: FieldParameters;
}

export function fieldDocument(
  outcome: FieldOutcome,
  options: MeasureOptions,
  overrides: FrameOverrides,
  circle: CircleLimits = DEFAULT_CIRCLE_LIMITS,
): FieldDocument {
  return {
    schema: FIELD_SCHEMA_ID,
    version: VERSION,
    parameters: {
      pixelOrigin: PIXEL_ORIGIN,
      interval: 'low and high bound the 68 % interval',
      seed: options.seed,
      thresholdSigma: options.thresholdSigma,
      maxGrowth: circle.maxGrowth,
      maxEllipticity: circle.maxEllipticity,
      ...frameParameters(overrides),
    },
    ...outcome,
  };
}
