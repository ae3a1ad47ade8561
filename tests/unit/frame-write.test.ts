/** The writer: layout of the file by the FITS Standard 4.0 (sections beside), cards as text. */
import { describe, expect, test } from 'vitest';
import { encodeFits, formatCard } from '../../src/frame/fits/write.js';

const text = (file: Uint8Array, length = file.length) =>
  Buffer.from(file).toString('latin1', 0, length);

describe('file', () => {
  const file = encodeFits(
    { width: 3, height: 2, planes: 1, data: Uint16Array.from([0, 1, 32768, 65535, 256, 255]) },
    [{ keyword: 'EXPTIME', value: 1.5, comment: 's' }],
  );

  test('blocks of 2880 bytes, header filled with blanks, data with zeros (§3.3.1, §3.3.2)', () => {
    expect(file.length).toBe(2 * 2880);
    expect(text(file, 2880).trimEnd().endsWith('END')).toBe(true);
    expect(file.subarray(2880 + 12).every((byte) => byte === 0)).toBe(true);
  });

  test('mandatory cards first and in order, values in column 30 (§4.4.1.1, §4.2.2–4.2.4)', () => {
    const cards = text(file, 2880).match(/.{80}/g) ?? [];
    expect(cards.slice(0, 9).map((card) => card.slice(0, 30))).toEqual([
      'SIMPLE  =                    T',
      'BITPIX  =                   16',
      'NAXIS   =                    2',
      'NAXIS1  =                    3',
      'NAXIS2  =                    2',
      'BSCALE  =                    1',
      'BZERO   =                32768',
      'EXPTIME =                  1.5',
      'END                           ',
    ]);
  });

  test('unsigned samples are stored as signed ones minus 32768, big-endian (§5.2, Table 11)', () => {
    expect([...file.subarray(2880, 2892)]).toEqual([
      0x80, 0, 0x80, 1, 0, 0, 0x7f, 0xff, 0x81, 0, 0x80, 0xff,
    ]);
  });

  test('three planes become NAXIS3', () => {
    const data = Float32Array.from({ length: 12 }, (_, i) => i);
    const cube = encodeFits({ width: 2, height: 2, planes: 3, data });
    expect(text(cube, 2880)).toContain('NAXIS3  =                    3');
    // 1.0 is 3F800000 in IEEE 754 single precision.
    expect([...cube.subarray(2884, 2888)]).toEqual([0x3f, 0x80, 0, 0]);
  });

  test('a view into a larger buffer is written, not the buffer', () => {
    const data = Uint8Array.from([9, 9, 1, 2, 3, 4, 9]).subarray(2, 6);
    const small = encodeFits({ width: 2, height: 2, planes: 1, data });
    expect([...small.subarray(2880, 2885)]).toEqual([1, 2, 3, 4, 0]);
  });

  test.each([
    { width: 2, height: 2, planes: 1, data: new Uint8Array(5) },
    { width: 0, height: 2, planes: 1, data: new Uint8Array(0) },
    { width: 1.5, height: 2, planes: 1, data: new Uint8Array(3) },
  ])('sizes that do not fit the data are refused: %j', (image) => {
    expect(() => encodeFits(image)).toThrow(RangeError);
  });
});

describe('cards', () => {
  test('all are 80 characters long', () => {
    for (const value of ['', 'a', 'b'.repeat(68), true, 1, -0.001, 1e-300, null]) {
      expect(formatCard({ keyword: 'K', value, comment: 'c'.repeat(90) }).length).toBe(80);
    }
  });

  test('strings have at least eight characters (§4.2.1.1), quotes are doubled', () => {
    expect(formatCard({ keyword: 'OBSERVER', value: "O'HARA" }).trimEnd()).toBe(
      "OBSERVER= 'O''HARA '",
    );
  });

  test('a doubled quote is not torn apart by a continuation', () => {
    const lines = formatCard({ keyword: 'K', value: "'".repeat(120) }).match(/.{80}/g) ?? [];
    for (const line of lines) {
      const inner = /'(.*)'/.exec(line)?.[1]?.replace(/&$/, '') ?? '';
      expect(inner.length % 2).toBe(0);
    }
    expect(lines.length).toBeGreaterThan(3);
  });

  test('numbers: capital exponent (§4.2.4), whole numbers in full', () => {
    expect(formatCard({ keyword: 'K', value: 1.5e-7 }).trimEnd()).toBe(
      'K       =               1.5E-7',
    );
    expect(formatCard({ keyword: 'K', value: 2 ** 53 }).trimEnd()).toBe(
      'K       =     9007199254740992',
    );
  });

  test.each([
    { keyword: 'TOO-LONG-', value: 1 },
    { keyword: 'low', value: 1 },
    { keyword: '', value: 1 },
    { keyword: 'K', value: Number.NaN },
    { keyword: 'K', value: Number.POSITIVE_INFINITY },
    { keyword: 'K', value: 'µm' },
    { keyword: 'K', value: 1, comment: 'line\nbreak' },
    { keyword: 'COMMENT', value: '\u001b[31m' },
  ])('what the standard forbids is refused: %j', (card) => {
    expect(() => formatCard(card)).toThrow(RangeError);
  });

  test('long comments go over several cards', () => {
    const lines = formatCard({ keyword: 'COMMENT', value: 'x'.repeat(100) }).match(/.{80}/g) ?? [];
    expect(lines.map((line) => line.trimEnd().length)).toEqual([80, 8 + 28]);
  });
});
