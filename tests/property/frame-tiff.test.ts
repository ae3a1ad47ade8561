/** Damaged TIFF files and pictures: all rows, or an error that a person can act on; never a crash, a long wait or a claim believed. */
import { readdirSync, readFileSync } from 'node:fs';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { FrameReadError } from '../../src/errors.js';
import { memoryFile } from '../../src/frame/file.js';
import { openFrame } from '../../src/frame/open.js';
import { readDirectories, type TiffDirectory } from '../../src/frame/tiff/ifd.js';
import { fixture } from '../helpers/data-files.js';
import { temporaryFiles } from '../helpers/fits-bytes.js';
import { wholeImage } from '../helpers/sample-digest.js';
import { type Tag, TYPE, tiffBytes } from '../helpers/tiff-bytes.js';

const write = temporaryFiles();

const files = (folder: string, every: number) =>
  readdirSync(fixture(folder))
    .filter((_, i) => i % every === 0)
    .map((name) => readFileSync(fixture(`${folder}/${name}`)));
const TIFF = files('tiff', 3);
const PICTURES = files('pictures', 1);

/** A change of one to four bytes, mostly near the start: there the directories of these files stand. */
const change = fc.record({
  at: fc.oneof(
    { weight: 3, arbitrary: fc.integer({ min: 0, max: 400 }) },
    { weight: 1, arbitrary: fc.nat(10_000) },
  ),
  value: fc.oneof(
    fc.integer({ min: 0, max: 255 }),
    fc.constantFrom(0xffffffff, 0x7fffffff, 0x80000000, 65535, 256, 65536, 100_000_000),
  ),
  little: fc.boolean(),
});

function damage(seed: Buffer, changes: { at: number; value: number; little: boolean }[]): Buffer {
  const bytes = Buffer.from(seed);
  for (const { at, value, little } of changes) {
    const place = at % bytes.length;
    if (value < 256 || place > bytes.length - 4) bytes[place] = value & 255;
    else if (little) bytes.writeUInt32LE(value, place);
    else bytes.writeUInt32BE(value, place);
  }
  return bytes;
}

const LIMITS = { maxPixels: 1e6, maxBytes: 1e7 };

async function openOrRefuse(path: string) {
  const started = performance.now();
  try {
    const { rows } = await openFrame(path, LIMITS);
    expect(rows.width * rows.height).toBeLessThanOrEqual(LIMITS.maxPixels);
    try {
      expect(wholeImage(rows)).toHaveLength(rows.width * rows.height * rows.planes);
    } finally {
      rows.close();
    }
  } catch (error) {
    expect(error).toBeInstanceOf(FrameReadError);
    expect((error as FrameReadError).remedy).not.toBe('');
  }
  expect(performance.now() - started).toBeLessThan(5000);
}

test.each([
  ['TIFF files', TIFF, 400],
  ['pictures', PICTURES, 150],
])(
  'changed and cut %s',
  async (_name, seeds, runs) => {
    await fc.assert(
      fc.asyncProperty(
        fc.constantFrom(...seeds),
        fc.array(change, { minLength: 1, maxLength: 4 }),
        fc.option(fc.double({ min: 0, max: 1, noNaN: true }), { freq: 5 }),
        async (seed, changes, part) => {
          const bytes = damage(seed, changes);
          const length = part === null ? bytes.length : Math.ceil(part * bytes.length);
          await openOrRefuse(write('changed', bytes.subarray(0, Math.max(1, length))));
        },
      ),
      { numRuns: runs, seed: 20261125 },
    );
  },
  60_000,
);

test('random bytes behind a TIFF header', () => {
  fc.assert(
    fc.property(
      fc.constantFrom('49492a0008000000', '4d4d002a00000008', '49492b00080000001000000000000000'),
      fc.uint8Array({ maxLength: 400 }),
      (head, rest) => {
        const file = memoryFile('x', Buffer.concat([Buffer.from(head, 'hex'), rest]));
        const ask = (directory: TiffDirectory) => {
          for (let tag = 250; tag < 350; tag++) {
            directory.number(tag);
            directory.numbers(tag);
            directory.text(tag);
          }
          directory.subDirectories();
          directory.exif();
        };
        try {
          readDirectories(file).forEach(ask);
        } catch (error) {
          expect(error).toBeInstanceOf(FrameReadError);
        }
      },
    ),
    { numRuns: 500, seed: 20261125 },
  );
});

test('directories give back what was written, in either order and size', () => {
  const values = fc.array(fc.nat(65535), { minLength: 1, maxLength: 20 });
  const page = fc.uniqueArray(fc.tuple(fc.integer({ min: 1, max: 65535 }), values), {
    selector: ([tag]) => tag,
    minLength: 1,
    maxLength: 12,
  });
  fc.assert(
    fc.property(
      fc.array(page, { minLength: 1, maxLength: 4 }),
      fc.boolean(),
      fc.boolean(),
      (pages, little, big) => {
        const written = pages.map((tags) =>
          tags.map(([tag, numbers], i): Tag => [tag, i % 2 ? TYPE.short : TYPE.long, numbers]),
        );
        const file = memoryFile('x', tiffBytes({ pages: written, little, big }));
        const read = readDirectories(file);
        expect(read).toHaveLength(pages.length);
        for (const [i, tags] of pages.entries()) {
          for (const [tag, numbers] of tags) {
            expect((read[i] as TiffDirectory).numbers(tag)).toEqual(numbers);
          }
        }
      },
    ),
    { numRuns: 200, seed: 20261125 },
  );
});
