/** HCOMPRESS_1: the bit planes of an H-transform in quadtree codes (FITS Standard 4.0, §10.4.4, and R. L. White's papers on the
 * H-transform, from memory; checked against cfitsio).
 *
 * Coefficients are held in doubles: exact integers for every tile that an encoder can have written (values below 2^31 grow by
 * one bit with each of up to 20 levels).
 */
import { TileFault } from './fault.js';
import { inverseTransform, levelsOf } from './hcompress-transform.js';

/** Two magic bytes, size, size, scale (4 bytes each), sum (8), bit planes (3). */
const HEADER_BYTES = 25;
const MAGIC = 0xdd99;
/** Bit positions stay below 2^31. */
const MAX_STREAM_BYTES = 2 ** 27;
/** Bit planes beyond this are no coefficients of 32-bit pixels. */
const MAX_BIT_PLANES = 53;

/** Bits of a stream, most significant first. */
interface BitReader {
  bytes: Uint8Array;
  /** Next bit. */
  bit: number;
}

/**
 * Unpacks a tile of `rows × columns` pixels (columns run faster).
 * @param smooth true when the blocks of a lossy tile are to be smoothed
 * @returns the pixels, integers, not limited to any type
 * @throws TileFault when the stream is damaged
 */
export function decodeHcompress(
  bytes: Uint8Array,
  rows: number,
  columns: number,
  smooth: boolean,
): Float64Array {
  if (bytes.length < HEADER_BYTES) throw new TileFault('its HCOMPRESS stream is too short');
  if (bytes.length > MAX_STREAM_BYTES) {
    throw new TileFault('its HCOMPRESS stream is longer than 128 MiB');
  }
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (view.getUint16(0) !== MAGIC) throw new TileFault('it does not begin as HCOMPRESS does');
  const [storedRows, storedColumns] = [view.getInt32(2), view.getInt32(6)];
  if (storedRows !== rows || storedColumns !== columns) {
    throw new TileFault(
      `its HCOMPRESS stream is of ${storedColumns} × ${storedRows} pixels, the tile has ${columns} × ${rows}`,
    );
  }
  const scale = view.getInt32(10);
  const sum = Number(view.getBigInt64(14));
  const planes = [bytes[22], bytes[23], bytes[24]] as [number, number, number];
  if (Math.max(...planes) > MAX_BIT_PLANES) {
    throw new TileFault('its HCOMPRESS stream has too many bit planes');
  }
  const values = new Float64Array(rows * columns);
  decodeQuadrants({ bytes, bit: HEADER_BYTES * 8 }, values, rows, columns, planes);
  values[0] = sum;
  if (scale > 1) for (let i = 0; i < values.length; i++) values[i] = (values[i] as number) * scale;
  inverseTransform(values, rows, columns, smooth ? scale : 0);
  return values;
}

/** Magnitudes quadrant by quadrant (sums, two differences, curvatures), then the signs of all that are not 0. */
function decodeQuadrants(
  reader: BitReader,
  values: Float64Array,
  rows: number,
  columns: number,
  planes: readonly [number, number, number],
): void {
  const topRows = (rows + 1) >> 1;
  const leftColumns = (columns + 1) >> 1;
  const lowRows = rows >> 1;
  const rightColumns = columns >> 1;
  const low = columns * topRows;
  decodeQuadrant(reader, values, 0, columns, topRows, leftColumns, planes[0]);
  decodeQuadrant(reader, values, leftColumns, columns, topRows, rightColumns, planes[1]);
  decodeQuadrant(reader, values, low, columns, lowRows, leftColumns, planes[1]);
  decodeQuadrant(reader, values, low + leftColumns, columns, lowRows, rightColumns, planes[2]);
  if (readBits(reader, 4) !== 0) throw new TileFault('its bit planes have no end');
  reader.bit = (reader.bit + 7) & ~7;
  const { bytes } = reader;
  let { bit } = reader;
  for (let i = 0; i < values.length; i++) {
    const value = values[i] as number;
    if (value === 0) continue;
    if ((((bytes[bit >>> 3] ?? 0) >> (7 - (bit & 7))) & 1) === 1) values[i] = -value;
    bit++;
  }
  reader.bit = bit;
  if (reader.bit > reader.bytes.length * 8) {
    throw new TileFault('its HCOMPRESS stream ends early');
  }
}

const DIRECT_PLANE = 0;
const CODED_PLANE = 15;

function decodeQuadrant(
  reader: BitReader,
  values: Float64Array,
  origin: number,
  stride: number,
  rows: number,
  columns: number,
  bitPlanes: number,
): void {
  const levels = levelsOf(Math.max(rows, columns));
  const halfRows = (rows + 1) >> 1;
  const halfColumns = (columns + 1) >> 1;
  const cells = new Uint8Array(Math.max(1, halfRows * halfColumns));
  const endBit = reader.bytes.length * 8;
  for (let plane = bitPlanes - 1; plane >= 0; plane--) {
    const kind = readBits(reader, 4);
    if (kind === DIRECT_PLANE) {
      readNybbles(reader, cells, halfRows * halfColumns);
    } else if (kind === CODED_PLANE) {
      decodeTree(reader, cells, rows, columns, levels);
    } else throw new TileFault('it has a bit plane of an unknown kind');
    if (reader.bit > endBit) throw new TileFault('its HCOMPRESS stream ends early');
    addBits(cells, values, origin, stride, rows, columns, 2 ** plane);
  }
}

/** From the root on, each set bit of a cell becomes a cell of the next level. */
function decodeTree(
  reader: BitReader,
  cells: Uint8Array,
  rows: number,
  columns: number,
  levels: number,
): void {
  cells[0] = readCode(reader);
  let [treeRows, treeColumns] = [1, 1];
  let [restRows, restColumns] = [rows, columns];
  let size = 2 ** levels;
  for (let level = 1; level < levels; level++) {
    size /= 2;
    treeRows *= 2;
    treeColumns *= 2;
    if (restRows <= size) treeRows--;
    else restRows -= size;
    if (restColumns <= size) treeColumns--;
    else restColumns -= size;
    expandCells(cells, treeRows, treeColumns);
    for (let i = treeRows * treeColumns - 1; i >= 0; i--) {
      if (cells[i] !== 0) cells[i] = readCode(reader);
    }
  }
}

/** Spreads the four bits of each cell over 2 × 2 cells, in place: from the end, so that nothing is overwritten before its use. */
function expandCells(cells: Uint8Array, rows: number, columns: number): void {
  const halfColumns = (columns + 1) >> 1;
  for (let i = ((rows + 1) >> 1) - 1; i >= 0; i--) {
    for (let j = halfColumns - 1; j >= 0; j--) {
      cells[2 * (columns * i + j)] = cells[halfColumns * i + j] as number;
    }
  }
  const oddRows = rows & 1;
  const oddColumns = columns & 1;
  let i = 0;
  for (; i < rows - oddRows; i += 2) {
    let upper = columns * i;
    let lower = upper + columns;
    for (let j = 0; j < columns - oddColumns; j += 2) {
      const bits = cells[upper] as number;
      cells[lower + 1] = bits & 1;
      cells[lower] = (bits >> 1) & 1;
      cells[upper + 1] = (bits >> 2) & 1;
      cells[upper] = (bits >> 3) & 1;
      upper += 2;
      lower += 2;
    }
    if (oddColumns === 1) {
      const bits = cells[upper] as number;
      cells[lower] = (bits >> 1) & 1;
      cells[upper] = (bits >> 3) & 1;
    }
  }
  if (oddRows === 0) return;
  let upper = columns * i;
  for (let j = 0; j < columns - oddColumns; j += 2) {
    const bits = cells[upper] as number;
    cells[upper + 1] = (bits >> 2) & 1;
    cells[upper] = (bits >> 3) & 1;
    upper += 2;
  }
  if (oddColumns === 1) cells[upper] = ((cells[upper] as number) >> 3) & 1;
}

/** Adds `amount` to every coefficient whose bit is set; a cell covers 2 × 2 coefficients. */
function addBits(
  cells: Uint8Array,
  values: Float64Array,
  origin: number,
  stride: number,
  rows: number,
  columns: number,
  amount: number,
): void {
  let cell = 0;
  for (let i = 0; i < rows; i += 2) {
    const upper = origin + i * stride;
    const lower = upper + stride;
    const hasLower = i + 1 < rows;
    for (let j = 0; j < columns; j += 2) {
      const bits = cells[cell++] as number;
      if (bits === 0) continue;
      const hasRight = j + 1 < columns;
      if ((bits & 8) !== 0) values[upper + j] = (values[upper + j] as number) + amount;
      if ((bits & 4) !== 0 && hasRight) {
        values[upper + j + 1] = (values[upper + j + 1] as number) + amount;
      }
      if (!hasLower) continue;
      if ((bits & 2) !== 0) values[lower + j] = (values[lower + j] as number) + amount;
      if ((bits & 1) !== 0 && hasRight) {
        values[lower + j + 1] = (values[lower + j + 1] as number) + amount;
      }
    }
  }
}

/** Behind the end of the stream zeros are read; callers check the position. */
function readBits(reader: BitReader, count: number): number {
  const { bytes, bit } = reader;
  const at = bit >>> 3;
  const pair = ((bytes[at] ?? 0) << 8) | (bytes[at + 1] ?? 0);
  reader.bit = bit + count;
  return (pair >> (16 - (bit & 7) - count)) & ((1 << count) - 1);
}

/** The same for many groups of four bits: most of a stream of noise. */
function readNybbles(reader: BitReader, cells: Uint8Array, count: number): void {
  const { bytes } = reader;
  let { bit } = reader;
  for (let i = 0; i < count; i++) {
    const at = bit >>> 3;
    const pair = ((bytes[at] ?? 0) << 8) | (bytes[at + 1] ?? 0);
    cells[i] = (pair >> (12 - (bit & 7))) & 15;
    bit += 4;
  }
  reader.bit = bit;
}

/** The quadtree's fixed prefix code by its next 6 bits: length × 16 + the four bits of a cell. */
const CODES = buildCodes();

function buildCodes(): Uint8Array {
  const words: readonly [code: number, bits: number, cell: number][] = [
    [0b000, 3, 1],
    [0b001, 3, 2],
    [0b010, 3, 4],
    [0b011, 3, 8],
    [0b1000, 4, 3],
    [0b1001, 4, 5],
    [0b1010, 4, 10],
    [0b1011, 4, 12],
    [0b1100, 4, 15],
    [0b11010, 5, 6],
    [0b11011, 5, 7],
    [0b11100, 5, 9],
    [0b11101, 5, 11],
    [0b11110, 5, 13],
    [0b111110, 6, 0],
    [0b111111, 6, 14],
  ];
  const table = new Uint8Array(64);
  for (const [code, bits, cell] of words) {
    const first = code << (6 - bits);
    table.fill(bits * 16 + cell, first, first + (1 << (6 - bits)));
  }
  return table;
}

function readCode(reader: BitReader): number {
  const entry = CODES[readBits(reader, 6)] as number;
  reader.bit += (entry >> 4) - 6;
  return entry & 15;
}
