/** Synthetic camera raw files of many kinds, all invented: for the frozen values of fixtures/reference/raw.ts and for the tests.
 * The truth is known twice: what was written, and what libraw's own tool unpacked from it.
 */
import type { Area } from '../../src/frame/raw/levels.js';
import { type DngContent, dngBytes } from './dng-bytes.js';

/** Raw area of all cases, px. */
export const RAW_WIDTH = 150;
const RAW_HEIGHT = 110;

/** One file. */
export interface RawCase {
  name: string;
  content: DngContent;
  visible: Area;
  /** The order from the first visible pixel on; null for mono. */
  pattern: 'RGGB' | 'BGGR' | 'GRBG' | 'GBRG' | null;
}

const LETTERS = { R: 0, G: 1, B: 2 } as const;

function coloursOf(pattern: string): number[] {
  return [...pattern].map((letter) => LETTERS[letter as 'R' | 'G' | 'B']);
}

/** Levels of red, green and blue in the light: far apart, so that a wrong order shows. */
const LIGHT = { R: 2600, G: 4100, B: 1700 } as const;
const DARK = 600;

/** A mosaic of the order `pattern` from the area's first pixel on, dark outside, with a fixed made-up scatter of ±31. */
function mosaicSamples(pattern: string, area: Area, largest = 65535): Uint16Array {
  const samples = new Uint16Array(RAW_WIDTH * RAW_HEIGHT);
  for (let y = 0; y < RAW_HEIGHT; y++) {
    for (let x = 0; x < RAW_WIDTH; x++) {
      const lit = x >= area.left && x < area.right && y >= area.top && y < area.bottom;
      const site = 2 * ((y + area.top) % 2) + ((x + area.left) % 2);
      const level = lit ? LIGHT[pattern[site] as 'R' | 'G' | 'B'] : DARK;
      const scatter = ((x * 7919 + y * 104_729 + x * y * 31) % 63) - 31;
      samples[y * RAW_WIDTH + x] = Math.min(largest, level + scatter);
    }
  }
  // The ends of the range, and steps between them, which lossless compression finds hardest.
  const at = (area.top + 20) * RAW_WIDTH + area.left + 20;
  samples.set([0, largest, 0, largest >> 1, largest, 1], at);
  return samples;
}

const WHOLE: Area = { top: 0, left: 0, bottom: RAW_HEIGHT, right: RAW_WIDTH };
const size = { width: RAW_WIDTH, height: RAW_HEIGHT };

function mosaicCase(
  name: string,
  pattern: 'RGGB' | 'BGGR' | 'GRBG' | 'GBRG',
  area: Area,
  more: Partial<DngContent> = {},
): RawCase {
  const largest = 2 ** (more.bits ?? 16) - 1;
  const samples = mosaicSamples(pattern, area, largest);
  const repeat = { rows: 2, columns: 2, colours: coloursOf(pattern) };
  const { top, left, bottom, right } = area;
  const activeArea = area === WHOLE ? {} : { activeArea: [top, left, bottom, right] as const };
  return {
    name,
    content: { ...size, samples, pattern: repeat, ...activeArea, ...more },
    visible: area,
    pattern,
  };
}

const MARGINS: Area = { top: 8, left: 32, bottom: 108, right: 148 };
const ODD_MARGINS: Area = { top: 5, left: 31, bottom: 106, right: 146 };

/** Every kind that must be read exactly. */
export const RAW_CASES: readonly RawCase[] = [
  mosaicCase('rggb-16', 'RGGB', WHOLE),
  mosaicCase('bggr-16-big-endian', 'BGGR', WHOLE, { bigEndian: true }),
  mosaicCase('grbg-14-packed', 'GRBG', WHOLE, { bits: 14 }),
  mosaicCase('gbrg-12-packed-big-endian', 'GBRG', WHOLE, { bits: 12, bigEndian: true }),
  mosaicCase('rggb-10-packed', 'RGGB', WHOLE, { bits: 10 }),
  mosaicCase('margins', 'RGGB', MARGINS, { place: 'sub' }),
  mosaicCase('margins-odd-rggb', 'RGGB', ODD_MARGINS),
  mosaicCase('margins-odd-gbrg', 'GBRG', ODD_MARGINS, { bigEndian: true, place: 'sub' }),
  mosaicCase('margins-odd-column', 'BGGR', { ...MARGINS, left: 33 }),
  mosaicCase('margins-odd-row', 'GRBG', { ...MARGINS, top: 7 }),
  mosaicCase('lossless-jpeg', 'RGGB', MARGINS, { compression: 'lossless-jpeg' }),
  mosaicCase('lossless-jpeg-big-endian', 'BGGR', ODD_MARGINS, {
    compression: 'lossless-jpeg',
    bigEndian: true,
    place: 'sub',
  }),
  mosaicCase('lossless-jpeg-tiles', 'GRBG', WHOLE, { compression: 'lossless-jpeg-tiles' }),
  mosaicCase('turned', 'GBRG', WHOLE, { orientation: 6 }),
  mosaicCase('repeat-4-rows', 'RGGB', WHOLE, {
    pattern: { rows: 4, columns: 4, colours: [0, 1, 0, 1, 1, 2, 1, 2, 0, 1, 0, 1, 1, 2, 1, 2] },
  }),
  {
    name: 'mono',
    content: { ...size, samples: mosaicSamples('GGGG', MARGINS), photometric: 'linear' },
    visible: WHOLE,
    pattern: null,
  },
  {
    name: 'mono-margins',
    content: {
      ...size,
      samples: mosaicSamples('GGGG', ODD_MARGINS),
      photometric: 'linear',
      activeArea: [5, 31, 106, 146],
      compression: 'lossless-jpeg',
    },
    visible: ODD_MARGINS,
    pattern: null,
  },
  mosaicCase('linearisation', 'RGGB', WHOLE, {
    bits: 12,
    linearisation: Array.from({ length: 4096 }, (_, i) => Math.min(65535, 7 + 3 * i)),
    white: 12000,
  }),
  mosaicCase('no-dng-version', 'RGGB', WHOLE, { dngVersion: false }),
];

/** The bytes of a case. */
export function rawBytes({ content }: RawCase): Uint8Array {
  return dngBytes(content);
}
