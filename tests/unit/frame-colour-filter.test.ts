/** The mosaic: header forms, offsets, row order, and what the pixels can and cannot say. */
import { describe, expect, test } from 'vitest';
import { decideColourFilter } from '../../src/frame/colour-filter.js';
import { FitsHeader } from '../../src/frame/fits/header.js';
import type { CfaPattern, RowSource } from '../../src/frame/frame.js';
import { judgeLattices, measureLattices } from '../../src/frame/lattice.js';
import { createRandom, normal } from '../../src/stats/random.js';
import type { Warning } from '../../src/warnings.js';

/** A frame in memory whose samples are given by a function of x and y. */
function frameOf(
  width: number,
  height: number,
  sample: (x: number, y: number) => number,
  planes = 1,
): RowSource {
  const data = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) data[y * width + x] = sample(x, y);
  }
  return {
    width,
    height,
    planes,
    sampleType: 'f32',
    scale: 1,
    zero: 0,
    blank: null,
    readRows(_plane, y0, count, out, at = 0) {
      (out as Float32Array).set(data.subarray(y0 * width, (y0 + count) * width), at);
    },
    close() {},
  };
}

const LEVELS = { R: 130, G: 200, B: 100 };

/** A noisy mosaic of this stored order, on a sloping sky. */
function mosaic(pattern: CfaPattern, { height = 240, seed = 1, noise = 10, levels = LEVELS } = {}) {
  const random = createRandom(seed);
  return frameOf(320, height, (x, y) => {
    const colour = pattern[(y % 2) * 2 + (x % 2)] as 'R' | 'G' | 'B';
    return 500 + levels[colour] + 0.5 * x + 0.3 * y + noise * normal(random);
  });
}

/** A mono sky with stars of FWHM about 1.5 px, a slope and noise. */
function monoStars(seed: number, stars: number): RowSource {
  const random = createRandom(seed);
  const width = 320;
  const height = 240;
  const sky = new Float32Array(width * height);
  for (let s = 0; s < stars; s++) {
    const x0 = random() * width;
    const y0 = random() * height;
    const peak = 20 / (random() + 0.002);
    for (let y = Math.max(0, Math.floor(y0) - 4); y < Math.min(height, y0 + 5); y++) {
      for (let x = Math.max(0, Math.floor(x0) - 4); x < Math.min(width, x0 + 5); x++) {
        const r2 = (x - x0) ** 2 + (y - y0) ** 2;
        sky[y * width + x] = (sky[y * width + x] as number) + peak * Math.exp(-r2 / 0.8);
      }
    }
  }
  return frameOf(
    width,
    height,
    (x, y) => 300 + 0.7 * x - 0.4 * y + (sky[y * width + x] as number) + 8 * normal(random),
  );
}

const flat = (height = 240) => frameOf(320, height, () => 1000);

function decide(
  rows: RowSource,
  cards: string[] = [],
  option?: CfaPattern | 'none',
  binning: number | null = null,
) {
  const warnings: Warning[] = [];
  const { layout, cfa } = decideColourFilter(
    rows,
    new FitsHeader(cards),
    option,
    binning,
    warnings,
    'a.fits',
  );
  const messages = warnings.map((w) => w.message).join('\n');
  return { layout, cfa, codes: warnings.map((w) => w.code), messages };
}

describe('header', () => {
  test.each([
    [["BAYERPAT= 'RGGB'"], 'RGGB'],
    [["BAYERPAT= 'grbg    '"], 'GRBG'],
    [["COLORTYP= 'BGGR'"], 'BGGR'],
    [["FILTER  = 'GBRG'"], 'GBRG'],
    [["CFATYPE = 'RGGB'"], 'RGGB'],
    [["BAYERPAT= 'GRBG'", "COLORTYP= 'RAW16'"], 'GRBG'],
    [["BAYERPAT= 'TRUE'", "FILTER  = 'RGGB'"], 'RGGB'],
    // Site (x, y) has the colour of the named order at (x + XBAYROFF, y + YBAYROFF).
    [["BAYERPAT= 'RGGB'", 'XBAYROFF= 1'], 'GRBG'],
    [["BAYERPAT= 'RGGB'", 'YBAYROFF= 1'], 'GBRG'],
    [["BAYERPAT= 'RGGB'", 'XBAYROFF= 1', 'YBAYROFF= 1'], 'BGGR'],
    [["BAYERPAT= 'RGGB'", 'XBAYROFF= 2', 'YBAYROFF= -2'], 'RGGB'],
    [["BAYERPAT= 'RGGB'", 'XBAYROFF= -1'], 'GRBG'],
    [["BAYERPAT= 'RGGB'", "ROWORDER= 'TOP-DOWN'"], 'RGGB'],
    [["BAYERPAT= 'RGGB'", "ROWORDER= 'BOTTOM-UP'"], 'GBRG'],
    [["BAYERPAT= 'RGGB'", "ROWORDER= 'BOTTOM-UP'", 'YBAYROFF= 1'], 'RGGB'],
  ])('%j holds as %s for the stored rows', (cards, pattern) => {
    expect(decide(flat(), cards)).toEqual({
      layout: 'cfa',
      cfa: { pattern, source: 'header', redBlueKnown: true },
      codes: [],
      messages: '',
    });
  });

  test('an odd number of rows turned over leaves the order as it is', () => {
    const cards = ["BAYERPAT= 'RGGB'", "ROWORDER= 'BOTTOM-UP'"];
    expect(decide(flat(241), cards).cfa?.pattern).toBe('RGGB');
  });

  test.each([
    [["FILTER  = 'R       '"]],
    [["BAYERPAT= 'NONE'"]],
    [["BAYERPAT= '    '"]],
    [["COLORTYP= 'RAW16'"]],
    [["OBJECT  = 'RGGB'"]],
  ])('%j is no mosaic', (cards) => {
    expect(decide(flat(), cards)).toMatchObject({ layout: 'mono', cfa: null, codes: [] });
  });

  test('another kind of mosaic is measured as mono, with a warning', () => {
    const found = decide(mosaic('RGGB'), ["BAYERPAT= 'CYYM'"]);
    expect(found).toMatchObject({ layout: 'mono', cfa: null, codes: ['cfa-unsupported'] });
  });

  test('unreadable offsets and row orders are left out with a warning', () => {
    const found = decide(flat(), ["BAYERPAT= 'RGGB'", 'XBAYROFF= 0.5', "ROWORDER= 'sideways'"]);
    expect(found.cfa?.pattern).toBe('RGGB');
    expect(found.codes).toEqual(['header-value-ignored', 'header-value-ignored']);
  });

  test('three planes are R, G, B whatever the header says', () => {
    const rows = frameOf(320, 240, () => 1, 3);
    expect(decide(rows, ["BAYERPAT= 'RGGB'"])).toMatchObject({
      layout: 'rgb',
      cfa: null,
      codes: [],
    });
    expect(decide(rows, [], 'RGGB').codes).toEqual(['cfa-ignored']);
  });
});

describe('header against pixels', () => {
  const PATTERNS: CfaPattern[] = ['RGGB', 'BGGR', 'GRBG', 'GBRG'];

  test.each(PATTERNS)('a true header is confirmed: %s', (pattern) => {
    expect(decide(mosaic(pattern), [`BAYERPAT= '${pattern}'`])).toMatchObject({
      cfa: { pattern, source: 'header', redBlueKnown: true },
      codes: [],
    });
  });

  test.each([
    ['RGGB', 'GBRG'],
    ['BGGR', 'GRBG'],
    ['GRBG', 'BGGR'],
    ['GBRG', 'RGGB'],
  ] as const)('rows stored the other way up: header %s, pixels %s', (named, stored) => {
    const found = decide(mosaic(stored), [`BAYERPAT= '${named}'`]);
    expect(found.cfa).toEqual({ pattern: stored, source: 'pixels', redBlueKnown: true });
    expect(found.codes).toEqual(['cfa-contradiction']);
    expect(found.messages).toContain(`--cfa ${stored}`);
  });

  test('with an odd number of rows the turn explains nothing: red and blue stay unknown', () => {
    const found = decide(mosaic('GBRG', { height: 241 }), ["BAYERPAT= 'RGGB'"]);
    expect(found.cfa).toEqual({ pattern: 'GBRG', source: 'pixels', redBlueKnown: false });
  });

  test('the option wins, with a warning when the pixels disagree', () => {
    expect(decide(mosaic('GBRG'), ["BAYERPAT= 'GBRG'"], 'RGGB')).toMatchObject({
      cfa: { pattern: 'RGGB', source: 'option', redBlueKnown: true },
      codes: ['cfa-contradiction'],
    });
    expect(decide(mosaic('GBRG'), ["BAYERPAT= 'RGGB'"], 'GBRG').codes).toEqual([]);
    expect(decide(mosaic('GBRG'), ["BAYERPAT= 'GBRG'"], 'none')).toMatchObject({
      layout: 'mono',
      cfa: null,
      codes: [],
    });
  });

  test('binned frames that show no mosaic get a warning', () => {
    expect(decide(flat(), ["BAYERPAT= 'RGGB'"], undefined, 2).codes).toEqual(['cfa-binned']);
    expect(decide(mosaic('RGGB'), ["BAYERPAT= 'RGGB'"], undefined, 2).codes).toEqual([]);
  });
});

describe('pixels alone', () => {
  test.each([
    ['RGGB', 'RGGB', 'BGGR'],
    ['BGGR', 'RGGB', 'BGGR'],
    ['GRBG', 'GRBG', 'GBRG'],
    ['GBRG', 'GRBG', 'GBRG'],
  ] as const)(
    'a mosaic %s is found, but red and blue are not told apart',
    (stored, first, second) => {
      const found = decide(mosaic(stored));
      expect(found.cfa).toEqual({ pattern: first, source: 'pixels', redBlueKnown: false });
      expect(found.codes).toEqual(['cfa-from-pixels']);
      expect(found.messages).toContain(`--cfa ${first} or --cfa ${second}`);
    },
  );

  test('equal red and blue leave the diagonal open', () => {
    const found = decide(mosaic('RGGB', { levels: { R: 100, G: 200, B: 100 } }));
    expect(found).toMatchObject({ layout: 'mono', cfa: null, codes: ['mosaic-possible'] });
  });

  test('a frame smaller than nine tiles decides nothing', () => {
    const tiny = frameOf(40, 40, (x, y) => ((x + y) % 2 === 0 ? 100 : 200 + 50 * (x % 2)));
    expect(measureLattices(tiny)).toBeNull();
    expect(decide(tiny)).toMatchObject({ layout: 'mono', codes: [] });
  });

  test.each([
    ['constant', () => 1000],
    ['all NaN', () => Number.NaN],
    ['columns of two amplifiers', (x: number) => 1000 + 30 * (x % 2)],
    ['rows of two amplifiers', (_: number, y: number) => 1000 + 30 * (y % 2)],
    ['a steep ramp', (x: number, y: number) => 50 * x - 20 * y],
  ])('no mosaic: %s', (_, sample) => {
    expect(decide(frameOf(320, 240, sample))).toMatchObject({ layout: 'mono', codes: [] });
  });

  test('no mosaic: 20 mono skies, from empty to crowded with undersampled stars', () => {
    for (let seed = 0; seed < 20; seed++) {
      const rows = monoStars(seed, [0, 100, 1000, 5000][seed % 4] as number);
      expect(decide(rows), `seed ${seed}`).toMatchObject({ layout: 'mono', codes: [] });
    }
  });

  test('a faint mosaic is found down to half the pixel noise, in every one of 20 skies', () => {
    const levels = { R: 4, G: 12, B: 9 };
    for (let seed = 0; seed < 20; seed++) {
      const rows = mosaic('GRBG', { seed, noise: 10, levels });
      const differences = measureLattices(rows);
      expect(differences && judgeLattices(differences), `seed ${seed}`).toBe('green-main');
    }
  });

  test('a linear slope cancels exactly', () => {
    const differences = measureLattices(frameOf(320, 240, (x, y) => 3 * x + 7 * y));
    expect(differences?.main.value).toBeCloseTo(0, 9);
    expect(differences?.anti.value).toBeCloseTo(0, 9);
    expect(differences?.cross.value).toBeCloseTo(0, 9);
  });
});
