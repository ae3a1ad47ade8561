/** Student's t and rank statistics against scipy 1.10.1 (frozen 2026-11-25 with stats.t.sf, spearmanr, theilslopes, rankdata). */
import { describe, expect, test } from 'vitest';
import { ranksOf, spearman, studentTwoSided, theilSenSlope } from '../../src/stats/student.js';

const X = [1.2, 3.4, 2.2, 2.2, 5.9, 7.1, 0.4, 3.3];
const Y = [2.1, 2.0, 3.3, 1.1, 6.0, 5.5, 1.0, 2.5];

describe('studentTwoSided', () => {
  test.each([
    [1, 1, 0.49999999999999956],
    [2.5, 3, 0.08770664700806555],
    [0.3, 10, 0.7703206075657987],
    [4.2, 29, 0.00023184683639014813],
    [6, 200, 9.115120348810404e-9],
    [-1.7, 7, 0.13292889678255518],
  ])('t = %d with %d degrees of freedom', (t, freedom, p) => {
    expect(studentTwoSided(t, freedom)).toBeCloseTo(p, 12);
    expect(studentTwoSided(t, freedom) / p).toBeCloseTo(1, 9);
  });

  test('is 1 at zero, symmetric, and becomes normal: 1.959964 leaves 5 %', () => {
    expect(studentTwoSided(0, 5)).toBe(1);
    expect(studentTwoSided(-2, 5)).toBe(studentTwoSided(2, 5));
    expect(studentTwoSided(1.959963984540054, Number.POSITIVE_INFINITY)).toBeCloseTo(0.05, 6);
  });

  test('says nothing of what is no number', () => {
    expect(studentTwoSided(Number.NaN, 5)).toBeNaN();
    expect(studentTwoSided(1, 0)).toBeNaN();
  });
});

test('ranks share the mean of ties', () => {
  expect(ranksOf(X)).toEqual([2.0, 6.0, 3.5, 3.5, 7.0, 8.0, 1.0, 5.0]);
});

describe('spearman', () => {
  test('equals scipy with ties', () => {
    const { rho, pValue } = spearman(X, Y);
    expect(rho).toBeCloseTo(0.7185757571479554, 12);
    expect(pValue).toBeCloseTo(0.04462261002441918, 12);
  });

  test('needs three pairs and variation', () => {
    expect(spearman([1, 2], [1, 2]).rho).toBeNaN();
    expect(spearman([1, 1, 1], [1, 2, 3]).rho).toBeNaN();
    expect(spearman([1, 2, 3, 4], [2, 4, 6, 8])).toEqual({ rho: 1, pValue: 0 });
  });
});

test('the Theil–Sen slope equals scipy, and needs two different x', () => {
  expect(theilSenSlope(X, Y)).toBeCloseTo(0.7297297297297297, 12);
  expect(theilSenSlope([1, 1], [2, 3])).toBeNaN();
});
