/** Tile-compressed FITS to the last bit as cfitsio 4.020 (funpack, imcopy) unpacks it, or astropy 5.2.1 where cfitsio contradicts the image
 * that was packed: `by` and `astropy` beside each value of packed.json tell. Made by fixtures/reference/packed.py. All small files
 * are stored under gzip, which is read on the way.
 */
import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { ditherSequence } from '../../src/frame/fits/tiles/dither.js';
import { openFrame } from '../../src/frame/open.js';
import { findData, fixture } from '../helpers/data-files.js';
import { bigEndianDigest, wholeImage } from '../helpers/sample-digest.js';

interface Entry {
  file: string;
  hdu: number;
  shape: number[];
  type: string;
  sha256: string;
  probes: [number, number | string][];
}

const REFERENCE = JSON.parse(readFileSync(fixture('reference/packed.json'), 'utf8')) as {
  packed: Entry[];
  real: Entry[];
};

/** Sample types in numpy's letters; 64-bit integers travel as doubles. */
const TYPES: Readonly<Record<string, string>> = {
  u1: 'u8',
  i1: 'i8',
  u2: 'u16',
  i2: 'i16',
  u4: 'u32',
  i4: 'i32',
  f4: 'f32',
  f8: 'f64',
};

async function compare(path: string, { hdu, shape, type, sha256, probes }: Entry) {
  const frame = await openFrame(path, { hdu, cfa: 'none' });
  const { rows } = frame;
  const samples = wholeImage(rows);
  rows.close();
  expect([rows.width, rows.height]).toEqual([shape.at(-1), shape.at(-2)]);
  expect(rows.planes).toBe(shape.length === 3 ? 3 : 1);
  expect(rows.sampleType).toBe(TYPES[type]);
  for (const [at, value] of probes) {
    const number = typeof value === 'number' ? value : Number(value.replace('inf', 'Infinity'));
    expect(samples[at]).toBe(number);
  }
  expect(bigEndianDigest(samples)).toBe(sha256);
}

test.each(REFERENCE.packed.map((entry) => [`${entry.file} unit ${entry.hdu}`, entry] as const))(
  '%s',
  async (_name, entry) => {
    await compare(fixture(`packed/${entry.file}`), entry);
  },
);

for (const entry of REFERENCE.real) {
  const path = findData(entry.file);
  test.skipIf(path === null)(`real: ${entry.file}`, () => compare(path as string, entry));
}

test('every method, dither and element type is among the references', () => {
  expect(REFERENCE.packed.length).toBeGreaterThan(150);
  expect(new Set(REFERENCE.packed.map((entry) => entry.type))).toEqual(new Set(Object.keys(TYPES)));
});

test('the random numbers of the standard: 10,000, and the seed after the last', () => {
  // FITS Standard 4.0, Appendix I: "if all is well, the seed should be 1043618065" (from memory).
  const { values, lastSeed } = ditherSequence();
  expect(values).toHaveLength(10_000);
  expect(lastSeed).toBe(1043618065);
  // 16807 / (2^31 − 1), rounded to 32 bits.
  expect(values[0]).toBe(Math.fround(16807 / 2147483647));
});
