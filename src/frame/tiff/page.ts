/** What the directory of a page says about its samples (TIFF 6.0), checked, or why the page is not read. */
import { FrameReadError, UnsupportedFormatError } from '../../errors.js';
import { createSampleArray } from '../convert.js';
import type { OpenFile } from '../file.js';
import type { SampleType } from '../frame.js';
import type { TiffCompression } from './codecs.js';
import type { TiffDirectory } from './ifd.js';
import type { TiffPredictor } from './predictors.js';

const TAG = {
  width: 256,
  height: 257,
  bits: 258,
  compression: 259,
  photometric: 262,
  fillOrder: 266,
  stripOffsets: 273,
  samplesPerPixel: 277,
  rowsPerStrip: 278,
  stripBytes: 279,
  planar: 284,
  predictor: 317,
  tileWidth: 322,
  tileHeight: 323,
  tileOffsets: 324,
  tileBytes: 325,
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

/** Tiles are multiples of 16 px wide and high (section 15); smaller ones would only serve to make millions of them. */
const LEAST_TILE = 16;

/** Bytes of one stored sample. */
export function storedBytes(type: StoredType): 1 | 2 | 4 | 8 {
  return type === 'f16' ? 2 : (createSampleArray(type, 0).BYTES_PER_ELEMENT as 1 | 2 | 4 | 8);
}

/** True when the samples are floating-point numbers. */
export function isFloat(type: StoredType): boolean {
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
    throw damaged(file, `the page announces ${width ?? 'no'} × ${height ?? 'no'} pixels`);
  }
  if ((directory.number(TAG.imageDepth) ?? 1) !== 1) {
    throw refused(file, 'a TIFF file of a volume (several slices in one page)');
  }
  const samplesPerPixel = directory.number(TAG.samplesPerPixel) ?? 1;
  const colours = describeColours(file, directory, samplesPerPixel);
  const storedType = describeType(file, directory, samplesPerPixel);
  if (colours.inverted && (storedType.startsWith('i') || isFloat(storedType))) {
    throw refused(file, 'a TIFF picture of signed or floating-point numbers that calls zero white');
  }
  const planarTag = directory.number(TAG.planar) ?? 1;
  if (planarTag !== 1 && planarTag !== 2) {
    throw damaged(file, `its planar configuration is ${planarTag}`);
  }
  return {
    width,
    height,
    littleEndian: directory.littleEndian,
    storedType,
    samplesPerPixel,
    ...colours,
    planar: planarTag === 2 && samplesPerPixel > 1,
    ...describeCompression(file, directory, storedType),
    ...describeBlocks(file, directory, width, height),
  };
}

function isSize(value: number | null): value is number {
  return value !== null && Number.isInteger(value) && value > 0;
}

function describeColours(
  file: OpenFile,
  directory: TiffDirectory,
  samplesPerPixel: number,
): { planes: 1 | 3; inverted: boolean } {
  if (!isSize(samplesPerPixel) || samplesPerPixel > 65535) {
    throw damaged(file, `it announces ${samplesPerPixel} samples per pixel`);
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
      throw damaged(file, `it announces RGB colours but ${samplesPerPixel} samples per pixel`);
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

function describeCompression(
  file: OpenFile,
  directory: TiffDirectory,
  storedType: StoredType,
): { compression: TiffCompression; predictor: TiffPredictor } {
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
  const predictorTag = directory.number(TAG.predictor) ?? 1;
  const predictor = PREDICTORS[predictorTag];
  // TIFF 6.0 defines predictors for LZW, Technical Note 2 for deflate; other codecs leave the tag aside, as libtiff does.
  if (compression === 'none' || compression === 'packbits') {
    return { compression, predictor: 'none' };
  }
  if (predictor === undefined) {
    throw refused(file, `a TIFF file with a predictor that is not known (${predictorTag})`);
  }
  if (predictor === 'floating-point' && !isFloat(storedType)) {
    throw damaged(file, 'it announces the floating-point predictor for integers');
  }
  return { compression, predictor };
}

type Blocks = Pick<TiffPage, 'tiled' | 'blockWidth' | 'blockHeight' | 'offsets' | 'byteCounts'>;

function describeBlocks(
  file: OpenFile,
  directory: TiffDirectory,
  width: number,
  height: number,
): Blocks {
  const tiled = directory.has(TAG.tileWidth);
  // Some old writers list tiles under the tags of strips.
  const tags =
    tiled && directory.has(TAG.tileOffsets)
      ? [TAG.tileOffsets, TAG.tileBytes]
      : [TAG.stripOffsets, TAG.stripBytes];
  const [offsets, byteCounts] = tags.map((tag) => directory.numbers(tag)) as [
    number[] | null,
    number[] | null,
  ];
  if (offsets === null) throw damaged(file, 'it does not say where the samples are');
  const blockWidth = tiled ? directory.number(TAG.tileWidth) : width;
  const blockHeight = tiled
    ? directory.number(TAG.tileHeight)
    : Math.min(directory.number(TAG.rowsPerStrip) ?? height, height);
  if (
    !isSize(blockWidth) ||
    !isSize(blockHeight) ||
    (tiled && Math.min(blockWidth, blockHeight) < LEAST_TILE)
  ) {
    throw damaged(file, `its tiles or strips are ${blockWidth} × ${blockHeight} pixels`);
  }
  return { tiled, blockWidth, blockHeight, offsets, byteCounts: byteCounts ?? [] };
}

/**
 * Bytes of the blocks that will be read, checked: as many blocks as the page needs, all of them within the file.
 * @throws FrameReadError `damaged`, `truncated`
 */
export function checkBlocks(file: OpenFile, page: TiffPage): void {
  const { offsets, byteCounts } = page;
  const { perPlane, planes } = countBlocks(page);
  const needed = perPlane * planes;
  if (offsets.length < needed) {
    throw damaged(file, `it lists ${offsets.length} strips or tiles where ${needed} are needed`);
  }
  if (byteCounts.length < needed) {
    if (page.compression !== 'none') {
      throw damaged(file, 'it does not say how long its strips or tiles are');
    }
    // Old writers leave the lengths out; without compression they follow from the sizes.
    for (let i = 0; i < needed; i++) byteCounts[i] = blockBytes(page, i % perPlane);
  }
  for (let i = 0; i < needed; i++) {
    const start = offsets[i] as number;
    const length = byteCounts[i] as number;
    if (start + length > file.size) {
      throw new FrameReadError(
        'truncated',
        file.path,
        `the samples reach to byte ${start + length}, the file ends at ${file.size}`,
        'copy or save it again; the transfer was probably cut off',
      );
    }
    const least = page.compression === 'none' ? blockBytes(page, i % perPlane) : 1;
    if (length < least) {
      throw damaged(file, `strip or tile ${i} has ${length} bytes, too few for its pixels`);
    }
  }
}

/** How many strips or tiles hold one plane, how many lie side by side, and how many such planes are read. */
export function countBlocks(page: TiffPage): { across: number; perPlane: number; planes: number } {
  const across = Math.ceil(page.width / page.blockWidth);
  const perPlane = across * Math.ceil(page.height / page.blockHeight);
  return { across, perPlane, planes: page.planar ? page.planes : 1 };
}

/** Rows of a strip or tile that are stored: the last strip ends with the page, tiles are always whole. */
export function blockRows(page: TiffPage, index: number): number {
  return page.tiled
    ? page.blockHeight
    : Math.min(page.blockHeight, page.height - index * page.blockHeight);
}

/** Samples of one row of a strip or tile. */
export function blockRowSamples(page: TiffPage): number {
  return page.blockWidth * (page.planar ? 1 : page.samplesPerPixel);
}

/** Unpacked bytes of the strip or tile `index` of its plane. */
export function blockBytes(page: TiffPage, index: number): number {
  return blockRows(page, index) * blockRowSamples(page) * storedBytes(page.storedType);
}

function damaged(file: OpenFile, what: string): FrameReadError {
  return new FrameReadError(
    'damaged',
    file.path,
    `the TIFF file contradicts itself: ${what}`,
    'copy or save it again; the file is damaged or was written wrongly',
  );
}

function refused(file: OpenFile, found: string): UnsupportedFormatError {
  return new UnsupportedFormatError(file.path, found, SUPPORTED, SAVE_PLAIN);
}
