/** The measured record of one frame: plain data, the shape that `--json` publishes.
 *
 * Names follow docs/output-format.md and must not be renamed. Not measured is `null`, with a warning that says why.
 * Positions are 0-based pixel centres. `low`/`high` bound the 68 % interval.
 */
import type { CfaPattern, FrameMetadata, Layout } from '../frame/frame.js';
import type { Warning } from '../warnings.js';

export interface Uncertain {
  value: number;
  low: number;
  high: number;
}

export type ChannelName = 'R' | 'G' | 'B' | 'L';

export interface ChannelResult {
  backgroundAdu: Uncertain;
  noiseAdu: Uncertain;
  /** Of the effective profile, pixel included. */
  fwhmPx: Uncertain | null;
  hfdPx: Uncertain | null;
  r50Px: Uncertain | null;
  r80Px: Uncertain | null;
  r90Px: Uncertain | null;
  /** Arcsec twins, null while the scale is unknown. */
  fwhmArcsec: Uncertain | null;
  hfdArcsec: Uncertain | null;
  r50Arcsec: Uncertain | null;
  r80Arcsec: Uncertain | null;
  r90Arcsec: Uncertain | null;
  /** Median of single-star fits (the field map's number), pixel included. */
  medianFitFwhmPx: Uncertain | null;
  /** Moffat exponent of the model fitted to single stars. */
  fitBeta: number | null;
  /** (a − b)/(a + b) from the mean components of the stars. */
  ellipticity: Uncertain | null;
  /** 0–180 from +x towards +y. */
  elongationAngleDeg: number | null;
  starsInProfile: number;
  profile: {
    radiusPx: number[];
    /** Per px², ∫ 2π r p dr = 1 within `normalisedWithinPx`. */
    brightness: number[];
    /** 1 σ by bootstrap. */
    error: number[];
    encircledEnergy: number[];
  } | null;
}

export interface HaloContrast {
  /** EE difference at `atRadiusPx`, per cent of the star's light. */
  excessPercent: Uncertain;
  /** r80 of green. */
  atRadiusPx: number;
  /** R_max. */
  normalisedWithinPx: number;
  /** What a lens without colour error would show; null when it cannot be computed. */
  perfectLensPercent: number | null;
  overPerfectLensPercent: Uncertain | null;
  /** Outermost radius with p_first − p_second above zero at 3 σ; null when nowhere. */
  reachPx: number | null;
  reachArcsec: number | null;
  curve: { radiusPx: number[]; excessPercent: number[]; low: number[]; high: number[] };
}

export type HaloLevel = 'none seen' | 'trace' | 'plain' | 'strong' | 'dominant' | 'cannot tell';

export interface HaloResult {
  blueMinusRed: HaloContrast;
  blueMinusGreen: HaloContrast;
  redMinusGreen: HaloContrast;
  level: HaloLevel;
  /** B − R magnitude inside r50 of green relative to the whole star; positive = yellowish core. */
  coreTintMag: Uncertain | null;
  /** The same between r80 and r95 of green; negative = blue rim. */
  rimTintMag: Uncertain | null;
  /** Trend of blue-minus-red with the star's own B − R colour, and the excess at the reference colour (the median star). */
  starColour: {
    trendPercentPerMag: Uncertain;
    referenceColourMag: number;
    atReferencePercent: Uncertain;
    stars: number;
  } | null;
  /** Ring round saturated stars against the unsaturated profile scaled by the inner wing; 1 = the same halo. */
  saturatedStars: {
    stars: number;
    ringPx: [number, number];
    blueOverExpected: Uncertain;
    redOverExpected: Uncertain;
  } | null;
}

/** How a frame of a set lies on the green one. */
export interface RegistrationResult {
  matchedStars: number;
  /** Pixel of green over pixel of this frame. */
  scale: number;
  /** Turn of the star field, 0–360, from +x towards +y. */
  rotationDeg: number;
  mirrored: boolean;
  /** Distance by which the frame's centre moved among the stars, px of green. */
  shiftPx: number;
  shiftArcsec: number | null;
  residualRmsPx: number;
}

export interface FrameResult {
  /** Path; for a filter set the three paths as on the command line: R=… G=… B=…. */
  file: string;
  status: 'ok' | 'failed';
  error?: { code: string; message: string; remedy: string };
  width: number | null;
  height: number | null;
  /** 'set': three mono frames through filters. */
  layout: Layout | 'set' | null;
  /** The frames of a set. */
  setFiles?: Record<'R' | 'G' | 'B', string>;
  registration?: Record<'R' | 'B', RegistrationResult>;
  cfaPattern?: CfaPattern;
  cfaSource?: 'option' | 'header' | 'pixels';
  scaleArcsecPerPx: number | null;
  metadata: FrameMetadata | null;
  stars: {
    found: number;
    used: number;
    /** Reason → count; reasons are the names in catalogue/flags.ts. */
    rejected: Record<string, number>;
    /** Level at which stars clip, physical ADU, and where it came from. */
    saturationAdu: number | null;
    saturationSource: 'option' | 'header' | 'frame' | 'type' | null;
    zone: 'all' | 'centre';
  } | null;
  channels: Partial<Record<ChannelName, ChannelResult>>;
  halo: HaloResult | null;
  lateralColour: {
    blueConstantPx: [number, number];
    redConstantPx: [number, number];
    /** Linear part: px of shift per px of distance from the frame's centre. */
    bluePerPx: Uncertain;
    redPerPx: Uncertain;
    /** Linear part |blue − red| at the corner. */
    atCornerPx: Uncertain;
    atCornerArcsec: Uncertain | null;
    atCornerUm: Uncertain | null;
  } | null;
  equivalentDefocus: {
    /** |Δz|, one frame gives no sign. Null when focal ratio or pixel size is unknown. */
    blueUm: Uncertain | null;
    redUm: Uncertain | null;
    /** Δz / focal length; published as f/… by the table. */
    blueFocalLengthFraction: Uncertain | null;
    redFocalLengthFraction: Uncertain | null;
    /** Diameter of the blur disc that turns green into blue (red), px. */
    blueBlurPx: Uncertain;
    redBlurPx: Uncertain;
  } | null;
  /** The blue defocus beside what aperture and focal length let expect; null where these are not known. */
  lensLikeness?: {
    /** Over that of a classical achromat of N-BK7 and F2. */
    blueAchromatShare: Uncertain;
    /** Over half the depth of focus at green, 2 λN². */
    blueDepthsOfFocus: Uncertain;
    /** What the achromat has: a share of the focal length. */
    achromatBlueFocalLengthFraction: number;
    like:
      | 'worse than an achromat'
      | 'achromat'
      | 'between achromat and ED doublet'
      | 'ED doublet'
      | 'apochromat'
      | 'better than a usual apochromat';
    /** True: the interval reaches (nearly) down to nothing; `like` is that of its upper end. */
    upperLimit: boolean;
  } | null;
  /** What the star shapes over the frame say, in a sentence; only where a single frame is measured. */
  corners?: { leading: string; summary: string } | null;
  linearity: {
    verdict: 'linear' | 'stretched' | 'cannot tell';
    sizeTrendPercentPerDecade: Uncertain | null;
    reasons: string[];
  } | null;
  /** One plain sentence (or two) for a beginner. */
  sentence: string;
  warnings: Warning[];
}
