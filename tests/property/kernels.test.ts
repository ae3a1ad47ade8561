/** Numerical kernels against slow twins, on random input. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { findNeighbours, influenceRadius } from '../../src/measure/neighbours.js';
import {
  createRadialSpline,
  enclosedAt,
  fwhmOfTable,
  normaliseTable,
  profileAt,
  radiusOfShare,
  splineAt,
  TABLE_PER_PX,
  tabulate,
} from '../../src/measure/radial-spline.js';
import { medianInPlace, selectInPlace } from '../../src/stats/select.js';
import { solveBanded, solveCholesky } from '../../src/stats/solve.js';
import { expectClose } from '../expect-close.js';

const samples = fc.array(
  // Small integers make ties; floats make none. Adding 0 turns −0 into 0: the two sort differently.
  fc
    .oneof(fc.integer({ min: -5, max: 5 }), fc.double({ min: -1e6, max: 1e6, noNaN: true }))
    .map((value) => Math.fround(value) + 0),
  { minLength: 1, maxLength: 80 },
);

describe('selection in place', () => {
  test('element k is that of a full sort, and no element is lost', () => {
    fc.assert(
      fc.property(samples, fc.nat(), (values, pick) => {
        const data = Float32Array.from(values);
        const sorted = Float32Array.from(values).sort();
        const k = pick % data.length;
        expect(selectInPlace(data, k, 0, data.length - 1)).toBe(sorted[k]);
        for (let i = 0; i < k; i++) expect(data[i]).toBeLessThanOrEqual(data[k]);
        for (let i = k + 1; i < data.length; i++) expect(data[i]).toBeGreaterThanOrEqual(data[k]);
        expect(data.sort()).toEqual(sorted);
      }),
    );
  });

  test('the median of the first n leaves the rest alone', () => {
    fc.assert(
      fc.property(samples, fc.nat(), (values, pick) => {
        const n = 1 + (pick % values.length);
        const data = Float32Array.from(values);
        const sorted = Float32Array.from(values.slice(0, n)).sort();
        const expected = n & 1 ? sorted[n >> 1] : (sorted[n / 2 - 1] + sorted[n / 2]) / 2;
        expect(medianInPlace(data, n)).toBe(expected);
        expect(data.slice(n)).toEqual(Float32Array.from(values.slice(n)));
      }),
    );
  });
});

/** A x by plain multiplication. */
function multiply(a: readonly number[][], x: ArrayLike<number>): number[] {
  return a.map((row) => row.reduce((sum, value, j) => sum + value * x[j], 0));
}

describe('linear systems', () => {
  const system = fc.record({
    n: fc.integer({ min: 1, max: 14 }),
    width: fc.integer({ min: 0, max: 4 }),
    values: fc.array(fc.double({ min: -1, max: 1, noNaN: true }), {
      minLength: 14 * 14,
      maxLength: 14 * 14,
    }),
    solution: fc.array(fc.double({ min: -10, max: 10, noNaN: true }), {
      minLength: 14,
      maxLength: 14,
    }),
  });

  test('the banded solver gives the solution of the full matrix', () => {
    fc.assert(
      fc.property(system, ({ n, width, values, solution }) => {
        // Diagonally dominant, hence positive definite.
        const full = Array.from({ length: n }, (_, i) =>
          Array.from({ length: n }, (_, j) => {
            const gap = Math.abs(i - j);
            if (gap === 0) return 2 * width + 1;
            return gap > width ? 0 : values[Math.min(i, j) * 14 + Math.max(i, j)];
          }),
        );
        const expected = solution.slice(0, n);
        const stride = width + 1;
        const band = new Float64Array(n * stride);
        for (let i = 0; i < n; i++)
          for (let d = 0; d < stride && i + d < n; d++) band[i * stride + d] = full[i][i + d];
        const b = Float64Array.from(multiply(full, expected));
        expect(solveBanded(band, b, n, width)).toBe(true);
        // Condition number at most (4w + 1): a few units of the last place.
        expectClose(b, expected, { atol: 1e-12 });

        const dense = Float64Array.from(full.flat());
        const c = Float64Array.from(multiply(full, expected));
        expect(solveCholesky(dense, c, n)).toBe(true);
        expectClose(c, expected, { atol: 1e-12 });
      }),
    );
  });

  test('a matrix that is not positive definite is refused', () => {
    expect(solveBanded(Float64Array.of(1, 2, 1, 0), Float64Array.of(1, 1), 2, 1)).toBe(false);
    expect(solveCholesky(Float64Array.of(1, 2, 2, 1), Float64Array.of(1, 1), 2)).toBe(false);
  });
});

/** B-spline of order k on knots t, function i, by its definition (Cox–de Boor), no table, no reuse. */
function basis(t: ArrayLike<number>, i: number, k: number, r: number): number {
  if (k === 1) return r >= t[i] && r < t[i + 1] ? 1 : 0;
  const left = t[i + k - 1] - t[i];
  const right = t[i + k] - t[i + 1];
  return (
    (left > 0 ? ((r - t[i]) / left) * basis(t, i, k - 1, r) : 0) +
    (right > 0 ? ((t[i + k] - r) / right) * basis(t, i + 1, k - 1, r) : 0)
  );
}

describe('radial spline', () => {
  const shape = fc.record({
    rMax: fc.double({ min: 6, max: 60, noNaN: true }),
    fwhm: fc.double({ min: 1.3, max: 6, noNaN: true }),
    values: fc.array(fc.double({ min: -1, max: 1, noNaN: true }), {
      minLength: 40,
      maxLength: 40,
    }),
  });

  test('equals the sum of basis functions, with the one left of the centre mirrored', () => {
    fc.assert(
      fc.property(shape, fc.double({ min: 0, max: 0.999, noNaN: true }), (input, place) => {
        const spline = createRadialSpline(input.rMax, 0.3 * input.fwhm, 1.5 * input.fwhm, 1.3);
        const c = Float64Array.from({ length: spline.size }, (_, i) => input.values[i % 40]);
        const entry = Math.round(place * input.rMax * TABLE_PER_PX);
        const r = Math.min(entry / TABLE_PER_PX, input.rMax * (1 - 1e-12));
        let expected = 0;
        for (let j = -1; j < spline.size; j++)
          expected += c[Math.abs(j)] * basis(spline.knots, j + 1, 4, r);
        expectClose(splineAt(spline, c, entry), expected, { atol: 1e-10 });
      }),
      { numRuns: 60 },
    );
  });

  test('constant coefficients give a constant, and its light is π r²', () => {
    fc.assert(
      fc.property(shape, ({ rMax, fwhm }) => {
        const spline = createRadialSpline(rMax, 0.3 * fwhm, 1.5 * fwhm, 1.3);
        const table = tabulate(spline, new Float64Array(spline.size).fill(2));
        for (const value of table.value) expectClose(value, 2, { rtol: 1e-12 });
        // Trapezium of a linear function of r is exact; the last entry stands up to 1/32 px beyond R_max.
        expectClose(table.enclosed[table.enclosed.length - 1], 2 * Math.PI * rMax ** 2, {
          rtol: 1 / (32 * rMax) ** 2,
        });
      }),
      { numRuns: 30 },
    );
  });

  test('no cusp at the centre: the slope at r = 0 is zero', () => {
    const spline = createRadialSpline(20, 0.9, 4.5, 1.3);
    const c = Float64Array.from({ length: spline.size }, (_, i) => Math.cos(3 * i));
    const value = (i: number) => splineAt(spline, c, i);
    // Even in r: p(h) − p(0) falls with h², so that halving h quarters it (cubic terms leave a few per cent at this step).
    expectClose((value(2) - value(0)) / (value(1) - value(0)), 4, { rtol: 0.1 });
  });

  test('sizes read off a Gaussian are those of the formulas', () => {
    const sigma = 1.7;
    const table = {
      step: 1 / TABLE_PER_PX,
      value: Float64Array.from({ length: 20 * TABLE_PER_PX }, (_, i) =>
        Math.exp(-((i / TABLE_PER_PX) ** 2) / (2 * sigma * sigma)),
      ),
      enclosed: Float64Array.from(
        { length: 20 * TABLE_PER_PX },
        (_, i) =>
          2 *
          Math.PI *
          sigma *
          sigma *
          (1 - Math.exp(-((i / TABLE_PER_PX) ** 2) / (2 * sigma * sigma))),
      ),
    };
    normaliseTable(table);
    // Linear between entries 1/32 px apart: h²/8 · p″/p′ < 1e-4 px.
    expectClose(fwhmOfTable(table), 2 * Math.sqrt(2 * Math.LN2) * sigma, { atol: 2e-4 });
    for (const share of [0.5, 0.8, 0.9, 0.95]) {
      const r = sigma * Math.sqrt(-2 * Math.log(1 - share));
      expectClose(radiusOfShare(table, share), r, { atol: 1e-4 });
      expectClose(enclosedAt(table, r), share, { atol: 1e-4 });
    }
    expectClose(profileAt(table, sigma), Math.exp(-0.5) / (2 * Math.PI * sigma * sigma), {
      rtol: 1e-3,
    });
    expect(profileAt(table, 25)).toBe(0);
    expect(radiusOfShare(table, 1.01)).toBeNaN();
  });
});

describe('neighbours', () => {
  test('the tree finds what a double loop finds, in ascending order', () => {
    const point = fc.tuple(
      fc.integer({ min: 0, max: 400 }).map((v) => v / 4),
      fc.integer({ min: 0, max: 400 }).map((v) => v / 4),
    );
    fc.assert(
      fc.property(
        fc.array(point, { minLength: 0, maxLength: 60 }),
        fc.double({ min: 0.1, max: 50, noNaN: true }),
        (points, radius) => {
          const x = Float64Array.from(points, ([px]) => px);
          const y = Float64Array.from(points, ([, py]) => py);
          const who = points.flatMap((_, i) => (i % 3 === 0 ? [i] : []));
          const { start, index } = findNeighbours(x, y, who, radius);
          who.forEach((i, k) => {
            const expected = points.flatMap(([px, py], j) =>
              j !== i && (px - x[i]) ** 2 + (py - y[i]) ** 2 <= radius * radius ? [j] : [],
            );
            expect([...index.subarray(start[k], start[k + 1])]).toEqual(expected);
          });
        },
      ),
      { numRuns: 60 },
    );
  });

  test('beyond the radius of influence a source stays below the limit, just inside it does not', () => {
    const rMax = 16;
    const table = {
      step: 1 / TABLE_PER_PX,
      value: Float64Array.from(
        { length: rMax * TABLE_PER_PX + 1 },
        (_, i) => (1 + (i / TABLE_PER_PX) ** 2 / 4) ** -2.5,
      ),
      enclosed: new Float64Array(rMax * TABLE_PER_PX + 1),
    };
    const rim = table.value[table.value.length - 1];
    const light = (r: number) => (r < rMax ? profileAt(table, r) : rim * (rMax / r) ** 3);
    for (const flux of [1, 30, 1e3, 1e5, 1e8]) {
      const radius = influenceRadius(table, rim, rMax, flux, 0.5, 2 * rMax);
      expect(radius).toBeLessThanOrEqual(2 * rMax);
      if (radius < 2 * rMax) expect(flux * light(radius + 1)).toBeLessThan(0.5);
      if (radius > 2) expect(flux * light(radius - 1.01)).toBeGreaterThanOrEqual(0.5);
    }
  });
});
