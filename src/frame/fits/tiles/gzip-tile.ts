/** GZIP_1, GZIP_2 and the losslessly packed tiles of quantised images: deflate over big-endian samples (FITS Standard 4.0, §10.4.2,
 * from memory; checked against cfitsio). GZIP_2 stores all first bytes, then all second bytes, …
 */
import { gunzipSync, inflateRawSync, inflateSync } from 'node:zlib';
import { TileFault } from './fault.js';

/** Output pieces of the inflater: a tile in one piece where it is not large. */
const MAX_CHUNK_BYTES = 1 << 20;

/**
 * Inflates a tile: gzip as the standard says, or zlib or bare deflate as some writers do.
 * @param maxBytes most bytes that the tile may have
 * @throws TileFault when the stream is damaged or holds more
 */
export function inflateTile(bytes: Uint8Array, maxBytes: number): Uint8Array {
  const gzip = bytes[0] === 0x1f && bytes[1] === 0x8b;
  const header = ((bytes[0] ?? 0) << 8) | (bytes[1] ?? 0);
  const zlib = (header & 0x0f00) === 0x0800 && header % 31 === 0;
  const inflate = gzip ? gunzipSync : zlib ? inflateSync : inflateRawSync;
  const chunkSize = Math.max(64, Math.min(maxBytes + 1, MAX_CHUNK_BYTES));
  try {
    return inflate(bytes, { maxOutputLength: maxBytes, chunkSize });
  } catch (cause) {
    const code = (cause as NodeJS.ErrnoException).code ?? '';
    const fault =
      code === 'ERR_BUFFER_TOO_LARGE'
        ? 'it holds more samples than the tile has'
        : `its deflate stream is damaged (${code})`;
    throw new TileFault(fault, { cause });
  }
}

/** Puts the bytes of samples of `size` bytes together again. */
export function unshuffle(bytes: Uint8Array, size: number): Uint8Array {
  if (size === 1) return bytes;
  const count = bytes.length / size;
  const out = new Uint8Array(bytes.length);
  for (let k = 0; k < size; k++) {
    const from = k * count;
    for (let i = 0, at = k; i < count; i++, at += size) out[at] = bytes[from + i] as number;
  }
  return out;
}
