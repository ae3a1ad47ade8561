/** One answer from several frames of the same target: weighted means of the numbers that each frame measured alone. */
import { haloLevel } from './halo.js';
import type { ChannelName, FrameResult, HaloLevel, Uncertain } from './result.js';

/** A weighted mean with its 68 % interval and the number of frames in it. */
export interface CombinedValue extends Uncertain {
  frames: number;
}

/** Sizes of one channel over all frames. Pixels are null where scales differ, arcsec where a scale is unknown. */
export interface CombinedChannel {
  fwhmPx: CombinedValue | null;
  hfdPx: CombinedValue | null;
  r50Px: CombinedValue | null;
  r80Px: CombinedValue | null;
  r90Px: CombinedValue | null;
  fwhmArcsec: CombinedValue | null;
  hfdArcsec: CombinedValue | null;
  r50Arcsec: CombinedValue | null;
  r80Arcsec: CombinedValue | null;
  r90Arcsec: CombinedValue | null;
}

export interface CombinedContrast {
  excessPercent: CombinedValue | null;
  perfectLensPercent: number | null;
  overPerfectLensPercent: CombinedValue | null;
}

export interface CombinedResult {
  /** The frames that went in, in input order. */
  files: string[];
  layout: NonNullable<FrameResult['layout']>;
  /** Of the first frame; null when unknown or when the frames differ. */
  scaleArcsecPerPx: number | null;
  /** Stars used, summed over the frames (the same star counts once per frame). */
  starsUsed: number;
  channels: Partial<Record<ChannelName, CombinedChannel>>;
  halo: {
    blueMinusRed: CombinedContrast;
    blueMinusGreen: CombinedContrast;
    redMinusGreen: CombinedContrast;
    /** Of the combined blue-minus-red over the perfect lens. */
    level: HaloLevel;
  } | null;
  /** What differs between the frames and what was left out because of it. */
  notes: string[];
}

/** Scales closer than this count as the same telescope and camera. */
const SAME_SCALE = 0.01;

const CHANNELS: readonly ChannelName[] = ['R', 'G', 'B', 'L'];
const PIXEL_SIZES = ['fwhmPx', 'hfdPx', 'r50Px', 'r80Px', 'r90Px'] as const;
const ARCSEC_SIZES = ['fwhmArcsec', 'hfdArcsec', 'r50Arcsec', 'r80Arcsec', 'r90Arcsec'] as const;
const CONTRASTS = ['blueMinusRed', 'blueMinusGreen', 'redMinusGreen'] as const;

/**
 * Inverse-variance weighted mean. σ of each value is half its interval; the error of the mean is the formal 1/√Σw,
 * widened by √(χ²/(n − 1)) where the values scatter by more than their errors allow, so that it is never smaller than
 * either says (scale factor of the Particle Data Group, Review of Particle Physics, Introduction, section 5.2.2; from memory).
 *
 * Values that are null or not finite are left out. A value without a usable interval counts with the median σ of the others.
 *
 * @returns null when fewer than two values remain.
 */
export function weightedMean(
  values: readonly (Uncertain | null | undefined)[],
): CombinedValue | null {
  const used = values.filter(
    (each): each is Uncertain => each != null && Number.isFinite(each.value),
  );
  if (used.length < 2) return null;
  const sigmas = used.map((each) => (each.high - each.low) / 2);
  const known = sigmas.filter((sigma) => sigma > 0 && Number.isFinite(sigma)).sort((a, b) => a - b);
  const typical = known[known.length >> 1] ?? 1;
  let sum = 0;
  let weightSum = 0;
  const weights = sigmas.map((sigma) => {
    const usable = sigma > 0 && Number.isFinite(sigma) ? sigma : typical;
    return 1 / (usable * usable);
  });
  used.forEach((each, i) => {
    sum += (weights[i] as number) * each.value;
    weightSum += weights[i] as number;
  });
  const mean = sum / weightSum;
  let chiSquare = 0;
  used.forEach((each, i) => {
    chiSquare += (weights[i] as number) * (each.value - mean) ** 2;
  });
  const scatter = Math.sqrt(chiSquare / (used.length - 1) / weightSum);
  const formal = known.length > 0 ? 1 / Math.sqrt(weightSum) : 0;
  const error = Math.max(formal, scatter);
  return { value: mean, low: mean - error, high: mean + error, frames: used.length };
}

/** The layout that most frames share; the earlier one on a tie. */
function commonLayout(frames: readonly FrameResult[]): FrameResult['layout'] {
  let best: FrameResult['layout'] = null;
  let most = 0;
  for (const { layout } of frames) {
    const n = frames.filter((each) => each.layout === layout).length;
    if (layout !== null && n > most) {
      best = layout;
      most = n;
    }
  }
  return best;
}

/** Known, distinct values in order of first appearance; unknown ones appear as null. */
function distinct<T>(values: readonly T[]): T[] {
  return [...new Set(values)];
}

interface Sameness {
  scale: boolean;
  scaleKnown: boolean;
  filter: boolean;
}

/** Compares scales and filters, and writes down every difference. */
function compareSetups(frames: readonly FrameResult[], notes: string[]): Sameness {
  const scales = frames.map((each) => each.scaleArcsecPerPx);
  const known = scales.filter((scale): scale is number => scale !== null);
  const lowest = known.reduce((a, b) => Math.min(a, b), Number.POSITIVE_INFINITY);
  const highest = known.reduce((a, b) => Math.max(a, b), 0);
  const scale = known.length === 0 || highest <= lowest * (1 + SAME_SCALE);
  const scaleKnown = known.length === frames.length;
  if (!scale) {
    notes.push(
      `the frames differ in scale (${lowest.toPrecision(4)} to ${highest.toPrecision(4)} arcsec per px): sizes in pixels are not averaged`,
    );
  } else if (known.length > 0 && !scaleKnown) {
    notes.push('the scale of some frames is unknown: sizes in arcsec are not averaged');
  }
  const filters = distinct(frames.map((each) => each.metadata?.filter ?? null));
  const filter = filters.length === 1;
  if (!filter) {
    const names = filters.map((name) => name ?? 'unknown').join(', ');
    notes.push(
      frames[0]?.layout === 'mono'
        ? `the frames went through different filters (${names}): their sizes are not averaged`
        : `the frames name different filters (${names}): their halos may differ for that reason`,
    );
  }
  return { scale, scaleKnown, filter };
}

/**
 * Combines the frames that were measured (`status` "ok", stars used) and share the most common layout.
 *
 * Sizes in pixels are averaged only over one scale, sizes in arcsec only where every scale is known, and sizes of mono
 * frames only through one filter: an average over different things is not given. `notes` says what was left out.
 *
 * @returns null for fewer than two such frames.
 */
export function combineFrames(results: readonly FrameResult[]): CombinedResult | null {
  const measured = results.filter((each) => each.status === 'ok');
  const ok = measured.filter((each) => (each.stars?.used ?? 0) > 0);
  const layout = commonLayout(ok);
  const frames = ok.filter((each) => each.layout === layout);
  if (layout === null || frames.length < 2) return null;
  const notes: string[] = [];
  if (ok.length < measured.length) {
    const empty = measured.length - ok.length;
    notes.push(
      `${empty} frame${empty === 1 ? ' holds' : 's hold'} no usable star and are left out`,
    );
  }
  if (frames.length < ok.length) {
    const others = ok.length - frames.length;
    notes.push(`${others} frame${others === 1 ? ' is' : 's are'} of another layout and left out`);
  }
  const same = compareSetups(frames, notes);
  const sizesComparable = layout !== 'mono' || same.filter;

  const channels: CombinedResult['channels'] = {};
  for (const channel of CHANNELS) {
    if (!frames.some((each) => each.channels[channel] !== undefined)) continue;
    const combined = {} as CombinedChannel;
    for (const size of PIXEL_SIZES) {
      combined[size] =
        sizesComparable && same.scale
          ? weightedMean(frames.map((each) => each.channels[channel]?.[size]))
          : null;
    }
    for (const size of ARCSEC_SIZES) {
      combined[size] =
        sizesComparable && same.scaleKnown
          ? weightedMean(frames.map((each) => each.channels[channel]?.[size]))
          : null;
    }
    channels[channel] = combined;
  }

  return {
    files: frames.map((each) => each.file),
    layout,
    scaleArcsecPerPx: same.scale ? (frames[0]?.scaleArcsecPerPx ?? null) : null,
    starsUsed: frames.reduce((sum, each) => sum + (each.stars?.used ?? 0), 0),
    channels,
    halo: combineHalo(frames),
    notes,
  };
}

function combineHalo(frames: readonly FrameResult[]): CombinedResult['halo'] {
  if (frames.filter((each) => each.halo !== null).length < 2) return null;
  const one = (key: (typeof CONTRASTS)[number]): CombinedContrast => {
    const contrasts = frames.map((each) => each.halo?.[key]);
    const perfect = contrasts
      .map((each) => each?.perfectLensPercent)
      .filter((each): each is number => each != null && Number.isFinite(each));
    return {
      excessPercent: weightedMean(contrasts.map((each) => each?.excessPercent)),
      perfectLensPercent:
        perfect.length < 2 ? null : perfect.reduce((a, b) => a + b, 0) / perfect.length,
      overPerfectLensPercent: weightedMean(contrasts.map((each) => each?.overPerfectLensPercent)),
    };
  };
  const blueMinusRed = one('blueMinusRed');
  const headline = blueMinusRed.overPerfectLensPercent ?? blueMinusRed.excessPercent;
  return {
    blueMinusRed,
    level: headline === null ? 'cannot tell' : haloLevel(headline),
    blueMinusGreen: one('blueMinusGreen'),
    redMinusGreen: one('redMinusGreen'),
  };
}
