/** Compressions of TIFF strips and tiles: none, PackBits (TIFF 6.0 section 9), LZW (section 13), deflate (Technical Note 2).
 *
 * Each fills a buffer whose size the directory tells, and never writes beyond it: what a small file unpacks to cannot grow.
 */
import { inflateSync } from 'node:zlib';

export type TiffCompression = 'none' | 'packbits' | 'lzw' | 'deflate';

/** More is never needed to fill `wanted` bytes: LZW takes up to 12 bits for a byte, and there are headers and clear codes. */
export function mostPackedBytes(wanted: number): number {
  return 2 * wanted + 1024;
}

/** Why a strip or tile cannot be unpacked; the caller knows which, and in which file. */
export class CodecFault extends Error {}

/**
 * Unpacks `packed` into `out`, all of it.
 * @param most bytes that may come out; some writers fill up the last strip, which is then longer than `out`
 * @throws CodecFault when `packed` ends too early or makes no sense
 */
export function unpackBlock(
  compression: TiffCompression,
  packed: Uint8Array,
  out: Uint8Array,
  most: number,
): void {
  switch (compression) {
    case 'none':
      if (packed.length < out.length) throw ended(packed.length, out.length);
      out.set(packed.subarray(0, out.length));
      return;
    case 'packbits':
      unpackBits(packed, out);
      return;
    case 'lzw':
      unpackLzw(packed, out);
      return;
    case 'deflate':
      inflate(packed, out, most);
  }
}

function ended(got: number, wanted: number): CodecFault {
  return new CodecFault(`it holds ${got} bytes where ${wanted} are needed`);
}

function inflate(packed: Uint8Array, out: Uint8Array, most: number): void {
  let bytes: Uint8Array;
  try {
    bytes = inflateSync(packed, { maxOutputLength: most });
  } catch (error) {
    const { code, message } = error as NodeJS.ErrnoException;
    if (code === 'ERR_BUFFER_TOO_LARGE') {
      throw new CodecFault(`it unpacks to more than the ${most} bytes that fit`);
    }
    throw new CodecFault(`deflate: ${message}`);
  }
  if (bytes.length < out.length) throw ended(bytes.length, out.length);
  out.set(bytes.subarray(0, out.length));
}

function unpackBits(packed: Uint8Array, out: Uint8Array): void {
  let from = 0;
  let to = 0;
  while (to < out.length) {
    if (from >= packed.length) throw ended(to, out.length);
    const control = packed[from++] as number;
    // −128 is no operation.
    if (control === 128) continue;
    if (control < 128) {
      const literal = Math.min(control + 1, out.length - to);
      if (from + literal > packed.length) throw ended(to + packed.length - from, out.length);
      out.set(packed.subarray(from, from + literal), to);
      from += control + 1;
      to += literal;
    } else {
      if (from >= packed.length) throw ended(to, out.length);
      const end = Math.min(to + 257 - control, out.length);
      out.fill(packed[from++] as number, to, end);
      to = end;
    }
  }
}

const CLEAR = 256;
const END = 257;
const FIRST_FREE = 258;
const TABLE = 4096;

/** The strings of the table, as places in the unpacked block: every string was written there when its code was made. */
const starts = new Uint32Array(TABLE);
const lengths = new Uint32Array(TABLE);

/**
 * Codes of 9 to 12 bits, highest bit first; the width grows one code early (section 13). Files from before TIFF 6.0 hold the lowest bit
 * first and grow on time: they begin with a zero byte, which the clear code of the others never does (as libtiff tells them apart).
 */
function unpackLzw(packed: Uint8Array, out: Uint8Array): void {
  const isOld = packed[0] === 0 && ((packed[1] as number) & 1) === 1;
  const early = isOld ? 0 : 1;
  let to = 0;
  let from = 0;
  let bits = 0;
  let held = 0;
  let width = 9;
  let next = FIRST_FREE;
  let previousStart = -1;
  while (to < out.length) {
    while (held < width) {
      if (from >= packed.length) throw ended(to, out.length);
      const byte = packed[from++] as number;
      bits = isOld ? bits | (byte << held) : ((bits << 8) | byte) & 0xffffff;
      held += 8;
    }
    held -= width;
    const code = (isOld ? bits : bits >> held) & ((1 << width) - 1);
    if (isOld) bits >>= width;
    if (code < CLEAR) {
      if (previousStart >= 0 && next < TABLE) {
        starts[next] = previousStart;
        lengths[next++] = to - previousStart + 1;
      }
      previousStart = to;
      out[to++] = code;
    } else if (code === CLEAR) {
      width = 9;
      next = FIRST_FREE;
      previousStart = -1;
    } else if (code === END) {
      throw ended(to, out.length);
    } else {
      if (previousStart < 0) throw new CodecFault(`LZW: code ${code} directly after a clear code`);
      // The string that is made now is the previous one and the byte behind it, which is written by this very step.
      if (next < TABLE) {
        starts[next] = previousStart;
        lengths[next++] = to - previousStart + 1;
      }
      if (code >= next) throw new CodecFault(`LZW: code ${code} in a table of ${next}`);
      let source = starts[code] as number;
      // A string that reaches beyond the last row is cut there.
      const end = Math.min(to + (lengths[code] as number), out.length);
      previousStart = to;
      while (to < end) out[to++] = out[source++] as number;
    }
    if (next >= (1 << width) - early && width < 12) width++;
  }
}
