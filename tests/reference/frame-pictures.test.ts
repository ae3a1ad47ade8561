/** PNG and JPEG to the last bit as libpng and libjpeg-turbo read them through imagecodecs 2026.3.6 (fixtures/reference/pictures.py). */
import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { openFrame } from '../../src/frame/open.js';
import { findData, fixture } from '../helpers/data-files.js';
import { bigEndianDigest, wholeImage } from '../helpers/sample-digest.js';

interface Entry {
  file: string;
  planes: number;
  height: number;
  width: number;
  type: 'u1' | 'u2';
  sha256: string;
}

const REFERENCE = JSON.parse(readFileSync(fixture('reference/pictures.json'), 'utf8')) as {
  files: Entry[];
  real: Entry[];
};

async function compare(path: string, entry: Entry) {
  const frame = await openFrame(path, { cfa: 'none' });
  const { rows } = frame;
  const samples = wholeImage(rows);
  rows.close();
  const { width, height, planes } = entry;
  expect(rows).toMatchObject({ width, height, planes });
  expect(rows.sampleType).toBe(entry.type === 'u2' ? 'u16' : 'u8');
  expect(frame.typeMaximumAdu).toBe(entry.type === 'u2' ? 65535 : 255);
  expect(frame.probablyProcessed).toBe(true);
  expect(bigEndianDigest(samples)).toBe(entry.sha256);
}

describe('libpng, libjpeg-turbo', () => {
  test.each(REFERENCE.files.map((entry) => [entry.file, entry] as const))('%s', (file, entry) =>
    compare(fixture(`pictures/${file}`), entry),
  );

  for (const entry of REFERENCE.real) {
    const path = findData(entry.file);
    test.skipIf(path === null)(`real: ${entry.file}`, () => compare(path as string, entry));
  }
});
