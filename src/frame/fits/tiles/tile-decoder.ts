/** One tile: from its row in the table to samples in the frame's own type. */
import { FrameReadError } from '../../../errors.js';
import { type OpenFile, readFully } from '../../file.js';
import type { SampleArray } from '../../frame.js';
import { flipSigns, type NativeForm, toNative } from '../samples.js';
import type { BinaryTable, HeapArray, TableColumn } from './binary-table.js';
import { unquantise } from './dither.js';
import { TileFault } from './fault.js';
import { inflateTile, unshuffle } from './gzip-tile.js';
import { decodeHcompress } from './hcompress.js';
import { decodePlio } from './plio.js';
import { decodeRice, riceGuardBytes } from './rice.js';
import type { TileSettings } from './settings.js';

/** What a decoder needs to know of the image. */
export interface PackedImage {
  file: OpenFile;
  /** Unit, for messages. */
  index: number;
  table: BinaryTable;
  settings: TileSettings;
  bitpix: number;
  form: NativeForm;
  /** BLANK of an integer image in stored integers, or null. */
  blank: number | null;
}

/** Unpacks tile `index` of `columns × rows` samples into the whole of `out`, in the frame's own type. */
export type TileDecoder = (index: number, columns: number, rows: number, out: SampleArray) => void;

/** Columns in which a tile may lie, in the order of search. */
interface TileColumns {
  packed: TableColumn | null;
  gzip: TableColumn | null;
  plain: TableColumn | null;
  scale: TableColumn | null;
  zero: TableColumn | null;
  blank: TableColumn | null;
}

/** Longest form of a sample in a deflated tile. */
const MAX_SAMPLE_BYTES = 8;

/**
 * Makes the decoder; its buffers are as long as the longest tile it has met.
 * The decoder throws FrameReadError `damaged`, naming the tile, `truncated` or `unreadable`.
 */
export function createTileDecoder(image: PackedImage): TileDecoder {
  const { file, table, settings, bitpix, form } = image;
  const columns: TileColumns = {
    packed: table.column('COMPRESSED_DATA'),
    gzip: table.column('GZIP_COMPRESSED_DATA'),
    plain: table.column('UNCOMPRESSED_DATA'),
    scale: table.column('ZSCALE'),
    zero: table.column('ZZERO'),
    blank: table.column('ZBLANK'),
  };
  const quantised =
    bitpix < 0 &&
    (columns.scale !== null || settings.scale !== null) &&
    (columns.zero !== null || settings.zero !== null);
  let heapBytes = new Uint8Array(0);
  let integers = new Int32Array(0);

  const number = (column: TableColumn | null, row: number, keyword: number | null) =>
    column === null ? keyword : table.number(column, row);

  const locate = (column: TableColumn | null, row: number): HeapArray | null => {
    if (column === null) return null;
    const found = table.array(column, row);
    if (found === null) throw new TileFault(`its ${column.name} lies outside the unit`);
    return found.count === 0 ? null : found;
  };

  /** The bytes of a heap array, with room behind them for the guard of the Rice decoder. */
  const load = (array: HeapArray): Uint8Array => {
    const needed = array.bytes + riceGuardBytes(settings.riceBlock);
    if (heapBytes.length < needed) heapBytes = new Uint8Array(Math.ceil(needed * 1.25));
    readFully(file, heapBytes, 0, array.bytes, array.position);
    return heapBytes;
  };

  const scratch = (length: number): Int32Array => {
    if (integers.length < length) integers = new Int32Array(length);
    return integers.subarray(0, length);
  };

  const decode = (row: number, width: number, height: number, out: SampleArray): void => {
    const packed = locate(columns.packed, row);
    if (packed === null) {
      const gzip = locate(columns.gzip, row);
      if (gzip !== null) {
        const bytes = load(gzip).subarray(0, gzip.bytes);
        placeBytes(inflateTile(bytes, out.length * MAX_SAMPLE_BYTES), out, bitpix, form);
        return;
      }
      const plain = locate(columns.plain, row);
      if (plain === null) throw new TileFault('it has no data');
      placeBytes(load(plain).subarray(0, plain.bytes), out, bitpix, form);
      return;
    }
    const room = load(packed);
    if (bitpix < 0) {
      if (!quantised) {
        placeBytes(bytesOf(settings, room, packed.bytes, out.length), out, bitpix, form);
        return;
      }
      if (settings.dither !== 'none' && settings.ditherSeed === null) {
        throw new TileFault('the seed of its dither (ZDITHER0, 1 to 10000) is missing');
      }
      const stored = scratch(out.length);
      decodeIntegers(settings, room, packed.bytes, width, height, stored);
      unquantise(
        stored,
        out.length,
        {
          scale: number(columns.scale, row, settings.scale) ?? Number.NaN,
          zero: number(columns.zero, row, settings.zero) ?? Number.NaN,
          blank: number(columns.blank, row, settings.blank),
          dither: settings.dither,
          seed: row + (settings.ditherSeed ?? 1) - 1,
        },
        out as Float32Array | Float64Array,
      );
      return;
    }
    if (isBytewise(settings)) {
      placeBytes(bytesOf(settings, room, packed.bytes, out.length), out, bitpix, form);
    } else if (bitpix === 64) {
      throw new TileFault(`64-bit integers cannot be packed with ${settings.algorithm}`);
    } else {
      const stored = storedView(out, bitpix);
      if (settings.algorithm === 'PLIO_1' && bitpix === 16 && form.flipSign) {
        decodeUnsignedPlio(room.subarray(0, packed.bytes), stored);
      } else decodeIntegers(settings, room, packed.bytes, width, height, stored);
      if (form.flipSign) flipSigns(bytesView(out), form.bytes as 1 | 2 | 4);
    }
    const tileBlank = number(columns.blank, row, settings.blank);
    if (tileBlank !== null && image.blank !== null && tileBlank !== image.blank) {
      const shift = (form.blank ?? image.blank) - image.blank;
      replace(out, tileBlank + shift, image.blank + shift);
    }
  };

  return (row, width, height, out) => {
    try {
      decode(row, width, height, out);
    } catch (cause) {
      if (!(cause instanceof TileFault)) throw cause;
      throw new FrameReadError(
        'damaged',
        file.path,
        `tile ${row + 1} of ${table.rowCount} in unit ${image.index} cannot be unpacked: ${cause.message}`,
        'the file is damaged: copy it again, or pack the frame again from its original',
        { cause },
      );
    }
  };
}

/** Methods that pack the big-endian bytes of samples, whatever their type. */
function isBytewise({ algorithm }: TileSettings): boolean {
  return algorithm === 'GZIP_1' || algorithm === 'GZIP_2' || algorithm === 'NOCOMPRESS';
}

/** Big-endian bytes of the samples of a tile. */
function bytesOf(
  { algorithm }: TileSettings,
  room: Uint8Array,
  length: number,
  samples: number,
): Uint8Array {
  const packed = room.subarray(0, length);
  if (algorithm === 'NOCOMPRESS') return packed;
  if (algorithm !== 'GZIP_1' && algorithm !== 'GZIP_2') {
    throw new TileFault('its scale (ZSCALE, ZZERO) is missing');
  }
  const bytes = inflateTile(packed, samples * MAX_SAMPLE_BYTES);
  return algorithm === 'GZIP_2' ? unshuffle(bytes, sampleBytes(bytes, samples)) : bytes;
}

/** Integers of a tile into the whole of `out`. */
function decodeIntegers(
  settings: TileSettings,
  room: Uint8Array,
  length: number,
  width: number,
  height: number,
  out: Uint8Array | Int16Array | Int32Array,
): void {
  switch (settings.algorithm) {
    case 'RICE_1': {
      if (settings.riceBytes === out.BYTES_PER_ELEMENT) {
        decodeRice(room, length, settings.riceBlock, out);
        return;
      }
      const Kind = { 1: Uint8Array, 2: Int16Array, 4: Int32Array }[settings.riceBytes];
      const own = new Kind(out.length);
      decodeRice(room, length, settings.riceBlock, own);
      placeLimited(own, out);
      return;
    }
    case 'PLIO_1': {
      const own = new Int32Array(out.length);
      decodePlio(room.subarray(0, length), own);
      placeLimited(own, out);
      return;
    }
    case 'HCOMPRESS_1':
      placeLimited(decodeHcompress(room.subarray(0, length), height, width, settings.smooth), out);
      return;
    default: {
      const bytes = bytesOf(settings, room, length, out.length);
      placeLimited(integersOf(bytes, sampleBytes(bytes, out.length)), out);
    }
  }
}

/** PLIO_1 has no negative numbers: of unsigned 16-bit images (BZERO = 32768) it holds the physical values, not the stored ones. */
function decodeUnsignedPlio(bytes: Uint8Array, stored: Uint8Array | Int16Array | Int32Array): void {
  const own = new Int32Array(stored.length);
  decodePlio(bytes, own);
  for (let i = 0; i < own.length; i++) own[i] = (own[i] as number) - 32768;
  placeLimited(own, stored);
}

/** Bytes per sample, as the length of an inflated tile tells. */
function sampleBytes(bytes: Uint8Array, samples: number): 1 | 2 | 4 | 8 {
  const size = bytes.length / samples;
  if (size !== 1 && size !== 2 && size !== 4 && size !== 8) {
    throw new TileFault(`it holds ${bytes.length} bytes for ${samples} samples`);
  }
  return size;
}

/** Big-endian integers of 1 (unsigned), 2, 4 or 8 bytes. */
function integersOf(
  bytes: Uint8Array,
  size: 1 | 2 | 4 | 8,
): Uint8Array | Int16Array | Int32Array | Float64Array {
  // A copy of its own: aligned, and the reader's buffer stays as it is.
  const copy = new Uint8Array(bytes);
  toNative(bytesView(copy), size, false, size === 8);
  if (size === 1) return copy;
  const Kind = { 2: Int16Array, 4: Int32Array, 8: Float64Array }[size];
  return new Kind(copy.buffer);
}

/** Big-endian samples into `out`: straight where they have its size, else converted. */
function placeBytes(bytes: Uint8Array, out: SampleArray, bitpix: number, form: NativeForm): void {
  const size = sampleBytes(bytes, out.length);
  if (size === form.bytes) {
    const target = bytesView(out);
    target.set(bytes);
    toNative(target, form.bytes, form.flipSign, form.sampleType === 'i64');
    return;
  }
  if (bitpix < 0) {
    if (size < 4) throw new TileFault(`it holds ${size} bytes per floating-point sample`);
    const copy = new Uint8Array(bytes);
    toNative(bytesView(copy), size, false, false);
    out.set(size === 4 ? new Float32Array(copy.buffer) : new Float64Array(copy.buffer));
    return;
  }
  if (bitpix === 64) {
    out.set(integersOf(bytes, size));
    return;
  }
  placeLimited(integersOf(bytes, size), storedView(out, bitpix));
  if (form.flipSign) flipSigns(bytesView(out), form.bytes as 1 | 2 | 4);
}

/** Copies integers into a narrower type; what lies outside (lossy tiles may overshoot) becomes its limit, as in cfitsio. */
function placeLimited(
  from: Uint8Array | Int16Array | Int32Array | Float64Array,
  out: Uint8Array | Int16Array | Int32Array,
): void {
  if (from.BYTES_PER_ELEMENT <= out.BYTES_PER_ELEMENT && !(out instanceof Uint8Array)) {
    out.set(from);
    return;
  }
  const bits = out.BYTES_PER_ELEMENT * 8;
  const lowest = out instanceof Uint8Array ? 0 : -(2 ** (bits - 1));
  const highest = out instanceof Uint8Array ? 255 : 2 ** (bits - 1) - 1;
  for (let i = 0; i < out.length; i++) {
    const value = from[i] as number;
    out[i] = Math.min(Math.max(value, lowest), highest);
  }
}

/** The same memory as stored integers, before the sign convention is undone. */
function storedView(out: SampleArray, bitpix: number): Uint8Array | Int16Array | Int32Array {
  const { buffer, byteOffset, length } = out;
  if (bitpix === 8) return new Uint8Array(buffer, byteOffset, length);
  if (bitpix === 16) return new Int16Array(buffer, byteOffset, length);
  return new Int32Array(buffer, byteOffset, length);
}

function bytesView(data: SampleArray): Buffer {
  return Buffer.from(data.buffer, data.byteOffset, data.byteLength);
}

function replace(data: SampleArray, from: number, to: number): void {
  for (let i = 0; i < data.length; i++) if (data[i] === from) data[i] = to;
}
