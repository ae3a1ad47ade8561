/** Steps and what is usual, on made-up series with known answers. MAD and quantiles behind them are checked against scipy elsewhere. */
import { describe, expect, test } from 'vitest';
import { nightLimits } from '../../src/grade/limits.js';
import { findSteps } from '../../src/grade/trends.js';
import { usualOf } from '../../src/grade/usual.js';
import { createRandom, normal } from '../../src/stats/random.js';

const noisy = (levels: readonly number[], sigma: number, seed: number): number[] => {
  const random = createRandom(seed);
  return levels.map((level) => level + sigma * normal(random));
};
const flat = (n: number, level: number): number[] => new Array<number>(n).fill(level);
const anything = (): number => 0;

describe('findSteps', () => {
  test('finds a step at its place, with the levels on both sides', () => {
    const steps = findSteps(noisy([...flat(15, 3), ...flat(15, 4)], 0.05, 1), anything);
    expect(steps).toHaveLength(1);
    expect(steps[0]?.index).toBe(15);
    expect(steps[0]?.before).toBeCloseTo(3, 1);
    expect(steps[0]?.after).toBeCloseTo(4, 1);
    expect(steps[0]?.sigma).toBeGreaterThan(6);
  });

  test('finds two, up and down again', () => {
    const levels = [...flat(10, 1), ...flat(9, 2), ...flat(11, 1)];
    expect(findSteps(noisy(levels, 0.03, 2), anything).map(({ index }) => index)).toEqual([10, 19]);
  });

  test('a steady run, one wild frame, and noise alone are none', () => {
    const ramp = Array.from({ length: 40 }, (_, i) => 2 + 0.05 * i);
    expect(findSteps(noisy(ramp, 0.02, 3), anything)).toEqual([]);
    const wild = noisy(flat(30, 5), 0.05, 4);
    wild[14] = 9;
    expect(findSteps(wild, anything)).toEqual([]);
    let found = 0;
    for (let seed = 10; seed < 210; seed++) {
      found += findSteps(noisy(flat(40, 5), 0.1, seed), anything).length;
    }
    // Two hundred nights of pure noise: a handful of false steps at most.
    expect(found).toBeLessThanOrEqual(4);
  });

  test('steps too small to matter are passed over, and short series say nothing', () => {
    const values = noisy([...flat(15, 3), ...flat(15, 3.2)], 0.01, 5);
    expect(findSteps(values, () => 0.5)).toEqual([]);
    expect(findSteps([1, 1, 5, 5], anything)).toEqual([]);
    expect(findSteps([], anything)).toEqual([]);
  });
});

describe('usualOf', () => {
  test('centre and spread of a normal night', () => {
    const values = noisy(flat(4000, 10), 0.5, 6);
    const usual = usualOf(values, 'low', 0);
    expect(usual?.centre).toBeCloseTo(10, 1);
    expect(usual?.spread).toBeCloseTo(0.5, 1);
  });

  test('two fifths of spoiled frames move the centre by 0.7 σ and the spread by a quarter, on either side', () => {
    // Among the good 60 %, the 10 % and 30 % quantiles of all lie at 1/6 and 1/2: −0.967 σ and 0.
    const good = noisy(flat(6000, 0), 1, 7);
    const low = usualOf([...good, ...flat(4000, 50)], 'low', 0);
    expect(low?.spread).toBeCloseTo(0.967 / (1.2816 - 0.5244), 1);
    expect(low?.centre).toBeCloseTo((0.5244 * 0.967) / (1.2816 - 0.5244), 1);
    const high = usualOf([...good, ...flat(4000, -50)], 'high', 0);
    expect(high?.centre).toBeCloseTo(-(low?.centre ?? Number.NaN), 1);
  });

  test('alike frames have the least spread; nothing has no usual', () => {
    expect(usualOf([3, 3, 3], 'low', (centre) => 0.5 * centre)).toEqual({ centre: 3, spread: 1.5 });
    expect(usualOf([], 'low', 1)).toBeNull();
  });
});

describe('nightLimits', () => {
  test('never nearer than what matters, never farther than what no night excuses', () => {
    const steady = nightLimits('fwhm', flat(20, 3), 'normal');
    expect(steady?.doubtful).toBeCloseTo(3 * 1.15, 9);
    expect(steady?.drop).toBeCloseTo(3 * 1.25, 9);
    const wild = nightLimits('fwhm', noisy(flat(2000, 3), 0.8, 8), 'normal');
    expect(wild?.drop).toBeCloseTo((wild?.usual.centre ?? 0) * 1.6, 9);
    const light = nightLimits('transparency', flat(20, 0.9), 'normal');
    expect(light?.drop).toBeCloseTo(0.9 * 0.78, 9);
  });

  test('strictness stretches the distance, and light never becomes nothing', () => {
    expect(nightLimits('fwhm', flat(20, 2), 'lenient')?.drop).toBeCloseTo(2 * (1 + 1.5 * 0.25), 9);
    expect(nightLimits('fwhm', flat(20, 2), 'strict')?.drop).toBeCloseTo(2 * (1 + 0.65 * 0.25), 9);
    const share = nightLimits('stars', noisy(flat(200, 0.8), 0.3, 9), 'lenient');
    expect(share?.drop).toBeGreaterThan(0);
  });

  test('too few frames have no limits of their own', () => {
    expect(nightLimits('fwhm', [3, 3, 3, 3], 'normal')).toBeNull();
  });
});
