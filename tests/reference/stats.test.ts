/** src/stats against simple-statistics 7.12.1 (run here), on seeded lists with ties, outliers and both parities of length. */
import * as reference from 'simple-statistics';
import { describe, expect, test } from 'vitest';
import { createRandom, normal } from '../../src/stats/random.js';
import { robustLinear } from '../../src/stats/regression.js';
import {
  clippedMean,
  MAD_TO_SIGMA,
  madSigma,
  medianOf,
  quantileOf,
  standardDeviation,
} from '../../src/stats/robust.js';
import { medianInPlace, selectInPlace } from '../../src/stats/select.js';
import { expectClose } from '../expect-close.js';

/** Doubles that went through the same additions in another order. */
const ROUNDING = { rtol: 1e-12, atol: 1e-12 };

const random = createRandom(7);
const lists: readonly (readonly number[])[] = [
  [3],
  [2, 1],
  [5, 5, 5, 5],
  [1, 9, 2, 8, 3, 7, 4],
  Array.from({ length: 100 }, () => Math.round(10 * normal(random))),
  Array.from({ length: 101 }, () => normal(random)),
  Array.from({ length: 500 }, (_, i) => (i % 50 === 0 ? 1e4 : normal(random))),
];

describe.each(lists.map((list) => ({ list, n: list.length })))('a list of $n', ({ list, n }) => {
  test('median', () => {
    expectClose(medianOf(list), reference.median([...list]), ROUNDING);
  });

  test('median and any order statistic in place', () => {
    const sorted = Float32Array.from(list).sort();
    for (const k of [0, n >> 2, n >> 1, n - 1]) {
      expect(selectInPlace(Float32Array.from(list), k, 0, n - 1)).toBe(sorted[k]);
    }
    expectClose(
      medianInPlace(Float32Array.from(list), n),
      reference.median([...Float32Array.from(list)]),
      // 32-bit floats: the mean of the middle pair is rounded once.
      { rtol: 1e-6, atol: 1e-6 },
    );
  });

  test('median absolute deviation, scaled', () => {
    expectClose(
      madSigma(list),
      MAD_TO_SIGMA * reference.medianAbsoluteDeviation([...list]),
      ROUNDING,
    );
  });

  test('smallest, largest', () => {
    expect(quantileOf(list, 0)).toBe(reference.min([...list]));
    expect(quantileOf(list, 1)).toBe(reference.max([...list]));
  });

  test.skipIf(n < 2)('standard deviation', () => {
    // A two-pass sum against another: the outliers of 1e4 cost a few digits.
    expectClose(standardDeviation(list), reference.sampleStandardDeviation([...list]), {
      rtol: 1e-10,
      atol: 0,
    });
  });
});

test('1.4826 is the inverse of the upper quartile of the normal distribution', () => {
  // probit is approximate by 4.5e-4 (Abramowitz & Stegun 26.2.23, as the package says).
  expectClose(MAD_TO_SIGMA, 1 / reference.probit(0.75), { rtol: 1e-3, atol: 0 });
});

test('the clipped mean of data without outliers is the mean', () => {
  const list = Float32Array.from({ length: 200 }, (_, i) => Math.sin(i));
  const out = new Float64Array(3);
  clippedMean(list.slice(), list.length, 3, out);
  expect(out[2]).toBe(200);
  expectClose(out[0] as number, reference.mean([...list]), { rtol: 0, atol: 1e-12 });
  expectClose(out[1] as number, reference.standardDeviation([...list]), { rtol: 1e-9, atol: 0 });
});

describe('straight lines', () => {
  const x = Array.from({ length: 80 }, () => 10 * random());
  const exact = x.map((value) => 3 - 0.5 * value);

  test('on exact data the robust fit is least squares', () => {
    const { m, b } = reference.linearRegression(x.map((value, i) => [value, exact[i] as number]));
    const columns = Float64Array.from(x.flatMap((value) => [1, value]));
    const fit = robustLinear(80, 2, columns, Float64Array.from(exact), null);
    expectClose(fit?.[0] ?? Number.NaN, b, { rtol: 1e-9, atol: 0 });
    expectClose(fit?.[1] ?? Number.NaN, m, { rtol: 1e-9, atol: 0 });
  });

  test('a fifth of gross outliers pulls least squares, not the robust fit', () => {
    const noisy = exact.map((value, i) => value + (i % 5 === 0 ? 40 : 0.01 * normal(random)));
    const { b } = reference.linearRegression(x.map((value, i) => [value, noisy[i] as number]));
    expect(Math.abs(b - 3)).toBeGreaterThan(2);
    const columns = Float64Array.from(x.flatMap((value) => [1, value]));
    const fit = robustLinear(80, 2, columns, Float64Array.from(noisy), null);
    // 64 good points of 0.01: 0.01/√64 · 2 for the intercept, five times over.
    expectClose(fit?.[0] ?? Number.NaN, 3, { rtol: 0, atol: 0.0125 });
    // The slope of 64 such points over 0 … 10 is known to 0.01 / (2.9 √64).
    expectClose(fit?.[1] ?? Number.NaN, -0.5, { rtol: 0, atol: 5 * 4.3e-4 });
  });
});
