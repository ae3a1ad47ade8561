/** What a comparison of telescopes comes to: plain data, the shape that `--json` publishes. Names follow docs/output-format.md. */
import type { TransformDescription } from '../match/transform.js';
import type { ChannelName, FrameResult, Uncertain } from '../measure/result.js';
import type { Warning } from '../warnings.js';

/** The unit of every angle: arcsec, or the pixel of the first telescope while no scale is known. */
export type AngularUnit = 'arcsec' | 'px';

/** One label of the command line. */
export interface ComparedTelescope {
  label: string;
  /** Frames that are in the comparison. */
  files: string[];
  /** Frames that are not, and why. */
  failed: { file: string; error: NonNullable<FrameResult['error']> }[];
  /** False: read from an earlier JSON result, without pixels. */
  hasPixels: boolean;
  layout: FrameResult['layout'];
  width: number | null;
  height: number | null;
  scaleArcsecPerPx: number | null;
  /** 'match': no header gives it; found from the stars and another telescope's scale. */
  scaleSource: 'header' | 'match' | null;
  apertureMm: number | null;
  focalLengthMm: number | null;
  pixelSizeUm: number | null;
  exposureSeconds: number | null;
  /** Stars behind what is said of this telescope's own field, whether the others see them or not; at most --max-stars. */
  ownStars: number;
  /** The blur that turns green into blue, as a length along the axis; one frame gives no sign. */
  blueDefocusUm: Uncertain | null;
  blueDefocusFocalLengthFraction: Uncertain | null;
  /** Profiles of the common stars, for pictures. Radii and R_max in the comparison's angular unit. */
  profiles: Partial<Record<ChannelName, ComparedProfile>>;
}

export interface ComparedProfile {
  radius: number[];
  /** Per unit², normalised within the common R_max. */
  brightness: number[];
  /** 1 σ by bootstrap. */
  error: number[];
  encircledEnergy: number[];
  encircledEnergyError: number[];
}

/** How the reference frame of a telescope lies on that of the first. */
export interface ComparedTransform {
  label: string;
  onto: string;
  matchedStars: number;
  description: TransformDescription;
  kind: string;
  residualRmsPx: number;
  overlapFraction: number;
  log10FalseProbability: number;
}

/** Families of rows that a fairness item can touch. */
export type RowGroup = 'size' | 'colour' | 'shape' | 'field' | 'light' | 'depth';

/** Which end of a quantity is the better one. */
export type BetterWhen = 'smaller' | 'larger' | 'nearer zero';

/** What the row rests on: the same stars in every telescope; every telescope's own field; or the same stars through a model. */
export type RowScope = 'same stars' | 'own field' | 'model';

export interface PairDifference {
  first: string;
  second: string;
  /** First minus second, in the row's unit; for 'nearer zero' of the magnitudes. The interval is that of the difference. */
  difference: Uncertain;
  /** The same over the second, per cent; null where the second may be zero. */
  differencePercent: Uncertain | null;
  /** Chance of a difference this large between equal telescopes, two-sided. */
  pValue: number;
  /** The same with an allowance for what is unfair, after correction for all rows and pairs (Holm); 1 where the row is not comparable. */
  adjustedPValue: number;
  /** Label of the better one at the stated confidence, or null. */
  better: string | null;
}

export interface ComparisonRow {
  /** Stable name, as 'fwhm green' or 'halo blue minus red'. */
  quantity: string;
  group: RowGroup;
  scope: RowScope;
  unit: string;
  betterWhen: BetterWhen;
  /** Label → value; null = not measured. */
  values: Record<string, Uncertain | null>;
  /** Best less next best, of `pairs`, or the smallest lead of those that share it; null when there are no two values. */
  difference: Uncertain | null;
  differenceOf: [string, string] | null;
  pairs: PairDifference[];
  /** A label; several joined by 'and' that are level and each better than all the rest; 'no difference shown'; or 'not comparable'. */
  verdict: string;
  /** 1 − the largest adjusted p of the pairs that the verdict rests on; null without a winner. */
  confidence: number | null;
  /** Stars behind the row. */
  stars: number;
  /** Why not comparable, or null. */
  reason: string | null;
  /** Names of fairness items that weaken the row. */
  caveats: string[];
}

export const NO_DIFFERENCE = 'no difference shown';
export const NOT_COMPARABLE = 'not comparable';

export type FairnessStatus = 'equal' | 'corrected for' | 'not correctable' | 'unknown';

export interface FairnessItem {
  /** Stable name, as 'exposure' or 'seeing'. */
  item: string;
  status: FairnessStatus;
  /** Label → what it is there, in words with units; null = unknown. */
  values: Record<string, string | null>;
  /** One sentence: what it does to the comparison. */
  effect: string;
  /** Rows that it touches. */
  affects: RowGroup[];
  /** 'forbids': those rows are not comparable; 'weakens': they carry it as a caveat. */
  weight: 'none' | 'weakens' | 'forbids';
}

export type Purpose =
  | 'bright targets by eye'
  | 'imaging without a corrector'
  | 'imaging with a corrector'
  | 'small sensor'
  | 'large sensor';

export interface PurposeVerdict {
  purpose: Purpose;
  /** A label, or several as in a row; 'no difference shown', 'depends' (each is better in something), or 'cannot tell'. */
  verdict: string;
  /** Plain words. */
  sentence: string;
  /** Quantities of the rows that it rests on: never a score without its parts. */
  restsOn: string[];
}

/** One row per common star, for pictures and tables. Columns keyed by label. */
export interface PairedStars {
  /** Distance from the centre of the common field over its half diagonal. */
  distance: number[];
  /** Brightness relative to the brightest common star, magnitudes in the first telescope's green (or only) channel. */
  magnitude: number[];
  /** Position on each telescope's reference frame, px. */
  x: Record<string, number[]>;
  y: Record<string, number[]>;
  /** FWHM of the single-star fit in the green (or only) channel, pixel included, angular unit; NaN = not measured. */
  fwhm: Record<string, number[]>;
  ellipticity: Record<string, number[]>;
}

export interface Comparison {
  telescopes: ComparedTelescope[];
  /** Stars that every telescope sees and measures. */
  matchedStars: number;
  transforms: ComparedTransform[];
  angularUnit: AngularUnit;
  /** Radius within which every profile is normalised, the same for all, angular unit. Null without profiles. */
  normalisedWithin: number | null;
  /** Confidence over all rows together at which a row names a winner. */
  confidence: number;
  fairness: FairnessItem[];
  rows: ComparisonRow[];
  purposes: PurposeVerdict[];
  /** The review in plain sentences, the unfair first. */
  summary: string[];
  stars: PairedStars;
  warnings: Warning[];
}
