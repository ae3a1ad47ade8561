/** Damaged camera raw files: a frame or an error that a person can act on, never a crash or a long wait. */
import { rmSync } from 'node:fs';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { FrameReadError } from '../../src/errors.js';
import { closeFile, openFile } from '../../src/frame/file.js';
import { openFrame } from '../../src/frame/open.js';
import { readDirectories } from '../../src/frame/raw/directories.js';
import { dngBytes } from '../helpers/dng-bytes.js';
import { temporaryFiles } from '../helpers/fits-bytes.js';

const write = temporaryFiles();
const WIDTH = 64;
const HEIGHT = 48;

const samples = Uint16Array.from({ length: WIDTH * HEIGHT }, (_, i) => 1000 + ((i * 7919) % 501));
const SEEDS = (['none', 'lossless-jpeg', 'lossless-jpeg-tiles'] as const).flatMap((compression) =>
  (['first', 'sub'] as const).map((place) =>
    dngBytes({
      width: WIDTH,
      height: HEIGHT,
      samples,
      compression,
      place,
      activeArea: [2, 4, 46, 60],
      maskedAreas: [0, 0, 48, 4],
      black: { rows: 2, columns: 2, levels: [500, 501, 502, 503] },
      exif: { exposure: [30, 1], focalLength: [480, 1], date: '2026:11:20 21:22:23' },
    }),
  ),
);
/** The directories stand at the end of these files. */
const DIRECTORY_BYTES = 900;

const change = fc.record({
  /** Place from the end of the file: mostly in the directories. */
  back: fc.oneof(
    { weight: 3, arbitrary: fc.integer({ min: 1, max: DIRECTORY_BYTES }) },
    { weight: 1, arbitrary: fc.integer({ min: 1, max: 1e6 }) },
  ),
  value: fc.oneof(
    fc.integer({ min: 0, max: 255 }),
    fc.constantFrom(0xffffffff, 0x7fffffff, 65535, 32803, 34892, 100_000_000),
  ),
});

/** The time limit of the decoder for so small a file is 10 s for each step; none was seen to need it. */
const LONGEST_MS = 12_000;

test('changed and cut files', async () => {
  await fc.assert(
    fc.asyncProperty(
      fc.constantFrom(...SEEDS),
      fc.array(change, { minLength: 1, maxLength: 4 }),
      fc.option(fc.double({ min: 0, max: 1, noNaN: true }), { freq: 5 }),
      async (seed, changes, part) => {
        const bytes = Buffer.from(seed);
        for (const { back, value } of changes) {
          const at = Math.max(0, bytes.length - back);
          if (value < 256 || at > bytes.length - 4) bytes[at] = value;
          else bytes.writeUInt32LE(value, at);
        }
        const length = part === null ? bytes.length : Math.ceil(part * bytes.length);
        const path = write('changed.dng', bytes.subarray(0, Math.max(1, length)));
        const started = performance.now();
        try {
          const frame = await openFrame(path, { maxPixels: 1e6, maxBytes: 1e7 });
          expect(frame.rows.width * frame.rows.height).toBeLessThanOrEqual(1e6);
          frame.rows.close();
        } catch (error) {
          expect(error).toBeInstanceOf(FrameReadError);
          expect((error as FrameReadError).remedy).not.toBe('');
        }
        expect(performance.now() - started).toBeLessThan(LONGEST_MS);
        rmSync(path);
      },
    ),
    { numRuns: 20, seed: 20261125 },
  );
}, 60_000);

/** Most directories that are read of one file. */
const MOST_DIRECTORIES = 64;

test('directories of any bytes: no fault, no endless chain', () => {
  fc.assert(
    fc.property(
      fc.constantFrom('II*\0', 'MM\0*'),
      fc.array(
        fc.oneof(
          // Small numbers make counts, types and offsets that lead somewhere.
          { weight: 3, arbitrary: fc.constantFrom(0, 1, 2, 3, 4, 5, 8, 10, 12, 74, 105, 135) },
          { weight: 1, arbitrary: fc.integer({ min: 0, max: 255 }) },
        ),
        { minLength: 4, maxLength: 400 },
      ),
      (magic, rest) => {
        const path = write(
          'any.tif',
          Buffer.concat([Buffer.from(magic, 'latin1'), Buffer.from(rest)]),
        );
        const file = openFile(path);
        try {
          const directories = readDirectories(file);
          expect(directories.length).toBeLessThanOrEqual(MOST_DIRECTORIES);
          for (const directory of directories) {
            for (const tag of [0, 1, 256, 257, 330, 34665]) {
              directory.numbers(tag);
              directory.text(tag);
            }
          }
        } finally {
          closeFile(file);
        }
      },
    ),
    { numRuns: 500, seed: 20261125 },
  );
});

test('a directory that leads to itself is read once', () => {
  // One entry (SubIFDs, LONG, 1 value: the directory itself at 8), and itself as the next one.
  const entry = [0x4a, 0x01, 4, 0, 1, 0, 0, 0, 8, 0, 0, 0];
  const bytes = [0x49, 0x49, 42, 0, 8, 0, 0, 0, 1, 0, ...entry, 8, 0, 0, 0];
  const file = openFile(write('loop.tif', Uint8Array.from(bytes)));
  expect(readDirectories(file).map((each) => each.numbers(330))).toEqual([[8]]);
  closeFile(file);
});
