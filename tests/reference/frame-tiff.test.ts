/** TIFF to the last bit as tifffile 2026.3.3 reads it (fixtures/reference/tiff.py, which also compares with the images that were written), and
 * as libtiff inside sharp reads those kinds that it reads rightly.
 */
import { readFileSync } from 'node:fs';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { UnsupportedFormatError } from '../../src/errors.js';
import { createFloatReader } from '../../src/frame/convert.js';
import { openFrame } from '../../src/frame/open.js';
import { findData, fixture } from '../helpers/data-files.js';
import { bigEndianDigest, wholeImage } from '../helpers/sample-digest.js';

interface Entry {
  file: string;
  page: number;
  planes: number;
  height: number;
  width: number;
  type: string;
  sha256: string;
  probes: [number, number | string][];
}

const REFERENCE = JSON.parse(readFileSync(fixture('reference/tiff.json'), 'utf8')) as {
  files: Entry[];
  real: Entry[];
  refused: Record<string, string>;
};

/** Sample types in numpy's letters. */
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

async function compare(path: string, entry: Entry) {
  const { rows } = await openFrame(path, { page: entry.page, cfa: 'none' });
  const samples = wholeImage(rows);
  rows.close();
  expect([rows.width, rows.height, rows.planes]).toEqual([entry.width, entry.height, entry.planes]);
  expect(rows.sampleType).toBe(TYPES[entry.type]);
  for (const [at, value] of entry.probes) {
    const number = typeof value === 'number' ? value : Number(value.replace('inf', 'Infinity'));
    expect(samples[at]).toBe(number);
  }
  expect(bigEndianDigest(samples)).toBe(entry.sha256);
}

const NAMED = REFERENCE.files.map((entry) => [`${entry.file} page ${entry.page}`, entry] as const);

describe('tifffile', () => {
  test.each(NAMED)('%s', (_name, entry) => compare(fixture(`tiff/${entry.file}`), entry));

  for (const entry of REFERENCE.real) {
    const path = findData(entry.file);
    test.skipIf(path === null)(`real: ${entry.file} page ${entry.page}`, () =>
      compare(path as string, entry),
    );
  }

  test('every element type is among the references', () => {
    expect(REFERENCE.files.length).toBeGreaterThan(200);
    const types = new Set(REFERENCE.files.map((entry) => entry.type));
    expect(types).toEqual(new Set(Object.keys(TYPES)));
  });
});

describe('windows', () => {
  test.each(NAMED.filter((_, i) => i % 5 === 0))('%s', async (_name, entry) => {
    const path = fixture(`tiff/${entry.file}`);
    const { rows } = await openFrame(path, { page: entry.page, cfa: 'none' });
    const whole = wholeImage(rows);
    const window = whole.slice(0, 3 * rows.width + 2);
    for (let plane = 0; plane < rows.planes; plane++) {
      for (const y of [0, 3, rows.height - 3]) {
        rows.readRows(plane, y, 3, window, 2);
        const from = (plane * rows.height + y) * rows.width;
        expect(window.slice(2)).toEqual(whole.slice(from, from + 3 * rows.width));
      }
    }
    rows.close();
    rows.close();
  });
});

describe('libtiff in sharp', () => {
  // Kinds that it reads, and reads rightly; for the others see DEVELOPERS.md.
  const known = NAMED.filter(
    ([name, entry]) =>
      ['u1', 'u2', 'u4', 'f4'].includes(entry.type) &&
      !/^f2|white|alpha|rgba|five|tiles-planar/.test(name),
  );
  test.each(known)('%s', async (_name, entry) => {
    const path = fixture(`tiff/${entry.file}`);
    const { rows } = await openFrame(path, { page: entry.page, cfa: 'none' });
    const samples = wholeImage(rows);
    rows.close();
    const options = { page: entry.page - 1, ignoreIcc: true, failOn: 'error' } as const;
    const { depth, space } = await sharp(path, options).metadata();
    const { data, info } = await sharp(path, options)
      .toColourspace(space)
      .raw({ depth: depth as 'ushort' })
      .toBuffer({ resolveWithObject: true });
    expect(info.channels).toBe(entry.planes);
    const bytes = Uint8Array.from(data);
    const Type = samples.constructor as new (buffer: ArrayBuffer) => typeof samples;
    const mixed = new Type(bytes.buffer);
    const size = entry.width * entry.height;
    const planes = samples.slice();
    for (let i = 0; i < mixed.length; i++) {
      planes[(i % entry.planes) * size + Math.floor(i / entry.planes)] = mixed[i] as number;
    }
    expect(planes).toEqual(samples);
  });

  test('enough kinds are compared', () => {
    expect(known.length).toBeGreaterThan(60);
  });
});

describe('white is zero', () => {
  test.each([
    ['u1', 255],
    ['u2', 65535],
    ['u4', 4294967295],
  ])('%s: more light, larger number', async (type, maximum) => {
    const frame = await openFrame(fixture(`tiff/${type}-white-is-zero.tif`), { cfa: 'none' });
    const { rows } = frame;
    const stored = wholeImage(rows);
    const light = new Float32Array(rows.width * rows.height);
    createFloatReader(rows)(0, 0, rows.height, light);
    rows.close();
    // The second and first sample are the extremes of the type.
    expect(light[0]).toBe(Math.fround(maximum));
    expect(light[1]).toBe(0);
    expect(light).toEqual(Float32Array.from(stored, (value) => maximum - value));
    expect(frame.typeMaximumAdu).toBe(maximum);
    expect(frame.warnings.map((warning) => warning.code)).toContain('inverted');
  });
});

describe('refused, with the reason', () => {
  test.each(Object.entries(REFERENCE.refused))('%s: %s', async (file, word) => {
    const error = await openFrame(fixture(`tiff/${file}`)).then(
      () => null,
      (reason: unknown) => reason,
    );
    expect(error).toBeInstanceOf(UnsupportedFormatError);
    expect((error as Error).message).toContain(word);
    expect((error as UnsupportedFormatError).remedy).toContain('TIFF');
  });
});
