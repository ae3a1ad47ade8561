/** Damaged camera raw files: a frame or an error that a person can act on, never a crash or a long wait. */
import { rmSync } from 'node:fs';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { FrameReadError } from '../../src/errors.js';
import { openFrame } from '../../src/frame/open.js';
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
