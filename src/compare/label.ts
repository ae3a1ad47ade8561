/** What goes into a comparison, and what its stages know of every label. */
import type { Match } from '../match/match.js';
import type { Transform } from '../match/transform.js';
import type { BootstrapResult } from '../measure/bootstrap.js';
import type { LateralShift } from '../measure/lateral.js';
import type { ChannelName, FrameResult } from '../measure/result.js';
import type { SearchedFrame } from '../measure/search-frame.js';
import type { AngularUnit, ComparedTelescope } from './result.js';

/** One label of the command line: its frames, opened and searched. What the user gave for it is merged into their metadata. */
export interface LabelInput {
  label: string;
  frames: SearchedFrame[];
  /** Files that could not be read. */
  failed: ComparedTelescope['failed'];
  /** FWHM of the seeing as the user gives it; null = unknown. */
  seeingArcsec: number | null;
}

/** Profiles of the common stars in one frame. The samples behind them are gone. */
export interface FrameProfiles {
  /** Radii in the angular unit, brightness per unit². Draw by draw the same stars as in every other frame of the comparison. */
  bootstrap: BootstrapResult;
  /** Channels with star light, in plan order. */
  lit: boolean[];
  /** Neighbours' light within R_max over the star's own, median star. */
  crowding: number;
  /** Light is still seen at R_max. */
  openEnded: boolean;
  /** Lateral colour per channel, px of this frame; null for the reference channel and where none could be fitted. */
  lateral: (LateralShift | null)[];
  /** Flux within R_max of every common star and its error, ADU, per channel. */
  fluxAdu: Float64Array[];
  fluxErrorAdu: Float64Array[];
}

/** One frame that takes part. */
export interface LabelFrame {
  searched: SearchedFrame;
  /** Lay points of the first label's reference frame on this one, one after the other; empty for that frame itself. */
  fromFirst: readonly Transform[];
  /** Angular units per px. */
  unitPerPx: number;
  /** Source index of each common star, in the order that all frames of all labels share: the brightest of the first label first. */
  common: number[];
  /** The same of those that stand in the profiles. */
  stars: number[];
  /** Null where there are too few common stars, or where they determine no profile. */
  profiles: FrameProfiles | null;
}

/** One label inside the comparison. */
export interface LabelData {
  label: string;
  input: LabelInput;
  /** The reference frame first. All have one layout. */
  frames: [LabelFrame, ...LabelFrame[]];
  /** Files that take no part: unreadable, or without match. */
  failed: ComparedTelescope['failed'];
  /** Index in the plan of every channel that may be published (a mosaic of unknown red and blue has G alone). */
  channels: Partial<Record<ChannelName, number>>;
  /** The channel that sizes of stars refer to: G or L. */
  reference: ChannelName;
  scaleArcsecPerPx: number | null;
  scaleSource: ComparedTelescope['scaleSource'];
  /** From focal length and pixel size, whether used or not. */
  headerScaleArcsecPerPx: number | null;
  /** Angular units per px of the reference frame. */
  unitPerPx: number;
  /** Of the reference frame with the first label's; null for the first label. */
  match: Match | null;
  /** Sources of the reference frame that `measure` would take for profiles, best first, common or not. */
  ownStars: number[];
  /** Of the brightest stars that all labels see: how many this one clips in any frame. */
  brightStars: number;
  brightClipped: number;
  /** R_max that the label would choose alone, no larger than the common one, angular unit; null without profiles. */
  ownRadius: number | null;
  /** Profiles averaged over the frames, in the angular unit; null without. Same draws in all labels. */
  averaged: BootstrapResult | null;
  /** Recorded FWHM of the reference channel, px of the reference frame; NaN without profiles. */
  fwhmPx: number;
  /** The stars are narrower than the grid can show. */
  undersampled: boolean;
  /** The worst of the frames. */
  linearity: FrameResult['linearity'];
}

/** The sky that all frames see, on the first label's reference frame. */
export interface CommonField {
  /** Whether every frame of every label sees that point, px. */
  contains: (x: number, y: number) => boolean;
  /** Its middle, px, and the distance of its farthest corner from there. */
  centreX: number;
  centreY: number;
  halfDiagonalPx: number;
}

/** All labels, and what they have in common. */
export interface CompareData {
  /** The first is the one that the others are laid on. */
  labels: LabelData[];
  unit: AngularUnit;
  /** Stars that all frames of all labels measure. */
  common: number;
  /** Those in the profiles. */
  stars: number;
  /** R_max in the angular unit; null without profiles. */
  rMax: number | null;
  /** Why there are no profiles; null with them. */
  noProfiles: string | null;
  field: CommonField;
}
