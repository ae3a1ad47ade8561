/** The frames of one or two sets, from paths to the field's record. Never throws for a frame: a fault becomes data, others go on. */
import { FrameReadError } from '../errors.js';
import type { CircleLimits } from '../field/corrected-circle.js';
import { analyseField, type FieldSetInput } from '../field/field.js';
import { measureIllumination } from '../field/illumination.js';
import { crowdedMiddle } from '../field/illumination-crowd.js';
import { ninthsOf } from '../field/ninths.js';
import type { FieldOutcome, FieldSetFacts, FieldSetOutcome } from '../field/outcome.js';
import {
  type BiasMeasurement,
  biasMismatch,
  knownPedestal,
  measureBias,
  type Pedestal,
  pedestalFor,
} from '../field/pedestal.js';
import type { FieldSet } from '../field/result.js';
import type { Frame, FrameOverrides } from '../frame/frame.js';
import { openFrame } from '../frame/open.js';
import { matchStars } from '../match/match.js';
import { linearityOf, scaleOf } from '../measure/frame-facts.js';
import { matchListOf } from '../measure/match-list.js';
import type { MeasureOptions } from '../measure/options.js';
import type { FrameResult } from '../measure/result.js';
import { type SearchedFrame, searchFrame } from '../measure/search-frame.js';
import { selectStars } from '../measure/select-stars.js';
import type { Warning } from '../warnings.js';
import { errorData } from './measure-file.js';

/** A name, and its fault when it leads to no file. */
export interface FieldFile {
  file: string;
  fault: NonNullable<FrameResult['error']> | null;
}

export interface FieldTask {
  /** One set, or two with the camera turned between them. */
  sets: readonly (readonly FieldFile[])[];
  options: MeasureOptions;
  overrides: FrameOverrides;
  /** Limits of the well-corrected circle; left out = the defaults. */
  circle?: CircleLimits;
  /** Level of no light as the user gives it, ADU; null = from the header or the bias frame. */
  pedestalAdu: number | null;
  /** A bias frame to take it from. Where it cannot be used, it counts as a failed frame and no fall-off is given. */
  bias: string | null;
}

/** Opens, searches and analyses every set. `step` is told after each frame. */
export async function analyseFieldFiles(
  task: FieldTask,
  step: () => void | Promise<void> = () => {},
): Promise<FieldOutcome> {
  const warnings: Warning[] = [];
  const opened: Frame[] = [];
  try {
    const sets: { searched: SearchedFrame[]; failed: FieldSetFacts['failed'] }[] = [];
    for (const files of task.sets) {
      const searched: SearchedFrame[] = [];
      const failed: FieldSetFacts['failed'] = [];
      for (const { file, fault } of files) {
        const one = fault ?? (await searchFile(file, task, opened, warnings));
        if ('frame' in one) searched.push(one);
        else failed.push({ file, error: one });
        await step();
      }
      sets.push({ searched, failed });
    }
    const usable = sets.filter(({ searched }) => searched.length > 0);
    const bias = await readBias(task, warnings);
    const inputs: FieldSetInput[] = usable.map(({ searched, failed }) => {
      const first = searched[0] as SearchedFrame;
      const zero = pedestalOf(first.frame, task, bias);
      // Once is enough: both sets share one bias frame.
      if (zero.error && !sets.some((set) => set.failed.some(({ error }) => error === zero.error))) {
        failed.push({ file: task.bias as string, error: zero.error });
      }
      return { frames: searched, ...illuminationOf(first, task.options, zero) };
    });
    const result = analyseField(inputs, {
      seed: task.options.seed,
      ...(task.circle !== undefined && { circle: task.circle }),
      rotationDeg: inputs.length === 2 ? turnBetween(inputs, warnings) : null,
    });
    warnings.push(...result.warnings);
    let next = 0;
    return {
      sets: sets.map(({ searched, failed }): FieldSetOutcome => {
        const [first] = searched;
        if (!first) return { files: failed.map(({ file }) => file), failed, leading: null };
        const set = result.sets[next++] as FieldSet;
        return { ...factsOf(first, searched, failed, set), ...set };
      }),
      ...(result.rotation !== undefined && { rotation: result.rotation }),
      warnings,
    };
  } finally {
    for (const frame of opened) frame.rows.close();
  }
}

async function searchFile(
  file: string,
  { options, overrides }: FieldTask,
  opened: Frame[],
  warnings: Warning[],
): Promise<SearchedFrame | NonNullable<FrameResult['error']>> {
  try {
    const frame = await openFrame(file, overrides);
    opened.push(frame);
    warnings.push(...frame.warnings.map((each) => ({ ...each, file })));
    return searchFrame(frame, options, (code, message) => warnings.push({ code, message, file }));
  } catch (error) {
    return errorData(error);
  }
}

type Fault = NonNullable<FrameResult['error']>;

/** What the bias frame says, or why it cannot be read; null without one. */
async function readBias(
  task: FieldTask,
  warnings: Warning[],
): Promise<BiasMeasurement | Fault | null> {
  if (task.bias === null) return null;
  const file = task.bias;
  try {
    const frame = await openFrame(file, task.overrides);
    try {
      const bias = measureBias(frame);
      if (bias.doubt !== null) {
        warnings.push({ code: 'bias-doubtful', message: bias.doubt, file });
      }
      return bias;
    } finally {
      frame.rows.close();
    }
  } catch (error) {
    return errorData(error);
  }
}

interface KnownZero {
  pedestal: Pedestal | null;
  /** The bias frame that the user gave serves not: then no other level takes its place. */
  error: Fault | null;
}

/** The level of no light: of the bias frame where one is given, else the user's, else the header's. */
function pedestalOf(
  frame: Frame,
  task: FieldTask,
  bias: BiasMeasurement | Fault | null,
): KnownZero {
  if (bias === null) {
    return { pedestal: knownPedestal(frame.metadata.pedestalAdu, task.pedestalAdu), error: null };
  }
  if ('code' in bias) return { pedestal: null, error: bias };
  const unlike = biasMismatch(frame, bias);
  if (unlike === null) return { pedestal: pedestalFor(frame, bias), error: null };
  const error = new FrameReadError(
    'bias-unlike',
    task.bias as string,
    `the bias frame does not belong to ${frame.path}: ${unlike}`,
    'give a bias frame of the same camera, size and binning, or --pedestal',
  );
  return { pedestal: null, error: errorData(error) };
}

/** Star size from which brighter stars that are wider mean a stretched frame. */
const LEAST_FWHM_PX = 2;

/** Light fall-off from the sky of the first frame of a set. */
function illuminationOf(
  { frame, plan, found }: SearchedFrame,
  options: MeasureOptions,
  { pedestal, error }: KnownZero,
): Pick<FieldSetInput, 'illumination' | 'illuminationRecord'> {
  const { metadata, rows } = frame;
  // Choosing stars marks the others as left over: on a copy, since the field wants them too.
  const flags = found.sources.flags.slice();
  const chosen = { ...found, sources: { ...found.sources, flags } };
  // Sizes of stars narrower than two pixels follow the sampling: they would look stretched.
  const linearity = linearityOf(
    frame,
    found,
    selectStars(chosen, options, rows.width, rows.height),
    plan.ofChannel[plan.reference] as number[],
    (found.locus?.fwhmPx ?? 0) < LEAST_FWHM_PX,
  );
  const record = measureIllumination({
    rows,
    plan,
    pedestal,
    crowdedMiddle: crowdedMiddle(
      found.sources.x,
      found.sources.y,
      found.sources.n,
      rows.width,
      rows.height,
    ),
    pedestalFault: error && 'the bias frame cannot be used, so the level of no light is not known',
    gainElectronsPerAdu: metadata.gainElectronsPerAdu,
    pixelSizeUm: metadata.pixelSizeUm,
    focalLengthMm: metadata.focalLengthMm,
    linear: frame.probablyProcessed || linearity?.verdict === 'stretched' ? false : null,
    seed: options.seed,
  });
  const leading = record.reference === null ? null : record.channels[record.reference];
  if (!leading) return { illumination: null, illuminationRecord: record };
  const { value, low } = leading.darkestCornerPercent;
  return {
    illumination: {
      worstCorner: value / 100,
      worstCornerError: (value - low) / 100,
      trusted: record.status === 'measured' && record.flat.state === 'raw',
    },
    illuminationRecord: record,
  };
}

/** Turn of the stars from the first set to the second, degrees; null, with the reason as a warning, when it is not found. */
function turnBetween(inputs: readonly FieldSetInput[], warnings: Warning[]): number | null {
  const [a, b] = inputs.map(({ frames }) => frames[0] as SearchedFrame) as [
    SearchedFrame,
    SearchedFrame,
  ];
  const match = matchStars(matchListOf(a).list, matchListOf(b).list);
  if (match.found) return match.description.rotationDeg;
  warnings.push({
    code: 'field-rotation-unmatched',
    message: match.explanation,
    file: b.frame.path,
  });
  return null;
}

function factsOf(
  first: SearchedFrame,
  searched: readonly SearchedFrame[],
  failed: FieldSetFacts['failed'],
  set: FieldSet,
): FieldSetFacts {
  const { rows, layout, metadata } = first.frame;
  const { focalLengthMm, apertureMm, pixelSizeUm } = metadata;
  return {
    files: searched.map(({ frame }) => frame.path),
    failed,
    width: rows.width,
    height: rows.height,
    layout,
    pixelSizeUm,
    focalRatio: focalLengthMm !== null && apertureMm !== null ? focalLengthMm / apertureMm : null,
    scaleArcsecPerPx: scaleOf(metadata),
    places: ninthsOf(set.cells, rows.width, rows.height),
  };
}
