/** Codecs of TIFF: the examples of the specification, and everything that damaged data can say. */
import { deflateSync } from 'node:zlib';
import { describe, expect, test } from 'vitest';
import { CodecFault, unpackBlock } from '../../src/frame/tiff/codecs.js';
import { halvesToFloats } from '../../src/frame/tiff/half-floats.js';
import { undoFloatingPoint, undoHorizontal } from '../../src/frame/tiff/predictors.js';

type Compression = Parameters<typeof unpackBlock>[0];

function unpack(compression: Compression, packed: Uint8Array, length: number): number[] {
  const out = new Uint8Array(length);
  unpackBlock(compression, packed, out, length + 16);
  return [...out];
}

/** Codes of 9 bits, highest bit first. */
function nineBits(codes: readonly number[]): Uint8Array {
  const bits = codes.map((code) => code.toString(2).padStart(9, '0')).join('');
  const padded = bits.padEnd(Math.ceil(bits.length / 8) * 8, '0');
  return Uint8Array.from(padded.match(/.{8}/g) ?? [], (byte) => Number.parseInt(byte, 2));
}

describe('PackBits', () => {
  test('the example of Apple’s Technical Note 1023 (from memory)', () => {
    const packed = Buffer.from('feaa0280002afdaa0380002a22f7aa', 'hex');
    const plain = Buffer.from('aaaaaa80002aaaaaaaaa80002a22aaaaaaaaaaaaaaaaaaaa', 'hex');
    expect(unpack('packbits', packed, 24)).toEqual([...plain]);
  });

  test('−128 does nothing; runs beyond the end are cut', () => {
    expect(unpack('packbits', Uint8Array.from([128, 0, 7, 129, 9]), 5)).toEqual([7, 9, 9, 9, 9]);
  });

  test.each([
    ['nothing', []],
    ['a run without its byte', [0, 1, 254]],
    ['a literal that ends early', [5, 1, 2]],
  ])('%s', (_name, packed) => {
    expect(() => unpack('packbits', Uint8Array.from(packed), 20)).toThrow(CodecFault);
  });
});

describe('LZW', () => {
  test('the example of TIFF 6.0, section 13', () => {
    // 7 7 7 8 8 7 7 6 6 is written as Clear 7 258 8 8 258 6 6 EndOfInformation.
    const packed = nineBits([256, 7, 258, 8, 8, 258, 6, 6, 257]);
    expect(unpack('lzw', packed, 9)).toEqual([7, 7, 7, 8, 8, 7, 7, 6, 6]);
  });

  test('a string that reaches beyond the end is cut', () => {
    expect(unpack('lzw', nineBits([256, 7, 258, 259]), 4)).toEqual([7, 7, 7, 7]);
  });

  test.each<[string, number[], string]>([
    ['no data', [], 'holds 0 bytes'],
    ['an end that comes early', [256, 7, 257], 'holds 1 bytes where 9'],
    ['bits that end early', [256, 7], 'holds 1 bytes where 9'],
    ['a code that does not exist yet', [256, 7, 300], 'code 300'],
    ['a string directly after a clear code', [256, 258], 'code 258 directly after'],
  ])('%s', (_name, codes, words) => {
    expect(() => unpack('lzw', nineBits(codes), 9)).toThrow(words);
    expect(() => unpack('lzw', nineBits(codes), 9)).toThrow(CodecFault);
  });
});

describe('deflate', () => {
  test('plain, and longer than needed by less than the limit', () => {
    expect(unpack('deflate', deflateSync(Uint8Array.from([1, 2, 3])), 3)).toEqual([1, 2, 3]);
    expect(unpack('deflate', deflateSync(Uint8Array.from([1, 2, 3])), 2)).toEqual([1, 2]);
  });

  test('a block that unpacks to far more stops at the limit', () => {
    const bomb = deflateSync(new Uint8Array(50_000_000));
    const started = performance.now();
    expect(() => unpack('deflate', bomb, 1000)).toThrow('more than the 1016 bytes');
    expect(performance.now() - started).toBeLessThan(1000);
  });

  test.each([
    ['too short', deflateSync(new Uint8Array(5))],
    ['cut', deflateSync(new Uint8Array(5000)).subarray(0, 10)],
    ['no deflate', Uint8Array.from([1, 2, 3, 4])],
    ['empty', new Uint8Array(0)],
  ])('%s', (_name, packed) => {
    expect(() => unpack('deflate', packed, 100)).toThrow(CodecFault);
  });
});

test('uncompressed data that ends early', () => {
  expect(unpack('none', Uint8Array.from([1, 2, 3, 4]), 3)).toEqual([1, 2, 3]);
  expect(() => unpack('none', new Uint8Array(2), 3)).toThrow('holds 2 bytes where 3');
});

describe('predictors', () => {
  test('differences of interleaved 16-bit samples, modulo 65536, row by row', () => {
    // Two rows of two pixels of two channels: 65535 + 3 = 2, 10 − 20 = 65526.
    const block = new Uint16Array([65535, 10, 3, 65516, 1, 2, 1, 1]);
    undoHorizontal(new Uint8Array(block.buffer), 2, 4, 2);
    expect([...block]).toEqual([65535, 10, 2, 65526, 1, 2, 2, 3]);
  });

  test('64-bit differences carry over all bits', () => {
    const block = new BigUint64Array([2n ** 64n - 1n, 2n]);
    undoHorizontal(new Uint8Array(block.buffer), 8, 2, 1);
    expect([...block]).toEqual([2n ** 64n - 1n, 1n]);
  });

  test('floats: bytes apart, highest first, differences (Technical Note 3, worked out by hand)', () => {
    // 1.0 = 3F800000, 2.0 = 40000000: highest bytes 3F 40, then 80 00, then zeros; as differences 3F 01 40 80 00 00 00 00.
    const block = Uint8Array.from([0x3f, 0x01, 0x40, 0x80, 0, 0, 0, 0]);
    undoFloatingPoint(block, 4, 2, 1);
    expect([...new Float32Array(block.buffer)]).toEqual([1, 2]);
  });
});

test('half-precision floats (IEEE 754-2008, examples from memory)', () => {
  const bits = [0x3c00, 0xc000, 0x7bff, 0x0400, 0x0001, 0x3555, 0x7c00, 0xfc00, 0x7e00, 0x8000];
  expect([...halvesToFloats(Uint16Array.from(bits))]).toEqual([
    1,
    -2,
    65504,
    2 ** -14,
    2 ** -24,
    0.333251953125,
    Number.POSITIVE_INFINITY,
    Number.NEGATIVE_INFINITY,
    Number.NaN,
    -0,
  ]);
});
