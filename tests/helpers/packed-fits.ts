/** Tile-compressed FITS files put together for tests and benchmarks: an encoder of its own for RICE_1 and deflate, and the table round
 * it (FITS Standard 4.0, §10, from memory). It shares no code with the decoder.
 */
import { deflateRawSync, deflateSync, gzipSync } from 'node:zlib';
import { card, primaryCards, unitBytes } from './fits-bytes.js';

/** Writes bits, most significant first. */
class BitWriter {
  #bytes: Uint8Array;
  #count = 0;

  constructor(capacity: number) {
    this.#bytes = new Uint8Array(capacity);
  }

  /** The low `bits` bits of `value`, up to 32. */
  put(value: number, bits: number): void {
    for (let i = bits - 1; i >= 0; i--) {
      if (((value >>> i) & 1) === 1) this.#set();
      this.#count++;
    }
  }

  zeros(count: number): void {
    this.#count += count;
  }

  #set(): void {
    const at = this.#count >> 3;
    this.#bytes[at] = (this.#bytes[at] as number) | (128 >> (this.#count & 7));
  }

  done(): Uint8Array {
    return this.#bytes.subarray(0, (this.#count + 7) >> 3);
  }
}

/** RICE_1 stream of integers that fit `bytes` bytes. */
export function encodeRice(
  samples: ArrayLike<number>,
  bytes: 1 | 2 | 4,
  blockSize: number,
): Uint8Array {
  const bits = bytes * 8;
  const codeBits = { 1: 3, 2: 4, 4: 5 }[bytes];
  const full = { 1: 6, 2: 14, 4: 25 }[bytes];
  const writer = new BitWriter(samples.length * (bytes + 1) + bytes + samples.length + 64);
  writer.put(samples[0] as number, bits);
  let last = samples[0] as number;
  for (let from = 0; from < samples.length; from += blockSize) {
    const folded: number[] = [];
    for (let i = from; i < Math.min(from + blockSize, samples.length); i++) {
      // The difference modulo 2^bits, as a signed number.
      const difference = (((samples[i] as number) - last) << (32 - bits)) >> (32 - bits);
      folded.push(difference >= 0 ? difference * 2 : -difference * 2 - 1);
      last = samples[i] as number;
    }
    if (folded.every((value) => value === 0)) {
      writer.put(0, codeBits);
      continue;
    }
    let best = full;
    let least = folded.length * bits;
    for (let split = 0; split < full; split++) {
      let cost = 0;
      for (const value of folded) cost += Math.floor(value / 2 ** split) + 1 + split;
      if (cost < least) [best, least] = [split, cost];
    }
    writer.put(best + 1, codeBits);
    for (const value of folded) {
      if (best === full) writer.put(value, bits);
      else {
        writer.zeros(Math.floor(value / 2 ** best));
        writer.put(1, 1);
        writer.put(value, best);
      }
    }
  }
  return writer.done();
}

/** An image of integers to pack. */
export interface PackInput {
  width: number;
  height: number;
  /** 64 not with RICE_1. */
  bitpix: 8 | 16 | 32 | 64;
  samples: ArrayLike<number>;
  tile: readonly [number, number];
  method: 'RICE_1' | 'GZIP_1' | 'GZIP_2' | 'NOCOMPRESS';
  /** Container of the deflate stream. */
  deflate?: 'gzip' | 'zlib' | 'raw';
  block?: number;
  /** 64-bit descriptors. */
  wide?: boolean;
  cards?: readonly string[];
}

/** The file: an empty primary unit and the table. */
export function packFits(input: PackInput): Buffer {
  const { width, height, bitpix, samples, tile, method, block = 32, wide = false } = input;
  const bytes = (bitpix / 8) as 1 | 2 | 4 | 8;
  const streams: Uint8Array[] = [];
  for (let top = 0; top < height; top += tile[1]) {
    for (let left = 0; left < width; left += tile[0]) {
      const values: number[] = [];
      for (let y = top; y < Math.min(top + tile[1], height); y++) {
        for (let x = left; x < Math.min(left + tile[0], width); x++) {
          values.push(samples[y * width + x] as number);
        }
      }
      streams.push(packTile(values, bytes, method, input.deflate ?? 'gzip', block));
    }
  }
  const size = wide ? 16 : 8;
  const table = Buffer.alloc(streams.length * size);
  let offset = 0;
  streams.forEach((stream, row) => {
    if (wide) {
      table.writeBigInt64BE(BigInt(stream.length), row * size);
      table.writeBigInt64BE(BigInt(offset), row * size + 8);
    } else {
      table.writeInt32BE(stream.length, row * size);
      table.writeInt32BE(offset, row * size + 4);
    }
    offset += stream.length;
  });
  const cards = [
    "XTENSION= 'BINTABLE'",
    card('BITPIX', '8'),
    card('NAXIS', '2'),
    card('NAXIS1', String(size)),
    card('NAXIS2', String(streams.length)),
    card('PCOUNT', String(offset)),
    card('GCOUNT', '1'),
    card('TFIELDS', '1'),
    "TTYPE1  = 'COMPRESSED_DATA'",
    `TFORM1  = '1${wide ? 'Q' : 'P'}B     '`,
    card('ZIMAGE', 'T'),
    `ZCMPTYPE= '${method}'`,
    card('ZBITPIX', String(bitpix)),
    card('ZNAXIS', '2'),
    card('ZNAXIS1', String(width)),
    card('ZNAXIS2', String(height)),
    card('ZTILE1', String(tile[0])),
    card('ZTILE2', String(tile[1])),
    "ZNAME1  = 'BLOCKSIZE'",
    card('ZVAL1', String(block)),
    "ZNAME2  = 'BYTEPIX '",
    card('ZVAL2', String(bytes)),
    ...(input.cards ?? []),
  ];
  return Buffer.concat([
    unitBytes(primaryCards(8, [])),
    unitBytes(cards, Buffer.concat([table, ...streams])),
  ]);
}

function packTile(
  values: number[],
  bytes: 1 | 2 | 4 | 8,
  method: PackInput['method'],
  container: 'gzip' | 'zlib' | 'raw',
  block: number,
): Uint8Array {
  if (method === 'RICE_1') return encodeRice(values, bytes as 1 | 2 | 4, block);
  const plain = Buffer.alloc(values.length * bytes);
  values.forEach((value, i) => {
    if (bytes === 1) plain.writeUInt8(value, i);
    else if (bytes === 8) plain.writeBigInt64BE(BigInt(value), i * bytes);
    else plain.writeIntBE(value, i * bytes, bytes);
  });
  if (method === 'NOCOMPRESS') return plain;
  const ordered = Buffer.alloc(plain.length);
  if (method === 'GZIP_1') ordered.set(plain);
  else {
    for (let i = 0; i < plain.length; i++) {
      ordered[(i % bytes) * values.length + Math.floor(i / bytes)] = plain[i] as number;
    }
  }
  return { gzip: gzipSync, zlib: deflateSync, raw: deflateRawSync }[container](ordered);
}
