/** `bluerim compare`: frames of several telescopes in, a fair comparison on the same stars out. */
import { Command, InvalidArgumentError, Option } from 'commander';
import { type CompareOptions, DEFAULT_COMPARE_OPTIONS } from '../../compare/options.js';
import { UsageError } from '../../errors.js';
import type { CompareOutcome } from '../../pool/compare-files.js';
import type { RecordLabelTask } from '../../pool/compare-record-files.js';
import type { TextStyle } from '../../report/layout.js';
import { type LabelFacts, type LabelNames, readLabels, readTelescopes } from '../labels.js';
import {
  addFrameOptions,
  addResultOptions,
  FRAME,
  type FrameFlags,
  frameOverrides,
  htmlOption,
  MEASURING,
  maxStarsOption,
  OUTPUT,
  pngOption,
  type ResultFlags,
  SUN_CAUTION,
} from '../options.js';
import { createTerminal, type Terminal } from '../terminal.js';

interface CompareFlags extends FrameFlags, ResultFlags {
  telescope?: string[];
  confidence: number;
  modelSeeing?: boolean;
  maxStars: number;
  svg?: string;
  png?: string;
  html?: string;
}

const EXAMPLES = `
Examples:
  bluerim compare short=a.fits long=b.fits
      two telescopes on one field: which is better, in what, and how surely
  bluerim compare short=night1/short long=night1/long apo=night1/apo
      every frame of three folders: seeing and guiding average out
  bluerim compare short=a.fits long=b.fits --svg pictures
      --telescope short:aperture=80,focal-length=400,pixel-size=3.76
      --telescope long:aperture=80,focal-length=600,pixel-size=3.76
      (one line) what the headers do not say; pictures as well
  bluerim compare short=short.json long=tonight/long
      a record that \`measure --with-stars\` wrote, against tonight’s frames

The fields need not be equal: a third of the smaller one in common is enough, in
any position, turned, mirrored and at any scale. What is unfair about the
comparison comes first, and weakens or forbids the verdicts that it touches.

Exit codes: 0 done; 1 a frame could not be read, or the telescopes could not be
compared; 2 nothing was done, the command line or an output is wrong.

${SUN_CAUTION}`;

/** More frames of one telescope than this add little and hold memory. */
const MOST_FRAMES = 40;

export function compareCommand(setExitCode: (code: number) => void): Command {
  const command = new Command('compare')
    .description(
      'Compare two or more telescopes on the same stars: sharpness, false colour, roundness, field, light and depth, with what is unfair said first, errors of the differences, and a verdict for each. Frames of the same part of the sky, linear, best of one night.',
    )
    .argument(
      '[LABEL=frame...]',
      'LABEL= begins a telescope; names without it are further frames of the one before. A folder, a quoted pattern, or - for a list on standard input; a .json that measure --with-stars wrote stands for the frames in it',
    )
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', EXAMPLES);
  addFrameOptions(command);
  command.addOption(
    new Option(
      '--telescope <LABEL:key=value,...>',
      'what the frames of one telescope do not say: aperture and focal-length in mm, pixel-size in µm, gain in e/ADU, saturation in ADU, seeing in arcsec (FWHM). Once for each telescope',
    )
      .argParser((text: string, before: string[] = []) => [...before, text])
      .helpGroup(FRAME),
  );
  command.addOption(
    new Option(
      '--confidence <share>',
      'how sure a verdict must be, over all rows together, from 0.5 to 0.9999',
    )
      .argParser(confidence)
      .default(DEFAULT_COMPARE_OPTIONS.confidence)
      .helpGroup(MEASURING),
  );
  command.addOption(
    new Option(
      '--model-seeing',
      'add sizes with air and pixel taken off, for telescopes whose seeing is given: a model',
    ).helpGroup(MEASURING),
  );
  command.addOption(maxStarsOption('most common stars to use, the brightest first'));
  command.addOption(
    new Option(
      '--svg <folder>',
      'also write pictures into this folder: profiles, differences star by star, the stars side by side, a chart of lenses',
    ).helpGroup(OUTPUT),
  );
  command.addOption(pngOption()).addOption(htmlOption());
  addResultOptions(command);
  return command.action(async (names: string[], flags: CompareFlags) => {
    setExitCode(await runCompare(names, flags, createTerminal(flags.color)));
  });
}

function confidence(text: string): number {
  const value = Number(text);
  if (text.trim() === '' || !(value >= 0.5 && value <= 0.9999)) {
    throw new InvalidArgumentError('Give a number from 0.5 to 0.9999.');
  }
  return value;
}

async function runCompare(
  names: readonly string[],
  flags: CompareFlags,
  terminal: Terminal,
): Promise<number> {
  const labels = readLabels(names);
  const shared = frameOverrides(flags);
  const facts = readTelescopes(flags.telescope ?? [], labels, shared);
  const { resultTarget, writeResult } = await import('../result-output.js');
  const target = await resultTarget(flags);
  await checkComparePictures(flags);

  const lists = await expandLabels(labels, flags.recursive ?? false);
  const options: CompareOptions = {
    ...DEFAULT_COMPARE_OPTIONS,
    seed: flags.seed,
    maxStars: flags.maxStars,
    confidence: flags.confidence,
    modelSeeing: flags.modelSeeing ?? false,
  };
  const telescopes = labels.map(({ label }, i) => ({ label, ...(facts[i] as LabelFacts) }));
  const { readRecords } = await import('../records.js');
  const records = await readRecords(
    labels.map(({ label }, i) => ({ label, inputs: lists[i]?.inputs ?? [] })),
  );
  const { startProgress } = await import('../progress.js');
  const frames = lists.flatMap(({ inputs }, i) => (records[i] === null ? inputs : []));
  const progress = startProgress(
    frames.map(({ file }) => file),
    terminal.interactive,
  );
  const task = telescopes.map((each, i) => ({
    ...each,
    files: lists[i]?.inputs ?? [],
    record: records[i] ?? null,
  }));
  const outcome = await runTask(task, options, () => progress.step()).finally(() =>
    progress.stop(),
  );
  const warnings = [...lists.flatMap((list) => list.warnings), ...outcome.warnings];

  const { showFailedFiles, showFault, showWarnings } = await import('../warnings.js');
  const unread = outcome.failed.flatMap(({ failed }) => failed);
  if (outcome.comparison === null) {
    showWarnings(warnings, false, terminal);
    showFailedFiles(unread, terminal);
    if (outcome.error !== null) showFault(outcome.error.message, outcome.error.remedy, terminal);
    return 1;
  }
  const comparison = { ...outcome.comparison, warnings };
  const { compareDocument } = await import('../../report/compare-json.js');
  const { compareText } = await import('../../report/compare-table.js');
  const result = {
    document: () => compareDocument(comparison, options, shared, telescopes),
    text: (width: number, style: TextStyle) => compareText(comparison, width, style),
  };
  await writeResult(target, result, terminal);
  const { writeComparePictures } = await import('../compare-pictures.js');
  await writeComparePictures(flags, outcome, result.document, terminal);
  showWarnings(warnings, false, terminal);
  showFailedFiles(unread, terminal);
  return comparison.telescopes.some(({ failed }) => failed.length > 0) ? 1 : 0;
}

/** Star by star from records where a telescope comes as one, else from the frames themselves. */
async function runTask(
  labels: readonly RecordLabelTask[],
  options: CompareOptions,
  step: () => void,
): Promise<CompareOutcome> {
  if (labels.some(({ record }) => record !== null)) {
    const { compareWithRecords } = await import('../../pool/compare-record-files.js');
    return compareWithRecords({ labels, options }, step);
  }
  const { compareFiles } = await import('../../pool/compare-files.js');
  return compareFiles({ labels, options }, step);
}

/** The files of every label. */
async function expandLabels(labels: readonly LabelNames[], recursive: boolean) {
  const { expandInputs } = await import('../inputs.js');
  const lists = [];
  for (const { label, names } of labels) {
    const list = await expandInputs(names, recursive);
    if (list.inputs.length > MOST_FRAMES) {
      throw new UsageError(
        `${list.inputs.length} frames of ${label}; at most ${MOST_FRAMES} are taken`,
        'name fewer: a handful averages seeing and guiding out',
      );
    }
    lists.push(list);
  }
  return lists;
}

/** Refuses, before the work, a folder that the pictures cannot be written into. */
async function checkComparePictures(flags: CompareFlags): Promise<void> {
  const { COMPARE_PICTURES } = await import('../../report/compare-pictures.js');
  const { checkPictures } = await import('../picture-files.js');
  await checkPictures(flags, COMPARE_PICTURES);
}
