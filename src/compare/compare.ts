/** Compares telescopes on the same stars. Pure but for reading rows. */
import { ParameterError } from '../errors.js';
import type { MeasureOptions } from '../measure/options.js';
import type { Warning } from '../warnings.js';
import { allowancesOf } from './allowances.js';
import { type CommonStars, findCommon } from './common.js';
import { type StarCrop, starCrops } from './crops.js';
import { fairnessOf } from './fairness.js';
import { type FairnessFacts, fairnessFacts, type SharedFacts } from './fairness-facts.js';
import { judge } from './judge.js';
import type { CompareData, LabelData, LabelInput } from './label.js';
import { compareData, telescopeOf, transformOf } from './label-data.js';
import { commonProfiles } from './label-profiles.js';
import type { CompareOptions } from './options.js';
import { purposesOf } from './purposes.js';
import type { Comparison, ComparisonRow } from './result.js';
import { depthRows } from './rows-depth.js';
import { lightRows } from './rows-light.js';
import { modelRow } from './rows-model.js';
import { profileRows } from './rows-profile.js';
import { starRows } from './rows-stars.js';
import { sameFrames } from './same-frame.js';
import { commonShapes, pairedStars } from './star-shapes.js';
import { summaryOf } from './summary.js';

/** Stars looked for in each frame, in units of `maxStars`: the brightest in one telescope are clipped or missing in another. */
const SEARCH_MARGIN = 3;

/** Options with which the frames of a comparison are to be searched. */
export function searchOptions(options: CompareOptions): MeasureOptions {
  return { ...options, maxStars: SEARCH_MARGIN * options.maxStars };
}

/**
 * Compares telescopes, each with its frames searched under `searchOptions`: common stars → profiles → rows → fairness → verdicts →
 * purposes and summary. The same frames and options give the same record to the last digit. What `measureFrame` may change in a searched
 * frame (positions and fluxes of profile stars) this does as well.
 * @throws ParameterError for fewer than two labels, two of one name, or a confidence out of range; ToolError `no-frames`,
 *   `not-matched`, `few-common-stars`; FrameReadError when rows cannot be read
 */
export function compareTelescopes(
  labels: readonly LabelInput[],
  options: CompareOptions,
): { comparison: Comparison; crops: StarCrop[] } {
  const { data, rows, stars, common, warnings } = measureCommon(labels, options);
  const [first] = data.labels as [LabelData, ...LabelData[]];
  const comparison = judged(
    {
      telescopes: data.labels.map((label) => telescopeOf(data, label)),
      matchedStars: data.common,
      transforms: data.labels.flatMap((label) => transformOf(first, label) ?? []),
      angularUnit: data.unit,
      normalisedWithin: data.rMax,
      rows,
      stars,
      warnings,
    },
    fairnessFacts(data, options.haloAnyway),
    options.confidence,
  );
  return { comparison, crops: starCrops(data, common.clipped) };
}

/**
 * A comparison with its verdicts, from rows that were measured.
 * @throws ParameterError for a confidence that is none
 */
export function judged(
  measured: Omit<Comparison, 'confidence' | 'fairness' | 'purposes' | 'summary'>,
  facts: { labels: readonly FairnessFacts[]; shared: SharedFacts },
  confidence: number,
): Comparison {
  if (!(confidence >= 0.5 && confidence < 1)) {
    throw new ParameterError('confidence', confidence, 'a number from 0.5 up, below 1');
  }
  const fairness = fairnessOf(facts.labels, facts.shared);
  const rows = judge(measured.rows, fairness, confidence, allowancesOf(facts.labels));
  const labels = measured.telescopes.map(({ label }) => label);
  return {
    ...measured,
    confidence,
    fairness,
    rows,
    purposes: purposesOf(labels, rows),
    summary: summaryOf({
      labels,
      rows,
      fairness,
      confidence,
      matchedStars: measured.matchedStars,
      angularUnit: measured.angularUnit,
    }),
  };
}

/** What was measured, before anything is judged. */
export interface Measured {
  data: CompareData;
  rows: ComparisonRow[];
  stars: Comparison['stars'];
  common: CommonStars;
  warnings: Warning[];
}

/**
 * Finds the common stars and measures all rows on them.
 * @throws ParameterError for fewer than two labels, or two of one name; ToolError where stars do not match or are too few;
 *   FrameReadError when rows cannot be read
 */
export function measureCommon(labels: readonly LabelInput[], options: CompareOptions): Measured {
  if (labels.length < 2)
    throw new ParameterError('labels', labels.length, 'two or more telescopes');
  const twice = labels.find(({ label }, i) => labels.findIndex((l) => l.label === label) !== i);
  if (twice) throw new ParameterError('label', twice.label, 'a name that no other telescope has');
  const warnings: Warning[] = sameFrames(
    labels.flatMap(({ label, frames }) =>
      frames.map(({ frame, found: { sources } }) => ({
        label,
        path: frame.path,
        x: sources.x.subarray(0, sources.n),
        y: sources.y.subarray(0, sources.n),
      })),
    ),
  );
  const common = findCommon(labels, options.zone, (warning) => warnings.push(warning));
  const data = compareData(common, commonProfiles(common, options), options);
  doubts(data, (warning) => warnings.push(warning));
  const shapes = commonShapes(data);
  const rows = [
    ...profileRows(data),
    ...(options.modelSeeing ? [modelRow(data)] : []),
    ...starRows(data, shapes, options),
    ...lightRows(data, options),
    ...depthRows(data, options),
  ];
  return { data, rows, stars: pairedStars(data, shapes), common, warnings };
}

/** Doubts about the profiles, as warnings. */
function doubts(data: CompareData, warn: (warning: Warning) => void): void {
  if (data.noProfiles !== null) warn({ code: 'no-profile', message: data.noProfiles });
  for (const { label, frames, undersampled, fwhmPx } of data.labels) {
    const file = frames[0].searched.frame.path;
    if (undersampled) {
      warn({
        code: 'undersampled',
        message: `${label}: stars are only ${fwhmPx.toFixed(1)} px wide: too narrow for trustworthy sizes and halos`,
        file,
      });
    }
    if (frames.some(({ profiles }) => profiles?.openEnded)) {
      warn({
        code: 'open-ended-profile',
        message: `${label}: light is still seen at R_max = ${(data.rMax as number).toFixed(1)} ${data.unit}: its halo numbers are lower limits`,
        file,
      });
    }
  }
  const mono = data.labels.filter(({ channels }) => channels.L !== undefined);
  if (mono.length > 0 && mono.length < data.labels.length) {
    warn({
      code: 'mono-against-colour',
      message: `${mono.map(({ label }: LabelData) => label).join(', ')}: one channel without colour; its sizes are compared with green, though it sees other wavelengths`,
    });
  }
}
