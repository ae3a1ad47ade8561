/** The machine-readable document of `sweep`. */
import type { SweepFacts, SweepOutcome } from '../sweep/result.js';
import { VERSION } from '../version.js';
import type { FrameParameters } from './parameters.js';

export const SWEEP_SCHEMA_ID = 'bluerim/sweep/1';

/** @param parameters options about frames */
export function sweepDocument(
  outcome: SweepOutcome,
  parameters: FrameParameters,
  maxStars: number,
): object {
  const { analysis, facts } = outcome;
  if (analysis === null) throw new TypeError('a run without an analysis has no document');
  const { blueMinusGreen, redMinusGreen, warnings: _, ...rest } = analysis;
  return {
    schema: SWEEP_SCHEMA_ID,
    version: VERSION,
    parameters: {
      interval: 'low and high bound the 68 % interval',
      ...parameters,
      maxStars,
      ...used(facts),
    },
    frames: outcome.frames,
    failed: outcome.failed,
    width: outcome.size?.width ?? null,
    height: outcome.size?.height ?? null,
    ...rest,
    blueMinusGreenSteps: blueMinusGreen.steps,
    blueMinusGreenUm: blueMinusGreen.um,
    blueFocalLengthOver: blueMinusGreen.focalLengthOver,
    blueDepthsOfFocus: blueMinusGreen.depthsOfFocus,
    redMinusGreenSteps: redMinusGreen.steps,
    redMinusGreenUm: redMinusGreen.um,
    redFocalLengthOver: redMinusGreen.focalLengthOver,
    redDepthsOfFocus: redMinusGreen.depthsOfFocus,
    warnings: outcome.warnings,
  };
}

/** What the lengths and angles were computed with. */
function used({ stepUm, focalRatio, seed, pixelSizeUm, focalLengthMm }: SweepFacts) {
  return {
    stepUm,
    focalRatio,
    seed,
    usedPixelSizeUm: pixelSizeUm,
    usedFocalLengthMm: focalLengthMm,
  };
}
