/** Rows from readings: signs, errors in quadrature, degrees of freedom, what is left out. Values by hand. */
import { describe, expect, it } from 'vitest';
import { makeRow, pairOf, type Reading, type RowSpec } from '../../src/compare/readings.js';
import { studentInflation } from '../../src/measure/bootstrap.js';
import { createRandom, normal } from '../../src/stats/random.js';

/** No draws, 1 σ given. */
const plain = (value: number, sigma: number, rest: Partial<Reading> = {}): Reading => ({
  value,
  draws: [],
  sigma,
  stars: 40,
  systematic: 0,
  frames: [],
  ...rest,
});

const label = (name: string) => ({ label: name });

const SIZE: RowSpec = {
  quantity: 'fwhm',
  group: 'size',
  scope: 'same stars',
  unit: 'arcsec',
  betterWhen: 'smaller',
};
const HALO: RowSpec = {
  ...SIZE,
  quantity: 'halo',
  group: 'colour',
  unit: '%',
  betterWhen: 'nearer zero',
};

describe('pairOf', () => {
  it('first minus second, errors in quadrature', () => {
    const pair = pairOf(SIZE, plain(5, 3), plain(2, 4), 5);
    // 5 − 2 = 3 ± √(3² + 4²) = 5; p of one σ·3/5 two-sided, normal: 0.5485 (standard table: Φ(0.6) = 0.7257).
    expect(pair?.difference).toEqual({ value: 3, low: -2, high: 8 });
    expect(pair?.pValue).toBeCloseTo(2 * (1 - 0.7257469), 5);
  });

  it('nearer zero: magnitudes, with the sign of each value', () => {
    expect(pairOf(HALO, plain(-3, 1), plain(1, 1), 1)?.difference.value).toBe(2);
    expect(pairOf(HALO, plain(-3, 1), plain(-4, 1), 1)?.difference.value).toBe(-1);
    // Draws follow: −3 ± noise against 1 ± the same noise; the signs differ, so that the noise adds up.
    const random = createRandom(3);
    const noise = Float64Array.from({ length: 4000 }, () => normal(random));
    const a = {
      ...plain(-3, 0),
      sigma: undefined,
      draws: noise.map((v) => -3 + v),
    } as unknown as Reading;
    const b = {
      ...plain(1, 0),
      sigma: undefined,
      draws: noise.map((v) => 1 + v),
    } as unknown as Reading;
    const apart = pairOf(HALO, a, b);
    expect(apart?.sigma).toBeCloseTo(2, 0);
    // As sizes they share their noise, and it cancels.
    expect(pairOf(SIZE, a, b)?.sigma).toBeCloseTo(0, 9);
  });

  it('systematic errors add in quadrature, what is shared counts not at all', () => {
    const a = plain(0, 0, { systematic: 3 });
    const b = plain(0, 0, { systematic: 4 });
    expect(pairOf(SIZE, a, b, 0)?.sigma).toBeCloseTo(5, 12);
    expect(pairOf(SIZE, { ...a, shared: 3 }, b, 0)?.sigma).toBeCloseTo(4, 12);
  });

  it('few frames: standard error of their mean, and Student with few degrees of freedom', () => {
    // Frames 1 and 3: s = √2, standard error 1. Of the other label nothing is known but one frame.
    const pair = pairOf(SIZE, plain(2, 0, { frames: [1, 3] }), plain(0, 0, { frames: [0] }), 0);
    expect(pair?.sigma).toBeCloseTo(1, 12);
    // t = 2 with one degree of freedom: p = 1 − (2/π) arctan 2 (Cauchy).
    expect(pair?.pValue).toBeCloseTo(1 - (2 / Math.PI) * Math.atan(2), 6);
    expect((pair?.difference.high as number) - 2).toBeCloseTo(studentInflation(1), 6);
    // Satterthwaite: two equal errors of one degree of freedom each make two; t = 2/√2, p = 1 − t/√(2 + t²).
    const both = pairOf(SIZE, plain(2, 0, { frames: [1, 3] }), plain(0, 0, { frames: [-1, 1] }), 0);
    const t = 2 / Math.SQRT2;
    expect(both?.pValue).toBeCloseTo(1 - t / Math.sqrt(2 + t * t), 6);
  });

  it('without any error equal is equal and unlike is unlike', () => {
    expect(pairOf(SIZE, plain(1, 0), plain(1, 0), 0)?.pValue).toBe(1);
    expect(pairOf(SIZE, plain(1, 0), plain(2, 0), 0)?.pValue).toBe(0);
    expect(pairOf(SIZE, plain(Number.NaN, 1), plain(2, 1), 1)).toBeNull();
  });
});

describe('makeRow', () => {
  const labels = [label('a'), label('b'), label('c')];

  it('pairs every two that were measured, and keeps the reason for the third', () => {
    const row = makeRow(SIZE, labels, [plain(5, 1), null, plain(4, 1)], 12, 'b without light');
    expect(row.values.b).toBeNull();
    expect(row.pairs.map(({ first, second }) => [first, second])).toEqual([['a', 'c']]);
    expect(row.verdict).toBe('no difference shown');
    expect(row.reason).toBe('b without light');
    expect(row.stars).toBe(12);
    // 1 of 4: 25 %, ± √2/4.
    expect(row.pairs[0]?.differencePercent?.value).toBeCloseTo(25, 9);
  });

  it('one value alone is no comparison', () => {
    const row = makeRow(SIZE, labels, [plain(5, 1), null, null], 12);
    expect(row.pairs).toEqual([]);
    expect(row.verdict).toBe('not comparable');
    expect(row.reason).toMatch(/fewer than two/);
  });

  it('gives no per cent of what may be zero', () => {
    const row = makeRow(HALO, labels, [plain(5, 1), plain(2, 1), plain(-9, 1)], 12);
    expect(row.pairs[0]?.differencePercent).toBeNull();
    // |5| − |−9| = −4 of 9.
    expect(row.pairs[1]?.differencePercent?.value).toBeCloseTo(-400 / 9, 9);
  });
});
