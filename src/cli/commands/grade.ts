/** `bluerim grade`: a night's frames in, decisions with reasons out. */
import { Command, Option } from 'commander';
import { UsageError } from '../../errors.js';
import type { Warning } from '../../warnings.js';
import type { NightRecords } from '../night.js';
import { addLimitOptions, gradeOptions, type LimitFlags, shardOf } from '../night-options.js';
import { addNightOutputs, type NightOutputFlags } from '../night-output.js';
import {
  adder,
  addFrameOptions,
  addResultOptions,
  type FrameFlags,
  frameOverrides,
  INPUT,
  MEASURING,
  OUTPUT,
  positive,
  type ResultFlags,
  SUN_CAUTION,
  wholeNumber,
} from '../options.js';
import type { LoadedRecords, RecordWriter } from '../record-file.js';
import { createTerminal, type Terminal } from '../terminal.js';

interface GradeFlags extends FrameFlags, ResultFlags, LimitFlags, NightOutputFlags {
  halo: boolean;
  jobs?: number;
  ndjson?: string;
  resume?: string;
  verify?: boolean;
  shard?: { part: number; of: number };
  watch?: string;
  poll?: number;
}

/** Exit code after Ctrl-C, as shells count it: 128 + signal 2. */
const INTERRUPTED = 130;

const EXAMPLES = `
Examples:
  bluerim grade night
      every frame of a folder: keep, doubtful or drop, with reasons, and what
      happened in the night
  bluerim grade --strictness strict --max-fwhm-arcsec 4 night
      drop more, and everything wider than 4 arcsec
  bluerim grade --copy-to keep --move-dropped-to out night
      show what would be copied and moved; add --apply to do it
  bluerim grade --ndjson night.ndjson night
      also write each frame's record as soon as it is measured
  bluerim grade --resume night.ndjson night
      go on after an interruption: only new or changed frames are measured
  bluerim grade --shard 1/2 --ndjson part1.ndjson night
      measure half of the frames here, the other half elsewhere (2/2), then
      bluerim merge part1.ndjson part2.ndjson

Exit codes: 0 done; 1 a frame could not be measured; 2 nothing was done, the
command line or an output is wrong; 130 interrupted, what was done is shown
(--watch is ended by Ctrl-C: 0).

${SUN_CAUTION}`;

export function gradeCommand(setExitCode: (code: number) => void): Command {
  const command = new Command('grade')
    .description(
      'Say which of a night’s frames to stack: star size, shape, light and sky of every frame against the night’s own good frames, a decision with reasons, a weight, and the story of the night. Targets, filters and exposures are graded apart.',
    )
    .argument(
      '[frame...]',
      'frames of a night; a folder stands for the frames in it, a quoted pattern for all that match, - for a list on standard input',
    )
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', EXAMPLES);
  addFrameOptions(command);
  addLimitOptions(command);
  const add = adder(command);
  add(
    MEASURING,
    new Option('--no-halo', 'leave out the false colour of each frame: twice as fast'),
  );
  add(
    MEASURING,
    new Option(
      '--jobs <n>',
      'frames measured at once; nothing depends on it (default: as the machine and the frames suggest)',
    ).argParser(wholeNumber(1, 256)),
  );
  add(
    INPUT,
    new Option(
      '--resume <file>',
      'records of an earlier run: frames whose size and time are the same are not measured again. New records are added to it unless --ndjson names another file',
    ),
  );
  add(
    INPUT,
    new Option('--verify', 'with --resume or --ndjson: tell files by their content (SHA-256) too'),
  );
  add(
    INPUT,
    new Option(
      '--shard <k/n>',
      'measure only part k of n of the frames; needs --ndjson. Put the parts together with `merge`',
    ).argParser(shardOf),
  );
  add(
    INPUT,
    new Option(
      '--watch <folder>',
      'grade the frames of a folder as they arrive, one line each, until Ctrl-C; instead of frames',
    ),
  );
  add(
    INPUT,
    new Option(
      '--poll <seconds>',
      'with --watch: look again so often instead of waiting for the system to tell; for network folders',
    ).argParser(positive),
  );
  add(
    OUTPUT,
    new Option(
      '--ndjson <file>',
      'write each frame’s record as one line of JSON as soon as it is measured; - for stdout, in place of the table',
    ),
  );
  addNightOutputs(command);
  addResultOptions(command);
  return command.action(async (frames: string[], flags: GradeFlags) => {
    setExitCode(await runGrade(frames, flags, createTerminal(flags.color)));
  });
}

async function runGrade(
  names: readonly string[],
  flags: GradeFlags,
  terminal: Terminal,
): Promise<number> {
  if (flags.watch !== undefined) return runWatch(names, flags.watch, flags, terminal);
  if (flags.poll !== undefined) throw new UsageError('--poll needs --watch', 'add --watch FOLDER');
  if (names.length === 0) throw new UsageError('no frame is named', 'name frames; see --help');
  if (flags.shard !== undefined && flags.ndjson === undefined && flags.resume === undefined) {
    throw new UsageError(
      '--shard measures only a part of the night, which is of use only as records',
      'add --ndjson FILE',
    );
  }
  if (flags.shard !== undefined && flags.shard.of > 1 && flags.apply) {
    throw new UsageError(
      '--apply with --shard: a part of a night is no ground for moving files',
      'act with `merge`, when all parts are there',
    );
  }
  const toStdout = flags.ndjson === '-';
  if (toStdout && flags.json === true) {
    throw new UsageError('--ndjson - and --json both want stdout', 'give one of them a file');
  }
  const { resultTarget, writeResult } = await import('../result-output.js');
  const target = await resultTarget(flags);
  const { checkNightOutputs, writeNightOutputs } = await import('../night-output.js');
  await checkNightOutputs(flags);
  const overrides = frameOverrides(flags);
  const { nightParameters, resultOf, tell, writeNightPage } = await import('../night-result.js');
  const parameters = await nightParameters(overrides, flags.seed, flags.halo);
  const { loadRecords, requireSameParameters } = await import('../record-file.js');
  const resumed = flags.resume === undefined ? null : loadRecords(flags.resume);
  if (resumed !== null) requireSameParameters(resumed.path, resumed, { ...parameters });
  const { expandInputs } = await import('../inputs.js');
  const { inputs, warnings } = await expandInputs(names, flags.recursive ?? false);
  if (resumed?.doubt) {
    warnings.push({
      code: 'records-damaged',
      message: `${resumed.doubt}; those frames are measured again`,
      file: resumed.path,
    });
  }
  const writer = await recordWriter(flags, parameters, resumed, inputs.length);
  const { gatherRecords } = await import('../night.js');
  let found: NightRecords;
  try {
    found = await gatherRecords({
      inputs,
      options: { seed: flags.seed, halo: flags.halo },
      overrides,
      verify: flags.verify ?? false,
      jobs: flags.jobs ?? null,
      shard: flags.shard ?? { part: 1, of: 1 },
      resumed,
      writer,
      interactive: terminal.interactive,
      message: terminal.message,
    });
  } finally {
    writer?.close();
  }
  if (found.reused > 0) {
    terminal.message(
      `${found.reused} of ${found.records.length} frames are known from ${flags.resume} and were not measured again`,
    );
  }
  const { gradeNight } = await import('../../grade/grade.js');
  const frames = found.records.map(({ frame }) => frame);
  const options = gradeOptions(
    flags,
    frames.map(({ file }) => file),
  );
  const night = gradeNight(frames, options);
  night.warnings.unshift(...warnings, ...frames.flatMap((frame) => frame.warnings));
  if (found.interrupted) night.warnings.unshift(interruption(found.records.length, inputs.length));
  const isPart = (flags.shard?.of ?? 1) > 1;
  if (isPart) night.warnings.unshift(partOf(frames.length, inputs.length));
  const result = await resultOf(night, parameters, options, !found.interrupted && !isPart);
  if (!toStdout) await writeResult(target, result, terminal);
  await writeNightPage(flags.html, result, terminal);
  await tell(night, inputs.length === 1, terminal);
  if (found.interrupted) {
    // Half a night is no ground for moving files.
    if (flags.apply) terminal.message('interrupted: nothing was copied, linked or moved');
    await writeNightOutputs(night, frames, { ...flags, apply: false }, terminal);
    return INTERRUPTED;
  }
  const code = await writeNightOutputs(night, frames, flags, terminal);
  return code === 0 && night.frames.some((frame) => frame.error !== null) ? 1 : code;
}

async function runWatch(
  names: readonly string[],
  folder: string,
  flags: GradeFlags,
  terminal: Terminal,
): Promise<number> {
  if (names.length > 0 || flags.shard !== undefined || flags.resume !== undefined) {
    throw new UsageError(
      '--watch takes its frames from one folder',
      'leave out the frames, --shard and --resume',
    );
  }
  const { existsSync, statSync } = await import('node:fs');
  if (!existsSync(folder) || !statSync(folder).isDirectory()) {
    throw new UsageError(`--watch ${folder}: there is no such folder`, 'name a folder that exists');
  }
  if (flags.ndjson === '-' && flags.json === true) {
    throw new UsageError('--ndjson - and --json both want stdout', 'give one of them a file');
  }
  const { resultTarget, writeResult } = await import('../result-output.js');
  const target = await resultTarget(flags);
  const { checkNightOutputs, writeNightOutputs } = await import('../night-output.js');
  await checkNightOutputs(flags);
  const overrides = frameOverrides(flags);
  const { nightParameters, resultOf, tell, writeNightPage } = await import('../night-result.js');
  const parameters = await nightParameters(overrides, flags.seed, flags.halo);
  const writer = await recordWriter(flags, parameters, null, null);
  const grading = gradeOptions(flags);
  const { watchFolder } = await import('../watch.js');
  const { night, frames } = await watchFolder({
    folder,
    options: { seed: flags.seed, halo: flags.halo },
    overrides,
    grading,
    verify: flags.verify ?? false,
    pollSeconds: flags.poll ?? null,
    writer,
    terminal,
  }).finally(() => writer?.close());
  const result = await resultOf(night, parameters, grading, true);
  if (flags.ndjson !== '-') await writeResult(target, result, terminal);
  await writeNightPage(flags.html, result, terminal);
  await tell(night, false, terminal);
  const code = await writeNightOutputs(night, frames, flags, terminal);
  return code === 0 && night.frames.some((frame) => frame.error !== null) ? 1 : code;
}

function interruption(done: number, all: number): Warning {
  return {
    code: 'interrupted',
    message: `interrupted after ${done} of ${all} frames: what is said of the night is about these`,
  };
}

function partOf(part: number, all: number): Warning {
  return {
    code: 'part-of-night',
    message: `${part} of ${all} frames: what is said of the night is about this shard; \`merge\` grades them all`,
  };
}

/** The file of new records, if one is wanted. */
async function recordWriter(
  flags: GradeFlags,
  parameters: object,
  resumed: LoadedRecords | null,
  frames: number | null,
): Promise<RecordWriter | null> {
  const { continueRecords, createRecords } = await import('../record-file.js');
  const { samePath } = await import('../night-output.js');
  if (resumed !== null && (flags.ndjson === undefined || samePath(flags.ndjson, flags.resume))) {
    return continueRecords(resumed, frames ?? 0);
  }
  if (flags.ndjson === undefined) return null;
  if (flags.ndjson !== '-') {
    const { checkFileTarget } = await import('../output.js');
    checkFileTarget(flags.ndjson, flags.force ?? false);
  }
  return createRecords(flags.ndjson, { ...parameters }, frames);
}
