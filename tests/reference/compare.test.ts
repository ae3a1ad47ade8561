/** Paired differences against scipy: bootstrap intervals, and the paired t test. Values by fixtures/reference/paired.py. */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { pairOf, type Reading, resampled } from '../../src/compare/readings.js';
import { smallSampleFactor } from '../../src/measure/bootstrap.js';
import { medianOf } from '../../src/stats/robust.js';
import { studentTwoSided } from '../../src/stats/student.js';
import { fixture } from '../helpers/data-files.js';

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
    const pair = pairOf({ betterWhen: 'smaller' }, a, b, 1);
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
    const pair = pairOf({ betterWhen: 'smaller' }, a, b, 1) as NonNullable<
      ReturnType<typeof pairOf>
    >;
    const [low, high] = one.mean.unpaired as [number, number];
    const width = pair.difference.high - pair.difference.low;
    expect(Math.abs(width / ((high - low) * factor) - 1)).toBeLessThan(WIDTH_TOLERANCE);
    expect(width).toBeGreaterThan(1.5 * (one.mean.paired[1] - one.mean.paired[0]));
  });

  it('p of the difference of means is that of the paired t test', () => {
    const [a, b] = readings(one.a, one.b, mean) as [Reading, Reading];
    const pair = pairOf({ betterWhen: 'smaller' }, a, b, 1) as NonNullable<
      ReturnType<typeof pairOf>
    >;
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
