/** The frames of several telescopes, from paths to their comparison. A frame that cannot be read is data, and the others go on. */
import { compareTelescopes, searchOptions } from '../compare/compare.js';
import type { StarCrop } from '../compare/crops.js';
import type { LabelInput } from '../compare/label.js';
import type { CompareOptions } from '../compare/options.js';
import type { ComparedTelescope, Comparison } from '../compare/result.js';
import type { Frame, FrameOverrides } from '../frame/frame.js';
import { openFrame } from '../frame/open.js';
import type { MeasureOptions } from '../measure/options.js';
import type { FrameResult } from '../measure/result.js';
import { type SearchedFrame, searchFrame } from '../measure/search-frame.js';
import type { Warning } from '../warnings.js';
import type { FieldFile } from './analyse-field.js';
import { errorData } from './measure-file.js';

/** One telescope of the command line. */
export interface CompareLabelTask {
  label: string;
  files: readonly FieldFile[];
  overrides: FrameOverrides;
  /** FWHM of the seeing as the user gives it; null = unknown. */
  seeingArcsec: number | null;
}

export interface CompareTask {
  labels: readonly CompareLabelTask[];
  options: CompareOptions;
}

export interface CompareOutcome {
  /** Null when nothing could be compared; then `error` says why. */
  comparison: Comparison | null;
  error: NonNullable<FrameResult['error']> | null;
  crops: StarCrop[];
  /** Files that could not be read, by label. */
  failed: { label: string; failed: ComparedTelescope['failed'] }[];
  /** Of the files; those of the comparison are in its record as well. */
  warnings: Warning[];
}

/**
 * Opens and searches every frame, compares, and closes everything. Never throws for what is in the files. `step` is told after each frame.
 *
 * All searched frames are in memory at once: of each its stars with their stamps, not its pixels, unless the format unpacks as a whole.
 */
export async function compareFiles(
  task: CompareTask,
  step: () => void | Promise<void> = () => {},
): Promise<CompareOutcome> {
  const warnings: Warning[] = [];
  const opened: Frame[] = [];
  const labels: LabelInput[] = [];
  const search = searchOptions(task.options);
  try {
    for (const { label, files, overrides, seeingArcsec } of task.labels) {
      const input: LabelInput = { label, frames: [], failed: [], seeingArcsec };
      labels.push(input);
      for (const { file, fault } of files) {
        const one = fault ?? (await searchFile(file, overrides, search, opened, warnings));
        if ('frame' in one) input.frames.push(one);
        else input.failed.push({ file, error: one });
        await step();
      }
    }
    const failed = labels.map(({ label, failed }) => ({ label, failed }));
    try {
      const { comparison, crops } = compareTelescopes(labels, task.options);
      warnings.push(...comparison.warnings);
      return { comparison: { ...comparison, warnings }, error: null, crops, failed, warnings };
    } catch (error) {
      return { comparison: null, error: errorData(error), crops: [], failed, warnings };
    }
  } finally {
    for (const frame of opened) frame.rows.close();
  }
}

async function searchFile(
  file: string,
  overrides: FrameOverrides,
  options: MeasureOptions,
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
