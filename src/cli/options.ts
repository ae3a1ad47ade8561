/** Options of the commands: how their text is read, their groups and their defaults. */
import { type Command, InvalidArgumentError, Option } from 'commander';
import type { CfaPattern, FrameOverrides } from '../frame/frame.js';
import { DEFAULT_MAX_BYTES, DEFAULT_MAX_PIXELS } from '../frame/limits.js';
import { DEFAULT_MEASURE_OPTIONS, type MeasureOptions } from '../measure/options.js';
import type { ColorChoice } from './terminal.js';

/** Belongs under every help text. */
export const SUN_CAUTION = `Caution: never point a telescope or finder at or near the Sun without a
certified full-aperture solar filter.`;

/** Options of every command that opens frames. */
export interface FrameFlags {
  cfa?: CfaPattern | 'none';
  hdu?: number;
  page?: number;
  focalLength?: number;
  aperture?: number;
  pixelSize?: number;
  gain?: number;
  saturation?: number;
  maxPixels?: number;
  maxBytes?: number;
  recursive?: boolean;
}

/** Options of every command that measures stars and writes a result. */
export interface ResultFlags {
  seed: number;
  json?: boolean;
  output?: string;
  force?: boolean;
  color: ColorChoice;
}

/** Options of `measure` as commander hands them over. */
export interface MeasureFlags extends FrameFlags, ResultFlags {
  set?: string[];
  filterFrom: 'header' | 'name';
  zone: 'all' | 'centre';
  maxStars: number;
  jobs?: number;
  haloRadius?: number;
  haloAnyway?: boolean;
  stars?: string;
  withStars?: boolean;
  html?: string;
  svg?: string;
  png?: string;
}

/** A number above zero. */
export function positive(text: string): number {
  const value = Number(text);
  if (text.trim() === '' || !Number.isFinite(value) || value <= 0) {
    throw new InvalidArgumentError('Give a number above 0, with a point for decimals and no unit.');
  }
  return value;
}

/** A number from zero up. */
export function notNegative(text: string): number {
  const value = Number(text);
  if (text.trim() === '' || !Number.isFinite(value) || value < 0) {
    throw new InvalidArgumentError(
      'Give a number from 0 up, with a point for decimals and no unit.',
    );
  }
  return value;
}

/** A whole number of at least `least`. */
export function wholeNumber(
  least: number,
  most = Number.MAX_SAFE_INTEGER,
): (text: string) => number {
  return (text) => {
    const value = Number(text);
    if (!/^\d+$/.test(text) || value < least || value > most) {
      const limit =
        most === Number.MAX_SAFE_INTEGER ? `of at least ${least}` : `from ${least} to ${most}`;
      throw new InvalidArgumentError(`Give a whole number ${limit}.`);
    }
    return value;
  };
}

/** Largest seed: 32 bits. */
const MOST_SEED = 4294967295;
/** Fewest stars that a profile and its bootstrap can stand on. */
const LEAST_STARS = 3;

export const INPUT = 'Which files:';
export const FRAME = 'What the file does not say, or says wrongly:';
export const MEASURING = 'Measuring:';
export const OUTPUT = 'Output:';

export function colorOption(): Option {
  return new Option('--color <when>', 'colour on the terminal')
    .choices(['auto', 'always', 'never'])
    .default('auto')
    .helpGroup(OUTPUT);
}

export function forceOption(): Option {
  return new Option('--force', 'replace output files that exist').helpGroup(OUTPUT);
}

/** Folder for pictures as drawings. */
export function svgOption(): Option {
  return new Option('--svg <folder>', 'also write the pictures as SVG into this folder').helpGroup(
    OUTPUT,
  );
}

/** Folder for pictures as PNG. */
export function pngOption(): Option {
  return new Option('--png <folder>', 'also write the pictures as PNG into this folder').helpGroup(
    OUTPUT,
  );
}

/** File for the page. */
export function htmlOption(): Option {
  return new Option(
    '--html <file>',
    'also write a page with pictures and tables: one file that needs nothing else',
  ).helpGroup(OUTPUT);
}

/** @param meaning what the stars are for */
export function maxStarsOption(meaning: string): Option {
  return new Option('--max-stars <n>', meaning)
    .argParser(wholeNumber(LEAST_STARS))
    .default(DEFAULT_MEASURE_OPTIONS.maxStars)
    .helpGroup(MEASURING);
}

type Add = (group: string, option: Option) => void;

export function adder(command: Command): Add {
  return (group, option) => {
    command.addOption(option.helpGroup(group));
  };
}

/** Which files, and what they do not say about themselves. */
export function addFrameOptions(command: Command): void {
  const add = adder(command);
  add(
    INPUT,
    new Option('--recursive', 'look into the folders of a folder as well; links are not followed'),
  );
  add(
    FRAME,
    new Option(
      '--cfa <order>',
      'colour order of the mosaic, first stored row first (default: from the header, checked against the pixels)',
    )
      .choices(['RGGB', 'BGGR', 'GRBG', 'GBRG', 'none'])
      .argParser(cfaOrder),
  );
  add(
    FRAME,
    new Option(
      '--hdu <n>',
      'which image of a FITS file, 0 = the first unit (default: the first usable image)',
    ).argParser(wholeNumber(0)),
  );
  add(
    FRAME,
    new Option('--page <n>', 'which page of a TIFF file, from 1 (default: the first)').argParser(
      wholeNumber(1),
    ),
  );
  const numbers: [string, string][] = [
    ['--focal-length <mm>', 'focal length of the telescope, mm'],
    ['--aperture <mm>', 'diameter of the lens, mm'],
    ['--pixel-size <µm>', 'pitch of the recorded pixels, µm; binned pixels are larger'],
    ['--gain <e/ADU>', 'electrons per ADU'],
    ['--saturation <ADU>', 'level at which stars clip, ADU'],
  ];
  for (const [flags, meaning] of numbers) {
    add(FRAME, new Option(flags, `${meaning} (default: from the header)`).argParser(positive));
  }
  add(
    FRAME,
    new Option(
      '--max-pixels <n>',
      `most pixels a frame may claim (default: ${DEFAULT_MAX_PIXELS})`,
    ).argParser(wholeNumber(1)),
  );
  add(
    FRAME,
    new Option(
      '--max-bytes <n>',
      `most bytes a file may unpack to (default: ${DEFAULT_MAX_BYTES})`,
    ).argParser(wholeNumber(1)),
  );
}

/** How results are computed and written, alike for every command. */
export function addResultOptions(command: Command): void {
  const add = adder(command);
  add(
    MEASURING,
    new Option('--seed <n>', 'seed of the error bars: the same seed gives the same digits')
      .argParser(wholeNumber(0, MOST_SEED))
      .default(DEFAULT_MEASURE_OPTIONS.seed),
  );
  addOutputOptions(command);
  command.addOption(forceOption());
  command.addOption(colorOption());
}

/** In which form the result is printed, and where. */
export function addOutputOptions(command: Command): void {
  const add = adder(command);
  add(OUTPUT, new Option('--json', 'print one JSON document instead of tables'));
  add(
    OUTPUT,
    new Option(
      '-o, --output <file>',
      'write the result to a file instead of stdout; a name ending in .json means --json',
    ),
  );
}

/** Adds every option of `measure`. */
export function addMeasureOptions(command: Command): Command {
  const add = adder(command);
  add(
    INPUT,
    new Option(
      '--set <channel=file...>',
      'three mono frames through red, green and blue filters, measured as one: R=a.fits G=b.fits B=c.fits; or a folder whose mono frames are sorted into sets by FILTER. Give other frames before it',
    ),
  );
  add(
    INPUT,
    new Option('--filter-from <where>', 'what tells the filter of the frames of a --set folder')
      .choices(['header', 'name'])
      .default('header'),
  );
  addFrameOptions(command);
  add(
    MEASURING,
    new Option(
      '--zone <part>',
      'part of the frame whose stars count; centre = inner half of the diagonal',
    )
      .choices(['all', 'centre'])
      .default(DEFAULT_MEASURE_OPTIONS.zone),
  );
  command.addOption(maxStarsOption('most stars to use, the clearest first'));
  add(
    MEASURING,
    new Option(
      '--halo-radius <px>',
      'radius within which a star’s light is counted, px (default: chosen from the frame and printed)',
    ).argParser(positive),
  );
  add(
    MEASURING,
    new Option(
      '--halo-anyway',
      'give halo numbers even where the data is stretched; they are then wrong',
    ),
  );
  add(
    MEASURING,
    new Option(
      '--jobs <n>',
      'frames measured at once; the numbers do not depend on it (default: as the machine and the frames suggest)',
    ).argParser(wholeNumber(1, 256)),
  );
  add(
    OUTPUT,
    new Option(
      '--stars <file>',
      'also write every star found, used or not: name ending in .csv or .ecsv',
    ),
  );
  add(
    OUTPUT,
    new Option(
      '--with-stars',
      'put every star found into the JSON document too, so that `compare` can use it without the frame',
    ),
  );
  for (const option of [htmlOption(), svgOption(), pngOption()]) command.addOption(option);
  addResultOptions(command);
  return command;
}

/** A mosaic order in any case. */
function cfaOrder(text: string): CfaPattern | 'none' {
  const upper = text.toUpperCase();
  switch (upper) {
    case 'RGGB':
    case 'BGGR':
    case 'GRBG':
    case 'GBRG':
      return upper;
    case 'NONE':
      return 'none';
    default:
      throw new InvalidArgumentError('Allowed choices are RGGB, BGGR, GRBG, GBRG, none.');
  }
}

/** Options for the measuring functions. */
export function measureOptions(flags: MeasureFlags): MeasureOptions {
  return {
    ...DEFAULT_MEASURE_OPTIONS,
    zone: flags.zone,
    maxStars: flags.maxStars,
    seed: flags.seed,
    rMaxPx: flags.haloRadius ?? null,
    haloAnyway: flags.haloAnyway ?? false,
  };
}

/** What the user says about the frame. */
export function frameOverrides(flags: FrameFlags): FrameOverrides {
  return {
    ...(flags.cfa !== undefined && { cfa: flags.cfa }),
    ...(flags.hdu !== undefined && { hdu: flags.hdu }),
    ...(flags.page !== undefined && { page: flags.page }),
    ...(flags.focalLength !== undefined && { focalLengthMm: flags.focalLength }),
    ...(flags.aperture !== undefined && { apertureMm: flags.aperture }),
    ...(flags.pixelSize !== undefined && { pixelSizeUm: flags.pixelSize }),
    ...(flags.gain !== undefined && { gainElectronsPerAdu: flags.gain }),
    ...(flags.saturation !== undefined && { saturationAdu: flags.saturation }),
    ...(flags.maxPixels !== undefined && { maxPixels: flags.maxPixels }),
    ...(flags.maxBytes !== undefined && { maxBytes: flags.maxBytes }),
  };
}
