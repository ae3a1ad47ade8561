/** `bluerim sweep`: frames at several focuser positions in, the focus of each colour out. */
import { basename } from 'node:path';
import { Command, Option } from 'commander';
import { UsageError } from '../../errors.js';
import type { TextStyle } from '../../report/layout.js';
import {
  adder,
  addFrameOptions,
  addResultOptions,
  FRAME,
  type FrameFlags,
  frameOverrides,
  INPUT,
  maxStarsOption,
  pngOption,
  positive,
  type ResultFlags,
  SUN_CAUTION,
  svgOption,
} from '../options.js';
import { createTerminal, type Terminal } from '../terminal.js';

interface SweepFlags extends FrameFlags, ResultFlags {
  positionPattern?: string;
  positions?: string;
  stepUm?: number;
  focalRatio?: number;
  maxStars: number;
  svg?: string;
  png?: string;
}

const EXAMPLES = `
An evening:
  1. Let the telescope cool down. Choose a field high in the sky with dozens of
     well separated stars, no bright nebula.
  2. Focus as usual and note the position. Expose so short that the wanted stars
     do not clip in focus; 10 to 30 s, raw, the same for all frames.
  3. Find the step: move until stars are three to five times as wide as in
     focus. That is one end of the run; go as far on the other side.
  4. Take 9 to 15 frames, evenly spaced, from one end to the other, always moving
     in one direction (slack in the focuser shifts the rest).
  5. Run the command. --step-um turns steps into µm: measure it with a calliper
     over a long way, or take it from the maker.
  A shift of focus, a tilt or a curvature is a reason to look again, not yet to
  turn screws: repeat the run, then follow the maker’s instructions.

Examples:
  bluerim sweep run
      positions from FOCUSPOS or FOCPOS in the headers
  bluerim sweep --position-pattern "focus{}" --step-um 4 run/*.fits
      positions from names like m1_focus1200.fits
  bluerim sweep --positions positions.csv --step-um 4 --svg pictures run
      positions from a list of lines name,position; pictures as well

Exit codes: 0 done; 1 a frame could not be used, or no focus curve could be made;
2 nothing was done, the command line or an output is wrong.

${SUN_CAUTION}`;

export function sweepCommand(setExitCode: (code: number) => void): Command {
  const command = new Command('sweep')
    .description(
      'Where each colour focuses: from frames of one star field at five or more focuser positions, the best focus of red, green and blue, their differences with sign, and the tilt and curvature of the focal surface.',
    )
    .argument(
      '[frame...]',
      'frames of the run, in any order; a folder, a quoted pattern, or - for a list',
    )
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', EXAMPLES);
  addFrameOptions(command);
  const add = adder(command);
  add(
    INPUT,
    new Option(
      '--position-pattern <text>',
      'where the position stands in file names: text with {} for the number',
    ),
  );
  add(INPUT, new Option('--positions <file>', 'list of lines name,position (CSV)'));
  add(
    FRAME,
    new Option('--step-um <µm>', 'way of the focuser in one step, µm').argParser(positive),
  );
  add(
    FRAME,
    new Option('--focal-ratio <N>', 'focal length over aperture (default: from both)').argParser(
      positive,
    ),
  );
  command.addOption(maxStarsOption('most stars to follow, the clearest first'));
  command.addOption(svgOption());
  command.addOption(pngOption());
  addResultOptions(command);
  return command.action(async (names: string[], flags: SweepFlags) => {
    setExitCode(await runSweep(names, flags, createTerminal(flags.color)));
  });
}

async function runSweep(
  names: readonly string[],
  flags: SweepFlags,
  terminal: Terminal,
): Promise<number> {
  if (names.length === 0) throw new UsageError('no frame is named', 'name frames; see --help');
  const positionOf = await positionReader(flags);
  const { resultTarget, writeResult } = await import('../result-output.js');
  const target = await resultTarget(flags);
  const { SWEEP_PICTURES, sweepPictures } = await import('../../report/sweep-pictures.js');
  const { checkPictures, wantsPictures, writePictures } = await import('../picture-files.js');
  await checkPictures(flags, SWEEP_PICTURES);
  const { expandInputs } = await import('../inputs.js');
  const { inputs, warnings } = await expandInputs(names, flags.recursive ?? false);
  const { startProgress } = await import('../progress.js');
  const progress = startProgress(
    inputs.map(({ file }) => file),
    terminal.interactive,
  );
  const overrides = frameOverrides(flags);
  const { sweepFiles } = await import('../../pool/sweep-files.js');
  const outcome = await sweepFiles(
    {
      files: inputs.map((input) => ({ ...input, position: positionOf(input.file) })),
      overrides,
      stepUm: flags.stepUm ?? null,
      focalRatio: flags.focalRatio ?? null,
      maxStars: flags.maxStars,
      seed: flags.seed,
    },
    () => progress.step(),
  ).finally(() => progress.stop());
  outcome.warnings.unshift(...warnings);
  const { showFailedFiles, showFault, showWarnings } = await import('../warnings.js');
  if (outcome.analysis === null) {
    showWarnings(outcome.warnings, false, terminal);
    showFailedFiles(outcome.failed, terminal);
    if (outcome.error !== null) showFault(outcome.error.message, outcome.error.remedy, terminal);
    return 1;
  }
  const { frameParameters } = await import('../../report/parameters.js');
  const { sweepDocument } = await import('../../report/sweep-json.js');
  const { sweepText } = await import('../../report/sweep-table.js');
  const result = {
    document: () => sweepDocument(outcome, frameParameters(overrides), flags.maxStars),
    text: (width: number, style: TextStyle) => sweepText(outcome, width, style),
  };
  await writeResult(target, result, terminal);
  if (wantsPictures(flags)) {
    await writePictures(flags, sweepPictures(outcome), terminal);
  }
  showWarnings(outcome.warnings, false, terminal);
  showFailedFiles(outcome.failed, terminal);
  return outcome.failed.length > 0 ? 1 : 0;
}

/** Position of a file by list or name; null = the header tells. */
async function positionReader({
  positions,
  positionPattern: pattern,
}: SweepFlags): Promise<(file: string) => number | null> {
  if (positions !== undefined && pattern !== undefined) {
    throw new UsageError(
      '--positions and --position-pattern exclude each other',
      'give one of them',
    );
  }
  const { positionList, positionPattern } = await import('../../sweep/positions.js');
  if (pattern !== undefined) {
    const read = positionPattern(pattern);
    return (file) => read(basename(file));
  }
  if (positions === undefined) return () => null;
  const { readFileSync } = await import('node:fs');
  let text: string;
  try {
    text = readFileSync(positions, 'utf8');
  } catch {
    throw new UsageError(`${positions} cannot be read`, 'check the name after --positions');
  }
  const list = positionList(text, positions);
  return (file) => list.get(file) ?? list.get(basename(file)) ?? null;
}
