/** A graded night: plain data, the shape that `--json` publishes. Names follow docs/output-format.md. */
import type { FrameResult, Uncertain } from '../measure/result.js';
import type { Warning } from '../warnings.js';
import type { NightTrail } from './night-frame.js';

export type Decision = 'keep' | 'doubtful' | 'drop';

/** What a reason is about. 'unreadable', 'no stars' and 'no match' stand alone. */
export type ReasonCode =
  | 'wide stars'
  | 'elongated stars'
  | 'low transparency'
  | 'bright sky'
  | 'few stars'
  | 'no stars'
  | 'no match'
  | 'not a night frame'
  | 'unreadable';

/** One reason for a decision: numbers and a sentence. */
export interface Reason {
  code: ReasonCode;
  /** 'night': beyond the night's own usual; 'fixed': beyond a limit given by the user; 'state': a fact. */
  kind: 'night' | 'fixed' | 'state';
  severity: 'doubtful' | 'drop';
  value: number | null;
  limit: number | null;
  /** What the night's good frames show. */
  usual: number | null;
  unit: string;
  text: string;
}

/** A frame with its decision. Null where not measured. */
export interface GradedFrame {
  file: string;
  /** Index into `groups`; null for an unreadable frame. */
  group: number | null;
  decision: Decision;
  reasons: Reason[];
  /** Facts that change nothing: a trail, a meridian turn. */
  notes: string[];
  /** Relative to the group's reference frame, which has 1: squared signal-to-noise of a faint star. */
  weight: number | null;
  startMs: number | null;
  exposureSeconds: number | null;
  starsFound: number;
  starsUsed: number;
  /** Share of the reference frame's stars that should be in this frame and are. */
  matchedShare: number | null;
  fwhmPx: Uncertain | null;
  fwhmArcsec: Uncertain | null;
  ellipticity: Uncertain | null;
  elongationAngleDeg: number | null;
  backgroundAdu: number | null;
  noiseAdu: number | null;
  /** Light of the same stars relative to the reference frame. */
  transparency: Uncertain | null;
  /** Where the frame's centre lies among the stars, px of the reference frame. */
  offsetPx: [number, number] | null;
  rotationDeg: number | null;
  /** Turned by about 180° against the reference frame. */
  meridianTurned: boolean | null;
  blueMinusRedPercent: Uncertain | null;
  trails: NightTrail[];
  focusPosition: number | null;
  /** Of the air or the focuser, not of a cooled sensor. */
  ambientTemperatureC: number | null;
  airmass: number | null;
  error: NonNullable<FrameResult['error']> | null;
}

/** Quantities followed through the night. */
export type TrendQuantity =
  | 'fwhmPx'
  | 'ellipticity'
  | 'backgroundAdu'
  | 'transparency'
  | 'offsetXPx'
  | 'offsetYPx';

/** A level that changed at once. */
export interface ChangePoint {
  quantity: TrendQuantity;
  /** File of the first frame after the change, and the middle of the gap. */
  file: string;
  atMs: number;
  before: number;
  after: number;
  /** Of the change, in standard errors. */
  sigma: number;
}

/** A steady run with something. */
export interface Correlation {
  quantity: TrendQuantity;
  with: 'time' | 'temperature' | 'focus position' | 'air mass';
  frames: number;
  /** Spearman's rank correlation and its two-sided p. */
  rho: number;
  pValue: number;
  /** Theil–Sen slope per hour, degree, step or air mass. */
  slope: number;
}

/** Frames graded together: one target, filter, exposure and frame size. */
export interface NightGroup {
  name: string;
  target: string | null;
  filter: string | null;
  exposureSeconds: number | null;
  frames: number;
  /** File of the reference frame; null when no frame has stars. */
  reference: string | null;
  referenceWhy: string;
  /** What the night's good frames show: centre and spread of every quantity that limits rest on. */
  usual: Partial<Record<TrendQuantity | 'stars', { centre: number; spread: number }>>;
  trends: { changes: ChangePoint[]; correlations: Correlation[] };
  summary: GroupSummary;
}

export interface GroupSummary {
  kept: number;
  doubtful: number;
  dropped: number;
  totalSeconds: number;
  keptSeconds: number;
  /** Seconds of frames as good as the reference that give the same depth as the kept frames. */
  effectiveSeconds: number;
  /** Effective seconds that went by cause: frames dropped for it, and kept frames weakened by it. */
  lost: { cause: ReasonCode; droppedSeconds: number; weakenedSeconds: number }[];
  /** The one change that would have gained most. */
  gain: { change: string; effectiveSeconds: number } | null;
  /** Files worth a look. */
  lookAt: { file: string; why: string }[];
}

/** What the user may fix. Null = from the night itself, or no limit. */
export interface GradeOptions {
  strictness: 'lenient' | 'normal' | 'strict';
  maxFwhmArcsec: number | null;
  maxFwhmPx: number | null;
  maxEllipticity: number | null;
  minTransparency: number | null;
  maxBackgroundAdu: number | null;
  minStars: number | null;
  /** File to take as reference for its group. */
  reference: string | null;
}

export interface Night {
  frames: GradedFrame[];
  groups: NightGroup[];
  /** The night in plain sentences. */
  story: string[];
  summary: GroupSummary;
  warnings: Warning[];
}
