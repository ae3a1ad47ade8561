/** What a through-focus run yields. Positions and differences are in focuser steps; µm where the step is known. */

import type { FrameResult, Uncertain } from '../measure/result.js';
import type { Warning } from '../warnings.js';

export type SweepChannel = 'R' | 'G' | 'B' | 'L';

/** One frame of the run with the stars that were followed into it. */
export interface SweepFrame {
  file: string;
  position: number;
  /** ISO 8601, or null. */
  dateObs: string | null;
  temperatureC: number | null;
  /** Second moments by channel: star-major, three per star (xx, xy, yy, px²); NaN = not measured. */
  moments: Partial<Record<SweepChannel, Float64Array>>;
  /** Half-flux diameters by channel, px, one a star. */
  hfd: Partial<Record<SweepChannel, Float64Array>>;
  /** Whether its stars were matched; else they were carried over from the neighbour in position. */
  matched: boolean;
}

/** xx + yy of star `s`, px². */
export function squareSize(moments: Float64Array, s: number): number {
  return (moments[3 * s] as number) + (moments[3 * s + 2] as number);
}

/** The stars of the run, at their places on the sharpest frame. */
export interface SweepRun {
  frames: SweepFrame[];
  channels: SweepChannel[];
  reference: SweepChannel;
  x: Float64Array;
  y: Float64Array;
  width: number;
  height: number;
}

export interface SweepFacts {
  stepUm: number | null;
  pixelSizeUm: number | null;
  focalLengthMm: number | null;
  focalRatio: number | null;
  seed: number;
}

export interface CurvePoint {
  position: number;
  /** Root of the median second moment xx + yy, px. */
  rmsPx: number;
  hfdPx: number;
  /** Of the robust fit; near 0 = the frame did not count. */
  weight: number;
}

export interface ChannelFocus {
  bestFocus: Uncertain | null;
  bestFocusUm: Uncertain | null;
  /** Smallest size of the fit, px. */
  sizeAtFocusPx: number | null;
  /** Growth far from focus, px of root-mean-square radius per step. */
  slopePxPerStep: number | null;
  bracketed: boolean;
  curve: CurvePoint[];
}

export interface SweepCell {
  column: number;
  row: number;
  stars: number;
  x: number;
  y: number;
  /** Best focus less the mean of the frame, steps. */
  focusOffset: Uncertain | null;
  /** Radial less tangential focus, steps; null near the centre or with too few stars. */
  radialMinusTangential: Uncertain | null;
}

export interface ColourShift {
  steps: Uncertain | null;
  um: Uncertain | null;
  /** n of f/n: the focal length over the shift's size. */
  focalLengthOver: number | null;
  /** Shift over 2 λN². */
  depthsOfFocus: number | null;
}

export interface SweepAnalysis {
  stars: number;
  channels: Partial<Record<SweepChannel, ChannelFocus>>;
  blueMinusGreen: ColourShift;
  redMinusGreen: ColourShift;
  depthOfFocusUm: number | null;
  /** Focus where the mean square size of all channels together is least. */
  compromiseFocus: number | null;
  tiltDeg: Uncertain | null;
  /** From +x towards +y: where best focus lies at larger positions. */
  tiltDirectionDeg: number | null;
  curvatureRadiusMm: Uncertain | null;
  cells: SweepCell[];
  backlashSteps: Uncertain | null;
  stepUmFromCone: number | null;
  sentence: string;
  warnings: Warning[];
}

/** What came of the files of a run. */
export interface SweepOutcome {
  analysis: SweepAnalysis | null;
  facts: SweepFacts;
  frames: { file: string; position: number }[];
  channels: SweepChannel[];
  size: { width: number; height: number } | null;
  failed: { file: string; error: NonNullable<FrameResult['error']> }[];
  error: NonNullable<FrameResult['error']> | null;
  warnings: Warning[];
}
