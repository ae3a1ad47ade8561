/** Stored samples to native and physical values, window by window. Byte patterns are written out by hand, big-endian (§5). */
import { describe, expect, test } from 'vitest';
import { FrameReadError } from '../../src/errors.js';
import { createFloatReader } from '../../src/frame/convert.js';
import type { RowSource, SampleArray } from '../../src/frame/frame.js';
import { openFrame } from '../../src/frame/open.js';
import { card, primaryCards, temporaryFiles, unitBytes } from '../helpers/fits-bytes.js';

const save = temporaryFiles();

async function openRow(bitpix: number, bytes: number[], cards: string[] = []): Promise<RowSource> {
  const half = bytes.length / (Math.abs(bitpix) / 8) / 2;
  const header = [...primaryCards(bitpix, [half, 2]), ...cards];
  const frame = await openFrame(save('row.fits', unitBytes(header, Uint8Array.from(bytes))), {
    hdu: 0,
  });
  expect(frame.warnings).toEqual([]);
  return frame.rows;
}

function native<T extends SampleArray>(rows: RowSource, out: T): number[] {
  rows.readRows(0, 0, rows.height, out);
  return Array.from(out);
}

function physical(rows: RowSource): number[] {
  const out = new Float32Array(rows.width * rows.height);
  createFloatReader(rows)(0, 0, rows.height, out);
  return Array.from(out);
}

describe('signed and unsigned types (§4.4.2.5, Table 11)', () => {
  test('BITPIX 8: unsigned; with BZERO = -128 signed bytes', async () => {
    const bytes = [0, 127, 128, 255];
    const plain = await openRow(8, bytes);
    expect(plain.sampleType).toBe('u8');
    expect(native(plain, new Uint8Array(4))).toEqual([0, 127, 128, 255]);
    const signed = await openRow(8, bytes, [card('BZERO', '-128')]);
    expect(signed.sampleType).toBe('i8');
    expect(native(signed, new Int8Array(4))).toEqual([-128, -1, 0, 127]);
    expect(physical(signed)).toEqual([-128, -1, 0, 127]);
  });

  test('BITPIX 16: signed; with BZERO = 32768 unsigned, exactly', async () => {
    const bytes = [0x80, 0x00, 0xff, 0xff, 0x00, 0x00, 0x7f, 0xff, 0x01, 0x02, 0x80, 0x01];
    const signed = await openRow(16, bytes);
    expect(signed.sampleType).toBe('i16');
    expect(native(signed, new Int16Array(6))).toEqual([-32768, -1, 0, 32767, 258, -32767]);
    const unsigned = await openRow(16, bytes, [card('BSCALE', '1.0'), card('BZERO', '3.2768D4')]);
    expect(unsigned.sampleType).toBe('u16');
    expect([unsigned.zero, unsigned.scale]).toEqual([0, 1]);
    expect(native(unsigned, new Uint16Array(6))).toEqual([0, 32767, 32768, 65535, 33026, 1]);
  });

  test('BITPIX 32: signed; with BZERO = 2^31 unsigned', async () => {
    const bytes = [0x80, 0, 0, 0, 0xff, 0xff, 0xff, 0xff, 0x7f, 0xff, 0xff, 0xff, 1, 2, 3, 4];
    const signed = await openRow(32, bytes);
    expect(native(signed, new Int32Array(4))).toEqual([-(2 ** 31), -1, 2 ** 31 - 1, 0x01020304]);
    const unsigned = await openRow(32, bytes, [card('BZERO', '2147483648')]);
    expect(unsigned.sampleType).toBe('u32');
    expect(native(unsigned, new Uint32Array(4))).toEqual([0, 2 ** 31 - 1, 2 ** 32 - 1, 0x81020304]);
  });

  test('BITPIX 64: exact up to 2^53, rounded once beyond; with BZERO = 2^63 unsigned', async () => {
    const words = [-(2n ** 63n), -1n, 2n ** 53n - 1n, 2n ** 63n - 1n, 4294967295n, -4294967297n];
    const bytes = Buffer.alloc(48);
    for (const [i, word] of words.entries()) bytes.writeBigInt64BE(word, 8 * i);
    const signed = await openRow(64, [...bytes]);
    expect(signed.sampleType).toBe('i64');
    expect(native(signed, new Float64Array(6))).toEqual(words.map(Number));
    const unsigned = await openRow(64, [...bytes], [card('BZERO', '9223372036854775808')]);
    expect(native(unsigned, new Float64Array(6))).toEqual(words.map((w) => Number(w + 2n ** 63n)));
  });

  test('floating point, with NaN and infinity (§5.3)', async () => {
    const single = await openRow(
      -32,
      [0x3f, 0x80, 0, 0, 0xc0, 0x20, 0, 0, 0x7f, 0xc0, 0, 0, 0x7f, 0x80, 0, 0],
    );
    expect(native(single, new Float32Array(4))).toEqual([1, -2.5, Number.NaN, Infinity]);
    const double = await openRow(-64, [0x3f, 0xf8, 0, 0, 0, 0, 0, 0, 0xc0, 0x59, 0, 0, 0, 0, 0, 0]);
    expect(native(double, new Float64Array(2))).toEqual([1.5, -100]);
    expect(physical(double)).toEqual([1.5, -100]);
  });
});

describe('scaling and BLANK (§4.4.2.5)', () => {
  test('physical = BZERO + BSCALE × stored', async () => {
    const cards = [card('BSCALE', '-0.5'), card('BZERO', '100')];
    const rows = await openRow(16, [0, 0, 0, 3, 0xff, 0xff, 0x7f, 0xff], cards);
    expect(rows.sampleType).toBe('i16');
    expect(physical(rows)).toEqual([100, 98.5, 100.5, -16283.5]);
  });

  test.each([
    [8, [5, 1, 2, 5], [], [Number.NaN, 1, 2, Number.NaN]],
    [8, [5, 1, 2, 5], [card('BZERO', '-128')], [Number.NaN, -127, -126, Number.NaN]],
    [16, [0, 5, 0, 6], [card('BZERO', '32768')], [Number.NaN, 32774]],
    [16, [0, 5, 0, 6], [card('BSCALE', '2'), card('BZERO', '1')], [Number.NaN, 13]],
    [32, [0, 0, 0, 5, 0, 0, 0, 6], [], [Number.NaN, 6]],
    [32, [0, 0, 0, 5, 0, 0, 0, 6], [card('BZERO', '2147483648')], [Number.NaN, 2147483648]],
    [64, [0, 0, 0, 0, 0, 0, 0, 5, 0, 0, 0, 0, 0, 0, 0, 6], [], [Number.NaN, 6]],
  ])(
    'BLANK = 5 with BITPIX %i is compared with the stored value',
    async (bitpix, bytes, cards, expected) => {
      const rows = await openRow(bitpix, bytes, [...cards, card('BLANK', '5')]);
      expect(physical(rows)).toEqual(expected);
    },
  );

  test.each([
    [-32, '5', 'no meaning'],
    [8, '-1', 'no such stored value'],
    [16, '40000', 'no such stored value'],
    [16, '1.5', 'no such stored value'],
  ])(
    'BLANK that cannot be (BITPIX %i, %s) is ignored with a warning',
    async (bitpix, value, text) => {
      const size = Math.abs(bitpix) / 8;
      const cards = [...primaryCards(bitpix, [2, 2]), card('BLANK', value)];
      const frame = await openFrame(save('blank.fits', unitBytes(cards, new Uint8Array(4 * size))));
      frame.rows.close();
      expect(frame.rows.blank).toBeNull();
      expect(frame.warnings.map((w) => w.code)).toEqual(['blank-ignored']);
      expect(frame.warnings[0]?.message).toContain(text);
    },
  );

  test.each([
    [8, [], 255],
    [8, [card('BZERO', '-128')], 127],
    [16, [], 32767],
    [16, [card('BZERO', '32768')], 65535],
    [16, [card('BSCALE', '-2'), card('BZERO', '10')], 65546],
    [32, [card('BZERO', '2147483648')], 4294967295],
    [-32, [], null],
  ])('largest value of BITPIX %i %j: %d', async (bitpix, cards, expected) => {
    const bytes = new Uint8Array((4 * Math.abs(bitpix)) / 8);
    const header = [...primaryCards(bitpix, [2, 2]), ...cards];
    const frame = await openFrame(save('maximum.fits', unitBytes(header, bytes)));
    frame.rows.close();
    expect(frame.typeMaximumAdu).toBe(expected);
  });
});

describe('windows', () => {
  test('what lies outside the frame or the buffer is refused', async () => {
    const rows = await openRow(
      16,
      Array.from({ length: 24 }, (_, i) => i),
    );
    const read = createFloatReader(rows);
    const floats = new Float32Array(12);
    for (const [plane, y0, count, at] of [
      [1, 0, 1, 0],
      [-1, 0, 1, 0],
      [0, -1, 1, 0],
      [0, 0, 3, 0],
      [0, 2, 1, 0],
      [0, 0.5, 1, 0],
      [0, 0, 2, 1],
      [0, 0, 1, -1],
    ] as const) {
      expect(() => rows.readRows(plane, y0, count, new Int16Array(12), at)).toThrow(RangeError);
      expect(() => read(plane, y0, count, floats, at)).toThrow(RangeError);
    }
    expect(() => rows.readRows(0, 0, 2, new Uint16Array(12))).toThrow(RangeError);
    rows.readRows(0, 1, 0, new Int16Array(0));
  });

  test('a window lands at its place, at odd addresses too, and leaves the rest alone', async () => {
    const bytes = Array.from({ length: 60 }, (_, i) => i + 1);
    const rows = await openRow(16, bytes, [card('BZERO', '32768')]);
    const buffer = new ArrayBuffer(100);
    const out = new Uint16Array(buffer, 2, 40).fill(7);
    rows.readRows(0, 1, 1, out, 3);
    const expected = Array.from({ length: 15 }, (_, i) => (31 + 2 * i) * 256 + 32 + 2 * i + 32768);
    expect(Array.from(out.subarray(3, 18))).toEqual(expected);
    expect([...out.subarray(0, 3), ...out.subarray(18)].every((v) => v === 7)).toBe(true);
  });

  test('closing twice is harmless, reading afterwards an error', async () => {
    const rows = await openRow(8, [1, 2, 3, 4]);
    rows.close();
    rows.close();
    expect(() => rows.readRows(0, 0, 1, new Uint8Array(2))).toThrow(FrameReadError);
  });
});
