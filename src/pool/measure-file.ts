/** One file from path to result. Runs in the main thread and in workers alike, so both give the same digits. */
import type { StarCatalogue } from '../catalogue/catalogue.js';
import { ToolError } from '../errors.js';
import type { Frame, FrameOverrides } from '../frame/frame.js';
import { openFrame } from '../frame/open.js';
import { measureFrame } from '../measure/measure.js';
import type { MeasureOptions } from '../measure/options.js';
import type { FrameResult } from '../measure/result.js';

/** What to do with one file. Plain data: it travels to a worker. */
export interface MeasureTask {
  file: string;
  /** A name that led to no file: it becomes a failed result in its place. */
  fault?: NonNullable<FrameResult['error']> | null;
  options: MeasureOptions;
  overrides: FrameOverrides;
  /** Whether the star catalogue is wanted too. */
  keepStars: boolean;
}

/** Plain data as well. A file that cannot be measured has `status` "failed" and its error in the result. */
export interface MeasureOutcome {
  result: FrameResult;
  catalogue: StarCatalogue | null;
}

/** Opens, measures and closes. Never throws: a fault becomes a failed result, so that other frames go on. */
export async function measureFile(task: MeasureTask): Promise<MeasureOutcome> {
  if (task.fault) return { result: failedResult(task.file, task.fault), catalogue: null };
  let frame: Frame | null = null;
  try {
    frame = await openFrame(task.file, task.overrides);
    const { result, catalogue } = measureFrame(frame, task.options);
    return { result, catalogue: task.keepStars ? catalogue : null };
  } catch (error) {
    return { result: failedResult(task.file, errorData(error)), catalogue: null };
  } finally {
    frame?.rows.close();
  }
}

/** The record of a file that could not be measured. */
function failedResult(file: string, error: NonNullable<FrameResult['error']>): FrameResult {
  return {
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
}

/** Errors cross threads as data: an Error object loses its code on the way. */
function errorData(error: unknown): NonNullable<FrameResult['error']> {
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
