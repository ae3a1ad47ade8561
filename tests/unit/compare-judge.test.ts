/** Verdicts of a comparison: many tests at once, differences that matter, forbidden rows, allowances for what is unfair. */
import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { holmAdjusted, judge } from '../../src/compare/judge.js';
import { smallestAmount, smallestDifference } from '../../src/compare/matters.js';
import {
  type ComparisonRow,
  type FairnessItem,
  NO_DIFFERENCE,
  NOT_COMPARABLE,
} from '../../src/compare/result.js';
import { standingOf } from '../../src/compare/standing.js';
import { createRandom, normal } from '../../src/stats/random.js';
import { studentTwoSided } from '../../src/stats/student.js';
import { rowOf } from '../helpers/compare-rows.js';

const only = (
  row: ComparisonRow,
  fairness: FairnessItem[] = [],
  confidence = 0.95,
): ComparisonRow => judge([row], fairness, confidence)[0] as ComparisonRow;

const item = (
  name: string,
  weight: FairnessItem['weight'],
  affects: FairnessItem['affects'],
): FairnessItem => ({
  item: name,
  status: 'unknown',
  values: {},
  effect: `${name} differs.`,
  affects,
  weight,
});

describe('holmAdjusted', () => {
  test('a textbook example (from memory, as R’s p.adjust gives it; worked out below)', () => {
    // Sorted: 0.005 × 4 = 0.02; 0.01 × 3 = 0.03; 0.03 × 2 = 0.06; 0.04 × 1 = 0.04, not below 0.06.
    const adjusted = holmAdjusted([0.01, 0.04, 0.03, 0.005]);
    [0.03, 0.06, 0.06, 0.02].forEach((p, k) => {
      expect(adjusted[k]).toBeCloseTo(p, 14);
    });
  });

  test('rejects what the step-down rule rejects, at every level', () => {
    const random = createRandom(3);
    for (let round = 0; round < 200; round++) {
      const p = Array.from({ length: 1 + Math.floor(12 * random()) }, () => random() ** 4);
      const adjusted = holmAdjusted(p);
      for (const alpha of [0.01, 0.05, 0.3]) {
        // The definition: go through the sorted p until one exceeds alpha/(m − k); reject those before.
        const order = p.map((_, i) => i).sort((a, b) => (p[a] as number) - (p[b] as number));
        const rejected = new Set<number>();
        for (let k = 0; k < order.length; k++) {
          const i = order[k] as number;
          if ((p[i] as number) > alpha / (order.length - k)) break;
          rejected.add(i);
        }
        p.forEach((_, i) => {
          expect((adjusted[i] as number) <= alpha * (1 + 1e-12)).toBe(rejected.has(i));
        });
      }
    }
  });

  test('nothing above 1, NaN is no test, an empty family stays empty', () => {
    expect(holmAdjusted([0.9, 0.8])).toEqual([1, 1]);
    const [a, b, c] = holmAdjusted([0.02, Number.NaN, 0.5]);
    expect(a).toBeCloseTo(0.04, 14);
    expect(b).toBeNaN();
    expect(c).toBeCloseTo(0.5, 14);
    expect(holmAdjusted([])).toEqual([]);
  });

  test('among true nulls, some false verdict appears in about 5 % of families and no more', () => {
    const random = createRandom(11);
    let families = 0;
    for (let round = 0; round < 4000; round++) {
      const p = Array.from({ length: 30 }, () =>
        studentTwoSided(normal(random), Number.POSITIVE_INFINITY),
      );
      if (holmAdjusted(p).some((value) => value < 0.05)) families++;
    }
    // 1 − (1 − 0.05/30)³⁰ = 4.88 %; three standard errors of 4000 rounds are 1.0 %.
    expect(families / 4000).toBeGreaterThan(0.0385);
    expect(families / 4000).toBeLessThan(0.059);
  });
});

test('Student’s tail with the fractional freedom of combined errors equals scipy 1.17.1 (stats.t.sf, frozen 2026-11-25)', () => {
  expect(studentTwoSided(3.1, 7.5)).toBeCloseTo(0.015884151890859705, 12);
  expect(studentTwoSided(2, 1)).toBeCloseTo(0.2951672353008665, 12);
  expect(studentTwoSided(4, 250) / 8.34702014587015e-5).toBeCloseTo(1, 9);
});

describe('a verdict between two', () => {
  test('names the better one with its lead and confidence', () => {
    const row = only(rowOf('fwhm green', { a: 3.5, b: 3.1 }, 0.02));
    expect(row.verdict).toBe('b');
    expect(row.differenceOf).toEqual(['b', 'a']);
    expect(row.difference?.value).toBeCloseTo(-0.4, 12);
    expect(row.difference?.low).toBeCloseTo(-0.42, 12);
    expect(row.difference?.high).toBeCloseTo(-0.38, 12);
    expect(row.confidence).toBeGreaterThan(0.999);
    expect(row.pairs[0]?.better).toBe('b');
  });

  test('larger, and nearer zero with both signs', () => {
    expect(only(rowOf('depth', { a: 0, b: -0.4 }, 0.03, { betterWhen: 'larger' })).verdict).toBe(
      'a',
    );
    const halo = { group: 'colour', unit: '%', betterWhen: 'nearer zero' } as const;
    expect(only(rowOf('halo blue minus red', { a: -9, b: 2 }, 0.5, halo)).verdict).toBe('b');
    expect(only(rowOf('halo blue minus red', { a: -1, b: 8 }, 0.5, halo)).verdict).toBe('a');
  });

  test('a sure but tiny difference is none; a large but unsure one neither', () => {
    // 1 % of the size at 30 σ; 20 % at 1.5 σ.
    expect(only(rowOf('fwhm green', { a: 3.03, b: 3 }, 0.001)).verdict).toBe(NO_DIFFERENCE);
    const unsure = only(rowOf('fwhm green', { a: 3.6, b: 3 }, 0.4));
    expect(unsure.verdict).toBe(NO_DIFFERENCE);
    expect(unsure.confidence).toBeNull();
    expect(unsure.differenceOf).toEqual(['b', 'a']);
  });

  test('more rows make a single one less sure', () => {
    // p = 0.02 alone, 0.4 among twenty.
    const row = rowOf('fwhm green', { a: 3.24, b: 3 }, 0.1);
    expect(only(row).verdict).toBe('b');
    const many = [
      row,
      ...Array.from({ length: 19 }, () => rowOf('r80 green', { a: 3, b: 3 }, 0.1)),
    ];
    expect(judge(many, [], 0.95)[0]?.verdict).toBe(NO_DIFFERENCE);
  });

  test('a higher confidence asks for more', () => {
    const row = rowOf('fwhm green', { a: 3.24, b: 3 }, 0.1);
    expect(only(row, [], 0.99).verdict).toBe(NO_DIFFERENCE);
  });

  test('the given rows stay as they are', () => {
    const row = rowOf('fwhm green', { a: 3.5, b: 3.1 }, 0.02);
    const before = structuredClone(row);
    only(row, [item('seeing', 'weakens', ['size'])]);
    expect(row).toEqual(before);
  });
});

describe('a verdict among several', () => {
  test('the winner must beat every other one', () => {
    expect(only(rowOf('fwhm green', { a: 3, b: 3.4, c: 3.8 }, 0.02)).verdict).toBe('a');
  });

  test('two that are level and ahead of the rest share it, with their smallest lead', () => {
    const row = only(rowOf('fwhm green', { a: 3.81, b: 3, c: 3.01 }, 0.02));
    expect(row.verdict).toBe('b and c');
    expect(row.differenceOf).toEqual(['c', 'a']);
    expect(row.difference?.value).toBeCloseTo(-0.8, 12);
    expect(row.confidence).toBeGreaterThan(0.99);
  });

  test('an order with gaps names nobody, but the pairs keep what they show', () => {
    // a beats c, b is level with both.
    const row = only(rowOf('fwhm green', { a: 3, b: 3.07, c: 3.14 }, 0.035));
    expect(row.verdict).toBe(NO_DIFFERENCE);
    expect(row.pairs.map(({ better }) => better)).toEqual([null, 'a', null]);
    expect(row.differenceOf).toEqual(['a', 'b']);
  });

  test('one without a value takes no part', () => {
    const row = only(rowOf('fwhm green', { a: 3, b: null, c: 3.6 }, 0.02));
    expect(row.verdict).toBe('a');
    expect(row.differenceOf).toEqual(['a', 'c']);
  });
});

describe('what is unfair', () => {
  const row = rowOf('fwhm green', { a: 3.5, b: 3.1 }, 0.02);

  test('a forbidding item leaves no verdict, and its row is no test for the others', () => {
    const [size, depth] = judge(
      [row, rowOf('depth', { a: 0.3, b: 0 }, 0.13, { group: 'depth', betterWhen: 'larger' })],
      [item('linearity', 'forbids', ['size'])],
      0.95,
    ) as [ComparisonRow, ComparisonRow];
    expect(size.verdict).toBe(NOT_COMPARABLE);
    expect(size.reason).toBe('linearity differs.');
    expect(size.difference).toBeNull();
    expect(size.pairs[0]?.better).toBeNull();
    // p = 0.0245: below 0.05 only if it is alone.
    expect(depth.verdict).toBe('a');
  });

  test('other groups are not touched', () => {
    expect(only(row, [item('linearity', 'forbids', ['colour'])]).verdict).toBe('b');
  });

  test('unknown seeing: 13 % of the size at 20 σ is not shown, 60 % is', () => {
    // Ten per cent of 3.5 is 0.35: 0.4 is 1.1 σ of it. 2.1 of 5.2 is 4 σ.
    const seeing = item('seeing', 'weakens', ['size']);
    const weak = only(row, [seeing]);
    expect(weak.verdict).toBe(NO_DIFFERENCE);
    expect(weak.caveats).toEqual(['seeing']);
    expect(weak.pairs[0]?.adjustedPValue).toBeCloseTo(
      studentTwoSided(0.4 / Math.sqrt(0.02 ** 2 + 0.35 ** 2), Number.POSITIVE_INFINITY),
      10,
    );
    expect(only(rowOf('fwhm green', { a: 5.2, b: 3.1 }, 0.02), [seeing]).verdict).toBe('b');
  });

  test('an item without allowance, even of an odd name, is a caveat alone', () => {
    for (const name of ['number of stars', 'constructor', '__proto__']) {
      const judged = only(row, [item(name, 'weakens', ['size'])]);
      expect(judged.verdict).toBe('b');
      expect(judged.caveats).toEqual([name]);
    }
  });

  test('an item touches only the quantities that it can change', () => {
    const items = [item('exposure', 'weakens', ['light']), item('overlap', 'weakens', ['light'])];
    const light = (quantity: string): string[] =>
      only(rowOf(quantity, { a: 1, b: 2 }, 0.1, { group: 'light' }), items).caveats;
    expect(light('corner illumination')).toEqual(['overlap']);
    expect(light('saturation headroom')).toEqual(['exposure']);
    const model = rowOf('fwhm green, air and pixels removed', { a: 1, b: 2 }, 0.1, {
      scope: 'model',
    });
    expect(only(model, [item('seeing', 'weakens', ['size'])]).caveats).toEqual([]);
  });

  test('rows without a pair say why', () => {
    const empty = only(rowOf('fwhm blue', { a: 3, b: null }, 0.02, { reason: 'b without colour' }));
    expect(empty.verdict).toBe(NOT_COMPARABLE);
    expect(empty.reason).toBe('b without colour');
    expect(only(rowOf('fwhm blue', { a: null, b: null }, 0.02)).reason).toMatch(/fewer than two/);
  });

  test('a rim tint describes, but is no merit', () => {
    const rim = rowOf('rim tint', { a: -0.5, b: 0 }, 0.01, {
      group: 'colour',
      betterWhen: 'nearer zero',
    });
    expect(only(rim).verdict).toBe(NOT_COMPARABLE);
    expect(only(rim).reason).toMatch(/no merit/);
  });
});

describe('differences that matter', () => {
  const at = (quantity: string, scope: ComparisonRow['scope'] = 'same stars') =>
    smallestDifference({ quantity, group: 'size', scope });

  test('each has a number and a reason; the longest name decides', () => {
    expect(at('fwhm blue')).toMatchObject({ amount: 2, percent: true });
    expect(at('halo blue minus red over perfect lens')).toMatchObject({
      amount: 1,
      percent: false,
    });
    expect(at('ellipticity').amount).toBe(0.01);
    expect(at('ellipticity in the corners (own field)').amount).toBe(0.02);
    expect(at('depth per second and cm²').amount).toBe(0.05);
    expect(at('fwhm green, air and pixels removed', 'model').amount).toBe(5);
    expect(smallestDifference({ quantity: 'new', group: 'light', scope: 'own field' }).amount).toBe(
      3,
    );
    for (const quantity of ['fwhm', 'halo ', 'depth', 'saturation headroom', 'stars found']) {
      expect(at(quantity).reason.length).toBeGreaterThan(20);
    }
  });

  test('per cent are of the smaller value; lateral colour is measured by the stars', () => {
    expect(
      smallestAmount({ quantity: 'fwhm', group: 'size', scope: 'same stars' }, 3, 4, null),
    ).toBeCloseTo(0.06, 12);
    const lateral = { quantity: 'lateral colour', group: 'field', scope: 'same stars' } as const;
    expect(smallestAmount(lateral, 0, 0.2, 3)).toBeCloseTo(0.15, 12);
    expect(smallestAmount(lateral, 0, 0.2, null)).toBeNaN();
  });

  test('a shift between the colours counts from 5 % of the smallest star', () => {
    const rows = (edge: number): ComparisonRow[] => [
      rowOf('fwhm green', { a: 3, b: 3 }, 0.02),
      rowOf('lateral colour', { a: 0.01, b: edge }, 0.01, {
        group: 'field',
        betterWhen: 'nearer zero',
      }),
    ];
    expect(judge(rows(0.14), [], 0.95)[1]?.verdict).toBe(NO_DIFFERENCE);
    expect(judge(rows(0.18), [], 0.95)[1]?.verdict).toBe('a');
  });
});

test('docs/compare.md states every smallest difference with its reason', () => {
  const text = readFileSync(new URL('../../docs/compare.md', import.meta.url), 'utf8');
  const table = text.slice(text.indexOf('| quantity | smallest difference'));
  const rows: [string, ComparisonRow['group'], ComparisonRow['scope'], string][] = [
    ['fwhm, r80', 'size', 'same stars', 'fwhm green'],
    ['halo', 'colour', 'same stars', 'halo blue minus red'],
    ['core tint', 'colour', 'same stars', 'core tint'],
    ['equivalent blue defocus', 'colour', 'same stars', 'equivalent blue defocus'],
    ['ellipticity', 'shape', 'same stars', 'ellipticity'],
    ['ellipticity in the corners', 'field', 'own field', 'ellipticity in the corners (own field)'],
    ['growth centre to corner', 'field', 'own field', 'growth centre to corner (own field)'],
    ['corner illumination', 'light', 'own field', 'corner illumination'],
    ['stars found', 'depth', 'same stars', 'stars found'],
    ['depth', 'depth', 'same stars', 'depth per second'],
    ['saturation headroom', 'light', 'same stars', 'saturation headroom'],
    ['modelled sizes', 'size', 'model', 'fwhm green, air and pixels removed'],
  ];
  for (const [name, group, scope, quantity] of rows) {
    const [, , shown = '', reason] = (
      table.split('\n').find((line) => line.startsWith(`| ${name} |`)) ?? ''
    ).split('|');
    const { amount, percent, reason: why } = smallestDifference({ quantity, group, scope });
    expect([name, Number.parseFloat(shown.trim())]).toEqual([name, amount]);
    expect([name, shown.trim().endsWith('%')]).toEqual([name, percent]);
    expect(reason?.trim()).toBe(why);
  }
});

describe('standingOf', () => {
  test('no order among equals, and none in a circle', () => {
    expect(standingOf(['a', 'b'], () => false).leaders).toEqual([]);
    const circle = new Set(['ab', 'bc', 'ca']);
    expect(standingOf(['a', 'b', 'c'], (x, y) => circle.has(x + y)).leaders).toEqual([]);
  });
});
