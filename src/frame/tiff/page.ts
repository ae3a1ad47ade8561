/** What the directory of a page says about its samples (TIFF 6.0), checked, or why the page is not read. */
import { UnsupportedFormatError } from '../../errors.js';
import type { OpenFile } from '../file.js';
import type { SampleType } from '../frame.js';
import { describeBlocks, isSize } from './blocks.js';
import type { TiffCompression } from './codecs.js';
import { contradiction, type TiffDirectory } from './ifd.js';
import type { TiffPredictor } from './predictors.js';

const TAG = {
  width: 256,
  height: 257,
  bits: 258,
  compression: 259,
  photometric: 262,
  fillOrder: 266,
  samplesPerPixel: 277,
  planar: 284,
  predictor: 317,
  sampleFormat: 339,
  imageDepth: 32997,
} as const;

/** How samples are stored; f16 is handed on as f32. */
export type StoredType = Exclude<SampleType, 'i64'> | 'f16';

/** The samples of a page and where they are. */
export interface TiffPage {
  width: number;
  height: number;
  littleEndian: boolean;
  storedType: StoredType;
  /** Channels of the file, those that are not read included. */
  samplesPerPixel: number;
  /** Channels that are read, from the first: 1 or 3. */
  planes: 1 | 3;
  /** True when every channel has strips or tiles of its own. */
  planar: boolean;
  /** True when small numbers mean much light (WhiteIsZero). */
  inverted: boolean;
  compression: TiffCompression;
  predictor: TiffPredictor;
  tiled: boolean;
  /** Of a strip (width: that of the page) or tile, px. */
  blockWidth: number;
  blockHeight: number;
  /** Of each strip or tile, row by row from the top left; in planar files all of the first channel, then all of the second, … */
  offsets: number[];
  byteCounts: number[];
}

const SUPPORTED =
  'TIFF of 8, 16 or 32-bit integers or 16, 32 or 64-bit floats, grey or RGB, uncompressed or with LZW, deflate or PackBits';
const SAVE_PLAIN = 'save it as uncompressed 16-bit or 32-bit TIFF, or as FITS';

const COMPRESSIONS: Readonly<Record<number, TiffCompression>> = {
  1: 'none',
  5: 'lzw',
  8: 'deflate',
  32773: 'packbits',
  32946: 'deflate',
};
const REFUSED_COMPRESSIONS: Readonly<Record<number, string>> = {
  2: 'fax (CCITT)',
  3: 'fax (CCITT)',
  4: 'fax (CCITT)',
  6: 'JPEG',
  7: 'JPEG',
  34712: 'JPEG 2000',
  34887: 'LERC',
  34925: 'LZMA',
  50000: 'ZSTD',
  50001: 'WebP',
  50002: 'JPEG XL',
};
const WHITE_IS_ZERO = 0;
const BLACK_IS_ZERO = 1;
const RGB = 2;
const REFUSED_COLOURS: Readonly<Record<number, string>> = {
  3: 'palette colours',
  4: 'a transparency mask',
  5: 'CMYK colours',
  6: 'YCbCr colours',
  8: 'CIE L*a*b* colours',
  9: 'CIE L*a*b* colours',
  10: 'CIE L*a*b* colours',
  32844: 'logarithmic luminance',
  32845: 'logarithmic colours',
};
const STORED_TYPES: Readonly<Record<string, StoredType>> = {
  '8 unsigned': 'u8',
  '16 unsigned': 'u16',
  '32 unsigned': 'u32',
  '8 signed': 'i8',
  '16 signed': 'i16',
  '32 signed': 'i32',
  '16 float': 'f16',
  '32 float': 'f32',
  '64 float': 'f64',
};
/** SampleFormat; 4 is "undefined", to be read as unsigned. */
const FORMATS: Readonly<Record<number, string>> = {
  1: 'unsigned',
  2: 'signed',
  3: 'float',
  4: 'unsigned',
};
const PREDICTORS: Readonly<Record<number, TiffPredictor>> = {
  1: 'none',
  2: 'horizontal',
  3: 'floating-point',
};

/** True when the samples are floating-point numbers. */
function isFloat(type: StoredType): boolean {
  return type.startsWith('f');
}

/**
 * Describes the page.
 * @throws FrameReadError `damaged` when the tags contradict each other, `truncated` when samples lie beyond the end of the file
 * @throws UnsupportedFormatError when it is a kind of page that is not read
 */
export function describePage(file: OpenFile, directory: TiffDirectory): TiffPage {
  const width = directory.number(TAG.width);
  const height = directory.number(TAG.height);
  if (!isSize(width) || !isSize(height)) {
    throw contradiction(file, `the page announces ${width ?? 'no'} × ${height ?? 'no'} pixels`);
  }
  if ((directory.number(TAG.imageDepth) ?? 1) !== 1) {
    throw refused(file, 'a TIFF file of a volume (several slices in one page)');
  }
  const compression = describeCompression(file, directory);
  const samplesPerPixel = directory.number(TAG.samplesPerPixel) ?? 1;
  const colours = describeColours(file, directory, samplesPerPixel);
  const storedType = describeType(file, directory, samplesPerPixel);
  if (colours.inverted && (storedType.startsWith('i') || isFloat(storedType))) {
    throw refused(file, 'a TIFF picture of signed or floating-point numbers that calls zero white');
  }
  const planarTag = directory.number(TAG.planar) ?? 1;
  if (planarTag !== 1 && planarTag !== 2) {
    throw contradiction(file, `its planar configuration is ${planarTag}`);
  }
  return {
    width,
    height,
    littleEndian: directory.littleEndian,
    storedType,
    samplesPerPixel,
    ...colours,
    planar: planarTag === 2 && samplesPerPixel > 1,
    compression,
    predictor: describePredictor(file, directory, compression, storedType),
    ...describeBlocks(file, directory, width, height),
  };
}

function describeColours(
  file: OpenFile,
  directory: TiffDirectory,
  samplesPerPixel: number,
): { planes: 1 | 3; inverted: boolean } {
  if (!isSize(samplesPerPixel) || samplesPerPixel > 65535) {
    throw contradiction(file, `it announces ${samplesPerPixel} samples per pixel`);
  }
  const photometric =
    directory.number(TAG.photometric) ?? (samplesPerPixel < 3 ? BLACK_IS_ZERO : RGB);
  const refusal = REFUSED_COLOURS[photometric];
  if (refusal !== undefined) throw refused(file, `a TIFF picture of ${refusal}`);
  switch (photometric) {
    case WHITE_IS_ZERO:
    case BLACK_IS_ZERO:
      return { planes: 1, inverted: photometric === WHITE_IS_ZERO };
    case RGB:
      if (samplesPerPixel >= 3) return { planes: 3, inverted: false };
      throw contradiction(
        file,
        `it announces RGB colours but ${samplesPerPixel} samples per pixel`,
      );
    default:
      throw refused(file, `a TIFF file of a kind that is not known (photometric ${photometric})`);
  }
}

function describeType(
  file: OpenFile,
  directory: TiffDirectory,
  samplesPerPixel: number,
): StoredType {
  const bits = oneForAll(file, directory, TAG.bits, samplesPerPixel, 1, 'bits');
  const format = oneForAll(file, directory, TAG.sampleFormat, samplesPerPixel, 1, 'sample formats');
  const kind = FORMATS[format];
  if (kind === undefined) {
    throw refused(file, `a TIFF file of complex numbers (sample format ${format})`);
  }
  const type = STORED_TYPES[`${bits} ${kind}`];
  if (type === undefined) {
    throw refused(file, `a TIFF file of ${bits}-bit ${kind === 'float' ? 'floats' : 'integers'}`);
  }
  return type;
}

/** A tag with one value per channel that must be the same for all; some writers give it only once. */
function oneForAll(
  file: OpenFile,
  directory: TiffDirectory,
  tag: number,
  samplesPerPixel: number,
  fallback: number,
  what: string,
): number {
  const values = (directory.numbers(tag) ?? [fallback]).slice(0, samplesPerPixel);
  const first = values[0] as number;
  if (values.some((value) => value !== first)) {
    throw refused(
      file,
      `a TIFF file whose channels have different ${what} (${values.slice(0, 4)})`,
    );
  }
  return first;
}

function describeCompression(file: OpenFile, directory: TiffDirectory): TiffCompression {
  const number = directory.number(TAG.compression) ?? 1;
  const compression = COMPRESSIONS[number];
  if (compression === undefined) {
    const name = REFUSED_COMPRESSIONS[number];
    throw refused(
      file,
      name === undefined
        ? `a TIFF file with a compression that is not known (${number})`
        : `a TIFF file with ${name} compression`,
    );
  }
  if ((directory.number(TAG.fillOrder) ?? 1) !== 1) {
    throw refused(file, 'a TIFF file with reversed bits (fill order 2)');
  }
  return compression;
}

function describePredictor(
  file: OpenFile,
  directory: TiffDirectory,
  compression: TiffCompression,
  storedType: StoredType,
): TiffPredictor {
  // TIFF 6.0 defines predictors for LZW, Technical Note 2 for deflate; other codecs leave the tag aside, as libtiff does.
  if (compression === 'none' || compression === 'packbits') return 'none';
  const predictorTag = directory.number(TAG.predictor) ?? 1;
  const predictor = PREDICTORS[predictorTag];
  if (predictor === undefined) {
    throw refused(file, `a TIFF file with a predictor that is not known (${predictorTag})`);
  }
  if (predictor === 'floating-point' && !isFloat(storedType)) {
    throw contradiction(file, 'it announces the floating-point predictor for integers');
  }
  return predictor;
}

function refused(file: OpenFile, found: string): UnsupportedFormatError {
  return new UnsupportedFormatError(file.path, found, SUPPORTED, SAVE_PLAIN);
}
