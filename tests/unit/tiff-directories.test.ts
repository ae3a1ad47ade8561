/** Directories of TIFF files: values of all types, chains, and everything that a damaged file can claim. */
import { describe, expect, test } from 'vitest';
import { FrameReadError } from '../../src/errors.js';
import { memoryFile } from '../../src/frame/file.js';
import { readDirectories, type TiffDirectory } from '../../src/frame/tiff/ifd.js';
import { type Tag, type TiffFile, TYPE, tiffBytes } from '../helpers/tiff-bytes.js';

const read = (file: TiffFile) => readDirectories(memoryFile('x.tif', tiffBytes(file)));
const readBytes = (bytes: Uint8Array) => readDirectories(memoryFile('x.tif', bytes));

function fault(action: () => unknown): FrameReadError {
  try {
    action();
  } catch (error) {
    expect(error).toBeInstanceOf(FrameReadError);
    return error as FrameReadError;
  }
  throw new Error('nothing was thrown');
}

describe.each([
  ['II', true, false],
  ['MM', false, false],
  ['II, BigTIFF', true, true],
  ['MM, BigTIFF', false, true],
])('%s', (_name, little, big) => {
  const tags: Tag[] = [
    [256, TYPE.long, [70_000]],
    [258, TYPE.short, [16, 17, 18]],
    [270, TYPE.ascii, 'a star\0and more'],
    [282, TYPE.rational, [300, 7, 0, 0]],
    [700, TYPE.byte, [1, 2, 3]],
    [701, TYPE.float, [0.5, -2]],
  ];
  const [page] = read({ pages: [tags], little, big }) as [TiffDirectory];

  test('values, in place and elsewhere', () => {
    expect(page.littleEndian).toBe(little);
    expect(page.number(256)).toBe(70_000);
    expect(page.numbers(258)).toEqual([16, 17, 18]);
    expect(page.number(258)).toBe(16);
    expect(page.numbers(282)).toEqual([300 / 7, Number.NaN]);
    expect(page.numbers(700)).toEqual([1, 2, 3]);
    expect(page.numbers(701)).toEqual([0.5, -2]);
    expect(page.text(270)).toBe('a star');
  });

  test('what is not there, or of another kind, is null', () => {
    expect(page.has(999)).toBe(false);
    expect(page.number(999)).toBeNull();
    expect(page.text(999)).toBeNull();
    expect(page.numbers(270)).toBeNull();
    expect(page.text(256)).toBeNull();
    expect(page.exif()).toBeNull();
    expect(page.subDirectories()).toEqual([]);
  });

  test('pages in their order', () => {
    const pages = read({
      pages: [1, 2, 3].map((n) => [[256, TYPE.short, [n]] as Tag]),
      little,
      big,
    });
    expect(pages.map((p) => p.number(256))).toEqual([1, 2, 3]);
  });
});

test('signed values and 8-byte offsets', () => {
  // Little-endian BigTIFF with SSHORT −2 (type 8), SLONG −3 (9), LONG8 2^40 (16).
  const entry = (tag: number, type: number, value: bigint) => {
    const bytes = Buffer.alloc(20);
    bytes.writeUInt16LE(tag, 0);
    bytes.writeUInt16LE(type, 2);
    bytes.writeBigUInt64LE(1n, 4);
    bytes.writeBigUInt64LE(BigInt.asUintN(64, value), 12);
    return bytes;
  };
  const head = Buffer.from('49492b000800000010000000000000000300000000000000', 'hex');
  const [page] = readBytes(
    Buffer.concat([head, entry(1, 8, -2n), entry(2, 9, -3n), entry(3, 16, 1n << 40n)]),
  ) as [TiffDirectory];
  expect(page.number(1)).toBe(-2);
  expect(page.number(2)).toBe(-3);
  expect(page.number(3)).toBe(2 ** 40);
});

test('text: UTF-8, else Latin-1', () => {
  const bytes = (text: string, encoding: 'utf8' | 'latin1') => [...Buffer.from(text, encoding)];
  const [page] = read({
    pages: [
      [
        [270, TYPE.byte, bytes('größe ★', 'utf8')],
        [271, TYPE.byte, bytes('größe', 'latin1')],
      ],
    ],
  }) as [TiffDirectory];
  expect(page.text(270)).toBe('größe ★');
  expect(page.text(271)).toBe('größe');
});

describe('sub-images and Exif', () => {
  // The directory of the second page stands behind the first; both are reached through tags here.
  const inner: Tag[] = [[33434, TYPE.rational, [1, 4]]];
  const first = (at: number): Tag[] => [
    [256, TYPE.short, [5]],
    [330, TYPE.long, [at]],
    [34665, TYPE.long, [at]],
  ];
  const at = tiffBytes({ pages: [first(0)] }).length;

  test('both are read when asked for, any number of times', () => {
    const bytes = tiffBytes({ pages: [first(at), inner] });
    const [page] = readBytes(bytes) as [TiffDirectory];
    expect(page.exif()?.numbers(33434)).toEqual([0.25]);
    expect(page.subDirectories().map((sub) => sub.number(33434))).toEqual([0.25]);
    expect(page.subDirectories()).toHaveLength(1);
  });

  test('outside the file, or one that follows itself', () => {
    const [page] = read({ pages: [first(1_000_000)] }) as [TiffDirectory];
    expect(page.number(256)).toBe(5);
    expect(fault(() => page.exif()).code).toBe('truncated');
    expect(fault(() => page.subDirectories()).code).toBe('truncated');
    const loop = tiffBytes({ pages: [first(at), inner], next: at });
    // The page chain goes first → inner → inner …
    expect(fault(() => readBytes(loop)).message).toContain('loop');
  });
});

describe('damage', () => {
  test.each<[string, string, string]>([
    ['too short for a header', '49492a00', 'truncated'],
    ['no page', '49492a0000000000', 'damaged'],
    ['first directory outside', '49492a00ff000000', 'truncated'],
    ['a directory of no entries', '49492a00080000000000', 'damaged'],
    ['a directory of 65535 entries', '49492a0008000000ffff', 'damaged'],
    ['BigTIFF with offsets of 4 bytes', '49492b00040000001000000000000000', 'damaged'],
    ['BigTIFF that ends early', '49492b0008000000100000', 'truncated'],
    ['another kind of file', '49492c0008000000', 'damaged'],
  ])('%s', (_name, hex, code) => {
    expect(fault(() => readBytes(Buffer.from(hex, 'hex'))).code).toBe(code);
  });

  test('a chain that closes on itself', () => {
    const error = fault(() => read({ pages: [[[256, TYPE.short, [1]]]], next: 8 }));
    expect(error.code).toBe('damaged');
    expect(error.message).toContain('loop');
    expect(error.path).toBe('x.tif');
    expect(error.remedy).not.toBe('');
  });

  test('a chain of more pages than anyone has', () => {
    const pages = Array.from({ length: 10_001 }, () => [[256, TYPE.short, [1]] as Tag]);
    expect(fault(() => read({ pages })).message).toContain('more than 10000');
  });

  test('values outside the file or absurdly many do harm only when asked for', () => {
    const bytes = tiffBytes({
      pages: [
        [
          [256, TYPE.short, [1]],
          [273, TYPE.long, [1, 2, 3]],
          [274, TYPE.long, [1, 2, 3]],
        ],
      ],
    });
    // Entries are 12 bytes from byte 10 on: the offset of the second, the count of the third.
    bytes.writeUInt32LE(0xfffffff0, 10 + 12 + 8);
    bytes.writeUInt32LE(0xfffffff0, 10 + 24 + 4);
    const [page] = readBytes(bytes) as [TiffDirectory];
    expect(page.number(256)).toBe(1);
    expect(fault(() => page.numbers(273)).code).toBe('truncated');
    expect(fault(() => page.number(273)).code).toBe('truncated');
    expect(fault(() => page.numbers(274)).message).toContain('4294967280 values');
  });

  test('a file that ends behind the last entry has one page', () => {
    const bytes = tiffBytes({ pages: [[[256, TYPE.short, [7]]]] });
    expect(readBytes(bytes.subarray(0, -4)).map((page) => page.number(256))).toEqual([7]);
  });
});
