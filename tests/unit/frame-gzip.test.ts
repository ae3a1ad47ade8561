/** Whole files under gzip (RFC 1952): several members, lying sizes, bombs, damage. */
import { deflateRawSync, gzipSync } from 'node:zlib';
import { expect, test } from 'vitest';
import { FrameReadError } from '../../src/errors.js';
import type { FrameOverrides } from '../../src/frame/frame.js';
import { openFrame } from '../../src/frame/open.js';
import { primaryCards, temporaryFiles, unitBytes } from '../helpers/fits-bytes.js';
import { wholeImage } from '../helpers/sample-digest.js';

const save = temporaryFiles();
const SMALL = Uint8Array.from([1, 2, 3, 4, 5, 6]);
const FILE = unitBytes(primaryCards(8, [3, 2]), SMALL);

async function read(bytes: Uint8Array, overrides: FrameOverrides = {}) {
  const frame = await openFrame(save('frame.fits.gz', bytes), overrides);
  const samples = wholeImage(frame.rows);
  frame.rows.close();
  return samples;
}

async function failure(bytes: Uint8Array, overrides: FrameOverrides = {}): Promise<FrameReadError> {
  const error = await read(bytes, overrides).then(
    () => new Error('it was read'),
    (reason: unknown) => reason,
  );
  expect(error).toBeInstanceOf(FrameReadError);
  return error as FrameReadError;
}

test('one member', async () => {
  expect(await read(gzipSync(FILE))).toEqual(SMALL);
});

test('several members, one of them empty, are one file', async () => {
  const parts = [FILE.subarray(0, 50), FILE.subarray(50, 50), FILE.subarray(50)];
  expect(await read(Buffer.concat(parts.map((part) => gzipSync(part))))).toEqual(SMALL);
});

test('zeros behind the last member are fill; other bytes are damage', async () => {
  for (const extra of [3, 2880, 600_000]) {
    expect(await read(Buffer.concat([gzipSync(FILE), Buffer.alloc(extra)]))).toEqual(SMALL);
    const junk = Buffer.concat([gzipSync(FILE), Buffer.alloc(extra, 'x')]);
    expect((await failure(junk)).code).toBe('damaged');
  }
});

/** Bytes of no pattern, so that they stay as long as they are. */
function noise(length: number): Uint8Array {
  const data = new Uint8Array(length);
  let state = 1;
  for (let i = 0; i < length; i++) {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    data[i] = state >>> 24;
  }
  return data;
}

test('more bytes than one piece, packed and unpacked', async () => {
  const data = noise(1200 * 900);
  const bytes = gzipSync(unitBytes(primaryCards(8, [1200, 900]), data), { level: 1 });
  expect(bytes.length).toBeGreaterThan(1 << 18);
  expect(Buffer.compare((await read(bytes)) as Uint8Array, data)).toBe(0);
});

test('a member that ends with a piece, and what follows in the next one', async () => {
  const piece = 1 << 18;
  const width = 1000;
  const data = noise(width * 200);
  const file = unitBytes(primaryCards(8, [width, 200]), data);
  // Stored, not deflated: the fill behind the data decides the length.
  let fill = piece - gzipSync(file, { level: 0 }).length;
  while (gzipSync(Buffer.concat([file, Buffer.alloc(fill)]), { level: 0 }).length > piece) fill--;
  const exact = gzipSync(Buffer.concat([file, Buffer.alloc(fill)]), { level: 0 });
  expect(exact.length).toBe(piece);
  const tails = [Buffer.alloc(0), Buffer.alloc(piece + 5), gzipSync(Buffer.alloc(10))];
  for (const tail of tails) {
    const samples = await read(Buffer.concat([exact, tail]));
    expect(Buffer.compare(samples as Uint8Array, data)).toBe(0);
  }
});

/** A member whose size field says `size`; Node checks it, so the error tells that the field was not believed first. */
function lying(content: Uint8Array, size: number): Buffer {
  const bytes = gzipSync(content);
  bytes.writeUInt32LE(size, bytes.length - 4);
  return bytes;
}

test('a size field that lies allocates nothing and is found out', async () => {
  for (const size of [0, 1, 0xffffffff]) {
    expect((await failure(lying(FILE, size))).code).toBe('damaged');
  }
});

test('a bomb is stopped at the limit, not when memory ends', async () => {
  const head = unitBytes(primaryCards(8, [3, 2]));
  // 300 MB of zeros in 30 members: 0.3 MB packed.
  const zeros = gzipSync(Buffer.alloc(10_000_000));
  const bytes = Buffer.concat([gzipSync(head), ...Array.from({ length: 30 }, () => zeros)]);
  const before = process.memoryUsage().rss;
  const error = await failure(bytes, { maxBytes: 5_000_000 });
  expect(error.code).toBe('too-large');
  expect(error.remedy).toContain('--max-bytes');
  expect(process.memoryUsage().rss - before).toBeLessThan(150_000_000);
});

test('the limit is that of all members together', async () => {
  const members = Array.from({ length: 5 }, () => gzipSync(Buffer.alloc(10_000)));
  const bytes = Buffer.concat([gzipSync(FILE), ...members]);
  expect(await read(bytes, { maxBytes: FILE.length + 50_000 })).toEqual(SMALL);
  expect((await failure(bytes, { maxBytes: FILE.length + 49_999 })).code).toBe('too-large');
});

test('a cut stream, in the data and in the trailer', async () => {
  const bytes = gzipSync(FILE);
  for (const length of [15, bytes.length >> 1, bytes.length - 8, bytes.length - 1]) {
    expect((await failure(bytes.subarray(0, length))).code).toBe('truncated');
  }
});

test('a wrong checksum and a broken stream', async () => {
  const bytes = gzipSync(FILE);
  const checksum = Buffer.from(bytes);
  checksum[bytes.length - 6] = (checksum[bytes.length - 6] as number) ^ 1;
  expect((await failure(checksum)).code).toBe('damaged');
  const stream = Buffer.concat([bytes.subarray(0, 10), Buffer.alloc(40, 0xff)]);
  expect((await failure(stream)).code).toBe('damaged');
});

test('something else than FITS is refused after its first bytes', async () => {
  const error = await failure(gzipSync(Buffer.alloc(5_000_000, 'notes of tonight ')));
  expect(error.code).toBe('not-a-frame');
  expect(error.remedy).toContain('gunzip');
  expect((await failure(gzipSync(Buffer.alloc(0)))).code).toBe('not-a-frame');
  expect((await failure(gzipSync(gzipSync(FILE)))).code).toBe('not-a-frame');
});

test('bare deflate is not taken for gzip', async () => {
  expect((await failure(deflateRawSync(FILE))).code).toBe('not-a-frame');
});
