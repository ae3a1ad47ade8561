/** The frames of one or two sets, from paths to the field's record. Never throws for a frame: a fault becomes data, others go on. */
import { analyseField, type FieldSetInput } from '../field/field.js';
import { measureIllumination } from '../field/illumination.js';
import { ninthsOf } from '../field/ninths.js';
import type { FieldOutcome, FieldSetFacts, FieldSetOutcome } from '../field/outcome.js';
import { knownPedestal, measureBias, type Pedestal } from '../field/pedestal.js';
import type { FieldSet } from '../field/result.js';
import type { Frame, FrameOverrides } from '../frame/frame.js';
import { openFrame } from '../frame/open.js';
import { matchStars } from '../match/match.js';
import { scaleOf } from '../measure/frame-facts.js';
import { matchListOf } from '../measure/match-list.js';
import type { MeasureOptions } from '../measure/options.js';
import type { FrameResult } from '../measure/result.js';
import { type SearchedFrame, searchFrame } from '../measure/search-frame.js';
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
  /** Level of no light as the user gives it, ADU; null = from the header or the bias frame. */
  pedestalAdu: number | null;
  /** A bias frame to take it from. */
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
    const bias = await biasPedestal(task, warnings);
    const inputs: FieldSetInput[] = usable.map(({ searched }) => ({
      frames: searched,
      ...illuminationOf(searched[0] as SearchedFrame, task, bias),
    }));
    const result = analyseField(inputs, {
      seed: task.options.seed,
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

/** The pedestal of the bias frame; null without one, or where it cannot be read: then a warning says so. */
async function biasPedestal(task: FieldTask, warnings: Warning[]): Promise<Pedestal | null> {
  if (task.bias === null) return null;
  const file = task.bias;
  try {
    const frame = await openFrame(file, task.overrides);
    try {
      const { pedestal, doubt } = measureBias(frame);
      if (doubt !== null) warnings.push({ code: 'bias-doubtful', message: doubt, file });
      return pedestal;
    } finally {
      frame.rows.close();
    }
  } catch (error) {
    const { message } = errorData(error);
    warnings.push({
      code: 'bias-unreadable',
      message: `the bias frame is not used: ${message}`,
      file,
    });
    return null;
  }
}

/** Light fall-off from the sky of the first frame of a set. */
function illuminationOf(
  { frame, plan, found }: SearchedFrame,
  task: FieldTask,
  bias: Pedestal | null,
): Pick<FieldSetInput, 'illumination' | 'illuminationRecord'> {
  const { metadata, rows } = frame;
  const record = measureIllumination({
    rows,
    plan,
    pedestal: bias ?? knownPedestal(metadata.pedestalAdu, task.pedestalAdu),
    gainElectronsPerAdu: metadata.gainElectronsPerAdu,
    pixelSizeUm: metadata.pixelSizeUm,
    focalLengthMm: metadata.focalLengthMm,
    linear: frame.probablyProcessed || found.locus === null ? false : null,
    seed: task.options.seed,
  });
  const leading = record.reference === null ? null : record.channels[record.reference];
  if (!leading) return { illumination: null, illuminationRecord: record };
  const { value, low } = leading.darkestCornerPercent;
  return {
    illumination: {
      worstCorner: value / 100,
      worstCornerError: (value - low) / 100,
      trusted: record.status === 'measured',
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
