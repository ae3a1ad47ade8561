/** What makes a comparison unfair: every item at, below and above its threshold. */
import { describe, expect, test } from 'vitest';
import { allowancesOf } from '../../src/compare/allowances.js';
import { fairnessOf } from '../../src/compare/fairness.js';
import {
  type FairnessFacts,
  type SharedFacts,
  seeingLimit,
  timeRange,
} from '../../src/compare/fairness-facts.js';
import { judge } from '../../src/compare/judge.js';
import type { FairnessItem } from '../../src/compare/result.js';
import { fairFacts, rowOf, SHARED } from '../helpers/compare-rows.js';

/** The named item when the second telescope has other facts than the first. */
function itemWith(
  name: string,
  second: Partial<FairnessFacts>,
  first: Partial<FairnessFacts> = {},
  shared: Partial<SharedFacts> = {},
): FairnessItem {
  const items = fairnessOf([fairFacts('a', first), fairFacts('b', second)], {
    ...SHARED,
    ...shared,
  });
  return items.find(({ item }) => item === name) as FairnessItem;
}

const at = (minutes: number): FairnessFacts['timeMs'] => [
  Date.UTC(2026, 0, 1, 22, minutes),
  Date.UTC(2026, 0, 1, 22, minutes + 1),
];

test('telescopes side by side: nothing weakens or forbids, and every item says so in one sentence', () => {
  const items = fairnessOf([fairFacts('a'), fairFacts('b')], SHARED);
  expect(items.map(({ item }) => item)).toEqual([
    'exposure',
    'gain',
    'filter',
    'time between',
    'air mass',
    'seeing',
    'background',
    'focus',
    'scale',
    'sampling',
    'pixels on the sky',
    'saturation',
    'linearity',
    'mosaic or interpolated',
    'calibration',
    'star population',
    'overlap',
    'number of stars',
    'normalising radius',
  ]);
  for (const { weight, affects, effect, values } of items) {
    expect(weight).toBe('none');
    expect(affects).toEqual([]);
    expect(effect).toMatch(/^[A-Z].*\.$/);
    expect(Object.keys(values)).toEqual(['a', 'b']);
  }
});

describe('exposure and gain', () => {
  test('within 2 % equal, beyond it corrected for in one row but a caveat for depth', () => {
    expect(itemWith('exposure', { exposureSeconds: [61, 61] }).status).toBe('equal');
    const longer = itemWith('exposure', { exposureSeconds: [120, 120] });
    expect(longer).toMatchObject({
      status: 'corrected for',
      weight: 'weakens',
      affects: ['depth', 'light'],
    });
    expect(longer.effect).toMatch(/^b was exposed longer than a/);
    expect(longer.values).toEqual({ a: '60 s', b: '120 s' });
    expect(itemWith('exposure', { exposureSeconds: null }).status).toBe('unknown');
  });

  test('exposures that vary within a telescope are told', () => {
    expect(itemWith('exposure', { exposureSeconds: [30, 60], frames: 4 }).values.b).toBe(
      '4 frames of 30 to 60 s',
    );
  });

  test('another gain is no harm', () => {
    expect(itemWith('gain', { gainElectronsPerAdu: 2 })).toMatchObject({
      status: 'corrected for',
      weight: 'none',
    });
    expect(itemWith('gain', { gainElectronsPerAdu: null }).status).toBe('unknown');
  });
});

describe('the air', () => {
  test('five minutes apart is the same air; ten are not; forty may be another sky', () => {
    // From middle to middle.
    expect(itemWith('time between', { timeMs: at(5) }).status).toBe('equal');
    expect(itemWith('seeing', { timeMs: at(5) }).weight).toBe('none');
    expect(itemWith('time between', { timeMs: at(10) })).toMatchObject({
      status: 'not correctable',
      weight: 'none',
    });
    expect(itemWith('seeing', { timeMs: at(10) })).toMatchObject({
      status: 'unknown',
      weight: 'weakens',
    });
    expect(itemWith('time between', { timeMs: at(40) })).toMatchObject({
      weight: 'weakens',
      affects: ['depth'],
    });
    expect(itemWith('seeing', { timeMs: at(40) }).effect).toMatch(/40 minutes apart/);
  });

  test('half an hour of one after half an hour of the other is not the same time; taking turns is', () => {
    const from = (start: number, end: number): FairnessFacts['timeMs'] => [
      Date.UTC(2026, 0, 1, 22, start),
      Date.UTC(2026, 0, 1, 22, end),
    ];
    expect(itemWith('seeing', { timeMs: from(30, 59) }, { timeMs: from(0, 29) }).weight).toBe(
      'weakens',
    );
    expect(itemWith('seeing', { timeMs: from(2, 59) }, { timeMs: from(0, 57) }).weight).toBe(
      'none',
    );
  });

  test('order plays no part, overlapping is zero, unknown times are not the same time', () => {
    expect(itemWith('time between', {}, { timeMs: at(40) }).effect).toMatch(
      /^The exposures are 40 minutes/,
    );
    expect(itemWith('time between', {}).effect).toMatch(/at the same time/);
    expect(itemWith('time between', { timeMs: at(40) }).values).toEqual({
      a: 'begun first',
      b: 'begun 40 minutes later',
    });
    expect(itemWith('time between', {}).values.b).toBe('begun together');
    expect(itemWith('time between', { timeMs: null }).status).toBe('unknown');
    expect(itemWith('seeing', { timeMs: null }).weight).toBe('weakens');
  });

  test('seeing as given decides over everything else', () => {
    const far = { timeMs: at(50), seeingArcsec: 2.05 };
    expect(itemWith('seeing', far, { seeingArcsec: 2 }).status).toBe('equal');
    const worse = itemWith('seeing', { seeingArcsec: 3 }, { seeingArcsec: 2 });
    expect(worse.weight).toBe('weakens');
    expect(worse.effect).toMatch(/stars of b 50 % more than those of a/);
    // Wider stars have lower peaks, but the sky in the corners is the same.
    expect(worse.affects).toContain('light');
    const corners = rowOf('corner illumination', { a: 60, b: 90 }, 1, {
      group: 'light',
      betterWhen: 'larger',
    });
    expect(judge([corners], [worse], 0.95)[0]).toMatchObject({ verdict: 'b', caveats: [] });
  });

  test('air mass: 1.5 against 1 widens the blur by 28 % (1.5^0.6 = 1.275)', () => {
    const low = itemWith('air mass', { airmass: [1.5, 1.5] }, { airmass: [1, 1] });
    expect(low).toMatchObject({ status: 'not correctable', weight: 'weakens' });
    expect(low.effect).toMatch(/^b looked through more air than a, .* 28 % larger/);
    expect(itemWith('air mass', { airmass: [1.22, 1.22] }).status).toBe('equal');
    expect(itemWith('air mass', { airmass: null })).toMatchObject({
      status: 'unknown',
      weight: 'none',
    });
  });

  test('what is known of the air enters the verdict by its size', () => {
    const size = rowOf('fwhm green', { a: 3, b: 3.9 }, 0.02);
    const verdict = (second: number): string => {
      const facts = [fairFacts('a', { seeingArcsec: 2 }), fairFacts('b', { seeingArcsec: second })];
      return judge([size], fairnessOf(facts, SHARED), 0.95, allowancesOf(facts))[0]
        ?.verdict as string;
    };
    // 30 % larger: the same air; 10 % worse air (0.39: 2.3 σ); 50 % worse air.
    expect(verdict(2)).toBe('a');
    expect(verdict(2.2)).toBe('a');
    expect(verdict(3)).toBe('no difference shown');
  });

  test('sky per area of the lens: twice the aperture area gathers twice the sky', () => {
    const wide = { apertureMm: 113.137, skyElectronsPerSecondArcsec2: 0.4 };
    expect(itemWith('background', wide).status).toBe('equal');
    expect(itemWith('background', { skyElectronsPerSecondArcsec2: 0.4 })).toMatchObject({
      weight: 'weakens',
      affects: ['depth'],
    });
    expect(itemWith('background', { skyElectronsPerSecondArcsec2: null }).status).toBe('unknown');
  });
});

describe('the camera', () => {
  test('pixels: 3 px against 1.9 px wide stars', () => {
    // 1/√(1 − 0.462/9) = 1.027; 1/√(1 − 0.462/3.61) = 1.071.
    const coarse = itemWith('sampling', { fwhmPx: 1.9, scaleArcsecPerPx: 2.5 });
    expect(coarse).toMatchObject({ weight: 'weakens', affects: ['size'] });
    expect(coarse.effect).toMatch(/stars of b by about 7 % and those of a by 3 %/);
    expect(itemWith('sampling', { fwhmPx: 2.9, scaleArcsecPerPx: 1.7 }).status).toBe('equal');
    expect(itemWith('sampling', { fwhmPx: 1.9, scaleArcsecPerPx: null }).weight).toBe('weakens');
    expect(itemWith('sampling', { fwhmPx: Number.NaN }).status).toBe('unknown');
  });

  test('pixels that are equally wide on the sky favour nobody, whatever the stars', () => {
    expect(itemWith('sampling', { fwhmPx: 2.4 }, { fwhmPx: 2.1 })).toMatchObject({
      status: 'equal',
      weight: 'none',
    });
  });

  test('pixels that take in another piece of sky weaken headroom and depth', () => {
    const item = itemWith('pixels on the sky', { scaleArcsecPerPx: 3 }, { scaleArcsecPerPx: 1.5 });
    expect(item).toMatchObject({ weight: 'weakens', affects: ['light', 'depth'] });
    // (3 / 1.5)².
    expect(item.effect).toMatch(/pixel of b takes in 4 times the sky of one of a/);
    const alike = itemWith(
      'pixels on the sky',
      { scaleArcsecPerPx: 1.53 },
      { scaleArcsecPerPx: 1.5 },
    );
    expect(alike.status).toBe('equal');
    expect(itemWith('pixels on the sky', { scaleArcsecPerPx: null }).status).toBe('unknown');
  });

  test('stars too narrow for the pixels forbid colours', () => {
    expect(itemWith('sampling', { fwhmPx: 1.2, undersampled: true })).toMatchObject({
      weight: 'forbids',
      affects: ['colour'],
    });
  });

  test('bands are told by the colours of the same stars', () => {
    const colours = Array.from(fairFacts('a').colours);
    expect(itemWith('filter', {}).status).toBe('equal');
    const wider = itemWith('filter', { colours: colours.map((c) => 1.5 * c + 0.3) });
    expect(wider).toMatchObject({ weight: 'weakens', affects: ['colour'] });
    expect(wider.effect).toMatch(/50 % more/);
    expect(itemWith('filter', { colours: colours.map((c) => 1.2 * c) }).status).toBe('equal');
    // Stars without a good colour in one camera count in none.
    const gaps = colours.map((c, k) => (k % 2 === 0 ? c : Number.NaN));
    expect(itemWith('filter', { colours: gaps }).status).toBe('equal');
    expect(itemWith('filter', { colours: gaps.slice(0, 30) }).status).toBe('unknown');
  });

  test('names of filters, and one band against three', () => {
    expect(itemWith('filter', { filters: ['UV/IR'] }, { filters: ['uv/ir'] }).status).toBe('equal');
    expect(itemWith('filter', { filters: ['dual'] }).weight).toBe('weakens');
    const mono = itemWith('filter', { layout: 'mono', colours: [] });
    expect(mono).toMatchObject({ weight: 'weakens', affects: ['size', 'depth'] });
    expect(mono.effect).toMatch(/^b has no separate colours/);
    const both = { layout: 'mono', colours: [] } as const;
    expect(itemWith('filter', both, both).status).toBe('unknown');
    expect(
      itemWith('filter', { ...both, filters: ['V'] }, { ...both, filters: ['V'] }).status,
    ).toBe('equal');
  });

  test('clipped stars are left out; half of the bright ones gone is a caveat; no level known is one', () => {
    expect(itemWith('saturation', { brightClipped: 4 })).toMatchObject({
      status: 'corrected for',
      weight: 'none',
    });
    expect(itemWith('saturation', { brightClipped: 15 })).toMatchObject({
      weight: 'weakens',
      affects: ['colour'],
    });
    expect(itemWith('saturation', { saturationKnown: false }).status).toBe('unknown');
  });

  test('a stretched picture forbids sizes, colour, light and depth; on request it only weakens them', () => {
    const items = (shared: Partial<SharedFacts>): FairnessItem[] =>
      fairnessOf([fairFacts('a'), fairFacts('b', { linearity: 'stretched' })], {
        ...SHARED,
        ...shared,
      }).filter(({ item }) => item.startsWith('linearity'));
    const [sizes, shapes] = items({}) as [FairnessItem, FairnessItem];
    expect(sizes).toMatchObject({
      weight: 'forbids',
      affects: ['size', 'colour', 'light', 'depth'],
    });
    expect(sizes.effect).toMatch(/^b is a picture that was stretched/);
    expect(shapes).toMatchObject({ weight: 'weakens', affects: ['shape', 'field'] });
    expect(items({ processedAnyway: true })[0]?.weight).toBe('weakens');
    expect(itemWith('linearity', { probablyProcessed: true }).weight).toBe('forbids');
    expect(itemWith('linearity', { linearity: 'cannot tell' })).toMatchObject({
      status: 'unknown',
      weight: 'weakens',
    });
  });

  test('interpolated planes against a mosaic', () => {
    expect(itemWith('mosaic or interpolated', { layout: 'rgb' }).weight).toBe('weakens');
    expect(itemWith('mosaic or interpolated', { noiseCorrelation: 1.8 }).effect).toMatch(
      /^b looks interpolated or stacked, the rest not/,
    );
    const planes = { layout: 'rgb' } as const;
    expect(itemWith('mosaic or interpolated', planes, planes).weight).toBe('none');
  });

  test('hot pixels on one side alone', () => {
    const raw = itemWith('calibration', { hotPerMillion: 300 });
    expect(raw).toMatchObject({ status: 'not correctable', affects: ['depth'] });
    expect(raw.effect).toMatch(/^b shows many hot pixels, a does not/);
    expect(itemWith('calibration', { hotPerMillion: 300 }, { hotPerMillion: 200 }).weight).toBe(
      'none',
    );
    expect(itemWith('calibration', { hotPerMillion: Number.NaN }).values.b).toBeNull();
  });
});

describe('the stars', () => {
  test('number of common stars', () => {
    expect(itemWith('number of stars', {}, {}, { profileStars: 40 }).weight).toBe('none');
    expect(itemWith('number of stars', {}, {}, { profileStars: 39 }).weight).toBe('weakens');
    expect(itemWith('number of stars', {}, {}, { profileStars: 5, commonStars: 1 }).values.a).toBe(
      '1 common star',
    );
    expect(
      itemWith('number of stars', {}, {}, { noProfiles: 'only 4 stars are usable in all frames' }),
    ).toMatchObject({ weight: 'forbids', affects: ['size', 'colour'] });
  });

  test('fields of other size, and small overlap', () => {
    expect(itemWith('overlap', { ownOverCommonField: 2.6 })).toMatchObject({
      weight: 'weakens',
      affects: ['field', 'light'],
    });
    expect(itemWith('overlap', { ownOverCommonField: 1.4 }).status).toBe('equal');
    expect(itemWith('overlap', { overlapFraction: 0.4 })).toMatchObject({
      weight: 'weakens',
      affects: ['field'],
    });
  });

  test('scale from the stars, contradicted, or not known at all', () => {
    expect(itemWith('scale', { scaleSource: 'match' }).status).toBe('corrected for');
    expect(itemWith('scale', { headerScaleOverUsed: 1.05 }).effect).toMatch(/given for b/);
    expect(itemWith('scale', {}, {}, { unit: 'px' }).effect).toMatch(/pixels of the first/);
  });

  test('the same radius for all, in everybody’s pixels', () => {
    const radius = itemWith('normalising radius', { scaleArcsecPerPx: 0.8 });
    expect(radius).toMatchObject({ status: 'corrected for', values: { a: '25 px', b: '50 px' } });
  });
});

test('times: from the first start to the last end; a date alone says nothing', () => {
  const range = timeRange([
    { dateObs: '2026-01-01T22:00:10', exposureSeconds: 30 },
    { dateObs: '2026-01-01T22:00:00Z', exposureSeconds: 30 },
  ]);
  expect(range).toEqual([Date.UTC(2026, 0, 1, 22), Date.UTC(2026, 0, 1, 22, 0, 40)]);
  expect(timeRange([{ dateObs: '2026-01-01', exposureSeconds: 30 }])).toBeNull();
  expect(timeRange([{ dateObs: 'Tnonsense', exposureSeconds: 30 }])).toBeNull();
});

test('the seeing is at most what pixel and diffraction leave', () => {
  // √((9 − 0.4621) × 1.6²) = 4.675; an 80 mm lens shows 1.406 arcsec at 530 nm: √(21.857 − 1.977) = 4.459.
  expect(seeingLimit(3, 1.6, null)).toBeCloseTo(4.675, 3);
  expect(seeingLimit(3, 1.6, 80)).toBeCloseTo(4.459, 2);
  expect(seeingLimit(3, null, 80)).toBeNull();
  expect(seeingLimit(Number.NaN, 1.6, 80)).toBeNull();
  expect(seeingLimit(0.6, 1.6, 80)).toBeNull();
});
