/** Everything that the stages know of the labels, from registered frames and profiles; and the published record of a telescope. */
import { linearityOf } from '../measure/frame-facts.js';
import type { ChannelName, FrameResult } from '../measure/result.js';
import type { SearchedFrame } from '../measure/search-frame.js';
import { noiseSnr } from '../measure/sources.js';
import { UNDERSAMPLED_PX } from '../measure/systematics.js';
import { scaled } from '../measure/uncertain.js';
import { standardDeviation } from '../stats/robust.js';
import { type CommonStars, type RegisteredLabel, usableTest } from './common.js';
import type { CompareData, LabelData, LabelFrame } from './label.js';
import { averageReadings, type CommonProfiles, unitPerPx } from './label-profiles.js';
import type { CompareOptions } from './options.js';
import { uncertainOf } from './readings.js';
import type { ComparedProfile, ComparedTelescope, ComparedTransform } from './result.js';
import { blueDefocusOf } from './rows-profile.js';

/** As for the profiles of a single frame: bright stars alone where there are this many of them. */
const BRIGHT_SNR = 20;
const ENOUGH_BRIGHT = 60;

/** Puts together what registration and profiles found. */
export function compareData(
  { labels, unit, field }: CommonStars,
  profiles: CommonProfiles,
  options: CompareOptions,
): CompareData {
  return {
    labels: labels.map((label, l) => labelData(label, profiles, l, options)),
    unit,
    common: (labels[0] as RegisteredLabel).frames[0].common.length,
    stars: profiles.stars.length,
    rMax: profiles.rMax,
    noProfiles: profiles.reason,
    field,
  };
}

function labelData(
  registered: RegisteredLabel,
  profiles: CommonProfiles,
  l: number,
  options: CompareOptions,
): LabelData {
  const own = profiles.frames[l] ?? [];
  const frames = registered.frames.map((frame, f): LabelFrame => {
    return {
      searched: frame.searched,
      fromFirst: frame.fromFirst,
      unitPerPx: unitPerPx(registered, frame),
      common: frame.common,
      stars: profiles.stars.map((k) => frame.common[k] as number),
      profiles: own[f] ?? null,
    };
  }) as LabelData['frames'];
  const { plan, frame } = frames[0].searched;
  const averaged = averageReadings(own.map(({ bootstrap }) => bootstrap));
  const fwhmPx = averaged
    ? (averaged.best.fwhm[plan.reference] as number) / registered.unitPerPx
    : Number.NaN;
  const undersampled = fwhmPx < UNDERSAMPLED_PX;
  const published = frame.cfa !== null && !frame.cfa.redBlueKnown ? ['G'] : plan.channels;
  return {
    label: registered.input.label,
    input: registered.input,
    frames,
    failed: registered.failed,
    channels: Object.fromEntries(
      published.map((name) => [name, plan.channels.indexOf(name as ChannelName)]),
    ),
    reference: plan.channels[plan.reference] as ChannelName,
    scaleArcsecPerPx: registered.scaleArcsecPerPx,
    scaleSource: registered.scaleSource,
    headerScaleArcsecPerPx: registered.headerScaleArcsecPerPx,
    unitPerPx: registered.unitPerPx,
    match: registered.match,
    ownStars: ownStarsOf(frames[0].searched, options.maxStars),
    brightStars: registered.brightStars,
    brightClipped: registered.brightClipped,
    ownRadius: profiles.ownRadius[l] ?? null,
    averaged,
    fwhmPx,
    undersampled,
    linearity: worstLinearity(frames, undersampled, options.maxStars),
  };
}

/** Stars that a measurement of the frame alone would take for its profiles, brightest first. */
function ownStarsOf(searched: SearchedFrame, maxStars: number): number[] {
  const { sources } = searched.found;
  const fits = sources.fits[searched.found.reference];
  if (!fits) return [];
  const test = usableTest(searched);
  const list: number[] = [];
  for (let i = 0; i < sources.n; i++) if (test(i)) list.push(i);
  list.sort((a, b) => (fits.flux[b] as number) - (fits.flux[a] as number) || a - b);
  const bright = list.filter((i) => noiseSnr(fits, i) >= BRIGHT_SNR);
  return (bright.length >= ENOUGH_BRIGHT ? bright : list).slice(0, maxStars);
}

/** The worst verdict of the frames. */
function worstLinearity(
  frames: LabelData['frames'],
  undersampled: boolean,
  maxStars: number,
): FrameResult['linearity'] {
  const all = frames.map(({ searched }) => {
    const { plan, found, frame } = searched;
    const stars = ownStarsOf(searched, maxStars);
    const lattices = plan.ofChannel[plan.reference] as number[];
    return linearityOf(frame, found, stars, lattices, undersampled);
  });
  for (const verdict of ['stretched', 'cannot tell', 'linear'] as const) {
    const one = all.find((linearity) => linearity?.verdict === verdict);
    if (one) return one;
  }
  return null;
}

/** The published record of a label. */
export function telescopeOf(data: CompareData, label: LabelData): ComparedTelescope {
  const { frame } = label.frames[0].searched;
  const { apertureMm, focalLengthMm, pixelSizeUm, exposureSeconds } = frame.metadata;
  const defocus = blueDefocusOf(data, label);
  const fraction = defocus === null ? null : uncertainOf(defocus);
  return {
    label: label.label,
    files: label.frames.map(({ searched }) => searched.frame.path),
    failed: label.failed,
    hasPixels: true,
    layout: frame.layout,
    width: frame.rows.width,
    height: frame.rows.height,
    scaleArcsecPerPx: label.scaleArcsecPerPx,
    scaleSource: label.scaleSource,
    apertureMm,
    focalLengthMm,
    pixelSizeUm,
    exposureSeconds,
    ownStars: label.ownStars.length,
    blueDefocusUm: scaled(fraction, focalLengthMm === null ? null : 1000 * focalLengthMm),
    blueDefocusFocalLengthFraction: fraction,
    profiles: profilesOf(label),
  };
}

function profilesOf(label: LabelData): ComparedTelescope['profiles'] {
  const { averaged } = label;
  if (averaged === null) return {};
  const { radii, best, draws, smallSample } = averaged;
  const n = radii.length;
  const error = (key: 'brightness' | 'enclosed', c: number): number[] =>
    Array.from(
      { length: n },
      (_, i) =>
        smallSample * standardDeviation(draws.map((draw) => draw[key][c * n + i] as number)),
    );
  const of = (c: number): ComparedProfile => ({
    radius: Array.from(radii),
    brightness: Array.from(best.brightness.subarray(c * n, (c + 1) * n)),
    error: error('brightness', c),
    encircledEnergy: Array.from(best.enclosed.subarray(c * n, (c + 1) * n)),
    encircledEnergyError: error('enclosed', c),
  });
  const lit = (c: number): boolean => label.frames.every(({ profiles }) => profiles?.lit[c]);
  return Object.fromEntries(
    Object.entries(label.channels)
      .filter(([, c]) => lit(c))
      .map(([name, c]) => [name, of(c)]),
  );
}

/** How a label lies on the first; null for the first itself. */
export function transformOf(first: LabelData, label: LabelData): ComparedTransform | null {
  const { match } = label;
  if (match === null) return null;
  return {
    label: label.label,
    onto: first.label,
    matchedStars: match.matched,
    description: match.description,
    kind: match.transform.kind,
    residualRmsPx: match.residualRmsPx,
    overlapFraction: match.overlapFraction,
    log10FalseProbability: match.log10FalseProbability,
  };
}
