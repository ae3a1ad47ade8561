/** What a run says in words, and what is doubtful about it. */
import { focalLengthFraction } from '../optics/depth-of-focus.js';
import { achromatShare } from '../optics/lens-expectation.js';
import type { Warning } from '../warnings.js';
import type { SweepAnalysis, SweepFacts, SweepRun } from './result.js';

const FEW_STARS = 8;
/** °C between the first and the last frame. */
const DRIFT_C = 1;
/** Weight below which a frame did not count. */
const LEFT_OUT = 0.1;

export function sweepWarnings(
  run: SweepRun,
  analysis: SweepAnalysis,
  backlashApplied: boolean,
): Warning[] {
  const warnings: Warning[] = [];
  const warn = (code: string, message: string, file?: string): void => {
    warnings.push(file === undefined ? { code, message } : { code, message, file });
  };
  if (analysis.stars < FEW_STARS) {
    warn(
      'few-stars',
      `only ${analysis.stars} stars could be followed through all frames; take a richer field or end the run nearer to focus`,
    );
  }
  for (const channel of run.channels) {
    if (analysis.channels[channel]?.bracketed) continue;
    warn(
      'focus-not-bracketed',
      `${channel}: fewer than two positions lie on one side of best focus; its focus cannot be told; go on beyond the end where stars are smallest`,
    );
  }
  const curve = analysis.channels[run.reference]?.curve ?? [];
  run.frames.forEach((frame, i) => {
    if ((curve[i]?.weight ?? 1) < LEFT_OUT) {
      warn(
        'frame-off-curve',
        'its stars do not fit the focus curve (seeing, wind or cloud changed, or the position is wrong); it hardly counts',
        frame.file,
      );
    }
    if (!frame.matched) {
      warn(
        'carried-over',
        'its stars were not matched; their places were taken from the neighbouring frame',
        frame.file,
      );
    }
  });
  const temperatures = run.frames.flatMap(({ temperatureC }) =>
    temperatureC === null ? [] : [temperatureC],
  );
  if (temperatures.length > 1) {
    const range = Math.max(...temperatures) - Math.min(...temperatures);
    if (range >= DRIFT_C) {
      warn(
        'temperature-drift',
        `the temperature changed by ${range.toFixed(1)} °C during the run: focus moved meanwhile; differences between colours suffer less than the focus itself`,
      );
    }
  }
  if (backlashApplied && analysis.backlashSteps !== null) {
    warn(
      'backlash',
      `focus differs by ${Math.abs(analysis.backlashSteps.value).toFixed(1)} steps between the way up and the way down; this was taken off; approach every position from one side`,
    );
  }
  return warnings;
}

export function sweepSentence(analysis: SweepAnalysis, facts: SweepFacts): string {
  const { steps, um } = analysis.blueMinusGreen;
  if (steps === null) {
    return 'The difference of focus between blue and green cannot be told from this run.';
  }
  const half = (steps.high - steps.low) / 2;
  if (Math.abs(steps.value) < 2 * half) {
    return 'Blue and green focus at the same place within the error of this run.';
  }
  const where = steps.value > 0 ? 'larger' : 'smaller';
  let text = `Blue focuses at ${where} positions than green`;
  if (um !== null && facts.focalLengthMm !== null) {
    const fraction = focalLengthFraction(Math.abs(um.value), facts.focalLengthMm);
    const share = achromatShare(fraction);
    text += `: f/${Math.round(1 / fraction)}, ${share.toFixed(2)} of a classical achromat’s`;
  }
  return `${text}.`;
}
