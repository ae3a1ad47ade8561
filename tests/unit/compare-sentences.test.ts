/** The sentences of a comparison: purposes and review, for two to five labels, odd names, missing colours, unknown scale. */
import { describe, expect, test } from 'vitest';
import { allowancesOf } from '../../src/compare/allowances.js';
import { fairnessOf } from '../../src/compare/fairness.js';
import type { FairnessFacts, SharedFacts } from '../../src/compare/fairness-facts.js';
import { judge } from '../../src/compare/judge.js';
import { purposesOf } from '../../src/compare/purposes.js';
import type { ComparisonRow, PurposeVerdict } from '../../src/compare/result.js';
import { summaryOf } from '../../src/compare/summary.js';
import { duration, listOf, twoDigits, unmatchedWords } from '../../src/compare/words.js';
import type { NoMatch } from '../../src/match/outcome.js';
import { allRows, fairFacts, rowOf, SHARED } from '../helpers/compare-rows.js';

interface Told {
  rows: ComparisonRow[];
  purposes: PurposeVerdict[];
  summary: string[];
  /** Everything in one. */
  text: string;
}

function tell(
  labels: readonly string[],
  rows: readonly ComparisonRow[],
  facts: (label: string, i: number) => Partial<FairnessFacts> = () => ({}),
  shared: Partial<SharedFacts> = {},
): Told {
  const all = labels.map((label, i) => fairFacts(label, facts(label, i)));
  const common = { ...SHARED, ...shared };
  const fairness = fairnessOf(all, common);
  const judged = judge(rows, fairness, 0.95, allowancesOf(all));
  const purposes = purposesOf(labels, judged);
  const summary = summaryOf({
    labels,
    rows: judged,
    fairness,
    confidence: 0.95,
    matchedStars: common.commonStars,
    angularUnit: common.unit,
  });
  const sentences = purposes.map(({ sentence }) => sentence);
  return { rows: judged, purposes, summary, text: [...sentences, ...summary].join('\n') };
}

const LABELS = ['short', 'long', 'third', 'fourth', 'fifth'];
const EVERY = allRows(LABELS).map(({ quantity }) => quantity);
const verdicts = ({ purposes }: Told): string[] => purposes.map(({ verdict }) => verdict);
const part = ({ summary }: Told, start: RegExp): string =>
  summary.find((text) => start.test(text)) ?? '';

/** What no text may hold, whatever the input. */
function expectClean(text: string): void {
  expect(text).not.toMatch(/undefined|null|NaN|Infinity|\[object|−0(\.0+)? /);
  for (const line of text.split('\n')) {
    expect(line).toMatch(/\.$/);
    expect(line).not.toMatch(/ {2}|\.\.|,,| ,| \.|\(\)|, and \.|and and/);
  }
}

describe('for any number of telescopes', () => {
  test.each([2, 3, 5])('%d labels: four to eight entries, clean, the best one named', (n) => {
    const labels = LABELS.slice(0, n);
    for (const worse of [[], EVERY, ['fwhm green'], ['halo blue minus red', 'depth per second']]) {
      const told = tell(labels, allRows(labels, worse));
      expectClean(told.text);
      expect(told.summary.length).toBeGreaterThanOrEqual(3);
      expect(told.summary.length).toBeLessThanOrEqual(8);
    }
    expect(verdicts(tell(labels, allRows(labels, EVERY)))).toEqual(Array(5).fill('short'));
    expect(verdicts(tell(labels, allRows(labels, [])))).toEqual(
      Array(5).fill('no difference shown'),
    );
  });

  test('two are both, three are all; sharper of two, sharpest of three', () => {
    const two = tell(LABELS.slice(0, 2), allRows(LABELS.slice(0, 2), EVERY));
    const three = tell(LABELS.slice(0, 3), allRows(LABELS.slice(0, 3), EVERY));
    expect(two.summary[0]).toMatch(/both show the same 250 stars/);
    expect(three.summary[0]).toMatch(/all show the same 250 stars/);
    expect(part(two, /^Stars/)).toBe(
      'Stars are sharper in short: at half their brightness they are 3.10 arcsec wide, against 3.50 in long (an arcsec is 1/3600 of a degree).',
    );
    expect(part(three, /^Stars/)).toMatch(
      /^Stars are sharpest in short: .* 3\.50 in long and 3\.90 in third/,
    );
    expect(part(three, /halo/)).toMatch(/weakest in short: 1\.2 % of the blue light/);
  });

  test('more than two behind are told as a range', () => {
    expect(part(tell(LABELS, allRows(LABELS, EVERY)), /^Stars/)).toMatch(
      /against 3\.50 to 4\.70 in the others/,
    );
  });

  test('one common star is one star', () => {
    const told = tell(['a', 'b'], allRows(['a', 'b'], []), () => ({}), { commonStars: 1 });
    expect(told.summary[0]).toMatch(/both show the same 1 star\./);
  });
});

describe('what is said first', () => {
  test('a forbidden comparison, with its reason, before anything else', () => {
    const told = tell(['a', 'b'], allRows(['a', 'b'], EVERY), (_, i) =>
      i === 1 ? { linearity: 'stretched' } : {},
    );
    expect(told.summary[0]).toMatch(
      /^No verdict on star sizes, colour, light and depth: b is a picture/,
    );
    expect(verdicts(told).slice(0, 4)).toEqual(Array(4).fill('cannot tell'));
    expect(told.text).not.toMatch(/sharper in/);
    expectClean(told.text);
  });

  test('all rows forbidden: no verdict anywhere, no closing on what better means', () => {
    const rows = allRows(['a', 'b'], EVERY).filter(
      ({ group }) => group === 'size' || group === 'colour',
    );
    const told = tell(['a', 'b'], rows, () => ({ linearity: 'stretched' }));
    expect(verdicts(told)).toEqual(Array(5).fill('cannot tell'));
    expect(told.rows.every(({ verdict }) => verdict === 'not comparable')).toBe(true);
    expect(told.text).not.toMatch(/better/);
    expect(told.summary.join(' ')).toMatch(/could not be compared/);
    expectClean(told.text);
  });

  test('no rows at all', () => {
    const told = tell(['a', 'b'], []);
    expect(verdicts(told)).toEqual(Array(5).fill('cannot tell'));
    expectClean(told.text);
  });

  test('unknown air: the size is not judged, but that it differs is not hidden', () => {
    const told = tell(['a', 'b'], allRows(['a', 'b'], ['fwhm green']), () => ({ timeMs: null }));
    expect(told.summary[0]).toMatch(/^This comparison is not quite fair\. Not all frames say when/);
    expect(part(told, /^No difference/)).toMatch(
      /width of stars \(3\.10 arcsec in a and 3\.50 arcsec in b, but the conditions alone can make/,
    );
    expectClean(told.text);
  });

  test('many weak points are named, the gravest told', () => {
    const told = tell(['a', 'b'], allRows(['a', 'b'], EVERY), (_, i) =>
      i === 0
        ? {}
        : {
            timeMs: null,
            exposureSeconds: [300, 300],
            fwhmPx: 1.9,
            scaleArcsecPerPx: 2.5,
            hotPerMillion: 300,
          },
    );
    expect(told.summary[0]).toMatch(
      /^This comparison is not quite fair: the exposures, the steadiness of the air, the pixels and the calibration weaken it\. Most of all: not all frames/,
    );
    expectClean(told.text);
  });

  test('the limit of what was not shown: 2 σ of 0.02 of 3.1 arcsec are 1.3 %', () => {
    expect(part(tell(['a', 'b'], allRows(['a', 'b'], [])), /^No difference/)).toMatch(
      /width of stars \(if there is one, it is below 1\.3 %\)/,
    );
  });
});

describe('who leads', () => {
  const three = ['achromat', 'ed', 'apo'];

  test('two that are level lead together; one of them leads in another respect', () => {
    const rows = allRows(three, []).map((row) => {
      if (row.quantity === 'fwhm green') {
        return rowOf(row.quantity, { achromat: 3.62, ed: 3.43, apo: 3.41 }, 0.006);
      }
      if (row.quantity !== 'halo blue minus red') return row;
      const { group, unit, betterWhen } = row;
      return rowOf(row.quantity, { achromat: 38, ed: 10, apo: -0.3 }, 0.9, {
        group,
        unit,
        betterWhen,
      });
    });
    const told = tell(three, rows);
    expect(part(told, /^Stars/)).toMatch(
      /^Stars are sharper in ed and apo: .* 3\.43 arcsec wide in ed and 3\.41 in apo, against 3\.62 in achromat/,
    );
    expect(part(told, /^The blue halo/)).toMatch(
      /is weakest in apo: none of the blue light .*, against 10.* % in ed and 38.* % in achromat/,
    );
    const eye = told.purposes[0] as PurposeVerdict;
    expect(eye.verdict).toBe('apo');
    expect(eye.sentence).toMatch(
      /^apo has less blue halo \(.*, against 10.* in ed and 38.* in achromat\)\. Like ed, it also has sharper stars than achromat\./,
    );
    expect(eye.restsOn).toEqual(['halo blue minus red', 'halo red minus green', 'fwhm green']);
    expectClean(told.text);
  });

  test('each better in something: it depends, and both sides are said', () => {
    const rows = allRows(['a', 'b'], ['fwhm green']).map((row) =>
      row.quantity === 'halo blue minus red'
        ? rowOf(row.quantity, { a: 12, b: 2 }, 0.5, {
            group: 'colour',
            unit: '%',
            betterWhen: 'nearer zero',
          })
        : row,
    );
    const told = tell(['a', 'b'], rows);
    expect(told.purposes[1]?.verdict).toBe('depends');
    expect(told.purposes[1]?.sentence).toMatch(
      /^a has sharper stars \(.*\) and b has less blue halo \(/,
    );
    expectClean(told.text);
  });

  test('an order with gaps is told pair by pair', () => {
    const rows = [rowOf('fwhm green', { a: 3, b: 3.07, c: 3.14 }, 0.035)];
    const told = tell(['a', 'b', 'c'], rows);
    expect(part(told, /^Stars/)).toBe('Stars are sharper in a than in c.');
    expect(told.purposes[2]?.verdict).toBe('depends');
    expect(told.purposes[2]?.sentence).toMatch(/^sharper stars: a than c\./i);
    expectClean(told.text);
  });

  test('less than a tenth fainter is told in per cent, never as “1 times”', () => {
    const rows = [
      rowOf('depth per second', { a: 0, b: -0.06 }, 0.002, {
        group: 'depth',
        unit: 'mag',
        betterWhen: 'larger',
      }),
    ];
    // 10^(0.4 × 0.06) = 1.057.
    expect(part(tell(['a', 'b'], rows), /^In the same time/)).toBe(
      'In the same time a reaches stars 5.7 % fainter than b (0.06 mag).',
    );
  });

  test('alike in green, but not in blue: the width that was not shown to differ is that in green', () => {
    const told = tell(['a', 'b'], allRows(['a', 'b'], ['fwhm blue']));
    expect(part(told, /^In blue light stars are sharper in a/)).not.toBe('');
    expect(part(told, /^No difference was shown/)).toMatch(/the width of stars in green light/);
  });

  test('depth speaks of fainter stars, 0.4 mag being 1.4 times', () => {
    const told = tell(['a', 'b'], allRows(['a', 'b'], ['depth per second']));
    expect(part(told, /^In the same time/)).toBe(
      'In the same time a reaches stars 1.4 times fainter than b (0.40 mag).',
    );
  });
});

describe('what is missing', () => {
  test('mono: no word on colour but that it cannot be compared', () => {
    const rows = allRows(['a', 'b'], EVERY)
      .filter(({ group, quantity }) => group !== 'colour' && !/red|blue|colour|r80/.test(quantity))
      .map((row) => (row.quantity === 'fwhm green' ? { ...row, quantity: 'fwhm' } : row));
    const told = tell(['a', 'b'], rows, () => ({ layout: 'mono', colours: [] }));
    expect(told.purposes[0]).toMatchObject({
      verdict: 'cannot tell',
      sentence: 'The blue halo could not be compared: the frames do not show it.',
    });
    expect(told.purposes[2]?.verdict).toBe('a');
    expect(told.purposes[2]?.restsOn).toEqual(['fwhm']);
    expect(part(told, /^Stars/)).toMatch(/^Stars are sharper in a/);
    expectClean(told.text);
  });

  test('unknown scale: pixels, and no arcsec anywhere', () => {
    const rows = allRows(['a', 'b'], EVERY).map((row) =>
      row.unit === 'arcsec' ? { ...row, unit: 'px' } : row,
    );
    const told = tell(['a', 'b'], rows, () => ({ scaleArcsecPerPx: null, scaleSource: null }), {
      unit: 'px',
    });
    expect(part(told, /^Stars/)).toMatch(/3\.10 px wide, against 3\.50 in b\.$/);
    expect(told.text).not.toMatch(/arcsec/);
    expectClean(told.text);
  });

  test('one telescope without a value: the others are compared, and it is not called worse', () => {
    const rows = allRows(['a', 'b', 'c'], EVERY).map((row) =>
      row.quantity === 'fwhm green' ? rowOf(row.quantity, { a: 3, b: null, c: 3.5 }, 0.02) : row,
    );
    const told = tell(['a', 'b', 'c'], rows);
    expect(part(told, /^Stars/)).toMatch(/against 3\.50 in c \(/);
    expect(part(told, /^Stars/)).not.toMatch(/ b\b/);
    expectClean(told.text);
  });
});

describe('odd labels', () => {
  test.each([
    ['$&', '$1'],
    ['a and b', 'c'],
    ['<b>x</b>', '"quoted"'],
    ['E.g. 80 mm', 'x'.repeat(200)],
    ['constructor', 'toString'],
    ['The', 'the'],
    ['100 %', '−0'],
  ])('%s against %s stand in the text as they are', (first, second) => {
    const labels = [first, second];
    const told = tell(labels, allRows(labels, EVERY));
    expect(verdicts(told)).toEqual(Array(5).fill(first));
    expect(part(told, /^Stars are/)).toBe(
      `Stars are sharper in ${first}: at half their brightness they are 3.10 arcsec wide, against 3.50 in ${second} (an arcsec is 1/3600 of a degree).`,
    );
    for (const { sentence } of told.purposes)
      expect(sentence.startsWith(`${first} has `)).toBe(true);
  });

  test('control characters stay for the report to escape', () => {
    const labels = ['a\u001b[31m', 'b\nc'];
    expect(tell(labels, allRows(labels, EVERY)).text).toContain('in a\u001b[31m:');
  });
});

test('words are plain: no term of the trade without its meaning beside it', () => {
  const { text } = tell(['a', 'b'], allRows(['a', 'b'], EVERY));
  expect(text).not.toMatch(/FWHM|r80|p-value|sigma|σ|Holm|PSF|chromatic|bootstrap|ADU/i);
  // Magnitudes stand beside a factor; the arcsec is explained.
  expect(text).toMatch(/1\.4 times fainter than b \(0\.40 mag\)/);
  expect(text).toMatch(/an arcsec is 1\/3600 of a degree/);
});

test('numbers and lists', () => {
  expect(listOf([])).toBe('');
  expect(listOf(['a'])).toBe('a');
  expect(listOf(['a', 'b', 'c'], 'or')).toBe('a, b or c');
  expect([0.0341, 3.44, 34.4, 340, 5, 0].map(twoDigits)).toEqual([
    '0.034',
    '3.4',
    '34',
    '340',
    '5',
    '0',
  ]);
  expect([30, 99, 120, 2340, 5400, 90_000, 1_036_800].map(duration)).toEqual([
    '30 s',
    '99 s',
    '2 minutes',
    '39 minutes',
    '1.5 hours',
    '25 hours',
    '12 days',
  ]);
});

test('telescopes that cannot be matched: other stars, too few, or not sure', () => {
  const why = (reason: NoMatch['reason'], explanation: string, log10?: number): string =>
    unmatchedWords('b', 'a', {
      reason,
      explanation,
      best:
        log10 === undefined
          ? null
          : {
              matched: 4,
              expected: 5,
              log10FalseProbability: log10,
              description: {} as NonNullable<NoMatch['best']>['description'],
            },
    });
  expect(why('too-few-stars', 'The frames have 14 and 1 stars.')).toBe(
    'there are too few stars to lay b on a: the frames have 14 and 1 stars',
  );
  expect(why('no-agreement', 'No figure.')).toBe('the stars of b are not those of a: no figure');
  expect(why('not-significant', 'At best 7 of 57.', -0.2)).toMatch(/^the stars of b are not those/);
  // Two bands of one real field showed 4 of 5 stars in common: the same stars, but not shown.
  expect(why('not-significant', 'At best 4 of 5.', -4)).toMatch(/^it is not sure that the stars/);
  expect(why('ambiguous', 'The stars agree twice.', -9)).toMatch(/^it is not sure/);
});
