/** How stored FITS samples become typed arrays, and the row source over an open file.
 *
 * Rows are read straight into the caller's buffer and put right in place, a cache-sized piece at a time: no second buffer is
 * touched (a fresh page costs more than the arithmetic on it), and the byte swap is Node's own (`Buffer.swap16/32/64`).
 */
import { FrameReadError } from '../../errors.js';
import { closeFile, type OpenFile, readFully } from '../file.js';
import type { RowSource, SampleType } from '../frame.js';
import { checkWindow } from '../memory-rows.js';
import { readWords } from './read-words.js';

/** What the header says about the samples. */
export interface SampleLayout {
  width: number;
  height: number;
  planes: number;
  /** 8, 16, 32, 64, −32 or −64. */
  bitpix: number;
  bscale: number;
  bzero: number;
  /** BLANK in stored integers, or null. */
  blank: number | null;
  /** Byte position of the first sample. */
  dataOffset: number;
}

/** The native form of the samples after the sign convention of §4.4.2.5 (Table 11) has been undone. */
export interface NativeForm {
  sampleType: SampleType;
  scale: number;
  zero: number;
  blank: number | null;
  bytes: 1 | 2 | 4 | 8;
  /** True when the stored sign bit is flipped (unsigned types; signed bytes). */
  flipSign: boolean;
}

/** Chooses the native type. BZERO = 2^(n−1) with BSCALE = 1 means the unsigned type, BZERO = −128 the signed byte (Table 11). */
export function nativeForm(
  bitpix: number,
  bscale: number,
  bzero: number,
  blank: number | null,
): NativeForm {
  const bytes = (Math.abs(bitpix) / 8) as 1 | 2 | 4 | 8;
  const plain = { scale: bscale, zero: bzero, blank, bytes, flipSign: false };
  const flipped = (offset: number) => ({
    scale: 1,
    zero: 0,
    blank: blank === null ? null : blank + offset,
    bytes,
    flipSign: true,
  });
  const unit = bscale === 1;
  switch (bitpix) {
    case 8:
      return unit && bzero === -128
        ? { ...flipped(-128), sampleType: 'i8' }
        : { ...plain, sampleType: 'u8' };
    case 16:
      return unit && bzero === 32768
        ? { ...flipped(32768), sampleType: 'u16' }
        : { ...plain, sampleType: 'i16' };
    case 32:
      return unit && bzero === 2147483648
        ? { ...flipped(2147483648), sampleType: 'u32' }
        : { ...plain, sampleType: 'i32' };
    case 64:
      return unit && bzero === 2 ** 63
        ? { ...flipped(2 ** 63), sampleType: 'i64' }
        : { ...plain, sampleType: 'i64' };
    case -32:
      return { ...plain, blank: null, sampleType: 'f32' };
    case -64:
      return { ...plain, blank: null, sampleType: 'f64' };
    default:
      throw new RangeError(`bitpix is ${bitpix}; allowed: 8, 16, 32, 64, -32, -64`);
  }
}

/** Largest physical value that the stored type can hold, or null for floating point. */
export function typeMaximum(bitpix: number, bscale: number, bzero: number): number | null {
  if (bitpix < 0) return null;
  const limit = 2 ** (bitpix - 1);
  const [low, high] = bitpix === 8 ? [0, 255] : [-limit, limit - 1];
  return bscale * (bscale < 0 ? low : high) + bzero;
}

/** Bytes read and put right at a time; a multiple of 8 that stays in the second-level cache. */
const PIECE_BYTES = 65536;

/** The row source over a file whose size has been checked against the layout; `close` closes the file. */
export function createFitsRows(file: OpenFile, layout: SampleLayout): RowSource {
  const { width, height, planes, dataOffset } = layout;
  const form = nativeForm(layout.bitpix, layout.bscale, layout.bzero, layout.blank);
  const { sampleType, bytes } = form;
  const integer64 = sampleType === 'i64';
  let open = true;

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
      const length = count * width;
      if (!open) {
        throw new FrameReadError('closed', file.path, 'the frame is closed', 'open it again');
      }
      const target = Buffer.from(out.buffer, out.byteOffset + at * bytes, length * bytes);
      const start = dataOffset + (plane * height + y0) * width * bytes;
      if (bytes === 2) {
        readWords(file, target, start, form.flipSign);
        return;
      }
      for (let from = 0; from < target.length; from += PIECE_BYTES) {
        const piece = Math.min(PIECE_BYTES, target.length - from);
        readFully(file, target, from, piece, start + from);
        toNative(target.subarray(from, from + piece), bytes, form.flipSign, integer64);
      }
    },
    close() {
      if (!open) return;
      open = false;
      closeFile(file);
    },
  };
}

/** Big-endian samples to the machine's own form, in place. 64-bit integers need 8-byte alignment. */
export function toNative(
  piece: Buffer,
  bytes: 1 | 2 | 4 | 8,
  flipSign: boolean,
  integer64: boolean,
): void {
  if (bytes === 8) {
    piece.swap64();
    if (integer64) integersToDoubles(piece, flipSign);
    return;
  }
  if (bytes === 2) piece.swap16();
  else if (bytes === 4) piece.swap32();
  if (flipSign) flipSigns(piece, bytes);
}

/** XORs the sign bit of every sample of 1, 2 or 4 bytes in the machine's own form, in place. */
export function flipSigns(piece: Buffer, bytes: 1 | 2 | 4): void {
  if (bytes === 2) flipBits(piece, 2, 0x8000, 0x80008000 | 0);
  else if (bytes === 4) flipBits(piece, 4, 0, 0x80000000 | 0);
  else flipBits(piece, 1, 0x80, 0x80808080 | 0);
}

/** XORs every sample with its sign bit, four bytes at a time; samples before and after the aligned part singly. */
function flipBits(piece: Buffer, bytes: 1 | 2 | 4, single: number, word: number): void {
  const misfit = (4 - (piece.byteOffset & 3)) & 3;
  const head = Math.min(misfit, piece.length);
  const words = (piece.length - head) >> 2;
  const tail = head + words * 4;
  // The sign is in the last byte of a little-endian sample.
  const signByte = bytes === 2 ? single >> 8 : single;
  for (let i = bytes - 1; i < head; i += bytes) piece[i] = (piece[i] as number) ^ signByte;
  for (let i = tail + bytes - 1; i < piece.length; i += bytes) {
    piece[i] = (piece[i] as number) ^ signByte;
  }
  flipWords(new Int32Array(piece.buffer, piece.byteOffset + head, words), word);
}

/** Unrolled by four: half the time of the plain loop. */
function flipWords(data: Int32Array, word: number): void {
  const end = data.length & ~3;
  let i = 0;
  for (; i < end; i += 4) {
    data[i] = (data[i] as number) ^ word;
    data[i + 1] = (data[i + 1] as number) ^ word;
    data[i + 2] = (data[i + 2] as number) ^ word;
    data[i + 3] = (data[i + 3] as number) ^ word;
  }
  for (; i < data.length; i++) data[i] = (data[i] as number) ^ word;
}

/** 64-bit integers (two's complement, or unsigned after the sign flip) to doubles, rounded once, exact to 2^53. */
function integersToDoubles(piece: Buffer, unsigned: boolean): void {
  const count = piece.length >> 3;
  const halves = new Int32Array(piece.buffer, piece.byteOffset, count * 2);
  const doubles = new Float64Array(piece.buffer, piece.byteOffset, count);
  for (let i = 0; i < count; i++) {
    const low = (halves[2 * i] as number) >>> 0;
    const high = halves[2 * i + 1] as number;
    doubles[i] = (unsigned ? (high ^ 0x80000000) >>> 0 : high) * 4294967296 + low;
  }
}

if (new Uint8Array(new Uint16Array([1]).buffer)[0] !== 1) {
  throw new Error('this program runs on little-endian machines only');
}
