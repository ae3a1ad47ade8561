/**
 * One telescope against itself under other conditions: nothing may be called better. The differences are those that simulated frames of one
 * invented telescope (80 mm f/6, 60 s, seeing 2.5″) showed against a second frame taken as each test says.
 */
import { describe, expect, test } from 'vitest';
import { allowancesOf } from '../../src/compare/allowances.js';
import { fairnessOf } from '../../src/compare/fairness.js';
import type { FairnessFacts } from '../../src/compare/fairness-facts.js';
import { judge } from '../../src/compare/judge.js';
import { type ComparisonRow, NO_DIFFERENCE } from '../../src/compare/result.js';
import { fairFacts, rowOf, SHARED } from '../helpers/compare-rows.js';

function verdicts(rows: ComparisonRow[], second: Partial<FairnessFacts>): string[] {
  const facts = [fairFacts('a', { fwhmPx: 2.1 }), fairFacts('b', { fwhmPx: 2.1, ...second })];
  return judge(rows, fairnessOf(facts, SHARED), 0.95, allowancesOf(facts)).map(
    ({ verdict }) => verdict,
  );
}

const depth = (quantity: string, b: number): ComparisonRow =>
  rowOf(quantity, { a: 0, b }, 0.017, { group: 'depth', unit: 'mag', betterWhen: 'larger' });
const found = (a: number, b: number): ComparisonRow =>
  rowOf('stars found', { a, b }, 13, { group: 'depth', unit: 'count', betterWhen: 'larger' });
const headroom = (b: number): ComparisonRow =>
  rowOf('saturation headroom', { a: 2.7, b }, 0.04, {
    group: 'light',
    unit: 'mag',
    betterWhen: 'larger',
  });
const none = (n: number): string[] => new Array(n).fill(NO_DIFFERENCE);

describe('another exposure', () => {
  test('5 s after 60 s: fewer stars, less depth, more headroom, and readout noise per second', () => {
    const rows = [
      found(657, 501),
      depth('depth', -1.595),
      depth('depth per second', -0.246),
      depth('depth per second and cm²', -0.246),
      headroom(5.405),
    ];
    expect(verdicts(rows, { exposureSeconds: [5, 5] })).toEqual(none(5));
  });

  test('300 s: deeper by less than the root of the time', () => {
    const rows = [depth('depth', 0.772), depth('depth per second', -0.102)];
    expect(verdicts(rows, { exposureSeconds: [300, 300] })).toEqual(none(2));
  });

  test('a telescope that is deeper by far more than that is still named', () => {
    const rows = [depth('depth per second', -1.2)];
    expect(verdicts(rows, { exposureSeconds: [120, 120] })).toEqual(['a']);
    // Equal exposures leave small differences what they are.
    expect(verdicts([depth('depth per second', -0.2), found(657, 501)], {})).toEqual(['a', 'a']);
  });

  test('exposure not known', () => {
    expect(verdicts([found(657, 560)], { exposureSeconds: null })).toEqual(none(1));
  });
});

test('magnitudes of an allowance become a share where stars are counted', () => {
  // Larger pixels: 0.1 mag is 10^(0.42 × 0.1) − 1 = 10 % of the stars.
  const other = { scaleArcsecPerPx: 2.58, fwhmPx: 1.5 };
  expect(verdicts([found(655, 590)], other)).toEqual(none(1));
  expect(verdicts([found(655, 200)], other)).toEqual(['a']);
});

test('the same frame as interpolated planes: wider stars, weaker halos, smoother noise, lower peaks', () => {
  const rows = [
    rowOf('fwhm green', { a: 3.42, b: 4.68 }, 0.04),
    rowOf('r80 green', { a: 3.46, b: 4.13 }, 0.014),
    rowOf('halo blue minus red over perfect lens', { a: 11.42, b: 7.61 }, 0.46, {
      group: 'colour',
      unit: '%',
      betterWhen: 'nearer zero',
    }),
    depth('depth', 0.574),
    headroom(2.915),
  ];
  expect(verdicts(rows, { layout: 'rgb', noiseCorrelation: 1.8, fwhmPx: 2.9 })).toEqual(none(5));
  // Wide stars hardly grow by interpolation.
  const wide = { layout: 'rgb', noiseCorrelation: 1.8, fwhmPx: 9 } as const;
  const facts = [fairFacts('a', { fwhmPx: 6 }), fairFacts('b', wide)];
  const sized = [rowOf('fwhm green', { a: 9.6, b: 14.4 }, 0.04)];
  expect(judge(sized, fairnessOf(facts, SHARED), 0.95, allowancesOf(facts))[0]?.verdict).toBe('a');
});

test('the same frame as a picture of eight bits: growth and elongation are not the lens’s', () => {
  const rows = [
    rowOf('ellipticity', { a: 0, b: 0.047 }, 0.005, { group: 'shape', betterWhen: 'nearer zero' }),
    rowOf('growth centre to corner (own field)', { a: 0.27, b: 17.4 }, 3, {
      group: 'field',
      unit: '%',
      betterWhen: 'nearer zero',
    }),
  ];
  expect(verdicts(rows, { probablyProcessed: true, layout: 'rgb' })).toEqual(none(2));
});

test('worse air spreads the peaks: headroom is no merit', () => {
  expect(verdicts([headroom(3.064)], { timeMs: null })).toEqual(none(1));
});

describe('less halo in the wider star', () => {
  const colour = { group: 'colour', unit: '%', betterWhen: 'nearer zero' } as const;
  const rows = (wider: number, halo: number): ComparisonRow[] => [
    rowOf('fwhm green', { a: 3.41, b: 3.41 * wider }, 0.03),
    rowOf('halo blue minus red', { a: 10.33, b: halo }, 0.28, colour),
  ];

  test('2.5″ and 3″ of seeing in one minute: 12 % wider, 16 % less halo', () => {
    expect(verdicts(rows(1.12, 8.7), {})).toEqual(['a', NO_DIFFERENCE]);
  });

  test('a better lens, slightly out of focus, is still better in colour', () => {
    expect(verdicts(rows(1.05, 3.1), {})).toEqual(['a', 'b']);
  });

  test('nothing is taken from the sharper one', () => {
    expect(verdicts(rows(1 / 1.12, 8.7), {})).toEqual(['b', 'b']);
  });
});
