/** A graded night as the one result of a command, and its doubts on stderr. */
import type { FrameOverrides } from '../frame/frame.js';
import type { GradeOptions, Night } from '../grade/result.js';
import type { GradeDocument, NightParameters } from '../report/grade-json.js';
import type { TextStyle } from '../report/layout.js';
import { writeTextFile } from './picture-files.js';
import type { Result } from './result-output.js';
import type { Terminal } from './terminal.js';

/** What records depend on: two runs go together only when these agree. */
export async function nightParameters(
  overrides: FrameOverrides,
  seed: number,
  halo: boolean,
): Promise<NightParameters> {
  const { frameParameters } = await import('../report/parameters.js');
  return { seed, halo, ...frameParameters(overrides) };
}

export interface NightResult extends Result {
  document: () => GradeDocument;
}

export async function resultOf(
  night: Night,
  parameters: NightParameters,
  options: GradeOptions,
  complete: boolean,
): Promise<NightResult> {
  const { gradeDocument } = await import('../report/grade-json.js');
  const { nightText } = await import('../report/grade-table.js');
  return {
    document: () => gradeDocument(night, parameters, options, complete),
    text: (width: number, style: TextStyle) => nightText(night, width, style),
  };
}

/** The page, where one is asked for. @throws OutputError */
export async function writeNightPage(
  file: string | undefined,
  result: NightResult,
  terminal: Terminal,
): Promise<void> {
  const page = async (): Promise<string> => {
    const { gradePage } = await import('../report/grade-page.js');
    return gradePage(result.document());
  };
  await writeTextFile(file, page, terminal);
}

/** Warnings and failed files. */
export async function tell(night: Night, single: boolean, terminal: Terminal): Promise<void> {
  const { showFailedFiles, showWarnings } = await import('./warnings.js');
  showWarnings(night.warnings, single, terminal);
  const failed = night.frames.flatMap(({ file, error }) =>
    error === null ? [] : [{ file, error }],
  );
  showFailedFiles(failed, terminal);
}
