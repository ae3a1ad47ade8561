/** Camera raw files that are invented and small: what is told about them, and what is refused with which words. */
import { describe, expect, test, vi } from 'vitest';
import { FrameReadError, UnsupportedFormatError } from '../../src/errors.js';
import { closeFile, openFile } from '../../src/frame/file.js';
import type { FrameOverrides } from '../../src/frame/frame.js';
import { contentKind, openFrame } from '../../src/frame/open.js';
import { decodeRaw } from '../../src/frame/raw/decoder.js';
import { recognisesRaw } from '../../src/frame/raw/recognise.js';
import { type DngContent, dngBytes } from '../helpers/dng-bytes.js';
import { temporaryFiles } from '../helpers/fits-bytes.js';

const write = temporaryFiles();
/** Each file starts a thread: 0.2 s on an idle machine, seconds on an overloaded one. */
vi.setConfig({ testTimeout: 30_000 });
const WIDTH = 120;
const HEIGHT = 90;

/** Levels far apart by site, with a scatter of ±4: red 900, green 1500, blue 700. */
function samples(pattern: readonly number[] = [0, 1, 1, 2]): Uint16Array {
  const levels = [900, 1500, 700];
  return Uint16Array.from({ length: WIDTH * HEIGHT }, (_, i) => {
    const x = i % WIDTH;
    const y = Math.floor(i / WIDTH);
    const level = levels[pattern[2 * (y % 2) + (x % 2)] as number] as number;
    return level + ((x * 31 + y * 57 + x * y) % 9) - 4;
  });
}

function dng(content: Partial<DngContent> = {}): Uint8Array {
  return dngBytes({ width: WIDTH, height: HEIGHT, samples: samples(), ...content });
}

async function open(content: Partial<DngContent>, overrides: FrameOverrides = {}) {
  const frame = await openFrame(write('frame.dng', dng(content)), overrides);
  frame.rows.close();
  return { ...frame, codes: frame.warnings.map((warning) => warning.code) };
}

async function failure(bytes: Uint8Array, overrides: FrameOverrides = {}): Promise<FrameReadError> {
  const path = write('fault.dng', bytes);
  const error = await openFrame(path, overrides).then(
    () => null,
    (reason: unknown) => reason,
  );
  expect(error).toBeInstanceOf(FrameReadError);
  expect((error as FrameReadError).path).toBe(path);
  expect((error as FrameReadError).remedy).not.toBe('');
  return error as FrameReadError;
}

describe('what a file tells', () => {
  test('exposure, date, camera', async () => {
    const { metadata, codes } = await open({
      place: 'sub',
      make: 'Invented Optics',
      model: 'Invented Optics Star Box One',
      exif: { exposure: [1, 4], iso: 1600, date: '2026:11:20 21:22:23', subSecond: '25' },
    });
    expect(metadata).toMatchObject({
      exposureSeconds: 0.25,
      dateObs: '2026-11-20T21:22:23.25',
      instrument: 'Invented Optics Star Box One',
      focalLengthMm: null,
      apertureMm: null,
      isoSpeed: 1600,
      // ISO is a setting, not electrons per ADU.
      gainElectronsPerAdu: null,
      saturationAdu: 65535,
      pedestalAdu: null,
    });
    expect(codes).toEqual([]);
  });

  test('focal length and aperture are taken, and said to come from the file', async () => {
    const exif = { focalLength: [480, 1], fNumber: [6, 1] } as const;
    const { metadata, codes } = await open({ exif });
    expect(metadata).toMatchObject({ focalLengthMm: 480, apertureMm: 80 });
    expect(codes).toEqual(['lens-from-file']);
    const given = await open({ exif }, { focalLengthMm: 500, apertureMm: 100 });
    expect(given.metadata).toMatchObject({ focalLengthMm: 500, apertureMm: 100 });
    expect(given.codes).toEqual([]);
  });

  test('zeros, quotients by zero and an unset clock are silence', async () => {
    const { metadata, codes } = await open({
      exif: {
        exposure: [0, 0],
        focalLength: [0, 1],
        fNumber: [0, 1],
        date: '0000:00:00 00:00:00',
      },
    });
    expect(metadata).toMatchObject({
      exposureSeconds: null,
      focalLengthMm: null,
      apertureMm: null,
      dateObs: null,
    });
    expect(codes).toEqual([]);
  });

  test('level of no light and white level', async () => {
    const black = { rows: 1, columns: 1, levels: [512] };
    const { metadata, codes } = await open({ black, white: 16000 });
    expect(metadata).toMatchObject({ pedestalAdu: 512, saturationAdu: 16000 });
    expect(codes).toEqual([]);
  });

  test('a level for each site: the mean, and a warning where they differ by more than the noise', async () => {
    const black = { rows: 2, columns: 2, levels: [500, 510, 520, 570] };
    const { metadata, warnings, codes } = await open({ black });
    expect(metadata.pedestalAdu).toBe(525);
    expect(codes).toEqual(['pedestals-differ']);
    expect(warnings[0]?.message).toContain('500, 510, 520, 570');
    // The scatter of the samples is ±4: levels within 1 ADU are alike.
    const alike = await open({ black: { rows: 2, columns: 2, levels: [500, 501, 500, 501] } });
    expect(alike.metadata.pedestalAdu).toBe(500.5);
    expect(alike.codes).toEqual([]);
  });

  test('instructions to correct samples are left out, and that is said', async () => {
    const extra = [{ tag: 51008, bytes: new Uint8Array(8) }];
    expect((await open({ extra })).codes).toEqual(['corrections-left-out']);
  });

  test('the mosaic option wins; a mono frame stays mono', async () => {
    const { cfa } = await open({}, { cfa: 'BGGR' });
    expect(cfa).toMatchObject({ pattern: 'BGGR', source: 'option' });
    const flat = new Uint16Array(WIDTH * HEIGHT).fill(900);
    const mono = await open({ photometric: 'linear', samples: flat });
    expect(mono).toMatchObject({ layout: 'mono', cfa: null });
    expect((await open({}, { cfa: 'none' })).layout).toBe('mono');
  });
});

describe('what is refused', () => {
  const six = [1, 2, 1, 1, 0, 1, 0, 1, 0, 2, 1, 2, 1, 2, 1, 1, 0, 1];
  test.each<[string, Partial<DngContent>, RegExp]>([
    [
      'a mosaic of 6 × 6',
      { pattern: { rows: 6, columns: 6, colours: [...six, ...six.map((c) => (4 - c) % 3)] } },
      /mosaic 6 x 6/,
    ],
    [
      'cyan, yellow, green, magenta',
      { pattern: { rows: 2, columns: 2, colours: [3, 5, 1, 4] }, planeColours: [3, 5, 1, 4] },
      /colours CYGM/,
    ],
    [
      'a mosaic of 4 rows',
      { pattern: { rows: 4, columns: 2, colours: [0, 1, 1, 2, 1, 0, 2, 1] } },
      /mosaic 2 x 4/,
    ],
    [
      'interpolated colours',
      { photometric: 'linear', planes: 3, samples: new Uint16Array(WIDTH * HEIGHT * 3) },
      /demosaiced/,
    ],
    ['floating point', { sampleFormat: 3 }, /floating-point/],
  ])('%s', async (_, content, words) => {
    const error = await failure(dng(content));
    expect(error).toBeInstanceOf(UnsupportedFormatError);
    expect(error.message).toMatch(words);
  });

  test.each([
    [34892, /lossy/],
    [52546, /JPEG XL/],
  ])('compression %i', async (compression, words) => {
    const bytes = Buffer.from(dng());
    // Entry of tag 259 (SHORT, one value) in little-endian order.
    const entry = bytes.indexOf(Buffer.from([0x03, 0x01, 3, 0, 1, 0, 0, 0]));
    expect(entry).toBeGreaterThan(0);
    bytes.writeUInt16LE(compression, entry + 8);
    expect((await failure(bytes)).message).toMatch(words);
  });

  test('more pixels or bytes than allowed', async () => {
    expect((await failure(dng(), { maxPixels: 10_000 })).code).toBe('too-large');
    expect((await failure(dng(), { maxBytes: 20_000 })).code).toBe('too-large');
  });

  test('samples that reach beyond the end of the file', async () => {
    const bytes = Buffer.from(dng());
    // Entry of StripByteCounts (279, LONG, one value): more than the file holds.
    const entry = bytes.indexOf(Buffer.from([0x17, 0x01, 4, 0, 1, 0, 0, 0]));
    expect(entry).toBeGreaterThan(0);
    bytes.writeUInt32LE(2 * WIDTH * HEIGHT + 100_000, entry + 8);
    const error = await failure(bytes);
    expect(error.code).toBe('truncated');
    expect(error.message).toContain(`ends at ${bytes.length}`);
  });

  test('an active area beyond the raw one', async () => {
    const error = await failure(dng({ activeArea: [0, 0, HEIGHT + 2, WIDTH] }));
    expect(error.code).toBe('damaged');
  });

  test('compressed samples that are damaged in the middle', async () => {
    const bytes = dng({ compression: 'lossless-jpeg' });
    for (let i = 2000; i < 2100; i++) bytes[i] = i % 2 ? 0xff : 0xd9;
    const error = await failure(bytes);
    expect(error.code).toBe('damaged');
    expect(error.message).toContain('data corrupted');
  });

  test('decoding that takes too long is stopped', async () => {
    const bytes = new Uint8Array(dng());
    const started = performance.now();
    await expect(decodeRaw('slow.dng', bytes, () => {}, 1e-6)).rejects.toMatchObject({
      code: 'too-slow',
    });
    expect(performance.now() - started).toBeLessThan(5000);
  });
});

describe('content decides', () => {
  function recognised(bytes: Uint8Array): boolean {
    const file = openFile(write('some.nef', bytes));
    try {
      return recognisesRaw(bytes.subarray(0, 512), file);
    } finally {
      closeFile(file);
    }
  }
  const latin1 = (text: string) => Buffer.concat([Buffer.from(text, 'latin1'), Buffer.alloc(64)]);

  test('a JPEG called .nef is no camera raw file', () => {
    expect(recognised(Buffer.from('ffd8ffe000104a46494600010100000100010000ffd9', 'hex'))).toBe(
      false,
    );
  });
  test('a DNG called .jpg is one', async () => {
    const frame = await openFrame(write('stars.jpg', dng()));
    frame.rows.close();
    expect(frame.format).toBe('raw');
  });
  test('a plain TIFF, a HEIF picture and a damaged TIFF are none', () => {
    expect(recognised(latin1('II*\0\x08\0\0\0\0\0'))).toBe(false);
    expect(recognised(latin1('\0\0\0\x18ftypheic'))).toBe(false);
    expect(recognised(latin1('MM\0*\xff\xff\xff\xff'))).toBe(false);
  });
  test('signatures of other makers', () => {
    expect(recognised(latin1('\0\0\0\x18ftypcrx '))).toBe(true);
    expect(recognised(latin1('FUJIFILMCCD-RAW 0201'))).toBe(true);
    expect(recognised(latin1('II*\0\x10\0\0\0CR\x02\0'))).toBe(true);
    expect(recognised(latin1('IIU\0\x08\0\0\0'))).toBe(true);
  });
  test('a signature without a file behind it is refused as damaged', async () => {
    const path = write('empty.cr3', latin1('\0\0\0\x18ftypcrx '));
    await expect(openFrame(path)).rejects.toMatchObject({ code: 'damaged' });
    expect(contentKind(path)).toBe('frame');
  });
});
