/** `bluerim grade`: a night's frames in, decisions with reasons out; `bluerim merge`: the same from records measured in pieces. */
import { Command, InvalidArgumentError, Option } from 'commander';
import { UsageError } from '../../errors.js';
import type { FrameOverrides } from '../../frame/frame.js';
import type { GradeOptions, Night } from '../../grade/result.js';
import type { TextStyle } from '../../report/layout.js';
import type { Warning } from '../../warnings.js';
import type { NightRecords } from '../night.js';
import {
  addFrameOptions,
  addResultOptions,
  type FrameFlags,
  frameOverrides,
  INPUT,
  MEASURING,
  notNegative,
  OUTPUT,
  positive,
  type ResultFlags,
  SUN_CAUTION,
  wholeNumber,
} from '../options.js';
import { createTerminal, type Terminal } from '../terminal.js';

interface LimitFlags {
  strictness: GradeOptions['strictness'];
  maxFwhm?: number;
  maxFwhmArcsec?: number;
  maxEllipticity?: number;
  minTransparency?: number;
  maxBackground?: number;
  minStars?: number;
  reference?: string;
}

interface GradeFlags extends FrameFlags, ResultFlags, LimitFlags {
  halo: boolean;
  jobs?: number;
  ndjson?: string;
  resume?: string;
  verify?: boolean;
  shard?: { part: number; of: number };
}

type MergeFlags = ResultFlags & LimitFlags;

const DECIDING = 'Deciding:';

const EXAMPLES = `
Examples:
  bluerim grade night
      every frame of a folder: keep, doubtful or drop, with reasons, and what
      happened in the night
  bluerim grade --strictness strict --max-fwhm-arcsec 4 night
      drop more, and everything wider than 4 arcsec
  bluerim grade --ndjson night.ndjson night
      also write each frame's record as soon as it is measured
  bluerim grade --resume night.ndjson night
      go on after an interruption: only new or changed frames are measured
  bluerim grade --shard 1/2 --ndjson part1.ndjson night
      measure half of the frames here, the other half elsewhere (2/2), then
      bluerim merge part1.ndjson part2.ndjson

Exit codes: 0 done; 1 a frame could not be measured; 2 nothing was done, the
command line or an output is wrong; 130 interrupted, what was done is shown.

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
  const add = (group: string, option: Option): void => {
    command.addOption(option.helpGroup(group));
  };
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
    OUTPUT,
    new Option(
      '--ndjson <file>',
      'write each frame’s record as one line of JSON as soon as it is measured; - for stdout, in place of the table',
    ),
  );
  addResultOptions(command);
  return command.action(async (frames: string[], flags: GradeFlags) => {
    setExitCode(await runGrade(frames, flags, createTerminal(flags.color)));
  });
}

export function mergeCommand(setExitCode: (code: number) => void): Command {
  const command = new Command('merge')
    .description(
      'Grade frames from the records that `grade --ndjson` wrote, in one piece or many: the same answer as measuring all of them at once.',
    )
    .argument('<records...>', 'files of records')
    .helpOption('-h, --help', 'show this help');
  addLimitOptions(command);
  addResultOptions(command);
  return command.action(async (files: string[], flags: MergeFlags) => {
    setExitCode(await runMerge(files, flags, createTerminal(flags.color)));
  });
}

function addLimitOptions(command: Command): void {
  const add = (option: Option): void => {
    command.addOption(option.helpGroup(DECIDING));
  };
  add(
    new Option('--strictness <how>', 'how far from the night’s usual a frame may be')
      .choices(['lenient', 'normal', 'strict'])
      .default('normal'),
  );
  const limits: [string, string, (text: string) => number][] = [
    ['--max-fwhm <px>', 'drop frames with wider stars, px', positive],
    ['--max-fwhm-arcsec <arcsec>', 'the same in arcsec, where the scale is known', positive],
    ['--max-ellipticity <e>', 'drop frames with more elongated stars, (a − b)/(a + b)', positive],
    [
      '--min-transparency <share>',
      'drop frames with less starlight than this share of the reference',
      notNegative,
    ],
    ['--max-background <ADU>', 'drop frames with a brighter sky, ADU', positive],
    ['--min-stars <n>', 'drop frames with fewer measured stars', wholeNumber(0)],
  ];
  for (const [flags, meaning, parse] of limits) add(new Option(flags, meaning).argParser(parse));
  add(
    new Option(
      '--reference <file>',
      'hold the frames of its group against this one (default: chosen and explained)',
    ),
  );
}

/** `2/5` → part 2 of 5. */
function shardOf(text: string): { part: number; of: number } {
  const match = /^(\d{1,5})\/(\d{1,5})$/.exec(text.trim());
  const part = Number(match?.[1]);
  const of = Number(match?.[2]);
  if (match === null || part < 1 || part > of) {
    throw new InvalidArgumentError('Give k/n with 1 ≤ k ≤ n, as 1/4.');
  }
  return { part, of };
}

function gradeOptions(flags: LimitFlags): GradeOptions {
  return {
    strictness: flags.strictness,
    maxFwhmPx: flags.maxFwhm ?? null,
    maxFwhmArcsec: flags.maxFwhmArcsec ?? null,
    maxEllipticity: flags.maxEllipticity ?? null,
    minTransparency: flags.minTransparency ?? null,
    maxBackgroundAdu: flags.maxBackground ?? null,
    minStars: flags.minStars ?? null,
    reference: flags.reference ?? null,
  };
}

async function runGrade(
  names: readonly string[],
  flags: GradeFlags,
  terminal: Terminal,
): Promise<number> {
  if (names.length === 0) throw new UsageError('no frame is named', 'name frames; see --help');
  if (flags.shard !== undefined && flags.ndjson === undefined && flags.resume === undefined) {
    throw new UsageError(
      '--shard measures only a part of the night, which is of use only as records',
      'add --ndjson FILE',
    );
  }
  const toStdout = flags.ndjson === '-';
  if (toStdout && flags.json === true) {
    throw new UsageError('--ndjson - and --json both want stdout', 'give one of them a file');
  }
  const { resultTarget, writeResult } = await import('../result-output.js');
  const target = await resultTarget(flags);
  const overrides = frameOverrides(flags);
  const parameters = await nightParameters(overrides, flags.seed, flags.halo);
  const { loadRecords, requireSameParameters } = await import('../record-file.js');
  const resumed = flags.resume === undefined ? null : loadRecords(flags.resume);
  if (resumed !== null) requireSameParameters(resumed.path, resumed, { ...parameters });
  const { expandInputs } = await import('../inputs.js');
  const { inputs, warnings } = await expandInputs(names, flags.recursive ?? false);
  if (resumed?.doubt) {
    warnings.push({ code: 'records-damaged', message: resumed.doubt, file: resumed.path });
  }
  const writer = await recordWriter(flags, parameters, resumed);
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
  const options = gradeOptions(flags);
  const frames = found.records.map(({ frame }) => frame);
  const night = gradeNight(frames, options);
  night.warnings.unshift(...warnings, ...frames.flatMap((frame) => frame.warnings));
  if (found.interrupted) night.warnings.unshift(interruption(found.records.length, inputs.length));
  if (!toStdout) {
    await writeResult(
      target,
      await resultOf(night, parameters, options, !found.interrupted),
      terminal,
    );
  }
  await tell(night, inputs.length === 1, terminal);
  if (found.interrupted) return 130;
  return night.frames.some((frame) => frame.error !== null) ? 1 : 0;
}

function interruption(done: number, all: number): Warning {
  return {
    code: 'interrupted',
    message: `interrupted after ${done} of ${all} frames: what is said of the night is about these`,
  };
}

/** The file of new records, if one is wanted. */
async function recordWriter(
  flags: GradeFlags,
  parameters: object,
  resumed: import('../record-file.js').LoadedRecords | null,
): Promise<import('../record-file.js').RecordWriter | null> {
  const { continueRecords, createRecords } = await import('../record-file.js');
  if (resumed !== null && (flags.ndjson === undefined || flags.ndjson === flags.resume)) {
    return continueRecords(resumed);
  }
  if (flags.ndjson === undefined) return null;
  if (flags.ndjson !== '-') {
    const { checkFileTarget } = await import('../output.js');
    checkFileTarget(flags.ndjson, flags.force ?? false);
  }
  return createRecords(flags.ndjson, { ...parameters });
}

async function nightParameters(
  overrides: FrameOverrides,
  seed: number,
  halo: boolean,
): Promise<import('../../report/grade-json.js').NightParameters> {
  const { frameParameters } = await import('../../report/parameters.js');
  return { seed, halo, ...frameParameters(overrides) };
}

async function resultOf(
  night: Night,
  parameters: import('../../report/grade-json.js').NightParameters,
  options: GradeOptions,
  complete: boolean,
): Promise<import('../result-output.js').Result> {
  const { gradeDocument } = await import('../../report/grade-json.js');
  const { nightText } = await import('../../report/grade-table.js');
  return {
    document: () => gradeDocument(night, parameters, options, complete),
    text: (width: number, style: TextStyle) => nightText(night, width, style),
  };
}

async function tell(night: Night, single: boolean, terminal: Terminal): Promise<void> {
  const { showFailedFiles, showWarnings } = await import('../warnings.js');
  showWarnings(night.warnings, single, terminal);
  const failed = night.frames.flatMap(({ file, error }) =>
    error === null ? [] : [{ file, error }],
  );
  showFailedFiles(failed, terminal);
}

async function runMerge(
  files: readonly string[],
  flags: MergeFlags,
  terminal: Terminal,
): Promise<number> {
  const { resultTarget, writeResult } = await import('../result-output.js');
  const target = await resultTarget(flags);
  const { loadRecords, requireSameParameters } = await import('../record-file.js');
  const loaded = files.map((file) => loadRecords(file));
  const [first] = loaded;
  const parameters = first?.parameters ?? {};
  for (const each of loaded) requireSameParameters(each.path, each, parameters);
  const warnings: Warning[] = loaded.flatMap(({ doubt, path }) =>
    doubt === null ? [] : [{ code: 'records-damaged', message: doubt, file: path }],
  );
  // A frame that two files hold counts once; the later file wins, as the later line does.
  const byFile = new Map(
    loaded.flatMap(({ records }) => records.map((entry) => [entry.frame.file, entry] as const)),
  );
  const frames = [...byFile.values()]
    .sort((a, b) => a.order - b.order || (a.frame.file < b.frame.file ? -1 : 1))
    .map(({ frame }) => frame);
  const { gradeNight } = await import('../../grade/grade.js');
  const options = gradeOptions(flags);
  const night = gradeNight(frames, options);
  night.warnings.unshift(...warnings, ...frames.flatMap((frame) => frame.warnings));
  const known = parameters as unknown as import('../../report/grade-json.js').NightParameters;
  await writeResult(target, await resultOf(night, known, options, true), terminal);
  await tell(night, frames.length === 1, terminal);
  return night.frames.some((frame) => frame.error !== null) ? 1 : 0;
}
