import { describe, expect, test } from 'vitest';
import { combineFrames, weightedMean } from '../../src/measure/combine.js';
import { expectClose } from '../expect-close.js';
import { colourFixture, failedFixture, monoFixture, u } from '../helpers/frame-result.js';

describe('weighted mean', () => {
  test('by hand: 10 ± 1 and 13 ± 2', () => {
    // weights 1 and 1/4: mean (10 + 13/4)/(5/4) = 10.6; formal 1/√1.25 = 0.8944;
    // χ² = 0.6² + 2.4²/4 = 1.8 for 1 degree of freedom: scale √1.8 = 1.3416; error 1.2
    const mean = weightedMean([u(10, 1), u(13, 2)]);
    expectClose(mean?.value ?? Number.NaN, 10.6, { rtol: 1e-12 });
    expectClose((mean?.high ?? Number.NaN) - 10.6, 1.2, { rtol: 1e-12 });
    expect(mean?.frames).toBe(2);
  });

  test('values closer together than their errors keep the formal error', () => {
    const mean = weightedMean([u(10, 1), u(10, 1), u(10, 1), u(10, 1)]);
    expectClose((mean?.high ?? Number.NaN) - (mean?.value ?? Number.NaN), 0.5, { rtol: 1e-12 });
  });

  test('what was not measured does not count', () => {
    expect(weightedMean([u(10, 1), null, undefined, u(Number.NaN, 1), u(12, 1)])?.frames).toBe(2);
    expect(weightedMean([u(10, 1), null])).toBeNull();
    expect(weightedMean([])).toBeNull();
  });

  test('a value without interval neither dominates nor breaks the mean', () => {
    const mean = weightedMean([u(10, 1), u(12, 0), { value: 14, low: Number.NaN, high: 15 }]);
    expectClose(mean?.value ?? Number.NaN, 12, { rtol: 1e-12 });
  });

  test('no intervals at all: the scatter alone gives the error', () => {
    // standard error of 10, 12, 14: σ = 2, 2/√3
    const mean = weightedMean([u(10, 0), u(12, 0), u(14, 0)]);
    expectClose((mean?.high ?? Number.NaN) - 12, 2 / Math.sqrt(3), { rtol: 1e-12 });
  });
});

describe('combining frames', () => {
  test('fewer than two measured frames of one layout: nothing to combine', () => {
    expect(combineFrames([])).toBeNull();
    expect(combineFrames([colourFixture(), failedFixture()])).toBeNull();
    expect(combineFrames([colourFixture(), monoFixture()])).toBeNull();
  });

  test('three equal frames: the same numbers, errors smaller by √3', () => {
    const combined = combineFrames([colourFixture('a'), colourFixture('b'), colourFixture('c')]);
    expect(combined?.files).toEqual(['a', 'b', 'c']);
    expect(combined?.starsUsed).toBe(3 * 321);
    const size = combined?.channels.B?.fwhmPx;
    expectClose(size?.value ?? Number.NaN, 4.9, { rtol: 1e-12 });
    expectClose((size?.high ?? 0) - 4.9, 0.031 / Math.sqrt(3), { rtol: 1e-9 });
    expectClose(combined?.halo?.blueMinusRed.overPerfectLensPercent?.value ?? 0, 17.2, {
      rtol: 1e-9,
    });
    expectClose(combined?.halo?.blueMinusRed.perfectLensPercent ?? 0, -0.8, { rtol: 1e-12 });
    expect(combined?.notes).toEqual([]);
  });

  test('different scales: arcsec only, and a note', () => {
    const combined = combineFrames([colourFixture('a', 1.5), colourFixture('b', 1.7)]);
    expect(combined?.channels.G?.fwhmPx).toBeNull();
    expect(combined?.channels.G?.fwhmArcsec?.frames).toBe(2);
    expect(combined?.scaleArcsecPerPx).toBeNull();
    expect(combined?.notes.join()).toContain('1.500 to 1.700 arcsec per px');
  });

  test('a scale known for some frames only: pixels only, and a note', () => {
    const combined = combineFrames([colourFixture('a', 1.5), colourFixture('b', null)]);
    expect(combined?.channels.G?.fwhmPx?.frames).toBe(2);
    expect(combined?.channels.G?.fwhmArcsec).toBeNull();
    expect(combined?.notes).toHaveLength(1);
  });

  test('mono frames through different filters: no average over different things', () => {
    const combined = combineFrames([monoFixture('g', 'g'), monoFixture('r', 'r')]);
    expect(combined?.channels.L?.fwhmPx).toBeNull();
    expect(combined?.channels.L?.fwhmArcsec).toBeNull();
    expect(combined?.notes.join()).toContain('different filters (g, r)');
  });

  test('frames of the rarer layout are left out and counted', () => {
    const combined = combineFrames([monoFixture(), colourFixture('a'), colourFixture('b')]);
    expect(combined?.files).toEqual(['a', 'b']);
    expect(combined?.notes.join()).toContain('1 frame is of another layout');
  });

  test('frames without a usable star are left out and counted', () => {
    const empty = colourFixture('empty');
    empty.stars = {
      found: 0,
      used: 0,
      rejected: {},
      saturationAdu: null,
      saturationSource: null,
      zone: 'all',
    };
    const combined = combineFrames([colourFixture('a'), empty, colourFixture('b')]);
    expect(combined?.files).toEqual(['a', 'b']);
    expect(combined?.notes.join()).toContain('1 frame holds no usable star');
    expect(combineFrames([colourFixture('a'), empty])).toBeNull();
  });
});
