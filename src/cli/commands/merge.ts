/** `bluerim merge`: a night graded from records that were measured in pieces. */
import { Command } from 'commander';
import type { NightParameters } from '../../report/grade-json.js';
import type { Warning } from '../../warnings.js';
import { addLimitOptions, gradeOptions, type LimitFlags } from '../night-options.js';
import { addNightOutputs, type NightOutputFlags } from '../night-output.js';
import { addResultOptions, type ResultFlags } from '../options.js';
import type { LoadedRecords } from '../record-file.js';
import { createTerminal, type Terminal } from '../terminal.js';

type MergeFlags = ResultFlags & LimitFlags & NightOutputFlags;

export function mergeCommand(setExitCode: (code: number) => void): Command {
  const command = new Command('merge')
    .description(
      'Grade frames from the records that `grade --ndjson` wrote, in one piece or many: the same answer as measuring all of them at once.',
    )
    .argument('<records...>', 'files of records')
    .helpOption('-h, --help', 'show this help');
  addLimitOptions(command);
  addNightOutputs(command);
  addResultOptions(command);
  return command.action(async (files: string[], flags: MergeFlags) => {
    setExitCode(await runMerge(files, flags, createTerminal(flags.color)));
  });
}

async function runMerge(
  files: readonly string[],
  flags: MergeFlags,
  terminal: Terminal,
): Promise<number> {
  const { resultTarget, writeResult } = await import('../result-output.js');
  const target = await resultTarget(flags);
  const { checkNightOutputs, writeNightOutputs } = await import('../night-output.js');
  await checkNightOutputs(flags, files);
  const { loadRecords, requireSameParameters } = await import('../record-file.js');
  const loaded = files.map((file) => loadRecords(file));
  const [first] = loaded;
  const parameters = first?.parameters ?? {};
  for (const each of loaded) requireSameParameters(each.path, each, parameters);
  const warnings: Warning[] = loaded.flatMap(({ doubt, path }) =>
    doubt === null
      ? []
      : [{ code: 'records-damaged', message: `${doubt}; they are left out`, file: path }],
  );
  // A frame that two files hold counts once; the later file wins, as the later line does.
  const byFile = new Map(
    loaded.flatMap(({ records }) => records.map((entry) => [entry.frame.file, entry] as const)),
  );
  const frames = [...byFile.values()]
    .sort((a, b) => a.order - b.order || (a.frame.file < b.frame.file ? -1 : 1))
    .map(({ frame }) => frame);
  const missing = missingOf(loaded, frames.length);
  if (missing !== null) warnings.unshift(missing);
  const complete = warnings.length === 0;
  const { resultOf, tell, writeNightPage } = await import('../night-result.js');
  const { gradeNight } = await import('../../grade/grade.js');
  const options = gradeOptions(
    flags,
    frames.map(({ file }) => file),
  );
  const night = gradeNight(frames, options);
  night.warnings.unshift(...warnings, ...frames.flatMap((frame) => frame.warnings));
  const known = parameters as unknown as NightParameters;
  const result = await resultOf(night, known, options, complete);
  await writeResult(target, result, terminal);
  await writeNightPage(flags.html, result, terminal);
  await tell(night, frames.length === 1, terminal);
  if (!complete && flags.apply) {
    // As after an interruption: a part of a night is no ground for moving files.
    terminal.message('frames are missing: nothing was copied, linked or moved');
  }
  const acting = { ...flags, apply: complete && flags.apply === true };
  const code = await writeNightOutputs(night, frames, acting, terminal);
  if (code !== 0) return code;
  return complete && night.frames.every((frame) => frame.error === null) ? 0 : 1;
}

/** What the records say of the list that they are parts of; null when they are all there, or do not say. */
function missingOf(loaded: readonly LoadedRecords[], found: number): Warning | null {
  const wholes = loaded.flatMap(({ wholeNight }) => (wholeNight === null ? [] : [wholeNight]));
  const whole = Math.max(0, ...wholes);
  if (wholes.some((each) => each !== whole)) {
    return {
      code: 'records-of-other-lists',
      message: `the parts are of lists of ${[...new Set(wholes)].sort((a, b) => a - b).join(' and ')} frames: frames may be missing or be in none`,
    };
  }
  if (found >= whole) return null;
  return {
    code: 'records-missing',
    message: `${whole - found} of ${whole} frames have no record here: a part was not named, or was interrupted; what is said of the night is about the others`,
  };
}
