/** TIFF files as frames: pages, notes, metadata, limits, and damage of every kind. Samples are compared in tests/reference. */
import { readdirSync, readFileSync } from 'node:fs';
import { deflateSync } from 'node:zlib';
import { describe, expect, test } from 'vitest';
import { FrameReadError, UnsupportedFormatError } from '../../src/errors.js';
import type { FrameOverrides } from '../../src/frame/frame.js';
import { openFrame } from '../../src/frame/open.js';
import { descriptionCards } from '../../src/frame/tiff/tiff-keywords.js';
import { fixture } from '../helpers/data-files.js';
import { temporaryFiles } from '../helpers/fits-bytes.js';
import { failure } from '../helpers/open-failure.js';
import { bigEndianDigest, wholeImage } from '../helpers/sample-digest.js';
import { changed, greyTags, type Tag, TYPE, tiffBytes } from '../helpers/tiff-bytes.js';

const save = temporaryFiles();

async function opened(path: string, overrides: FrameOverrides = {}) {
  const frame = await openFrame(path, { cfa: 'none', ...overrides });
  const samples = wholeImage(frame.rows);
  frame.rows.close();
  const codes = frame.warnings.map((warning) => warning.code);
  const message = (code: string) => frame.warnings.find((w) => w.code === code)?.message ?? '';
  return { frame, samples, codes, message };
}

const tiff = (name: string) => fixture(`tiff/${name}.tif`);

/** A 4 × 3 frame of 16 bits, with its tags changed. */
const DATA = Uint8Array.from({ length: 24 }, (_, i) => (i % 2 === 0 ? i / 2 : 0));
const NUMBERS = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11];
type Change = Parameters<typeof changed>[1];
const small = (...changes: Change[]) =>
  tiffBytes({ pages: [changed(greyTags(4, 3), ...changes)], data: DATA });

test('the frame that the damage below is done to', async () => {
  const { frame, samples, codes } = await opened(save('small.tif', small()));
  expect([...samples]).toEqual(NUMBERS);
  expect(codes).toEqual([]);
  expect(frame).toMatchObject({ format: 'tiff', layout: 'mono', typeMaximumAdu: 65535 });
  expect(frame.probablyProcessed).toBe(false);
});

test('8 bits in three colours are a finished picture, all else may come from a camera', async () => {
  for (const [name, processed] of [
    ['u1-rgb-le', true],
    ['u1-grey-le', false],
    ['u2-rgb-le', false],
    ['f4-rgb-le', false],
  ] as const) {
    expect((await opened(tiff(name))).frame.probablyProcessed).toBe(processed);
  }
});

test('the largest number of each type', async () => {
  for (const [type, maximum] of [
    ['u1', 255],
    ['i1', 127],
    ['u2', 65535],
    ['i2', 32767],
    ['u4', 2 ** 32 - 1],
    ['i4', 2 ** 31 - 1],
    ['f2', null],
    ['f4', null],
    ['f8', null],
  ] as const) {
    expect((await opened(tiff(`${type}-grey-le`))).frame.typeMaximumAdu).toBe(maximum);
  }
});

describe('pages', () => {
  test('the first by default, with a note; any other on request, without', async () => {
    const first = await opened(tiff('three-pages'));
    expect(first.codes).toEqual(['several-images']);
    expect(first.message('several-images')).toContain('3 pages');
    expect(first.message('several-images')).toContain('--page');
    const third = await opened(tiff('three-pages'), { page: 3 });
    expect(third.codes).toEqual([]);
    expect(third.frame.rows.sampleType).toBe('f32');
  });

  test('a page that does not exist', async () => {
    const error = await failure(tiff('three-pages'), { page: 4 });
    expect(error.code).toBe('no-such-page');
    expect(error.remedy).toContain('from 1 to 3');
    expect((await failure(tiff('u2-grey-le'), { page: 2 })).remedy).toContain('leave --page out');
  });

  test('reduced copies', async () => {
    const whole = await opened(tiff('reduced-copy'));
    expect(whole.message('several-images')).toContain('1 marked as reduced copies');
    expect((await opened(tiff('reduced-copy'), { page: 2 })).codes).toEqual(['reduced-copy']);
    const first = await opened(tiff('reduced-first'));
    expect(first.codes).toEqual(['reduced-copy', 'several-images']);
    expect((await opened(tiff('sub-image'))).codes).toEqual([]);
    // SubfileType, before TIFF 5.0: 2 is the reduced copy.
    const old = save('old.tif', small([255, TYPE.short, [2]]));
    expect((await opened(old)).codes).toEqual(['reduced-copy']);
  });
});

describe('what is not applied is told', () => {
  test.each([
    ['orientation-6', 'orientation-ignored', 'orientation 6'],
    ['profile', 'profile-ignored', 'as stored'],
    ['u2-rgba-unassalpha', 'extra-planes', 'alpha'],
    ['u2-rgba-assocalpha', 'extra-planes', 'already multiplied'],
    ['u2-grey-alpha', 'extra-planes', 'alpha'],
    ['u2-five-planes', 'extra-planes', '4 of 5 channels'],
    ['u2-white-is-zero', 'inverted', 'more light'],
  ])('%s', async (name, code, words) => {
    const { codes, message } = await opened(tiff(name));
    expect(codes).toEqual([code]);
    expect(message(code)).toContain(words);
  });
});

describe('metadata', () => {
  test('FITS cards in the description win over tags; a unitless gain stays out', async () => {
    const frame = await openFrame(tiff('cards'));
    frame.rows.close();
    expect(frame.metadata).toMatchObject({
      exposureSeconds: 12.5,
      instrument: 'invented camera',
      dateObs: '2026-01-02T03:04:05',
      gainElectronsPerAdu: null,
    });
    expect(frame.layout).toBe('cfa');
    expect(frame.cfa?.pattern).toBe('RGGB');
  });

  test('a description with any other line is a description', async () => {
    const { frame } = await opened(tiff('description'));
    expect(frame.metadata).toMatchObject({
      exposureSeconds: null,
      dateObs: '2026-02-03T04:05:06',
    });
  });

  test('make, model and Exif tags', async () => {
    const exif: Tag[] = [
      [33434, TYPE.rational, [5, 2]],
      [34855, TYPE.short, [800]],
      [36867, TYPE.ascii, '2026:03:04 05:06:07'],
      [37386, TYPE.rational, [400, 1]],
    ];
    const tags = (at: number) =>
      changed(
        greyTags(4, 3),
        [271, TYPE.ascii, 'Invented'],
        [272, TYPE.ascii, 'Invented Box\u001b[31m'],
        [306, TYPE.ascii, '2026:05:05 05:05:05'],
        [34665, TYPE.long, [at]],
      );
    const at = tiffBytes({ pages: [tags(0)], data: DATA }).length;
    const file = save('exif.tif', tiffBytes({ pages: [tags(at), exif], data: DATA }));
    const { frame } = await opened(file, { page: 1 });
    expect(frame.metadata).toMatchObject({
      exposureSeconds: 2.5,
      dateObs: '2026-03-04T05:06:07',
      focalLengthMm: 400,
      gainElectronsPerAdu: null,
      instrument: 'Invented Box\u001b[31m',
    });
    // An Exif directory outside the file spoils nothing.
    const broken = save('broken-exif.tif', tiffBytes({ pages: [tags(9e6)], data: DATA }));
    const { frame: other, samples } = await opened(broken);
    expect(other.metadata).toMatchObject({
      exposureSeconds: null,
      dateObs: '2026-05-05T05:05:05',
    });
    expect([...samples]).toEqual(NUMBERS);
  });

  test.each<[string, string, number | null]>([
    ['aligned cards', 'EXPTIME =                 30.0 / s', 30],
    ['cards without padding', 'EXPTIME = 30\nGAIN= 1', 30],
    ['comments and blank lines', "\nCOMMENT anything goes\nEXPTIME = 30\nOBJECT  = 'a'\nEND", 30],
    ['text behind END', 'EXPTIME = 30\nEND\nsome words', 30],
    ['prose', 'EXPTIME = 30\nno card', null],
    ['lower case', 'exptime = 30', null],
    ['a key of more than eight letters', 'EXPOSURETIME = 30', null],
    ['XML', '<?xml version="1.0"?>\n<OME EXPTIME = "3">', null],
    ['JSON', '{"EXPTIME": 30}', null],
    ['nothing', '', null],
    ['only comments', 'COMMENT x', null],
  ])('description: %s', (_name, text, exposure) => {
    const cards = descriptionCards(text);
    expect(cards?.find('EXPTIME')?.value ?? null).toBe(exposure);
    if (exposure === null) expect(cards).toBeNull();
  });
});

describe('tags that contradict each other or the file', () => {
  test.each<[string, Change[], string, string]>([
    ['no width', [[256, TYPE.long, null]], 'damaged', 'no × 3'],
    ['no height', [[257, TYPE.long, [0]]], 'damaged', '4 × 0'],
    ['no strips', [[273, TYPE.long, null]], 'damaged', 'where the samples are'],
    ['samples outside', [[273, TYPE.long, [5000]]], 'truncated', 'byte 5024'],
    ['a strip too short', [[279, TYPE.long, [23]]], 'damaged', '23 bytes'],
    ['fewer strips than rows need', [[278, TYPE.long, [1]]], 'damaged', '1 strips'],
    ['strips of no rows', [[278, TYPE.long, [0]]], 'damaged', '4 × 0'],
    ['a channel count of 0', [[277, TYPE.short, [0]]], 'damaged', '0 samples per pixel'],
    ['RGB of one channel', [[262, TYPE.short, [2]]], 'damaged', 'RGB'],
    ['an unknown arrangement', [[284, TYPE.short, [3]]], 'damaged', 'planar'],
    [
      'tiny tiles',
      [
        [322, TYPE.short, [1]],
        [323, TYPE.short, [1]],
      ],
      'damaged',
      '1 × 1',
    ],
    [
      'tiles of 4294967280 px',
      [
        [322, TYPE.long, [0xfffffff0]],
        [323, TYPE.long, [0xfffffff0]],
      ],
      'too-large',
      'limit',
    ],
    ['17 bits', [[258, TYPE.short, [17]]], 'unsupported-format', '17-bit'],
    ['unknown compression', [[259, TYPE.short, [77]]], 'unsupported-format', '77'],
    ['unknown colours', [[262, TYPE.short, [99]]], 'unsupported-format', '99'],
    ['unknown sample format', [[339, TYPE.short, [6]]], 'unsupported-format', 'complex'],
    ['reversed bits', [[266, TYPE.short, [2]]], 'unsupported-format', 'fill order'],
    [
      'a billion pixels',
      [
        [256, TYPE.long, [1e6]],
        [257, TYPE.long, [1e6]],
      ],
      'too-large',
      '1000000 × 1000000',
    ],
    [
      'signed and white is zero',
      [
        [262, TYPE.short, [0]],
        [339, TYPE.short, [2]],
      ],
      'unsupported-format',
      'zero white',
    ],
    [
      'a floating-point predictor for integers',
      [
        [259, TYPE.short, [8]],
        [317, TYPE.short, [3]],
      ],
      'damaged',
      'predictor',
    ],
    [
      'an unknown predictor',
      [
        [259, TYPE.short, [8]],
        [317, TYPE.short, [9]],
      ],
      'unsupported-format',
      'predictor',
    ],
    ['deflate that is none', [[259, TYPE.short, [8]]], 'damaged', 'strip 0'],
    [
      'compressed strips of no length',
      [
        [259, TYPE.short, [5]],
        [279, TYPE.long, null],
      ],
      'damaged',
      'how long',
    ],
  ])('%s', async (_name, changes, code, words) => {
    const error = await failure(save('bad.tif', small(...changes)));
    expect(error.code).toBe(code);
    expect(error.message).toContain(words);
    expect(error instanceof UnsupportedFormatError).toBe(code === 'unsupported-format');
  });

  test('channels of different kinds', async () => {
    const tags: Tag[] = changed(
      greyTags(2, 2, 8),
      [258, TYPE.short, [8, 8, 16]],
      [262, TYPE.short, [2]],
      [277, TYPE.short, [3]],
      [279, TYPE.long, [16]],
    );
    const path = save('mixed.tif', tiffBytes({ pages: [tags], data: DATA }));
    expect((await failure(path)).message).toContain('different bits (8,8,16)');
  });
});

describe('what old writers leave out', () => {
  test.each<[string, Change[]]>([
    ['no lengths of uncompressed strips', [[279, TYPE.long, null]]],
    ['no rows per strip', [[278, TYPE.long, null]]],
    ['rows per strip "infinite"', [[278, TYPE.long, [0xffffffff]]]],
    ['no samples per pixel', [[277, TYPE.short, null]]],
    ['no compression', [[259, TYPE.short, null]]],
    ['no photometric interpretation', [[262, TYPE.short, null]]],
    ['sample format "undefined"', [[339, TYPE.short, [4]]]],
    ['a predictor where none can be', [[317, TYPE.short, [2]]]],
  ])('%s', async (_name, changes) => {
    const { samples, codes } = await opened(save('old.tif', small(...changes)));
    expect([...samples]).toEqual(NUMBERS);
    expect(codes).toEqual([]);
  });
});

describe('cut files', () => {
  const names = readdirSync(fixture('tiff')).filter((_, i) => i % 12 === 0);
  test.each(names)('%s: whole, or refused', async (name) => {
    const path = fixture(`tiff/${name}`);
    const bytes = readFileSync(path);
    let whole = '';
    try {
      whole = bigEndianDigest((await opened(path)).samples);
    } catch (error) {
      expect(error).toBeInstanceOf(UnsupportedFormatError);
      return;
    }
    let refused = 0;
    for (const share of [0.001, 0.05, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.97, 0.999]) {
      const cut = save('cut.tif', bytes.subarray(0, Math.ceil(share * bytes.length)));
      try {
        expect(bigEndianDigest((await opened(cut)).samples)).toBe(whole);
      } catch (error) {
        expect(error).toBeInstanceOf(FrameReadError);
        expect((error as FrameReadError).remedy).not.toBe('');
        refused++;
      }
    }
    // Files of several pages hold the first one early.
    expect(refused).toBeGreaterThanOrEqual(/three|reduced|sub/.test(name) ? 4 : 7);
  });
});

describe('limits', () => {
  /** One deflate strip of zeros. */
  function bomb(width: number, height: number, claimed: number): Buffer {
    const data = deflateSync(new Uint8Array(claimed));
    const tags = changed(
      greyTags(width, height),
      [259, TYPE.short, [8]],
      [279, TYPE.long, [data.length]],
    );
    return tiffBytes({ pages: [tags], data });
  }

  test('a small file that unpacks to more than allowed', async () => {
    const path = save('bomb.tif', bomb(6000, 6000, 72_000_000));
    const error = await failure(path, { maxBytes: 50_000_000 });
    expect(error.code).toBe('too-large');
    expect(error.remedy).toContain('--max-bytes');
    expect((await failure(path, { maxPixels: 35_999_999 })).remedy).toContain('--max-pixels');
  });

  test('a strip that unpacks to more than its pixels', async () => {
    const error = await failure(save('fat.tif', bomb(10, 10, 20_000_000)));
    expect(error.code).toBe('damaged');
    expect(error.message).toContain('strip 0');
  });

  test('rows read straight from the file need no memory', async () => {
    const path = tiff('u2-rgb-le');
    const frame = await openFrame(path, { maxBytes: 1 });
    frame.rows.close();
    expect((await failure(tiff('u2-rgb-lzw-p2'), { maxBytes: 100 })).code).toBe('too-large');
  });
});

test('rows of a closed frame, and windows outside', async () => {
  for (const name of ['u2-rgb-le', 'u2-grey-be', 'u2-grey-lzw-p2']) {
    const { rows } = await openFrame(tiff(name));
    const out = new Uint16Array(rows.width);
    expect(() => rows.readRows(0, rows.height, 1, out)).toThrow(RangeError);
    expect(() => rows.readRows(0, 0, 2, out)).toThrow(RangeError);
    expect(() => rows.readRows(0, 0, 1, new Float32Array(rows.width))).toThrow(RangeError);
    rows.close();
    expect(() => rows.readRows(0, 0, 1, out)).toThrow();
  }
});
