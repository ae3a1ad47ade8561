/** RICE_1: differences of neighbouring pixels in Rice codes (FITS Standard 4.0, §10.4.1, from memory; checked against cfitsio).
 *
 * Stream, most significant bit first: the first pixel in full, then blocks of pixels. Each block starts with a code of 3, 4 or 5
 * bits (for 1, 2, 4 bytes per pixel): 0 = all differences are 0; the largest split + 1 = differences in full; else
 * split + 1, and every difference is zeros and a one (its upper part in unary), then `split` low bits. Differences are
 * folded: 0, −1, 1, −2, … become 0, 1, 2, 3, …
 */
import { TileFault } from './fault.js';

/** Integers of a pixel as RICE_1 stores them: unsigned bytes, signed 16 or 32 bits. */
export type RiceSamples = Uint8Array | Int16Array | Int32Array;

/** Pixels unpacked before they are handed over: one loop over one array kind, whatever the caller's type. */
const PIECE_SAMPLES = 4096;
/** Pixels of a block: 16 or 32 in practice. */
export const MAX_RICE_BLOCK = PIECE_SAMPLES;
/** Bit positions stay below 2^31. */
const MAX_STREAM_BYTES = 2 ** 27;
/** Bits that a 32-bit window holds for certain at any bit position. */
const WINDOW_BITS = 25;

/** Bytes that must be allocated behind the stream, so that no load leaves the buffer before the check at the end of a block. */
export function riceGuardBytes(blockSize: number): number {
  return blockSize * 4 + 16;
}

/**
 * Unpacks `length` bytes at the start of `bytes` into the whole of `out`; `bytes` has `riceGuardBytes` more elements, which are
 * overwritten.
 * @param blockSize pixels per block, up to `MAX_RICE_BLOCK`
 * @throws TileFault when the stream ends early or is over-long
 */
export function decodeRice(
  bytes: Uint8Array,
  length: number,
  blockSize: number,
  out: RiceSamples,
): void {
  const bytesPerPixel = out.BYTES_PER_ELEMENT;
  if (length < bytesPerPixel) throw new TileFault('its Rice stream is too short');
  if (length > MAX_STREAM_BYTES) throw new TileFault('its Rice stream is longer than 128 MiB');
  // Ones behind the end stop any run of zeros.
  bytes.fill(255, length, length + riceGuardBytes(blockSize));
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const codeBits = bytesPerPixel === 1 ? 3 : bytesPerPixel === 2 ? 4 : 5;
  const fullSplit = bytesPerPixel === 1 ? 6 : bytesPerPixel === 2 ? 14 : 25;
  const pixelBits = bytesPerPixel * 8;
  const endBit = length * 8;
  const pieceSize = Math.floor(PIECE_SAMPLES / blockSize) * blockSize;
  const piece = new Int32Array(Math.min(pieceSize, out.length));

  let last = 0;
  for (let i = 0; i < bytesPerPixel; i++) last = (last << 8) | (bytes[i] as number);
  let bit = pixelBits;
  for (let done = 0; done < out.length; ) {
    const count = Math.min(pieceSize, out.length - done);
    for (let from = 0; from < count; from += blockSize) {
      const to = Math.min(from + blockSize, count);
      const split = ((view.getInt32(bit >>> 3) << (bit & 7)) >>> (32 - codeBits)) - 1;
      bit += codeBits;
      if (split < 0) piece.fill(last, from, to);
      else if (split >= fullSplit) {
        if (split > fullSplit)
          throw new TileFault('its Rice stream has a code that does not exist');
        bit = decodeFull(view, bit, pixelBits, last, piece, from, to);
        last = piece[to - 1] as number;
      } else {
        bit = decodeSplit(view, bit, split, last, piece, from, to, endBit);
        last = piece[to - 1] as number;
      }
      if (bit > endBit) throw new TileFault('its Rice stream ends early');
    }
    // Typed arrays store modulo 2^8, 2^16, 2^32, as the differences were taken.
    out.set(count === piece.length ? piece : piece.subarray(0, count), done);
    done += count;
  }
}

/** A block of differences with `split` low bits; returns the bit position behind it. */
function decodeSplit(
  view: DataView,
  start: number,
  split: number,
  before: number,
  piece: Int32Array,
  from: number,
  to: number,
  endBit: number,
): number {
  let bit = start;
  let last = before;
  for (let i = from; i < to; i++) {
    const window = view.getInt32(bit >>> 3) << (bit & 7);
    const zeros = Math.clz32(window);
    let folded: number;
    if (zeros + 1 + split <= WINDOW_BITS) {
      // Two shifts: a shift by 32 (split = 0) would do nothing.
      const low = (((window << zeros) << 1) >>> 1) >>> (31 - split);
      folded = (zeros << split) | low;
      bit += zeros + 1 + split;
    } else {
      let one = bit;
      for (;;) {
        const run = Math.clz32(view.getInt32(one >>> 3) << (one & 7));
        if (run < WINDOW_BITS) {
          one += run;
          break;
        }
        one += WINDOW_BITS;
      }
      if (one >= endBit) throw new TileFault('its Rice stream ends early');
      folded = ((one - bit) << split) | readBits(view, one + 1, split);
      bit = one + 1 + split;
    }
    last = (last + ((folded >>> 1) ^ -(folded & 1))) | 0;
    piece[i] = last;
  }
  return bit;
}

/** A block of differences in full; returns the bit position behind it. */
function decodeFull(
  view: DataView,
  start: number,
  pixelBits: number,
  before: number,
  piece: Int32Array,
  from: number,
  to: number,
): number {
  let bit = start;
  let last = before;
  for (let i = from; i < to; i++) {
    const folded =
      pixelBits < 32
        ? readBits(view, bit, pixelBits)
        : (readBits(view, bit, 16) << 16) | readBits(view, bit + 16, 16);
    bit += pixelBits;
    last = (last + ((folded >>> 1) ^ -(folded & 1))) | 0;
    piece[i] = last;
  }
  return bit;
}

/** Up to 25 bits from a bit position. */
function readBits(view: DataView, bit: number, count: number): number {
  if (count === 0) return 0;
  return (view.getInt32(bit >>> 3) << (bit & 7)) >>> (32 - count);
}
