/** `bluerim field`: frames in, causes with their evidence out. */
import { Command, InvalidArgumentError, Option } from 'commander';
import { UsageError } from '../../errors.js';
import { DEFAULT_CIRCLE_LIMITS } from '../../field/corrected-circle.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../measure/options.js';
import type { TextStyle } from '../../report/layout.js';
import {
  addFrameOptions,
  addResultOptions,
  FRAME,
  type FrameFlags,
  frameOverrides,
  htmlOption,
  INPUT,
  MEASURING,
  notNegative,
  pngOption,
  positive,
  type ResultFlags,
  SUN_CAUTION,
  svgOption,
} from '../options.js';
import { createTerminal, type Terminal } from '../terminal.js';

interface FieldFlags extends FrameFlags, ResultFlags {
  rotated?: string[];
  svg?: string;
  png?: string;
  html?: string;
  pedestal?: number;
  bias?: string;
  maxGrowth: number;
  maxEllipticity: number;
}

const EXAMPLES = `
Examples:
  bluerim field --focal-length 480 --aperture 80 --pixel-size 3.76 field.fits
      what the corners say, in micrometres and degrees
  bluerim field night/*.fits
      several frames of one field: seeing and guiding average out
  bluerim field before.fits --rotated after.fits
      the camera turned in the focuser between the two: what turns with it is
      the sensor, what stays is the telescope. Turn it by 90 degrees: any angle
      is found from the stars, but 180 cannot tell a uniform elongation
  bluerim field --svg pictures field.fits
      pictures as well: elongation, size, star images

Exit codes: 0 done; 1 a frame could not be read; 2 nothing was done, the command
line or an output is wrong.

Caution: what is found is an estimate. Confirm it before turning any screw of a
lens cell, focuser or sensor, and follow the maker's instructions.
${SUN_CAUTION}`;

/** More frames than this add little and hold memory. */
const MOST_FRAMES = 40;

export function fieldCommand(setExitCode: (code: number) => void): Command {
  const command = new Command('field')
    .description(
      'Say what the star shapes over the frame mean: tilted sensor, field curvature or corrector spacing, miscollimation, tracking, lateral colour, or sound optics; with strength, evidence and the next check to make.',
    )
    .argument(
      '[frame...]',
      'frames of one field with the camera left as it was; a folder, a quoted pattern, or - for a list on standard input',
    )
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', EXAMPLES);
  command.addOption(
    new Option(
      '--rotated <frame...>',
      'frames of the same field after the camera was turned in the focuser, best by 90 degrees. Give the other frames before it',
    ).helpGroup(INPUT),
  );
  addFrameOptions(command);
  command.addOption(
    new Option(
      '--pedestal <ADU>',
      'level of no light, for the light fall-off (default: from the header)',
    )
      .argParser(notNegative)
      .helpGroup(FRAME),
  );
  command.addOption(
    new Option('--bias <file>', 'a bias frame (or dark) to take that level from').helpGroup(FRAME),
  );
  command.addOption(
    new Option(
      '--max-growth <ratio>',
      'well-corrected circle: largest FWHM, in units of that at the centre; above 1',
    )
      .default(DEFAULT_CIRCLE_LIMITS.maxGrowth)
      .argParser(aboveOne)
      .helpGroup(MEASURING),
  );
  command.addOption(
    new Option(
      '--max-ellipticity <e>',
      'well-corrected circle: largest (a - b)/(a + b) of the axes, 0 is round; below 1',
    )
      .default(DEFAULT_CIRCLE_LIMITS.maxEllipticity)
      .argParser(betweenNoneAndOne)
      .helpGroup(MEASURING),
  );
  for (const option of [htmlOption(), svgOption(), pngOption()]) command.addOption(option);
  addResultOptions(command);
  return command.action(async (frames: string[], flags: FieldFlags) => {
    setExitCode(await runField(frames, flags, createTerminal(flags.color)));
  });
}

function aboveOne(text: string): number {
  const value = positive(text);
  if (value <= 1) throw new InvalidArgumentError('Give a ratio above 1, such as 1.2.');
  return value;
}

function betweenNoneAndOne(text: string): number {
  const value = positive(text);
  if (value >= 1) throw new InvalidArgumentError('Give a number above 0 and below 1, such as 0.1.');
  return value;
}

async function runField(
  names: readonly string[],
  flags: FieldFlags,
  terminal: Terminal,
): Promise<number> {
  if (names.length === 0) throw new UsageError('no frame is named', 'name frames; see --help');
  const { resultTarget, writeResult } = await import('../result-output.js');
  const target = await resultTarget(flags);
  const { checkPictures } = await import('../picture-files.js');
  const { fieldPictureNames, writeFieldPictures } = await import('../field-pictures.js');
  await checkPictures(flags, fieldPictureNames(flags.rotated !== undefined));

  const { expandInputs } = await import('../inputs.js');
  const recursive = flags.recursive ?? false;
  const lists = [await expandInputs(names, recursive)];
  if (flags.rotated !== undefined) lists.push(await expandInputs(flags.rotated, recursive));
  for (const { inputs } of lists) {
    if (inputs.length > MOST_FRAMES) {
      throw new UsageError(
        `${inputs.length} frames in one set; at most ${MOST_FRAMES} are taken`,
        'name fewer: a handful averages seeing and guiding out',
      );
    }
  }
  const options = { ...DEFAULT_MEASURE_OPTIONS, seed: flags.seed, maxStars: FIELD_STARS };
  const overrides = frameOverrides(flags);
  const circle = { maxGrowth: flags.maxGrowth, maxEllipticity: flags.maxEllipticity };
  const { analyseFieldFiles } = await import('../../pool/analyse-field.js');
  const { startProgress } = await import('../progress.js');
  const files = lists.flatMap(({ inputs }) => inputs.map(({ file }) => file));
  const progress = startProgress(files, terminal.interactive);
  const outcome = await analyseFieldFiles(
    {
      sets: lists.map(({ inputs }) => inputs),
      options,
      overrides,
      circle,
      pedestalAdu: flags.pedestal ?? null,
      bias: flags.bias ?? null,
    },
    () => progress.step(),
  ).finally(() => progress.stop());
  outcome.warnings.unshift(...lists.flatMap(({ warnings }) => warnings));

  const { fieldDocument } = await import('../../report/field-json.js');
  const { fieldText } = await import('../../report/field-table.js');
  const result = {
    document: () => fieldDocument(outcome, options, overrides, circle),
    text: (width: number, style: TextStyle) => fieldText(outcome, width, style),
  };
  await writeResult(target, result, terminal);
  await writeFieldPictures(flags, outcome, result.document, terminal);
  const { showFailedFiles, showWarnings } = await import('../warnings.js');
  showWarnings(outcome.warnings, files.length === 1, terminal);
  const failed = outcome.sets.flatMap((set) => set.failed);
  showFailedFiles(failed, terminal);
  return failed.length > 0 ? 1 : 0;
}

/** Stars fitted in each frame: the map wants many. */
const FIELD_STARS = 1500;
