/** `bluerim measure`: frames in, tables or JSON out. */
import { availableParallelism } from 'node:os';
import { Command } from 'commander';
import { UsageError } from '../../errors.js';
import type { FrameOverrides } from '../../frame/frame.js';
import type { TextStyle } from '../../report/layout.js';
import type { NamedCatalogue } from '../../report/star-table.js';
import type { Warning } from '../../warnings.js';
import type { Input } from '../inputs.js';
import {
  addMeasureOptions,
  frameOverrides,
  type MeasureFlags,
  measureOptions,
  SUN_CAUTION,
} from '../options.js';
import type { SetFiles } from '../sets.js';
import { createTerminal, type Terminal } from '../terminal.js';

const EXAMPLES = `
Examples:
  bluerim measure field.fits
      sizes and false colour of one frame
  bluerim measure --focal-length 480 --aperture 80 --pixel-size 3.76 field.fits
      the same with arcseconds and micrometres, beside a perfect lens
  bluerim measure night
      the frames of a folder: one row each, and all of them combined
  bluerim measure --set R=m13-r.fits G=m13-g.fits B=m13-b.fits
      mono frames through filters as one colour record
  find . -name '*.fits' -print0 | bluerim measure -
      the frames of a list
  bluerim measure --json -o field.json --stars stars.ecsv field.fits
      every number with its interval, and every star, for other programs
  bluerim measure --html field.html field.fits
      a page with pictures and tables: one file, to keep or to mail
  bluerim measure --with-stars -o first.json first/*.fits
      a record that \`compare\` can use later in place of the frames

Exit codes: 0 done; 1 a frame could not be measured; 2 nothing was done, the
command line or an output is wrong.

${SUN_CAUTION}`;

export function measureCommand(setExitCode: (code: number) => void): Command {
  const command = new Command('measure')
    .description(
      'Measure star sizes and false colour in frames of a star field. Linear data straight from the camera serves best: not stretched, not sharpened, and a colour mosaic not interpolated.',
    )
    .argument(
      '[frame...]',
      'frames: mono, colour mosaic, or three colour planes; a folder stands for the frames in it, a quoted pattern ("night/*.fits") for all that match, - for a list on standard input',
    )
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', EXAMPLES);
  return addMeasureOptions(command).action(async (frames: string[], flags: MeasureFlags) => {
    setExitCode(await runMeasure(frames, flags, createTerminal(flags.color)));
  });
}

/** Runs the command; returns the exit code. */
async function runMeasure(
  frames: readonly string[],
  flags: MeasureFlags,
  terminal: Terminal,
): Promise<number> {
  const starsFormat = flags.stars === undefined ? null : starsFormatOf(flags.stars);
  if (flags.output !== undefined && flags.output !== '-' && flags.output === flags.stars) {
    throw new UsageError('--output and --stars name the same file', 'give them different names');
  }
  if (flags.html !== undefined && (flags.html === flags.output || flags.html === flags.stars)) {
    throw new UsageError('--html names the file of another output', 'give them different names');
  }
  const { resultTarget, writeResult } = await import('../result-output.js');
  const { checkFileTarget, writeWhole } = await import('../output.js');
  const target = await resultTarget(flags);
  const withStars = flags.withStars ?? false;
  if (withStars && !target.asJson) {
    throw new UsageError(
      '--with-stars puts stars into the JSON document, and none is asked for',
      'add --json or -o FILE.json; for a table of stars use --stars FILE.csv',
    );
  }
  if (flags.stars !== undefined) checkFileTarget(flags.stars, flags.force ?? false);
  const overrides = frameOverrides(flags);
  const { inputs, warnings } = await gatherInputs(frames, flags, overrides);
  const files = inputs.map(({ file }) => file);
  const { checkMeasurePictures, writeMeasurePictures } = await import('../measure-pictures.js');
  await checkMeasurePictures(flags, inputs.length);

  const { chooseJobs, measureAll } = await import('../../pool/pool.js');
  const { startProgress } = await import('../progress.js');
  const jobs = flags.jobs ?? (await chooseJobs(files, availableParallelism()));
  const progress = startProgress(files, terminal.interactive);
  const options = measureOptions(flags);
  const keepStars = starsFormat !== null || withStars || flags.html !== undefined;
  const outcomes = await measureAll(
    inputs.map((input) => ({
      ...input,
      options,
      overrides,
      keepStars,
      corners: inputs.length === 1,
    })),
    jobs,
    () => progress.step(),
  ).finally(() => progress.stop());

  const results = outcomes.map((each) => each.result);
  const { combineFrames } = await import('../../measure/combine.js');
  const { allWarnings, measureDocument } = await import('../../report/json.js');
  const { reportText } = await import('../../report/table.js');
  const { showFailures, showWarnings } = await import('../warnings.js');
  const combined = combineFrames(results);

  if (flags.stars !== undefined && starsFormat !== null) {
    const stars: NamedCatalogue[] = outcomes.flatMap(({ catalogues }) => catalogues);
    writeWhole(flags.stars, await starsText(stars, starsFormat));
    terminal.message(`wrote ${flags.stars}`);
  }
  const stars = withStars ? outcomes.map(({ catalogues }) => catalogues) : null;
  const result = {
    document: () => measureDocument(results, combined, options, overrides, warnings, stars),
    text: (width: number, style: TextStyle) => reportText(results, combined, width, style),
  };
  await writeResult(target, result, terminal);
  await writeMeasurePictures(
    flags,
    () => measureDocument(results, combined, options, overrides, warnings),
    outcomes.map(({ catalogues }) => catalogues[0]?.catalogue ?? null),
    overrides,
    terminal,
  );
  showWarnings(allWarnings(results, warnings), files.length === 1, terminal);
  showFailures(results, terminal);
  return results.some((each) => each.status === 'failed') ? 1 : 0;
}

/** A frame, or the frames of a set under one name. */
type MeasureInput = Input & { set?: SetFiles };

/** Frames and sets in the order: frames as named, sets as named, sets of folders. */
async function gatherInputs(
  names: readonly string[],
  flags: MeasureFlags,
  overrides: FrameOverrides,
): Promise<{ inputs: MeasureInput[]; warnings: Warning[] }> {
  const { expandInputs } = await import('../inputs.js');
  const recursive = flags.recursive ?? false;
  if (names.length === 0 && flags.set === undefined) {
    throw new UsageError('no frame is named', 'name frames, a folder or a --set; see --help');
  }
  const { inputs: frames, warnings } = await expandInputs(names, recursive);
  const inputs: MeasureInput[] = [...frames];
  if (flags.set === undefined) return { inputs, warnings };
  const { readSetValues, setsOfFolder } = await import('../sets.js');
  const { setLabel } = await import('../../frame/filter-name.js');
  const request = readSetValues(flags.set);
  const add = (set: SetFiles): void => {
    inputs.push({ file: setLabel(set), fault: null, set });
  };
  request.sets.forEach(add);
  for (const folder of request.folders) {
    const found = await setsOfFolder(folder, recursive, overrides, flags.filterFrom);
    warnings.push(...found.inputs.warnings);
    found.sets.forEach(add);
    if (found.sets.length === 0) inputs.push({ file: folder, fault: NO_SET });
  }
  return { inputs, warnings };
}

const NO_SET = {
  code: 'no-set',
  message: 'no red, green and blue mono frame of one target in this folder',
  remedy: 'name the three frames: --set R=a.fits G=b.fits B=c.fits',
};

type StarsFormat = 'csv' | 'ecsv';

function starsFormatOf(path: string): StarsFormat {
  const name = path.toLowerCase();
  if (name.endsWith('.ecsv')) return 'ecsv';
  if (name.endsWith('.csv')) return 'csv';
  throw new UsageError(`--stars ${path}: the format is not clear`, 'end the name in .csv or .ecsv');
}

async function starsText(stars: readonly NamedCatalogue[], format: StarsFormat): Promise<string> {
  if (format === 'ecsv') return (await import('../../report/ecsv.js')).starsEcsv(stars);
  return (await import('../../report/csv.js')).starsCsv(stars);
}
