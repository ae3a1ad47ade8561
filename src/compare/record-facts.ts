/** Conditions of telescopes that are known from records, in the shape that fairness is judged by. */
import type { Layout } from '../frame/frame.js';
import { UNDERSAMPLED_PX } from '../measure/systematics.js';
import { medianOf } from '../stats/robust.js';
import {
  extremes,
  type FairnessFacts,
  type SharedFacts,
  seeingLimit,
  timeRange,
} from './fairness-facts.js';
import type { LaidFrame, LaidLabel, RecordCommon } from './record-common.js';
import { columnOf } from './record-label.js';
import { radiusDisagrees } from './record-rows.js';

/** A record says that neighbouring samples share their noise by this warning; how much, it does not. */
const CORRELATED = 'correlated-noise';
/** Least that the warning stands for. */
const CORRELATION_WARNED = 1.5;

export function recordFacts(
  data: RecordCommon,
  processedAnyway: boolean,
): { labels: FairnessFacts[]; shared: SharedFacts } {
  const [first] = data.labels as [LaidLabel, ...LaidLabel[]];
  const profile = first.frames[0].frame.result.channels[first.frames[0].frame.reference]?.profile;
  const disagree = radiusDisagrees(data);
  return {
    labels: data.labels.map((label) => factsOf(label, commonArea(data))),
    shared: {
      commonStars: data.common,
      profileStars:
        disagree === null
          ? Math.min(...data.labels.map(({ frames }) => frames[0].frame.result.stars?.used ?? 0))
          : 0,
      unit: data.unit,
      normalisedWithin:
        disagree === null ? (profile?.radiusPx.at(-1) ?? Number.NaN) * first.unitPerPx : null,
      noProfiles: disagree,
      processedAnyway,
    },
  };
}

function factsOf(label: LaidLabel, common: number): FairnessFacts {
  const { frames } = label;
  const results = frames.map(({ frame }) => frame.result);
  const metadata = results.flatMap((result) => (result.metadata === null ? [] : [result.metadata]));
  const [own] = metadata;
  const [{ frame: reference }] = frames;
  const channel = reference.result.channels[reference.reference];
  const fwhmPx = channel?.fwhmPx?.value ?? Number.NaN;
  const backgroundAdu = channel?.backgroundAdu.value ?? Number.NaN;
  const filters = metadata.map(({ filter }) => filter?.trim() ?? '').filter((name) => name !== '');
  const apertureMm = own?.apertureMm ?? null;
  const scale = label.scaleArcsecPerPx;
  const verdicts = results.map(({ linearity }) => linearity?.verdict ?? null);
  const worst = (['stretched', 'cannot tell', 'linear'] as const).find((verdict) =>
    verdicts.includes(verdict),
  );
  return {
    label: label.label.label,
    frames: frames.length,
    layout: layoutOf(reference.result.layout),
    exposureSeconds: extremes(metadata.map(({ exposureSeconds }) => exposureSeconds)),
    gainElectronsPerAdu: own?.gainElectronsPerAdu ?? null,
    filters: [...new Set(filters)],
    airmass: extremes(metadata.map(({ airmass }) => airmass)),
    timeMs: timeRange(metadata),
    seeingArcsec: label.label.seeingArcsec,
    seeingAtMostArcsec: seeingLimit(fwhmPx, scale, apertureMm),
    fwhmPx,
    undersampled: fwhmPx < UNDERSAMPLED_PX,
    scaleArcsecPerPx: scale,
    scaleSource: label.scaleSource,
    headerScaleOverUsed:
      label.headerScaleArcsecPerPx === null || scale === null
        ? null
        : label.headerScaleArcsecPerPx / scale,
    apertureMm,
    backgroundAdu,
    skyElectronsPerSecondArcsec2: skyOf(label, backgroundAdu),
    brightStars: label.brightStars,
    brightClipped: label.brightClipped,
    saturationKnown: results.every(({ stars }) => stars?.saturationAdu != null),
    linearity: worst ?? null,
    probablyProcessed: results.some(({ linearity }) => linearity?.verdict === 'stretched'),
    noiseCorrelation: results.some(({ warnings }) =>
      warnings.some(({ code }) => code === CORRELATED),
    )
      ? CORRELATION_WARNED
      : 1,
    hotPerMillion: medianOf(frames.map(({ frame }) => hotPerMillion(frame.result))),
    ownStars: label.ownStars,
    ownOverCommonField: Math.max(1, areaOf(label) / common),
    overlapFraction: label.match?.overlapFraction ?? null,
    colours: coloursOf(frames[0]),
  };
}

/** Area of a reference frame, square units. */
function areaOf({ frames, unitPerPx }: LaidLabel): number {
  const { width, height } = frames[0].frame.result;
  return (width ?? Number.NaN) * (height ?? Number.NaN) * unitPerPx ** 2;
}

/** The sky that all see, from how far each overlaps with the first; of more than two labels it is what they have at most. */
function commonArea({ labels: [first, ...others] }: RecordCommon): number {
  if (first === undefined) return Number.NaN;
  return Math.min(
    areaOf(first),
    ...others.map(
      (label) => (label.match?.overlapFraction ?? 1) * Math.min(areaOf(first), areaOf(label)),
    ),
  );
}

/** A set of mono frames has its colours on full grids, as planes have. */
function layoutOf(layout: LaidFrame['frame']['result']['layout']): Layout {
  return layout === 'set' ? 'rgb' : (layout ?? 'mono');
}

function skyOf(label: LaidLabel, levelAdu: number): number | null {
  const { metadata } = label.frames[0].frame.result;
  const scale = label.scaleArcsecPerPx;
  if (metadata === null || scale === null) return null;
  const { pedestalAdu, gainElectronsPerAdu, exposureSeconds } = metadata;
  if (pedestalAdu === null || gainElectronsPerAdu === null) return null;
  if (exposureSeconds === null || !(exposureSeconds > 0)) return null;
  const light = levelAdu - pedestalAdu;
  return light > 0 ? (light * gainElectronsPerAdu) / exposureSeconds / (scale * scale) : null;
}

function hotPerMillion({ stars, width, height }: LaidFrame['frame']['result']): number {
  const hot = stars?.rejected['hot pixel'] ?? 0;
  return (1e6 * hot) / ((width ?? Number.NaN) * (height ?? Number.NaN));
}

/** B − R of the common stars, mag. */
function coloursOf({ frame, common }: LaidFrame): Float64Array {
  const { channels } = frame.stars;
  if (!channels.includes('R') || !channels.includes('B')) return new Float64Array(0);
  const [red, blue] = [columnOf(frame, 'flux_R'), columnOf(frame, 'flux_B')];
  return Float64Array.from(common, (i) => {
    const [r, b] = [red[i] as number, blue[i] as number];
    return r > 0 && b > 0 ? -2.5 * Math.log10(b / r) : Number.NaN;
  });
}
