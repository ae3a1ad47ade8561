/** PNG and JPEG pictures as frames: always under suspicion, never changed, never half read. */
import { readFileSync } from 'node:fs';
import { crc32, deflateSync } from 'node:zlib';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { FrameReadError, UnsupportedFormatError } from '../../src/errors.js';
import type { FrameOverrides } from '../../src/frame/frame.js';
import { contentKind, openFrame } from '../../src/frame/open.js';
import { fixture } from '../helpers/data-files.js';
import { temporaryFiles } from '../helpers/fits-bytes.js';
import { failure } from '../helpers/open-failure.js';
import { wholeImage } from '../helpers/sample-digest.js';

const save = temporaryFiles();
const picture = (name: string) => readFileSync(fixture(`pictures/${name}`));

async function opened(path: string, overrides: FrameOverrides = {}) {
  const frame = await openFrame(path, { cfa: 'none', ...overrides });
  const samples = wholeImage(frame.rows);
  frame.rows.close();
  return { frame, samples, codes: frame.warnings.map((warning) => warning.code) };
}

/** A PNG written chunk by chunk (PNG 1.2, sections 4 and 11). */
function png(header: number[], chunks: readonly [string, Uint8Array][]): Buffer {
  const chunk = (type: string, data: Uint8Array) => {
    const body = Buffer.concat([Buffer.from(type), data]);
    const length = Buffer.alloc(4);
    length.writeUInt32BE(data.length);
    const sum = Buffer.alloc(4);
    sum.writeUInt32BE(crc32(body));
    return Buffer.concat([length, body, sum]);
  };
  return Buffer.concat([
    Buffer.from('89504e470d0a1a0a', 'hex'),
    chunk('IHDR', Uint8Array.from(header)),
    ...chunks.map(([type, data]) => chunk(type, data)),
    chunk('IEND', new Uint8Array(0)),
  ]);
}

/** 3 × 2 pixels; `rest` is bit depth, colour type, then compression, filter, interlace. */
const header = (...rest: number[]) => [0, 0, 0, 3, 0, 0, 0, 2, ...rest, 0, 0, 0];

describe('PNG', () => {
  test('16-bit colours and a gamma chunk: numbers as stored', async () => {
    const data = deflateSync(
      Uint8Array.from([
        ...[0, 1, 2, 3, 4, 5, 6, 0, 0, 255, 255, 0, 1, 9, 9, 9, 9, 9, 9],
        ...[0, 11, 12, 13, 14, 15, 16, 1, 1, 1, 1, 1, 1, 128, 0, 127, 255, 64, 0],
      ]),
    );
    const path = save(
      'gamma.png',
      png(header(16, 2), [
        ['gAMA', Uint8Array.from([0, 0, 0xb1, 0x8f])],
        ['IDAT', data],
      ]),
    );
    const { samples, frame } = await opened(path);
    expect(frame).toMatchObject({ format: 'png', layout: 'rgb', typeMaximumAdu: 65535 });
    expect([...samples]).toEqual([
      ...[0x0102, 0, 0x0909, 0x0b0c, 0x0101, 0x8000],
      ...[0x0304, 0xffff, 0x0909, 0x0d0e, 0x0101, 0x7fff],
      ...[0x0506, 1, 0x0909, 0x0f10, 0x0101, 0x4000],
    ]);
  });

  test('palette colours become red, green and blue', async () => {
    const palette = Uint8Array.from([10, 20, 30, 40, 50, 60, 70, 80, 90]);
    const data = deflateSync(Uint8Array.from([0, 0, 1, 2, 0, 2, 1, 0]));
    const path = save(
      'palette.png',
      png(header(8, 3), [
        ['PLTE', palette],
        ['IDAT', data],
      ]),
    );
    const { samples, frame } = await opened(path);
    expect(frame.layout).toBe('rgb');
    expect([...samples]).toEqual([
      ...[10, 40, 70, 70, 40, 10],
      ...[20, 50, 80, 80, 50, 20],
      ...[30, 60, 90, 90, 60, 30],
    ]);
  });

  test('alpha is left out, with a note', async () => {
    for (const [alpha, plain] of [
      ['rgba-16.png', 'rgb-16.png'],
      ['grey-alpha-8.png', 'grey-8.png'],
    ] as const) {
      const { frame, codes } = await opened(fixture(`pictures/${alpha}`));
      expect(codes).toContain('extra-planes');
      expect((await opened(fixture(`pictures/${plain}`))).codes).toEqual([]);
      expect(frame.probablyProcessed).toBe(true);
    }
  });

  test('cut anywhere, it is refused', async () => {
    const bytes = picture('rgb-16.png');
    for (const length of [8, 20, 33, 60, 500, 2000, bytes.length - 40, bytes.length - 13]) {
      const error = await failure(save('cut.png', bytes.subarray(0, length)));
      expect(error.code).toBe('damaged');
      expect(error.message).toContain('PNG');
    }
  });

  test('one wrong byte in the samples is found by the check sum', async () => {
    const bytes = picture('rgb-16.png');
    bytes[2000] = (bytes[2000] as number) ^ 0x10;
    const path = save('flip.png', bytes);
    const error = await failure(path);
    expect(error.code).toBe('damaged');
  });

  test('limits hold before anything is unpacked', async () => {
    // 30000 × 30000 pixels of one bit: 900 million; the data would be 100 kB.
    const side = [0, 0, 0x75, 0x30];
    const bytes = png(
      [...side, ...side, 1, 0, 0, 0, 0],
      [['IDAT', deflateSync(new Uint8Array(1000))]],
    );
    const path = save('bomb.png', bytes);
    expect((await failure(path)).code).toBe('too-large');
    expect((await failure(path)).remedy).toContain('--max-pixels 900000000');
    const small = fixture('pictures/rgb-16.png');
    expect((await failure(small, { maxPixels: 37 * 23 - 1 })).code).toBe('too-large');
    expect((await failure(small, { maxBytes: 37 * 23 * 6 - 1 })).code).toBe('too-large');
    await opened(small, { maxPixels: 37 * 23, maxBytes: 37 * 23 * 6 });
  });
});

describe('JPEG', () => {
  test('CMYK is refused', async () => {
    const error = await failure(fixture('pictures/cmyk.jpg'));
    expect(error).toBeInstanceOf(UnsupportedFormatError);
    expect(error.message).toContain('CMYK');
  });

  test('cut anywhere, it is refused or marked as doubtful', async () => {
    const bytes = picture('rgb.jpg');
    let doubtful = 0;
    for (let length = 3; length < bytes.length; length += 10) {
      const path = save('cut.jpg', bytes.subarray(0, length));
      try {
        expect((await opened(path)).codes).toContain('picture-doubtful');
        doubtful++;
      } catch (error) {
        expect(error).toBeInstanceOf(FrameReadError);
        expect((error as FrameReadError).code).toBe('damaged');
      }
    }
    // Only the mark of the end may be missing.
    expect(doubtful).toBeLessThanOrEqual(1);
  });

  test('orientation is not applied; Exif tells exposure, camera and date', async () => {
    const path = save(
      'tagged.jpg',
      await sharp(fixture('pictures/rgb-8.png'))
        .withMetadata({ orientation: 6 })
        .withExifMerge({
          IFD0: { Make: 'Invented', Model: 'Star Box', DateTime: '2026:01:01 00:00:00' },
          IFD2: {
            ExposureTime: '1/4',
            DateTimeOriginal: '2026:01:02 03:04:05',
            ISOSpeedRatings: '800',
          },
        })
        .jpeg()
        .toBuffer(),
    );
    const { frame, codes } = await opened(path);
    expect(frame).toMatchObject({ format: 'jpeg', rows: { width: 37, height: 23 } });
    expect(codes).toContain('orientation-ignored');
    expect(frame.metadata).toMatchObject({
      exposureSeconds: 0.25,
      instrument: 'Invented Star Box',
      dateObs: '2026-01-02T03:04:05',
      gainElectronsPerAdu: null,
    });
  });
});

test('a colour profile is not applied', async () => {
  const tagged = sharp(fixture('pictures/rgb-8.png')).withIccProfile('p3');
  const { icc } = await sharp(await tagged.png().toBuffer()).metadata();
  const first = [0, 200, 30, 10, 90, 250, 3, 7, 8, 9];
  const second = [0, 255, 0, 1, 2, 3, 90, 90, 90, 1];
  const path = save(
    'profile.png',
    png(header(8, 2), [
      ['iCCP', Buffer.concat([Buffer.from('p\0\0'), deflateSync(icc as Buffer)])],
      ['IDAT', deflateSync(Uint8Array.from([...first, ...second]))],
    ]),
  );
  const { samples, codes } = await opened(path);
  expect(codes).toEqual(['profile-ignored']);
  expect([...samples]).toEqual([
    ...[200, 90, 7, 255, 2, 90],
    ...[30, 250, 8, 0, 3, 90],
    ...[10, 3, 9, 1, 90, 1],
  ]);
});

describe('names and content', () => {
  test.each([
    ['x.nef', 'rgb.jpg', 'called .nef, but the content is a JPEG picture'],
    ['x.FITS', 'rgb-8.png', 'called .fits, but the content is a PNG picture'],
    ['x.png', 'rgb.jpg', 'called .png, but the content is a JPEG picture'],
  ])('%s', async (name, source, words) => {
    const { frame } = await opened(save(name, picture(source)));
    const warning = frame.warnings.find(({ code }) => code === 'name-and-content');
    expect(warning?.message).toContain(words);
  });

  test.each(['x.jpeg', 'x.JPG', 'x', 'x.backup'])('%s is nothing to warn about', async (name) => {
    expect((await opened(save(name, picture('rgb.jpg')))).codes).toEqual([]);
  });

  test('brackets in a name are no options of the decoder', async () => {
    const { frame } = await opened(save('x.png[page=3]', picture('rgb-8.png')));
    expect(frame.format).toBe('png');
    expect((await opened(save('ständchen ★ [2].jpg', picture('rgb.jpg')))).codes).toEqual([]);
  });

  test('pictures are pictures to whoever looks through a folder', () => {
    expect(contentKind(fixture('pictures/rgb.jpg'))).toBe('picture');
    expect(contentKind(fixture('pictures/rgb-8.png'))).toBe('picture');
    expect(contentKind(fixture('tiff/u2-rgb-le.tif'))).toBe('frame');
  });
});
