/** How an image was packed, from the header of its table (FITS Standard 4.0, §10.1–10.4, from memory; checked against cfitsio). */
import { FrameReadError, UnsupportedFormatError } from '../../../errors.js';
import type { FitsHeader } from '../header.js';
import type { Dither } from './dither.js';
import { MAX_RICE_BLOCK } from './rice.js';

export type TileAlgorithm =
  | 'RICE_1'
  | 'GZIP_1'
  | 'GZIP_2'
  | 'PLIO_1'
  | 'HCOMPRESS_1'
  | 'NOCOMPRESS';

/** What the keywords say; columns may say more for each tile. */
export interface TileSettings {
  algorithm: TileAlgorithm;
  /** Axes of the image, and of a whole tile, fastest first. */
  axes: readonly number[];
  tile: readonly number[];
  /** RICE_1: pixels of a block, bytes of a pixel. */
  riceBlock: number;
  riceBytes: 1 | 2 | 4;
  /** HCOMPRESS_1: lossy tiles are to be smoothed. */
  smooth: boolean;
  dither: Dither;
  /** ZDITHER0: 1 to 10000; null where it is missing or something else (files that are not quantised have 0). */
  ditherSeed: number | null;
  /** Keywords ZSCALE, ZZERO, ZBLANK; null where missing. */
  scale: number | null;
  zero: number | null;
  blank: number | null;
}

/** Names of ZCMPTYPE; RICE_ONE is an old one. */
const ALGORITHMS: Readonly<Record<string, TileAlgorithm>> = {
  RICE_1: 'RICE_1',
  RICE_ONE: 'RICE_1',
  GZIP_1: 'GZIP_1',
  GZIP_2: 'GZIP_2',
  PLIO_1: 'PLIO_1',
  HCOMPRESS_1: 'HCOMPRESS_1',
  NOCOMPRESS: 'NOCOMPRESS',
};
const DITHERS: Readonly<Record<string, Dither>> = {
  '': 'none',
  NONE: 'none',
  NO_DITHER: 'none',
  SUBTRACTIVE_DITHER_1: 'subtractive-1',
  SUBTRACTIVE_DITHER_2: 'subtractive-2',
};
/** Defaults of §10.4.1. */
const DEFAULT_RICE_BLOCK = 32;
const DEFAULT_RICE_BYTES = 4;
const UNPACK = 'unpack it first with the program that wrote it, or save the frame again';
const MAX_PARAMETERS = 99;

/**
 * Reads the settings of an image of these axes.
 * @throws UnsupportedFormatError for a method or dither that is not known, FrameReadError `bad-header` for values that make no sense
 */
export function readTileSettings(
  path: string,
  index: number,
  header: FitsHeader,
  axes: readonly number[],
): TileSettings {
  const bad = (keyword: string): FrameReadError => {
    const found = header.find(keyword);
    const value = found === undefined ? 'missing' : `'${found.text.slice(0, 40)}'`;
    return new FrameReadError(
      'bad-header',
      path,
      `${keyword} is ${value} in the header of the compressed unit ${index}`,
      `the header is damaged: copy or save the file again, or correct ${keyword}`,
    );
  };
  const known = <T>(keyword: string, names: Readonly<Record<string, T>>): T => {
    const name = header.string(keyword)?.trim().toUpperCase() ?? '';
    if (Object.hasOwn(names, name)) return names[name] as T;
    if (name === '') throw bad(keyword);
    throw new UnsupportedFormatError(
      path,
      `a tile-compressed image with ${keyword} = '${name.slice(0, 20)}' (unit ${index})`,
      Object.keys(names)
        .filter((known) => known !== '')
        .join(', '),
      UNPACK,
    );
  };

  const tile = axes.map((length, i) => {
    const keyword = `ZTILE${i + 1}`;
    const size = header.has(keyword) ? header.number(keyword) : i === 0 ? length : 1;
    if (size === null || !Number.isInteger(size) || size < 1) throw bad(keyword);
    return Math.min(size, length);
  });
  const parameters = readParameters(header);
  const riceBlock = parameters.get('BLOCKSIZE') ?? DEFAULT_RICE_BLOCK;
  const riceBytes = parameters.get('BYTEPIX') ?? DEFAULT_RICE_BYTES;
  const algorithm = known('ZCMPTYPE', ALGORITHMS);
  if (algorithm === 'RICE_1') {
    if (!Number.isInteger(riceBlock) || riceBlock < 1 || riceBlock > MAX_RICE_BLOCK) {
      throw bad('ZVAL1');
    }
    if (riceBytes === 8) {
      throw new UnsupportedFormatError(
        path,
        `a tile-compressed image with RICE_1 of 8 bytes per pixel (unit ${index})`,
        '1, 2 and 4 bytes',
        UNPACK,
      );
    }
    if (riceBytes !== 1 && riceBytes !== 2 && riceBytes !== 4) throw bad('ZVAL2');
  }
  const dither = known('ZQUANTIZ', DITHERS);
  const seed = header.number('ZDITHER0') ?? Number.NaN;
  return {
    algorithm,
    axes,
    tile,
    riceBlock,
    riceBytes: riceBytes as 1 | 2 | 4,
    smooth: (parameters.get('SMOOTH') ?? 0) !== 0,
    dither,
    ditherSeed: Number.isInteger(seed) && seed >= 1 && seed <= 10_000 ? seed : null,
    scale: header.number('ZSCALE'),
    zero: header.number('ZZERO'),
    blank: header.number('ZBLANK'),
  };
}

/** ZNAMEi = ZVALi, the numbers among them. */
function readParameters(header: FitsHeader): Map<string, number> {
  const found = new Map<string, number>();
  for (let i = 1; i <= MAX_PARAMETERS; i++) {
    const name = header.string(`ZNAME${i}`)?.trim().toUpperCase();
    const value = header.number(`ZVAL${i}`);
    if (name !== undefined && value !== null && !found.has(name)) found.set(name, value);
  }
  return found;
}
