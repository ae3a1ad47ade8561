/** The machine-readable document of `compare`. */
import type { CompareOptions } from '../compare/options.js';
import type { Comparison } from '../compare/result.js';
import type { FrameOverrides } from '../frame/frame.js';
import { VERSION } from '../version.js';
import { PIXEL_ORIGIN } from './json.js';
import { type FrameParameters, frameParameters } from './parameters.js';

export const COMPARE_SCHEMA_ID = 'bluerim/compare/1';

/** What the user gave for one label alone. */
interface TelescopeParameters extends FrameParameters {
  label: string;
  seeingArcsec: number | null;
}

interface CompareParameters extends FrameParameters {
  pixelOrigin: string;
  interval: string;
  confidence: number;
  modelSeeing: boolean;
  maxStars: number;
  seed: number;
  thresholdSigma: number;
  bootstrapDraws: number;
  telescopes: TelescopeParameters[];
}

export interface CompareDocument extends Comparison {
  schema: typeof COMPARE_SCHEMA_ID;
  version: string;
  parameters: CompareParameters;
}

/**
 * @param shared what the user said about all frames
 * @param telescopes and about those of each label
 */
export function compareDocument(
  comparison: Comparison,
  options: CompareOptions,
  shared: FrameOverrides,
  telescopes: readonly { label: string; overrides: FrameOverrides; seeingArcsec: number | null }[],
): CompareDocument {
  return {
    schema: COMPARE_SCHEMA_ID,
    version: VERSION,
    parameters: {
      pixelOrigin: PIXEL_ORIGIN,
      interval: 'low and high bound the 68 % interval',
      confidence: options.confidence,
      modelSeeing: options.modelSeeing,
      maxStars: options.maxStars,
      seed: options.seed,
      thresholdSigma: options.thresholdSigma,
      bootstrapDraws: options.bootstrapDraws,
      ...frameParameters(shared),
      telescopes: telescopes.map(({ label, overrides, seeingArcsec }) => ({
        label,
        seeingArcsec,
        ...frameParameters(overrides),
      })),
    },
    ...comparison,
  };
}
