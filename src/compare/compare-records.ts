/** Compares telescopes of which some are known by their records alone: star by star where the catalogues allow it. */
import { ParameterError } from '../errors.js';
import type { ChannelName, FrameResult, Uncertain } from '../measure/result.js';
import type { Warning } from '../warnings.js';
import { judged } from './compare.js';
import type { CompareOptions } from './options.js';
import { findRecordCommon, type LaidLabel, type RecordCommon } from './record-common.js';
import { recordFacts } from './record-facts.js';
import { commonDistances, recordFieldRows } from './record-field-rows.js';
import { columnOf, type RecordLabel } from './record-label.js';
import { radiusDisagrees, recordProfileRows, recordReading } from './record-rows.js';
import { recordStarRows } from './record-star-rows.js';
import type {
  ComparedProfile,
  ComparedTelescope,
  ComparedTransform,
  Comparison,
  PairedStars,
} from './result.js';
import { sameFrames } from './same-frame.js';

/** R_max in arcsec that the first frame of a record counted light within; null when it says nothing. */
export function recordRadiusArcsec({ frames }: RecordLabel): number | null {
  const [frame] = frames;
  if (frame === undefined) return null;
  const radius = frame.result.channels[frame.reference]?.profile?.radiusPx.at(-1) ?? null;
  const scale = frame.result.scaleArcsecPerPx;
  return radius === null || scale === null ? null : radius * scale;
}

/**
 * Compares telescopes by their records: common stars → rows → fairness → verdicts, purposes and summary.
 * @throws ParameterError for fewer than two labels, two of one name, or a confidence out of range; ToolError where stars do not match or
 *   are too few
 */
export function compareRecords(
  labels: readonly RecordLabel[],
  options: CompareOptions,
): Comparison {
  const { comparison, facts } = measureRecords(labels, options);
  return judged(comparison, facts, options.confidence);
}

/** What was measured, before anything is judged. */
export interface MeasuredRecords {
  data: RecordCommon;
  comparison: Omit<Comparison, 'confidence' | 'fairness' | 'purposes' | 'summary'>;
  facts: ReturnType<typeof recordFacts>;
}

/**
 * Finds the common stars of the records and makes all rows.
 * @throws ParameterError for fewer than two labels, or two of one name; ToolError where stars do not match or are too few
 */
export function measureRecords(
  labels: readonly RecordLabel[],
  options: CompareOptions,
): MeasuredRecords {
  if (labels.length < 2) {
    throw new ParameterError('labels', labels.length, 'two or more telescopes');
  }
  const twice = labels.find(({ label }, i) => labels.findIndex((l) => l.label === label) !== i);
  if (twice) throw new ParameterError('label', twice.label, 'a name that no other telescope has');
  const warnings: Warning[] = sameFrames(
    labels.flatMap(({ label, frames }) =>
      frames.map((frame) => ({
        label,
        path: frame.result.file,
        x: columnOf(frame, 'x'),
        y: columnOf(frame, 'y'),
      })),
    ),
  );
  const data = findRecordCommon(labels, (warning) => warnings.push(warning));
  const disagree = radiusDisagrees(data);
  if (disagree !== null) warnings.push({ code: 'no-profile', message: disagree });
  if (options.modelSeeing) {
    warnings.push({
      code: 'no-model',
      message: 'sizes with air and pixel taken off are made from frames only: left out',
    });
  }
  const facts = recordFacts(data, options.haloAnyway);
  return {
    data,
    facts,
    comparison: {
      telescopes: data.labels.map(telescopeOf),
      matchedStars: data.common,
      transforms: data.labels.flatMap((label) => transformOf(data.labels[0] as LaidLabel, label)),
      angularUnit: data.unit,
      normalisedWithin: facts.shared.normalisedWithin,
      rows: [
        ...recordProfileRows(data),
        ...recordStarRows(data, options),
        ...recordFieldRows(data, options),
      ],
      stars: pairedStars(data),
      warnings,
    },
  };
}

function telescopeOf(laid: LaidLabel): ComparedTelescope {
  const { label, frames, failed } = laid;
  const { result } = frames[0].frame;
  const { metadata } = result;
  const fraction = uncertainOrNull(
    recordReading(laid, ({ equivalentDefocus }) => equivalentDefocus?.blueFocalLengthFraction),
  );
  const lengthUm = metadata?.focalLengthMm == null ? null : 1000 * metadata.focalLengthMm;
  return {
    label: label.label,
    files: frames.map(({ frame }) => frame.result.file),
    failed,
    hasPixels: label.hasPixels,
    layout: result.layout,
    width: result.width,
    height: result.height,
    scaleArcsecPerPx: laid.scaleArcsecPerPx,
    scaleSource: laid.scaleSource,
    apertureMm: metadata?.apertureMm ?? null,
    focalLengthMm: metadata?.focalLengthMm ?? null,
    pixelSizeUm: metadata?.pixelSizeUm ?? null,
    exposureSeconds: metadata?.exposureSeconds ?? null,
    ownStars: laid.ownStars,
    blueDefocusUm:
      fraction === null || lengthUm === null
        ? null
        : {
            value: fraction.value * lengthUm,
            low: fraction.low * lengthUm,
            high: fraction.high * lengthUm,
          },
    blueDefocusFocalLengthFraction: fraction,
    profiles: profilesOf(result, laid.frames[0].unitPerPx),
  };
}

/** Value ± the mean of the frames' errors; the lower end of a length stays at or above zero. */
function uncertainOrNull(reading: ReturnType<typeof recordReading>): Uncertain | null {
  if (reading === null) return null;
  const { value, sigma = 0 } = reading;
  return { value, low: Math.max(0, value - sigma), high: value + sigma };
}

/** Profiles of the first frame, lengths in the angular unit. A record holds no error of the encircled energy. */
function profilesOf({ channels }: FrameResult, unitPerPx: number): ComparedTelescope['profiles'] {
  const out: ComparedTelescope['profiles'] = {};
  const perArea = 1 / unitPerPx ** 2;
  for (const [name, channel] of Object.entries(channels)) {
    const profile = channel.profile;
    if (profile === null) continue;
    const of = (list: readonly (number | null)[], factor: number): number[] =>
      list.map((v) => (v === null ? Number.NaN : v * factor));
    const compared: ComparedProfile = {
      radius: of(profile.radiusPx, unitPerPx),
      brightness: of(profile.brightness, perArea),
      error: of(profile.error, perArea),
      encircledEnergy: of(profile.encircledEnergy, 1),
      encircledEnergyError: profile.radiusPx.map(() => Number.NaN),
    };
    out[name as ChannelName] = compared;
  }
  return out;
}

function transformOf(first: LaidLabel, { label, match }: LaidLabel): ComparedTransform[] {
  if (match === null) return [];
  return [
    {
      label: label.label,
      onto: first.label.label,
      matchedStars: match.matched,
      description: match.description,
      kind: match.transform.kind,
      residualRmsPx: match.residualRmsPx,
      overlapFraction: match.overlapFraction,
      log10FalseProbability: match.log10FalseProbability,
    },
  ];
}

/** The columns behind pictures of paired stars; distances from the middle of the common stars. */
function pairedStars(data: RecordCommon): PairedStars {
  const { labels, common } = data;
  const [first] = labels as [LaidLabel, ...LaidLabel[]];
  const [base] = first.frames;
  const place = ({ frames: [{ frame, common: rows }] }: LaidLabel, axis: string): number[] =>
    rows.map((i) => columnOf(frame, axis)[i] as number);
  const flux = columnOf(base.frame, `flux_${base.frame.reference}`);
  const brightest = Math.max(...base.common.map((i) => flux[i] as number));
  const byLabel = (column: (label: LaidLabel) => number[]): Record<string, number[]> =>
    Object.fromEntries(labels.map((label) => [label.label.label, column(label)]));
  const mean = ({ frames }: LaidLabel, value: (f: number, i: number) => number): number[] =>
    Array.from(
      { length: common },
      (_, k) =>
        frames.reduce((sum, { common: rows }, f) => sum + value(f, rows[k] as number), 0) /
        frames.length,
    );
  const columns = (label: LaidLabel, name: string): Float64Array[] =>
    label.frames.map(({ frame }) => columnOf(frame, `${name}_${frame.reference}`));
  return {
    distance: Array.from(commonDistances(data).share),
    magnitude: base.common.map((i) => -2.5 * Math.log10((flux[i] as number) / brightest)),
    x: byLabel((label) => place(label, 'x')),
    y: byLabel((label) => place(label, 'y')),
    fwhm: byLabel((label) => {
      const fwhm = columns(label, 'fwhm');
      return mean(
        label,
        (f, i) => (fwhm[f]?.[i] as number) * (label.frames[f] as LaidLabel['frames'][0]).unitPerPx,
      );
    }),
    ellipticity: byLabel((label) => {
      const [e1, e2] = [columns(label, 'e1'), columns(label, 'e2')];
      return mean(label, (f, i) =>
        Math.sqrt((e1[f]?.[i] as number) ** 2 + (e2[f]?.[i] as number) ** 2),
      );
    }),
  };
}
