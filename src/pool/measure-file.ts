/** One file, or the three files of a filter set, from path to result. Runs in the main thread and in workers alike, so both give the same digits. */
import type { StarCatalogue } from '../catalogue/catalogue.js';
import { FrameReadError, ToolError } from '../errors.js';
import { SET_CHANNELS, type SetChannel } from '../frame/filter-name.js';
import type { Frame, FrameOverrides } from '../frame/frame.js';
import { openFrame } from '../frame/open.js';
import { measureFrame } from '../measure/measure.js';
import type { MeasureOptions } from '../measure/options.js';
import type { FrameResult } from '../measure/result.js';
import type { SearchedFrame } from '../measure/search-frame.js';

/** What to do with one file. Plain data: it travels to a worker. */
export interface MeasureTask {
  file: string;
  /** A name that led to no file: it becomes a failed result in its place. */
  fault?: NonNullable<FrameResult['error']> | null;
  /** The three files of a filter set instead of one file; `file` then is only its name. */
  set?: Record<SetChannel, string>;
  options: MeasureOptions;
  overrides: FrameOverrides;
  /** Whether the star catalogue is wanted too. */
  keepStars: boolean;
  /** Whether to look at the corners as well: as long again as the rest. */
  corners?: boolean;
}

/** Plain data as well. A file that cannot be measured has `status` "failed" and its error in the result. */
export interface MeasureOutcome {
  result: FrameResult;
  /** The stars of each frame, when they were asked for. */
  catalogues: { file: string; catalogue: StarCatalogue }[];
}

/** Opens, measures and closes. Never throws: a fault becomes a failed result, so that other frames go on. */
export async function measureFile(task: MeasureTask): Promise<MeasureOutcome> {
  if (task.fault) return failed(task.file, task.fault);
  if (task.set) return measureSetFiles(task, task.set);
  let frame: Frame | null = null;
  try {
    frame = await openFrame(task.file, task.overrides);
    const { result, catalogue, searched } = measureFrame(frame, task.options);
    if (task.corners === true) result.corners = await cornersOf(searched, task.options.seed);
    return { result, catalogues: task.keepStars ? [{ file: task.file, catalogue }] : [] };
  } catch (error) {
    return failed(task.file, errorData(error));
  } finally {
    frame?.rows.close();
  }
}

/** The leading cause of star shapes over the frame; null without stars. */
async function cornersOf(
  searched: SearchedFrame,
  seed: number,
): Promise<NonNullable<FrameResult['corners']> | null> {
  if (searched.found.locus === null) return null;
  const { analyseField } = await import('../field/field.js');
  const [set] = analyseField([{ frames: [searched] }], { seed, stamps: false, circle: null }).sets;
  return set === undefined ? null : { leading: set.leading, summary: set.summary };
}

async function measureSetFiles(
  task: MeasureTask,
  files: Record<SetChannel, string>,
): Promise<MeasureOutcome> {
  const opened: Frame[] = [];
  try {
    for (const channel of SET_CHANNELS) {
      opened.push(await openFrame(files[channel], task.overrides));
    }
    const [R, G, B] = opened as [Frame, Frame, Frame];
    const { measureSet } = await import('../measure/measure-set.js');
    const { result, catalogues } = measureSet({ R, G, B }, task.options);
    return { result, catalogues: task.keepStars ? catalogues : [] };
  } catch (error) {
    const data = errorData(error);
    // The set has three files: the message says which.
    if (error instanceof FrameReadError) data.message = `${error.path}: ${data.message}`;
    return failed(task.file, data);
  } finally {
    for (const frame of opened) frame.rows.close();
  }
}

/** The outcome for a file that could not be measured. */
function failed(file: string, error: NonNullable<FrameResult['error']>): MeasureOutcome {
  const result: FrameResult = {
    file,
    status: 'failed',
    error,
    width: null,
    height: null,
    layout: null,
    scaleArcsecPerPx: null,
    metadata: null,
    stars: null,
    channels: {},
    halo: null,
    lateralColour: null,
    equivalentDefocus: null,
    linearity: null,
    sentence: '',
    warnings: [],
  };
  return { result, catalogues: [] };
}

/** Errors cross threads as data: an Error object loses its code on the way. */
export function errorData(error: unknown): NonNullable<FrameResult['error']> {
  if (error instanceof ToolError) {
    return { code: error.code, message: error.message, remedy: error.remedy };
  }
  const text = error instanceof Error ? (error.stack ?? error.message) : String(error);
  return {
    code: 'internal',
    message: `a fault in bluerim, not in the frame: ${text.split('\n').slice(0, 3).join(' ').replace(/\s+/g, ' ')}`,
    remedy: 'please report it, with this line and, if you can, the file',
  };
}
