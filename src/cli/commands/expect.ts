/** `bluerim expect`: what colour error a lens must show, from aperture and focal length alone. */
import { Command, InvalidArgumentError, Option } from 'commander';
import { ParameterError, UsageError } from '../../errors.js';
import type { FilterKind, ResponseTable } from '../../optics/colour-bands.js';
import type { GlassPair, LensChoice, LensKind } from '../../optics/lens-expectation.js';
import type { TextStyle } from '../../report/layout.js';
import type { Warning } from '../../warnings.js';
import {
  adder,
  addOutputOptions,
  colorOption,
  forceOption,
  OUTPUT,
  pngOption,
  type ResultFlags,
  SUN_CAUTION,
  svgOption,
} from '../options.js';
import { createTerminal, type Terminal } from '../terminal.js';

interface ExpectFlags extends Omit<ResultFlags, 'seed'> {
  aperture?: number;
  focalLength?: number;
  focalRatio?: number;
  lens?: LensKind[];
  glasses?: string;
  corrected?: [number, number];
  filters: FilterKind;
  response?: string;
  pixelSize?: number;
  seeing?: number;
  haloRadiusArcsec?: number;
  chart?: string;
  svg?: string;
  png?: string;
}

const LENS = 'The lens (any two of the first three):';
const CAMERA = 'Camera and sky:';
const KINDS: readonly LensKind[] = ['achromat', 'ed', 'apochromat'];

const EXAMPLES = `
Examples:
  bluerim expect --aperture 80 --focal-length 400
      what an 80 mm f/5 shows as an achromat, an ED doublet, an apochromat
  bluerim expect --aperture 100 --focal-ratio 9 --lens achromat
      --pixel-size 3.76 --seeing 2.5 --chart lens.svg
      (one line) one kind, through a known camera and sky; with a chart
  bluerim expect --aperture 80 --focal-ratio 6 --glasses pair.json
      a doublet of two glasses by their Sellmeier coefficients

pair.json names the positive and the negative lens; N-BK7 and F2 are built in:
  {"crown": "N-BK7", "flint": {"name": "other", "b": [B1, B2, B3],
   "c": [C1, C2, C3], "rangeNm": [320, 2500]}}       (c in µm²)
The response of a camera, relative, per photon:
  {"wavelengthNm": [400, 410, …], "R": […], "G": […], "B": […]}

Refractors only: a mirror has no colour error. Nothing is measured here; what a
lens really does, \`bluerim measure\` and \`bluerim sweep\` tell.

Exit codes: 0 done; 2 nothing was done, the command line, a file or an output
is wrong.

${SUN_CAUTION}`;

/** A number within limits that stand in the message. */
function within(low: number, high: number, unit: string): (text: string) => number {
  return (text) => {
    const value = Number(text);
    if (text.trim() === '' || !(value >= low && value <= high)) {
      throw new InvalidArgumentError(
        `Give a number from ${low} to ${high}${unit}, with a point for decimals and no unit.`,
      );
    }
    return value;
  };
}

/** Two wavelengths, as in 486,656. */
function wavelengths(text: string): [number, number] {
  const [a, b, ...rest] = text
    .split(',')
    .map((part) => (part.trim() === '' ? Number.NaN : Number(part)));
  if (a === undefined || b === undefined || rest.length > 0 || !(a > 0 && b > 0)) {
    throw new InvalidArgumentError('Give two wavelengths in nm with a comma, as in 486,656.');
  }
  return [a, b];
}

function kind(text: string, before: LensKind[] = []): LensKind[] {
  const known = KINDS.find((each) => each === text.toLowerCase());
  if (known === undefined) {
    throw new InvalidArgumentError(`Allowed choices are ${KINDS.join(', ')}.`);
  }
  return before.includes(known) ? before : [...before, known];
}

export function expectCommand(): Command {
  const command = new Command('expect')
    .description(
      'Tell, before buying or testing, how much false colour a refractor must show: diffraction, depth of focus, where each colour focuses and how far it is blurred, the halo that a picture will show, and what would help.',
    )
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', EXAMPLES);
  const add = adder(command);
  add(
    LENS,
    new Option('--aperture <mm>', 'diameter of the lens, mm, from 10 to 2000').argParser(
      within(10, 2000, ' mm'),
    ),
  );
  add(
    LENS,
    new Option('--focal-length <mm>', 'focal length, mm, from 20 to 60000').argParser(
      within(20, 60_000, ' mm'),
    ),
  );
  add(
    LENS,
    new Option(
      '--focal-ratio <N>',
      'focal length over aperture, from 1 to 60: 5 for f/5',
    ).argParser(within(1, 60, '')),
  );
  add(
    LENS,
    new Option(
      '--lens <kind>',
      'achromat, ed or apochromat; may be given several times (default: all three)',
    ).argParser(kind),
  );
  add(
    LENS,
    new Option(
      '--glasses <file>',
      'JSON file with the two glasses of a doublet, by name or Sellmeier coefficients (below); beside the kinds of --lens, or alone',
    ),
  );
  add(
    LENS,
    new Option(
      '--corrected <nm,nm>',
      'the two colours that the doublet brings together (default: 486.13,656.27); for the achromat and --glasses',
    ).argParser(wavelengths),
  );
  add(
    CAMERA,
    new Option('--pixel-size <µm>', 'pitch of the pixels, µm (default: pixels left out)').argParser(
      within(0.5, 100, ' µm'),
    ),
  );
  add(
    CAMERA,
    new Option(
      '--seeing <arcsec>',
      'width of stars by the air alone, FWHM at 500 nm (default: 2 to 4)',
    ).argParser(within(0.2, 20, ' arcsec')),
  );
  add(
    CAMERA,
    new Option(
      '--filters <kind>',
      'mosaic: dyed filters of a colour camera; separate: steep filters before a mono camera',
    )
      .choices(['mosaic', 'separate'])
      .default('mosaic'),
  );
  add(
    CAMERA,
    new Option(
      '--response <file>',
      'JSON file with the response of your own camera (below), in place of usual filters',
    ),
  );
  add(
    CAMERA,
    new Option(
      '--halo-radius-arcsec <arcsec>',
      'radius within which a star’s light is counted (default: 8 times the width of green stars)',
    ).argParser(within(1, 3600, ' arcsec')),
  );
  addOutputOptions(command);
  add(
    OUTPUT,
    new Option(
      '--chart <file.svg>',
      'also draw the lenses among others of their kinds, half and twice as large, over focal ratio',
    ),
  );
  for (const option of [svgOption(), pngOption(), forceOption(), colorOption()]) {
    command.addOption(option);
  }
  return command.action((flags: ExpectFlags) => runExpect(flags, createTerminal(flags.color)));
}

const OPTION_NAMES: Readonly<Record<string, string>> = {
  apertureMm: 'the aperture',
  focalLengthMm: 'the focal length',
  focalRatio: 'the focal ratio',
};

async function runExpect(flags: ExpectFlags, terminal: Terminal): Promise<void> {
  const { lensGeometry } = await import('../../optics/lens-expectation.js');
  const given = {
    ...(flags.aperture !== undefined && { apertureMm: flags.aperture }),
    ...(flags.focalLength !== undefined && { focalLengthMm: flags.focalLength }),
    ...(flags.focalRatio !== undefined && { focalRatio: flags.focalRatio }),
  };
  if (Object.keys(given).length < 2) {
    throw new UsageError(
      'aperture and focal length are not known',
      'give two of --aperture, --focal-length and --focal-ratio, as in --aperture 80 --focal-ratio 5',
    );
  }
  try {
    lensGeometry(given);
  } catch (error) {
    if (!(error instanceof ParameterError)) throw error;
    const name = OPTION_NAMES[error.parameter] ?? error.parameter;
    const message = error.message.replace(error.parameter, name);
    throw new UsageError(
      message,
      'check --aperture, --focal-length and --focal-ratio; two of them are enough',
    );
  }
  const { pair, lenses } = await chosenLenses(flags);
  const conditions = {
    pixelSizeUm: flags.pixelSize ?? null,
    seeingArcsec: flags.seeing ?? null,
    filters: await chosenFilters(flags),
    rMaxArcsec: flags.haloRadiusArcsec ?? null,
  };
  const { resultTarget, writeResult } = await import('../result-output.js');
  const target = await resultTarget({ ...flags, seed: 0 });
  await checkPictureTargets(flags);

  const { lensOutlooks } = await import('../../optics/lens-outlook.js');
  const { expectDocument } = await import('../../report/expect-json.js');
  const { expectText } = await import('../../report/expect-table.js');
  const outlooks = lensOutlooks(given, lenses, conditions);
  const warnings = missingWarnings(flags);
  const result = {
    document: () => expectDocument(outlooks, { given, glasses: pair, conditions }, warnings),
    text: (width: number, style: TextStyle) => expectText(outlooks, width, style),
  };
  await writeResult(target, result, terminal);
  if (flags.chart !== undefined || flags.svg !== undefined || flags.png !== undefined) {
    const { expectPictures } = await import('../../report/expect-pictures.js');
    const { writePictures } = await import('../picture-files.js');
    const pictures = expectPictures(outlooks);
    await writePictures(flags, pictures, terminal);
    await writeChart(flags.chart, pictures, terminal);
  }
  const { showWarnings } = await import('../warnings.js');
  showWarnings(warnings, false, terminal);
}

async function chosenLenses(
  flags: ExpectFlags,
): Promise<{ pair: GlassPair | null; lenses: LensChoice[] }> {
  const { correctedColours, readGlasses } = await import('../lens-files.js');
  const correctedNm = flags.corrected && correctedColours(flags.corrected, '--corrected');
  let pair: GlassPair | null = flags.glasses === undefined ? null : readGlasses(flags.glasses);
  if (pair !== null && correctedNm !== undefined) pair = { ...pair, correctedNm };
  const kinds: LensKind[] =
    flags.lens ?? (pair === null && correctedNm === undefined ? [...KINDS] : []);
  if (correctedNm === undefined)
    return { pair, lenses: [...kinds, ...(pair === null ? [] : [pair])] };
  const fixed = kinds.filter((each) => each !== 'achromat');
  if (fixed.length > 0) {
    throw new UsageError(
      `--corrected says nothing about --lens ${fixed.join(', ')}`,
      'use it with --lens achromat or with --glasses: the other kinds are a share of the usual achromat’s error',
    );
  }
  if (pair !== null) return { pair, lenses: [...kinds, pair] };
  const { F2, N_BK7 } = await import('../../optics/glass.js');
  pair = { crown: N_BK7, flint: F2, correctedNm };
  return { pair, lenses: [pair] };
}

async function chosenFilters(flags: ExpectFlags): Promise<FilterKind | ResponseTable> {
  if (flags.response === undefined) return flags.filters;
  const { readResponse } = await import('../lens-files.js');
  return readResponse(flags.response);
}

/** Refuses, before the work, pictures that cannot be written. */
async function checkPictureTargets(flags: ExpectFlags): Promise<void> {
  const { EXPECT_PICTURES } = await import('../../report/expect-pictures.js');
  const { checkPictures } = await import('../picture-files.js');
  await checkPictures(flags, EXPECT_PICTURES);
  if (flags.chart === undefined) return;
  if (!flags.chart.toLowerCase().endsWith('.svg')) {
    throw new UsageError(
      `--chart ${flags.chart}: the chart is an SVG file`,
      'give a name that ends in .svg; --png FOLDER writes PNG',
    );
  }
  const { checkFileTarget } = await import('../output.js');
  checkFileTarget(flags.chart, flags.force ?? false);
}

async function writeChart(
  file: string | undefined,
  pictures: Awaited<ReturnType<typeof import('../../report/expect-pictures.js')['expectPictures']>>,
  terminal: Terminal,
): Promise<void> {
  const [chart] = pictures;
  if (chart === undefined) return;
  const { svgDocument } = await import('../../report/svg/document.js');
  const { writeTextFile } = await import('../picture-files.js');
  await writeTextFile(file, () => svgDocument(chart.picture), terminal);
}

/** What was not given, and what that means. */
function missingWarnings({ pixelSize, seeing }: ExpectFlags): Warning[] {
  const warnings: Warning[] = [];
  if (seeing === undefined) {
    warnings.push({
      code: 'no-seeing',
      message:
        'seeing is not given: halos are for 3 arcsec, their ranges for 2 to 4; --seeing narrows them',
    });
  }
  if (pixelSize === undefined) {
    warnings.push({
      code: 'no-pixel-size',
      message:
        'the pixel size is not given: halos leave the pixel out, and nothing is given in pixels; add --pixel-size',
    });
  }
  return warnings;
}
