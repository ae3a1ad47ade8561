/** The parts of the camera raw reader that can be worked out by hand: mosaic order and level of no light. */
import { describe, expect, test } from 'vitest';
import { type Area, blackOfMargin, blackOfTags, pixelNoise } from '../../src/frame/raw/levels.js';
import { mosaicOfDecoder, mosaicOfTags, shiftPattern } from '../../src/frame/raw/mosaic.js';
import { wallClock } from '../../src/frame/raw/raw-tags.js';

describe('mosaic order', () => {
  test.each([
    // Two bits per site: 0 R, 1 G, 2 B, 3 second G. R G / G2 B = 0 | 1 << 2 | 3 << 4 | 2 << 6 = 0xb4.
    [0xb4b4b4b4, 'RGGB'],
    // B G2 / G R = 2 | 3 << 2 | 1 << 4 | 0 << 6 = 0x1e.
    [0x1e1e1e1e, 'BGGR'],
    // G R / B G2 = 1 | 0 << 2 | 2 << 4 | 3 << 6 = 0xe1; G B / R G2 = 1 | 2 << 2 | 0 << 4 | 3 << 6 = 0xc9.
    [0xe1e1e1e1, 'GRBG'],
    [0xc9c9c9c9, 'GBRG'],
    // The decoder's number is signed in some builds.
    [0xb4b4b4b4 | 0, 'RGGB'],
  ])('bit field %s of the decoder is %s', (filters, pattern) => {
    expect(mosaicOfDecoder(filters, 'RGBG')).toEqual({ kind: 'pattern', pattern });
  });

  test('other mosaics of the decoder are named, not guessed', () => {
    expect(mosaicOfDecoder(0, 'RGBG')).toEqual({ kind: 'none' });
    expect(mosaicOfDecoder(9, 'RGBG')).toMatchObject({ kind: 'other' });
    expect(mosaicOfDecoder(1, 'RGBG')).toMatchObject({ kind: 'other' });
    // The cells of the rows 0–1 and 2–3 differ.
    expect(mosaicOfDecoder(0xe1b4e1b4, 'RGBG')).toMatchObject({ kind: 'other' });
    expect(mosaicOfDecoder(0x28282828, 'GMCY')).toMatchObject({ kind: 'other' });
  });

  test('tags: repeats are unrolled, others named', () => {
    expect(mosaicOfTags(2, 2, [1, 2, 0, 1])).toEqual({ kind: 'pattern', pattern: 'GBRG' });
    expect(mosaicOfTags(2, 4, [0, 1, 0, 1, 1, 2, 1, 2])).toEqual({
      kind: 'pattern',
      pattern: 'RGGB',
    });
    expect(mosaicOfTags(1, 1, [1])).toEqual({ kind: 'none' });
    expect(mosaicOfTags(4, 2, [0, 1, 1, 2, 1, 0, 2, 1])).toMatchObject({ description: '2 x 4' });
    expect(mosaicOfTags(2, 2, [3, 5, 1, 4])).toMatchObject({ description: 'of the colours CYGM' });
    expect(mosaicOfTags(2, 2, [0, 0, 1, 2])).toMatchObject({ kind: 'other' });
    expect(mosaicOfTags(2, 2, [0, 1, 1])).toMatchObject({ kind: 'other' });
    expect(mosaicOfTags(0, 0, [])).toMatchObject({ kind: 'other' });
  });

  test('a row or column further on', () => {
    // R G / G B, seen from (1, 0): G R / B G; from (0, 1): G B / R G; from (1, 1): B G / G R.
    expect(shiftPattern('RGGB', 1, 0)).toBe('GRBG');
    expect(shiftPattern('RGGB', 0, 1)).toBe('GBRG');
    expect(shiftPattern('RGGB', -1, -1)).toBe('BGGR');
    expect(shiftPattern('GBRG', 2, -4)).toBe('GBRG');
  });
});

describe('level of no light from tags', () => {
  const none = { deltaColumns: [], deltaRows: [] };
  test('one level for all, and one per site', () => {
    const one = { rows: 1, columns: 1, levels: [512], ...none };
    expect(blackOfTags(one)).toEqual([512, 512, 512, 512]);
    const four = { rows: 2, columns: 2, levels: [500, 510, 520, 530], ...none };
    expect(blackOfTags(four)).toEqual([500, 510, 520, 530]);
    const rows = { rows: 2, columns: 1, levels: [500, 600], ...none };
    expect(blackOfTags(rows)).toEqual([500, 500, 600, 600]);
  });
  test('a period of three meets every site equally', () => {
    const three = { rows: 1, columns: 3, levels: [3, 6, 9], ...none };
    expect(blackOfTags(three)).toEqual([6, 6, 6, 6]);
  });
  test('what is added per column and row counts with its own site', () => {
    // Columns 0, 2 add 1 and 3, mean 2; column 1 adds 10; rows 0 and 1 add 100 and 200.
    const tags = {
      rows: 1,
      columns: 1,
      levels: [50],
      deltaColumns: [1, 10, 3],
      deltaRows: [100, 200],
    };
    expect(blackOfTags(tags)).toEqual([152, 160, 252, 260]);
  });
  test('incomplete or impossible levels are none', () => {
    expect(blackOfTags({ rows: 2, columns: 2, levels: [1, 2, 3], ...none })).toBeNull();
    expect(blackOfTags({ rows: 0, columns: 1, levels: [1], ...none })).toBeNull();
    expect(blackOfTags({ rows: 1, columns: 1, levels: [Number.NaN], ...none })).toBeNull();
  });
});

describe('level of no light from the margin', () => {
  const WIDTH = 200;
  const HEIGHT = 120;
  const visible: Area = { top: 0, left: 41, bottom: HEIGHT, right: WIDTH };

  function frame(dark: readonly number[], light: number) {
    const samples = new Uint16Array(WIDTH * HEIGHT);
    for (let y = 0; y < HEIGHT; y++) {
      for (let x = 0; x < WIDTH; x++) {
        const site = 2 * (y % 2) + ((x + 41) % 2);
        const scatter = ((x * 31 + y * 57) % 9) - 4;
        samples[y * WIDTH + x] = (x < 41 ? (dark[site] as number) : light) + scatter;
      }
    }
    return { samples, width: WIDTH, height: HEIGHT };
  }

  test('a dark margin gives the level of each site, counted from the visible area', () => {
    const found = blackOfMargin(frame([500, 520, 540, 560], 900), visible, []);
    expect(found).toEqual([500, 520, 540, 560]);
  });
  test('a margin as bright as the pixels beside it is none', () => {
    expect(blackOfMargin(frame([900, 900, 900, 900], 900), visible, [])).toBeNull();
  });
  test('a margin of a few columns is none', () => {
    const narrow = { ...visible, left: 20 };
    expect(blackOfMargin(frame([500, 500, 500, 500], 900), narrow, [])).toBeNull();
  });
  test('areas that the file calls masked are believed', () => {
    const masked = [{ top: 0, left: 2, bottom: HEIGHT, right: 36 }];
    const found = blackOfMargin(frame([900, 900, 900, 900], 900), visible, masked);
    expect(found).toEqual([900, 900, 900, 900]);
  });
  test('the noise of a pixel against the next of its colour', () => {
    const samples = new Uint16Array(WIDTH * HEIGHT);
    // Pairs of a colour differ by 10 always: MAD scale 1.4826 × 10 / √2 = 10.484.
    for (let i = 0; i < samples.length; i++) samples[i] = 100 + (((i % WIDTH) >> 1) % 2) * 10;
    const noise = pixelNoise({ samples, width: WIDTH, height: HEIGHT }, visible);
    expect(noise).toBeCloseTo(10.484, 3);
  });
});

test('the clock of the camera comes back from seconds of local time, whatever the zone of this machine', () => {
  const local = new Date(2026, 10, 20, 21, 2, 3);
  expect(wallClock(local.getTime() / 1000)).toBe('2026-11-20T21:02:03');
  expect(wallClock(0)).toBeNull();
});
