/** Strips and tiles of a TIFF page (TIFF 6.0, sections 3 and 15): how large they are and where they lie. */
import { FrameReadError } from '../../errors.js';
import { createSampleArray } from '../convert.js';
import type { OpenFile } from '../file.js';
import { contradiction, type TiffDirectory } from './ifd.js';
import type { StoredType, TiffPage } from './page.js';

const TAG = {
  stripOffsets: 273,
  rowsPerStrip: 278,
  stripBytes: 279,
  tileWidth: 322,
  tileHeight: 323,
  tileOffsets: 324,
  tileBytes: 325,
} as const;

/** Tiles are multiples of 16 px wide and high (section 15); smaller ones would only serve to make millions of them. */
const LEAST_TILE = 16;

/** Bytes of one stored sample. */
export function storedBytes(type: StoredType): 1 | 2 | 4 | 8 {
  return type === 'f16' ? 2 : (createSampleArray(type, 0).BYTES_PER_ELEMENT as 1 | 2 | 4 | 8);
}

/** True for a whole number above zero. */
export function isSize(value: number | null): value is number {
  return value !== null && Number.isInteger(value) && value > 0;
}

type Blocks = Pick<TiffPage, 'tiled' | 'blockWidth' | 'blockHeight' | 'offsets' | 'byteCounts'>;

/**
 * Reads where the strips or tiles are.
 * @throws FrameReadError `damaged`
 */
export function describeBlocks(
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
  if (offsets === null) throw contradiction(file, 'it does not say where the samples are');
  const blockWidth = tiled ? directory.number(TAG.tileWidth) : width;
  const blockHeight = tiled
    ? directory.number(TAG.tileHeight)
    : Math.min(directory.number(TAG.rowsPerStrip) ?? height, height);
  if (
    !isSize(blockWidth) ||
    !isSize(blockHeight) ||
    (tiled && Math.min(blockWidth, blockHeight) < LEAST_TILE)
  ) {
    throw contradiction(file, `its tiles or strips are ${blockWidth} × ${blockHeight} pixels`);
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
    throw contradiction(
      file,
      `it lists ${offsets.length} strips or tiles where ${needed} are needed`,
    );
  }
  if (byteCounts.length < needed) {
    if (page.compression !== 'none') {
      throw contradiction(file, 'it does not say how long its strips or tiles are');
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
      throw contradiction(file, `strip or tile ${i} has ${length} bytes, too few for its pixels`);
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
