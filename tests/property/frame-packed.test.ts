/** Tile-compressed images: what an encoder of its own packs is read, whole and in windows; whatever the bytes are, nothing but a proper
 * error is thrown and everything ends.
 */
import { readFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { FrameReadError } from '../../src/errors.js';
import { createSampleArray } from '../../src/frame/convert.js';
import { TileFault } from '../../src/frame/fits/tiles/fault.js';
import { decodeHcompress } from '../../src/frame/fits/tiles/hcompress.js';
import { decodePlio } from '../../src/frame/fits/tiles/plio.js';
import { decodeRice, riceGuardBytes } from '../../src/frame/fits/tiles/rice.js';
import { openFrame } from '../../src/frame/open.js';
import { fixture } from '../helpers/data-files.js';
import { temporaryFiles } from '../helpers/fits-bytes.js';
import { encodeRice, packFits } from '../helpers/packed-fits.js';
import { wholeImage } from '../helpers/sample-digest.js';

const save = temporaryFiles();
const SEED = 20261125;

const ARRAYS = { 8: Uint8Array, 16: Int16Array, 32: Int32Array } as const;

/** Images that are smooth, noisy, constant or wild: every way a Rice block can be coded. */
const images = fc
  .record({
    bitpix: fc.constantFrom(8 as const, 16 as const, 32 as const),
    width: fc.integer({ min: 2, max: 70 }),
    height: fc.integer({ min: 2, max: 20 }),
    amplitude: fc.constantFrom(0, 1, 20, 3000, 2 ** 31),
    numbers: fc.array(fc.double({ min: -1, max: 1, noNaN: true }), {
      minLength: 31,
      maxLength: 31,
    }),
    tile: fc.tuple(fc.integer({ min: 1, max: 80 }), fc.integer({ min: 1, max: 25 })),
    method: fc.constantFrom(
      'RICE_1' as const,
      'RICE_1' as const,
      'GZIP_1' as const,
      'GZIP_2' as const,
      'NOCOMPRESS' as const,
    ),
    deflate: fc.constantFrom('gzip' as const, 'zlib' as const, 'raw' as const),
    block: fc.constantFrom(1, 16, 32, 100),
    wide: fc.boolean(),
  })
  .map((input) => {
    const samples = new ARRAYS[input.bitpix](input.width * input.height);
    for (let i = 0; i < samples.length; i++) {
      samples[i] = Math.round((input.numbers[(i * 7) % 31] as number) * input.amplitude) + i;
    }
    return { ...input, samples };
  });

test('what is packed is read, whole and in windows', async () => {
  await fc.assert(
    fc.asyncProperty(images, fc.nat(), fc.nat(), fc.nat(5), async (image, a, b, at) => {
      const { width, height, samples } = image;
      const { rows } = await openFrame(save('packed.fits', packFits(image)), { cfa: 'none' });
      try {
        const y0 = a % height;
        const count = b % (height - y0 + 1);
        const part = createSampleArray(rows.sampleType, at + count * width);
        // The window first: no tile has been unpacked yet.
        rows.readRows(0, y0, count, part, at);
        expect(part.subarray(at)).toEqual(samples.slice(y0 * width, (y0 + count) * width));
        expect(wholeImage(rows)).toEqual(samples);
      } finally {
        rows.close();
      }
    }),
    { numRuns: 200, seed: SEED },
  );
});

/** Fails for anything but the errors that a reader may throw. */
function onlyProperErrors(error: unknown): void {
  if (error instanceof FrameReadError) {
    expect(error.message).not.toBe('');
    expect(error.remedy).not.toBe('');
    return;
  }
  throw error;
}

const PACKED = [
  'rice-10x7',
  'gzip2-rows',
  'plio-10x7',
  'hcompress-20x12',
  'float-rice-dither1',
  'float-gzip2-dither2',
  'float-plain-column',
].map((name) => gunzipSync(readFileSync(fixture(`packed/${name}.fz.gz`))));

test('flipped and cut files are read or refused properly', async () => {
  const wounds = fc.array(fc.tuple(fc.nat(), fc.nat(255)), { minLength: 1, maxLength: 8 });
  await fc.assert(
    fc.asyncProperty(
      fc.constantFrom(...PACKED),
      wounds,
      fc.option(fc.double({ min: 0, max: 1, noNaN: true })),
      fc.integer({ min: 1, max: 3 }),
      async (whole, flips, cut, hdu) => {
        const bytes = Buffer.from(whole.subarray(0, whole.length * (cut ?? 1)));
        if (bytes.length === 0) return;
        for (const [at, value] of flips) bytes[at % bytes.length] = value;
        try {
          const limits = { maxPixels: 1e6, maxBytes: 1e7 };
          const { rows } = await openFrame(save('damaged.fits', bytes), { hdu, ...limits });
          try {
            wholeImage(rows);
          } finally {
            rows.close();
          }
        } catch (error) {
          onlyProperErrors(error);
        }
      },
    ),
    { numRuns: 400, seed: SEED },
  );
});

/** Runs a codec: any outcome but another error, or none, is right. */
function faultOrNothing(work: () => void): void {
  try {
    work();
  } catch (error) {
    expect(error).toBeInstanceOf(TileFault);
  }
}

const streams = fc.uint8Array({ maxLength: 400 });

test('any bytes as a Rice stream', () => {
  fc.assert(
    fc.property(
      streams,
      fc.constantFrom(1, 2, 4),
      fc.constantFrom(1, 32, 4096),
      (bytes, n, block) => {
        const room = new Uint8Array(bytes.length + riceGuardBytes(block));
        room.set(bytes);
        const out = { 1: new Uint8Array(300), 2: new Int16Array(300), 4: new Int32Array(300) }[
          n as 1 | 2 | 4
        ];
        faultOrNothing(() => decodeRice(room, bytes.length, block, out));
      },
    ),
    { numRuns: 2000, seed: SEED },
  );
});

test('a Rice stream that lacks its last byte is refused', () => {
  const samples = Int16Array.from({ length: 500 }, (_, i) => (i * 7919) % 301);
  const stream = encodeRice(samples, 2, 32);
  const room = new Uint8Array(stream.length + riceGuardBytes(32));
  room.set(stream);
  const out = new Int16Array(500);
  decodeRice(room, stream.length, 32, out);
  expect(out).toEqual(samples);
  room.set(stream);
  expect(() => decodeRice(room, stream.length - 1, 32, out)).toThrow(TileFault);
});

test('any bytes as a list of runs', () => {
  fc.assert(
    fc.property(streams, (bytes) => {
      const list = new Uint8Array(bytes);
      // Half of them with a header that fits, so that the instructions are reached.
      if (list.length > 8 && (list[0] as number) & 1) list.set([0, 0, 0, 3, 0, list.length >> 1]);
      faultOrNothing(() => decodePlio(list, new Int32Array(300)));
    }),
    { numRuns: 2000, seed: SEED },
  );
});

test('any bytes behind the header of an HCOMPRESS stream', () => {
  fc.assert(
    fc.property(
      streams,
      fc.integer({ min: 1, max: 20 }),
      fc.integer({ min: 1, max: 20 }),
      fc.array(fc.nat(60), { minLength: 3, maxLength: 3 }),
      fc.boolean(),
      (bytes, rows, columns, planes, smooth) => {
        const stream = Buffer.alloc(25 + bytes.length);
        stream.writeUInt16BE(0xdd99, 0);
        stream.writeInt32BE(rows, 2);
        stream.writeInt32BE(columns, 6);
        stream.writeInt32BE(bytes[0] ?? 0, 10);
        stream.set(planes, 22);
        stream.set(bytes, 25);
        faultOrNothing(() => {
          decodeHcompress(stream, rows, columns, smooth);
        });
      },
    ),
    { numRuns: 2000, seed: SEED },
  );
});
