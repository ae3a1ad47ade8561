/** Paired differences against scipy (values by fixtures/reference/paired.py); a real pair of bands taken through one camera at once. */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { measureCommon, searchOptions } from '../../src/compare/compare.js';
import { DEFAULT_COMPARE_OPTIONS } from '../../src/compare/options.js';
import { pairOf, type Reading, resampled } from '../../src/compare/readings.js';
import { openFrame } from '../../src/frame/open.js';
import { smallSampleFactor } from '../../src/measure/bootstrap.js';
import { searchFrame } from '../../src/measure/search-frame.js';
import { medianOf } from '../../src/stats/robust.js';
import { studentTwoSided } from '../../src/stats/student.js';
import { findData, fixture } from '../helpers/data-files.js';

interface Interval {
  difference: number;
  paired: [number, number];
  unpaired?: [number, number];
}

interface Frozen {
  cases: {
    a: number[];
    b: number[];
    mean: Interval;
    median: Interval;
    tTest: { statistic: number; pValue: number };
  }[];
  studentT: { t: number; freedom: number; pValue: number }[];
}

const frozen = JSON.parse(readFileSync(fixture('reference/paired.json'), 'utf8')) as Frozen;

const DRAWS = 6000;
/** The width of an interval from 6000 draws scatters by 1.3 % (each end by 1.5 σ/√6000), scipy's from 40,000 by 0.5 %. */
const WIDTH_TOLERANCE = 0.05;

const mean = (values: Float64Array): number =>
  values.reduce((sum, v) => sum + v, 0) / values.length;

function readings(a: number[], b: number[], statistic: typeof mean, seeds = [7, 7]): Reading[] {
  const stars = a.map((_, k) => k);
  return [a, b].map((column, l) =>
    resampled([column], stars, DRAWS, seeds[l] as number, 0, statistic),
  );
}

describe.each(frozen.cases.map((one) => [one.a.length, one] as const))('%i stars', (n, one) => {
  const factor = smallSampleFactor(n);

  it.each([
    ['mean', mean],
    ['median', medianOf],
  ] as const)('paired bootstrap of the difference of %ss', (name, statistic) => {
    const [a, b] = readings(one.a, one.b, statistic) as [Reading, Reading];
    const pair = pairOf({ betterWhen: 'smaller' }, a, b);
    const { difference, paired } = one[name];
    expect(pair?.difference.value).toBeCloseTo(difference, 9);
    // Ours is scipy's, widened for small samples about the value.
    const width = (paired[1] - paired[0]) * factor;
    const ours = pair as NonNullable<typeof pair>;
    expect(Math.abs((ours.difference.high - ours.difference.low) / width - 1)).toBeLessThan(
      // A median takes few values: its percentiles are steps.
      name === 'median' ? 4 * WIDTH_TOLERANCE : WIDTH_TOLERANCE,
    );
    for (const [end, theirs] of [
      [ours.difference.low, paired[0]],
      [ours.difference.high, paired[1]],
    ] as const) {
      const expected = difference + (theirs - difference) * factor;
      expect(Math.abs(end - expected) / width).toBeLessThan(
        name === 'median' ? 2 * WIDTH_TOLERANCE : WIDTH_TOLERANCE,
      );
    }
  });

  it('without pairing the interval is as wide as scipy has it, and wider', () => {
    const [a, b] = readings(one.a, one.b, mean, [7, 8]) as [Reading, Reading];
    const pair = pairOf({ betterWhen: 'smaller' }, a, b) as NonNullable<ReturnType<typeof pairOf>>;
    const [low, high] = one.mean.unpaired as [number, number];
    const width = pair.difference.high - pair.difference.low;
    expect(Math.abs(width / ((high - low) * factor) - 1)).toBeLessThan(WIDTH_TOLERANCE);
    expect(width).toBeGreaterThan(1.5 * (one.mean.paired[1] - one.mean.paired[0]));
  });

  it('p of the difference of means is that of the paired t test', () => {
    const [a, b] = readings(one.a, one.b, mean) as [Reading, Reading];
    const pair = pairOf({ betterWhen: 'smaller' }, a, b) as NonNullable<ReturnType<typeof pairOf>>;
    // σ from draws against σ from the sample: 3 % of t.
    const t = pair.difference.value / pair.sigma;
    expect(Math.abs(t / one.tTest.statistic - 1)).toBeLessThan(0.04);
    const low = studentTwoSided(1.04 * one.tTest.statistic, n - 1);
    const high = studentTwoSided(0.96 * one.tTest.statistic, n - 1);
    expect(pair.pValue).toBeGreaterThanOrEqual(low);
    expect(pair.pValue).toBeLessThanOrEqual(high);
  });
});

describe("Student's t", () => {
  it.each(frozen.studentT)('t = $t with $freedom degrees of freedom', ({ t, freedom, pValue }) => {
    expect(studentTwoSided(t, freedom) / pValue).toBeCloseTo(1, 8);
  });
});

describe('real frames', () => {
  const paths = ['j', 'k'].map((band) => findData(`1_multiband/twomass_galcentre_${band}.fits`));
  it.skipIf(paths.includes(null))(
    'two bands of one survey on one grid: same scale, nothing turned, sizes that the grid cannot tell apart',
    async () => {
      const labels = await Promise.all(
        paths.map(async (path, i) => ({
          label: ['J', 'K'][i] as string,
          frames: [
            searchFrame(
              await openFrame(path as string, {}),
              searchOptions(DEFAULT_COMPARE_OPTIONS),
              () => {},
            ),
          ],
          failed: [],
          seeingArcsec: null,
        })),
      );
      const { data, rows, warnings } = measureCommon(labels, DEFAULT_COMPARE_OPTIONS);
      for (const { frames } of labels) frames[0]?.frame.rows.close();
      // Both bands are published resampled to one grid: the transform is the identity.
      const match = data.labels[1]?.match;
      expect(match?.description.scale).toBeCloseTo(1, 3);
      expect(Math.abs(match?.description.rotationDeg ?? 1)).toBeLessThan(0.02);
      expect(match?.description.mirrored).toBe(false);
      expect(data.common).toBeGreaterThan(30);
      // Stars as wide as a pixel: sizes carry errors of a quarter, and say so.
      expect(warnings.map(({ code }) => code)).toContain('undersampled');
      const size = rows.find(({ quantity }) => quantity === 'fwhm')?.pairs[0];
      expect(size?.pValue).toBeGreaterThan(0.01);
      // The index of the data lists 3169 detections in J.
      const found = rows.find(({ quantity }) => quantity === 'stars found');
      expect(found?.values.J?.value).toBeGreaterThan(800);
    },
    60_000,
  );
});
