/** The machine-readable document of `grade` and `merge`. */
import type { GradeOptions, Night } from '../grade/result.js';
import { VERSION } from '../version.js';
import { PIXEL_ORIGIN } from './json.js';
import type { FrameParameters } from './parameters.js';

export const GRADE_SCHEMA_ID = 'bluerim/grade/1';

/** What the records depend on. */
export interface NightParameters extends FrameParameters {
  seed: number;
  halo: boolean;
}

interface GradeParameters extends NightParameters, GradeOptions {
  pixelOrigin: string;
  interval: string;
}

export interface GradeDocument extends Night {
  schema: typeof GRADE_SCHEMA_ID;
  version: string;
  parameters: GradeParameters;
  /** False when frames are missing: after an interruption, from one shard, or where records are missing. */
  complete: boolean;
}

export function gradeDocument(
  night: Night,
  parameters: NightParameters,
  options: GradeOptions,
  complete: boolean,
): GradeDocument {
  return {
    schema: GRADE_SCHEMA_ID,
    version: VERSION,
    parameters: {
      pixelOrigin: PIXEL_ORIGIN,
      interval: 'low and high bound the 68 % interval',
      ...parameters,
      ...options,
    },
    complete,
    ...night,
  };
}
