/** What the frames of a telescope say about the conditions under which it was compared: plain numbers, read off the label's data. */
import { FLAG } from '../catalogue/flags.js';
import type { Layout } from '../frame/frame.js';
import type { SearchedFrame } from '../measure/search-frame.js';
import { airyFwhmArcsec } from '../optics/airy.js';
import { medianOf } from '../stats/robust.js';
import type { CompareData, LabelData } from './label.js';
import type { AngularUnit } from './result.js';

/** Conditions of one telescope. Null = its frames do not say. */
export interface FairnessFacts {
  label: string;
  frames: number;
  layout: Layout;
  /** Shortest and longest exposure of its frames, s. */
  exposureSeconds: readonly [number, number] | null;
  gainElectronsPerAdu: number | null;
  /** Names of filters in the headers, each once. */
  filters: readonly string[];
  airmass: readonly [number, number] | null;
  /** Begin of the first and end of the last exposure, ms since 1970. */
  timeMs: readonly [number, number] | null;
  /** As the user gives it, FWHM. */
  seeingArcsec: number | null;
  /** What is left of the star's width without pixel and diffraction: no air was worse than that. */
  seeingAtMostArcsec: number | null;
  /** Width of green (or only) stars, px of the frame; NaN without profiles. */
  fwhmPx: number;
  undersampled: boolean;
  scaleArcsecPerPx: number | null;
  scaleSource: 'header' | 'match' | null;
  /** Header scale over the one that the stars give; null where there is no header scale or no other to compare with. */
  headerScaleOverUsed: number | null;
  apertureMm: number | null;
  /** Sky in the reference channel. */
  backgroundAdu: number;
  /** The same as light: needs pedestal, gain, exposure and scale. */
  skyElectronsPerSecondArcsec2: number | null;
  /** Of the brightest stars that all see: how many this one clips. */
  brightStars: number;
  brightClipped: number;
  /** Whether any level is known at which samples clip. */
  saturationKnown: boolean;
  linearity: 'linear' | 'stretched' | 'cannot tell' | null;
  probablyProcessed: boolean;
  /** Noise of a smoothed frame over that of independent samples; above 1 where neighbours share their noise. */
  noiseCorrelation: number;
  /** Single hot samples in a million. */
  hotPerMillion: number;
  /** Stars usable here, whether the others see them or not (at most as many as are looked at). */
  ownStars: number;
  /** Area of the whole frame over that of the part of the sky that all see, ≥ 1. */
  ownOverCommonField: number;
  /** Share of the smaller field that this and the first telescope both see; null for the first. */
  overlapFraction: number | null;
  /** B − R of the common stars by this camera, mag, in an order that all share; NaN where not measured well. Empty without colour. */
  colours: ArrayLike<number>;
}

/** What the labels have in common. */
export interface SharedFacts {
  commonStars: number;
  profileStars: number;
  unit: AngularUnit;
  /** R_max in `unit`. */
  normalisedWithin: number | null;
  /** Why there are no profiles. */
  noProfiles: string | null;
  /** Halo numbers of processed pictures were asked for. */
  processedAnyway: boolean;
}

/** Green light of the reference channel, nm. */
const GREEN_NM = 530;
/** Variance of a pixel as a squared Gaussian FWHM, px²: 8 ln 2 / 12. */
export const PIXEL_FWHM_SQUARED = (8 * Math.LN2) / 12;
/** Colours known to this share of the light serve for comparing the cameras' colours. */
const COLOUR_ERROR = 0.05;
/** Points along each axis at which the common part of a frame is looked for. */
const GRID = 33;

/** Facts of every label and of all together. */
export function fairnessFacts(
  data: CompareData,
  haloAnyway: boolean,
): { labels: FairnessFacts[]; shared: SharedFacts } {
  const commonArea = areaOfCommon(data);
  return {
    labels: data.labels.map((label) => factsOf(label, commonArea)),
    shared: {
      commonStars: data.common,
      profileStars: data.noProfiles === null ? data.stars : 0,
      unit: data.unit,
      normalisedWithin: data.rMax,
      noProfiles: data.noProfiles,
      processedAnyway: haloAnyway,
    },
  };
}

function factsOf(label: LabelData, commonArea: number): FairnessFacts {
  const searched = label.frames.map((frame) => frame.searched);
  const [first] = searched as [SearchedFrame, ...SearchedFrame[]];
  const metadata = searched.map(({ frame }) => frame.metadata);
  const [own] = metadata as [SearchedFrame['frame']['metadata']];
  const filters = metadata.map(({ filter }) => filter?.trim() ?? '').filter((name) => name !== '');
  const { mesh } = first.found;
  const [lattice] = first.plan.ofChannel[first.plan.reference] as [number];
  const area = first.frame.rows.width * first.frame.rows.height * label.unitPerPx ** 2;
  return {
    label: label.label,
    frames: searched.length,
    layout: first.frame.layout,
    exposureSeconds: extremes(metadata.map(({ exposureSeconds }) => exposureSeconds)),
    gainElectronsPerAdu: own.gainElectronsPerAdu,
    filters: [...new Set(filters)],
    airmass: extremes(metadata.map(({ airmass }) => airmass)),
    timeMs: timeRange(metadata),
    seeingArcsec: label.input.seeingArcsec,
    seeingAtMostArcsec: seeingLimit(label.fwhmPx, label.scaleArcsecPerPx, own.apertureMm),
    fwhmPx: label.fwhmPx,
    undersampled: label.undersampled,
    scaleArcsecPerPx: label.scaleArcsecPerPx,
    scaleSource: label.scaleSource,
    headerScaleOverUsed:
      label.headerScaleArcsecPerPx === null || label.scaleArcsecPerPx === null
        ? null
        : label.headerScaleArcsecPerPx / label.scaleArcsecPerPx,
    apertureMm: own.apertureMm,
    backgroundAdu: mesh.medianLevel[lattice] as number,
    skyElectronsPerSecondArcsec2: skyOf(label, mesh.medianLevel[lattice] as number),
    brightStars: label.brightStars,
    brightClipped: label.brightClipped,
    saturationKnown: searched.every(({ found }) => found.saturation.some(Number.isFinite)),
    linearity: label.linearity?.verdict ?? null,
    probablyProcessed: searched.some(({ frame }) => frame.probablyProcessed),
    noiseCorrelation: Math.max(...searched.map(({ found }) => found.peaks.noiseCorrelation)),
    hotPerMillion: medianOf(searched.map(hotPerMillion)),
    ownStars: label.ownStars.length,
    ownOverCommonField: commonArea > 0 ? Math.max(1, area / commonArea) : Number.NaN,
    overlapFraction: label.match?.overlapFraction ?? null,
    colours: coloursOf(label),
  };
}

/** Smallest and largest; null unless all are known. */
export function extremes(values: readonly (number | null)[]): readonly [number, number] | null {
  const known = values.filter((value): value is number => value !== null);
  return known.length < values.length || known.length === 0
    ? null
    : [Math.min(...known), Math.max(...known)];
}

/** DATE-OBS is UTC (FITS 4.0, section 4.4.2); a date without time of day says nothing here. */
export function timeRange(
  metadata: readonly { dateObs: string | null; exposureSeconds: number | null }[],
): readonly [number, number] | null {
  let from = Number.POSITIVE_INFINITY;
  let to = Number.NEGATIVE_INFINITY;
  for (const { dateObs, exposureSeconds } of metadata) {
    if (dateObs === null || !dateObs.includes('T')) return null;
    const start = Date.parse(`${dateObs.replace(/Z?$/, '')}Z`);
    if (!Number.isFinite(start)) return null;
    from = Math.min(from, start);
    to = Math.max(to, start + 1000 * (exposureSeconds ?? 0));
  }
  return to >= from ? [from, to] : null;
}

/**
 * Upper limit of the seeing, FWHM in arcsec, from the recorded width of the stars: pixel and diffraction taken off in quadrature, as for
 * Gaussians. Null when the scale is unknown or nothing is left.
 */
export function seeingLimit(
  fwhmPx: number,
  arcsecPerPx: number | null,
  apertureMm: number | null,
): number | null {
  if (arcsecPerPx === null || !(fwhmPx > 0)) return null;
  const airy = apertureMm === null ? 0 : airyFwhmArcsec(GREEN_NM, apertureMm);
  const left = (fwhmPx ** 2 - PIXEL_FWHM_SQUARED) * arcsecPerPx ** 2 - airy * airy;
  return left > 0 ? Math.sqrt(left) : null;
}

function skyOf(label: LabelData, levelAdu: number): number | null {
  const { metadata } = label.frames[0].searched.frame;
  const { pedestalAdu, gainElectronsPerAdu, exposureSeconds } = metadata;
  const scale = label.scaleArcsecPerPx;
  if (pedestalAdu === null || gainElectronsPerAdu === null || scale === null) return null;
  if (exposureSeconds === null || !(exposureSeconds > 0)) return null;
  const light = levelAdu - pedestalAdu;
  return light > 0 ? (light * gainElectronsPerAdu) / exposureSeconds / (scale * scale) : null;
}

function hotPerMillion({ found, frame }: SearchedFrame): number {
  const { sources } = found;
  let hot = 0;
  for (let i = 0; i < sources.n; i++) {
    if (((sources.flags[i] as number) & FLAG['hot pixel']) !== 0) hot++;
  }
  return (1e6 * hot) / (frame.rows.width * frame.rows.height);
}

function coloursOf({ channels, frames }: LabelData): Float64Array {
  const { R, B } = channels;
  const [{ profiles }] = frames;
  if (R === undefined || B === undefined || profiles === null) return new Float64Array(0);
  const { fluxAdu, fluxErrorAdu } = profiles;
  const red = fluxAdu[R] as Float64Array;
  const blue = fluxAdu[B] as Float64Array;
  return red.map((r, k) => {
    const b = blue[k] as number;
    const share = Math.hypot(
      (fluxErrorAdu[R]?.[k] as number) / r,
      (fluxErrorAdu[B]?.[k] as number) / b,
    );
    return r > 0 && b > 0 && share < COLOUR_ERROR ? -2.5 * Math.log10(b / r) : Number.NaN;
  });
}

/** Area of the sky that all see, square units, counted on a grid over the first frame. */
function areaOfCommon({ labels, field }: CompareData): number {
  const [first] = labels as [LabelData, ...LabelData[]];
  const { width, height } = first.frames[0].searched.frame.rows;
  let seen = 0;
  for (let j = 0; j < GRID; j++) {
    for (let i = 0; i < GRID; i++) {
      const x = ((i + 0.5) / GRID) * width - 0.5;
      const y = ((j + 0.5) / GRID) * height - 0.5;
      if (field.contains(x, y)) seen++;
    }
  }
  return (seen / (GRID * GRID)) * width * height * first.unitPerPx ** 2;
}
