/** The rows of a tile-compressed image, unpacked on demand. Unpacked tiles are kept, the least recently used are dropped first. */
import { FrameReadError, UnsupportedFormatError } from '../../../errors.js';
import { ARRAY_TYPES } from '../../convert.js';
import { closeFile, type OpenFile } from '../../file.js';
import type { FrameOverrides, RowSource, SampleArray } from '../../frame.js';
import { checkUnpackedBytes } from '../../limits.js';
import { checkWindow } from '../../memory-rows.js';
import { nativeForm } from '../samples.js';
import { BinaryTable, type TableUnit } from './binary-table.js';
import { readTileSettings } from './settings.js';
import { createTileDecoder } from './tile-decoder.js';

/** Unpacked tiles that are kept: a frame of 26 megapixels of 16 bits fits as a whole. */
const CACHE_BYTES = 64 * 1024 * 1024;
/** Rows of tiles of every plane that are kept in any case: a window of rows may lie across a border. */
const ROWS_OF_TILES = 2;

/** A tile-compressed image whose size has been checked against the limits. */
export interface TiledImage {
  unit: TableUnit;
  width: number;
  height: number;
  /** Planes that are read: 1 or 3. */
  planes: number;
  /** All axes, fastest first. */
  axes: readonly number[];
  bitpix: number;
  bscale: number;
  bzero: number;
  blank: number | null;
}

/**
 * The row source over an open file; `close` closes the file. `readRows` throws FrameReadError `damaged` for a tile that cannot be
 * unpacked.
 * @throws FrameReadError `bad-header` when the header makes no sense, `too-large` when one row of tiles exceeds the limit
 * @throws UnsupportedFormatError for methods that are not known
 */
export function createTileRows(
  file: OpenFile,
  image: TiledImage,
  overrides: FrameOverrides,
): RowSource {
  const { unit, width, height, planes, axes, bitpix, blank } = image;
  const form = nativeForm(bitpix, image.bscale, image.bzero, blank);
  const { sampleType } = form;
  const ArrayType = ARRAY_TYPES[sampleType];
  const settings = readTileSettings(file.path, unit.index, unit.header, axes);
  const table = new BinaryTable(file, unit);
  if (table.column('NULL_PIXEL_MASK') !== null) {
    throw new UnsupportedFormatError(
      file.path,
      `a tile-compressed image with a mask of its own for missing pixels (unit ${unit.index})`,
      'missing pixels as ZBLANK or NaN',
      'unpack it first with the program that wrote it',
    );
  }
  const grid = tileGrid(axes, settings.tile);
  checkTileCount(file, unit, grid, table.rowCount);
  const bandBytes = grid.across * grid.largest * form.bytes;
  const imageBytes = width * height * planes * form.bytes;
  const leastBytes = Math.max(bandBytes, Math.min(imageBytes, bandBytes * planes * ROWS_OF_TILES));
  checkUnpackedBytes(file.path, leastBytes, overrides);
  const cacheBytes = Math.max(CACHE_BYTES, leastBytes);
  const decode = createTileDecoder({
    file,
    index: unit.index,
    table,
    settings,
    bitpix,
    form,
    blank,
  });

  const cache = new Map<number, SampleArray>();
  let cachedBytes = 0;
  let open = true;

  const tileAt = (index: number, shape: TileShape): SampleArray => {
    const known = cache.get(index);
    if (known !== undefined) {
      // Moved behind all others: the map keeps the order of use.
      cache.delete(index);
      cache.set(index, known);
      return known;
    }
    const length = shape.columns * shape.rows * shape.depth;
    const needed = length * ArrayType.BYTES_PER_ELEMENT;
    let tile: SampleArray | null = null;
    for (const [oldest, samples] of cache) {
      if (cachedBytes + needed <= cacheBytes) break;
      cache.delete(oldest);
      cachedBytes -= samples.byteLength;
      if (samples.length === length) tile = samples;
    }
    tile ??= new ArrayType(length);
    decode(index, shape.columns, shape.rows * shape.depth, tile);
    cache.set(index, tile);
    cachedBytes += needed;
    return tile;
  };

  return {
    width,
    height,
    planes,
    sampleType,
    scale: form.scale,
    zero: form.zero,
    blank: form.blank,
    readRows(plane, y0, count, out, at = 0) {
      checkWindow(this, plane, y0, count, out, at);
      if (!open) {
        throw new FrameReadError('closed', file.path, 'the frame is closed', 'open it again');
      }
      const [tileColumns, tileRows] = [settings.tile[0] as number, settings.tile[1] ?? 1];
      const { first, inside, depth } = planePosition(plane, axes, settings.tile, grid);
      const end = y0 + count;
      for (let band = Math.floor(y0 / tileRows); band * tileRows < end; band++) {
        const top = band * tileRows;
        const from = Math.max(y0, top);
        const to = Math.min(end, top + tileRows);
        for (let i = 0; i < grid.across; i++) {
          const left = i * tileColumns;
          const columns = Math.min(tileColumns, width - left);
          const rows = Math.min(tileRows, height - top);
          const index = first + band * grid.across + i;
          const tile = tileAt(index, { columns, rows, depth });
          for (let y = from; y < to; y++) {
            const start = (inside * rows + y - top) * columns;
            out.set(tile.subarray(start, start + columns), at + (y - y0) * width + left);
          }
        }
      }
    },
    close() {
      if (!open) return;
      open = false;
      cache.clear();
      closeFile(file);
    },
  };
}

interface TileShape {
  columns: number;
  rows: number;
  /** Planes in the tile, all axes beyond the second together. */
  depth: number;
}

interface TileGrid {
  /** Tiles along the first axis, and along each axis. */
  across: number;
  counts: readonly number[];
  total: number;
  /** Samples of a whole tile. */
  largest: number;
}

function tileGrid(axes: readonly number[], tile: readonly number[]): TileGrid {
  const counts = axes.map((length, i) => Math.ceil(length / (tile[i] as number)));
  const product = (factors: readonly number[]) => factors.reduce((a, b) => a * b, 1);
  return {
    across: counts[0] as number,
    counts,
    total: product(counts),
    largest: product(tile),
  };
}

function checkTileCount(file: OpenFile, unit: TableUnit, grid: TileGrid, rows: number): void {
  if (grid.total === rows) return;
  throw new FrameReadError(
    'bad-header',
    file.path,
    `the compressed image in unit ${unit.index} has ${grid.counts.join(' × ')} tiles, its table ${rows} rows`,
    'the header is damaged: copy or save the file again',
  );
}

/** Where a plane lies: its first tile, its place among the planes of those tiles, and how many these are. */
function planePosition(
  plane: number,
  axes: readonly number[],
  tile: readonly number[],
  grid: TileGrid,
): { first: number; inside: number; depth: number } {
  let rest = plane;
  let [first, inside, depth] = [0, 0, 1];
  let tilesBelow = grid.across * (grid.counts[1] ?? 1);
  for (let i = 2; i < axes.length; i++) {
    const [length, size] = [axes[i] as number, tile[i] as number];
    const z = rest % length;
    rest = Math.floor(rest / length);
    const step = Math.floor(z / size);
    first += step * tilesBelow;
    inside += (z - step * size) * depth;
    depth *= Math.min(size, length - step * size);
    tilesBelow *= grid.counts[i] as number;
  }
  return { first, inside, depth };
}
