/** Hand-made rows and conditions of a comparison. All numbers are invented. */
import type { FairnessFacts, SharedFacts } from '../../src/compare/fairness-facts.js';
import {
  type ComparisonRow,
  NO_DIFFERENCE,
  NOT_COMPARABLE,
  type PairDifference,
} from '../../src/compare/result.js';
import { studentTwoSided } from '../../src/stats/student.js';
import { u } from './frame-result.js';

/** A row from value by label (null = not measured); every pair's difference has the error `sigma`. */
export function rowOf(
  quantity: string,
  values: Readonly<Record<string, number | null>>,
  sigma: number,
  extra: Partial<ComparisonRow> = {},
): ComparisonRow {
  const betterWhen = extra.betterWhen ?? 'smaller';
  const known = Object.entries(values).filter(
    (entry): entry is [string, number] => entry[1] !== null,
  );
  const size = (value: number): number => (betterWhen === 'nearer zero' ? Math.abs(value) : value);
  const pairs: PairDifference[] = known.flatMap(([first, a], i) =>
    known.slice(i + 1).map(([second, b]): PairDifference => {
      const difference = size(a) - size(b);
      return {
        first,
        second,
        difference: u(difference, sigma),
        differencePercent: u((100 * difference) / Math.abs(b), (100 * sigma) / Math.abs(b)),
        pValue: studentTwoSided(difference / sigma, 60),
        adjustedPValue: 1,
        better: null,
      };
    }),
  );
  return {
    quantity,
    group: 'size',
    scope: 'same stars',
    unit: 'arcsec',
    betterWhen,
    values: Object.fromEntries(
      Object.entries(values).map(([label, value]) => [
        label,
        value === null ? null : u(value, sigma),
      ]),
    ),
    difference: null,
    differenceOf: null,
    pairs,
    verdict: pairs.length > 0 ? NO_DIFFERENCE : NOT_COMPARABLE,
    confidence: null,
    stars: 200,
    reason: null,
    caveats: [],
    ...extra,
  };
}

/** Conditions under which nothing is unfair. */
export function fairFacts(label: string, extra: Partial<FairnessFacts> = {}): FairnessFacts {
  return {
    label,
    frames: 1,
    layout: 'cfa',
    exposureSeconds: [60, 60],
    gainElectronsPerAdu: 0.8,
    filters: [],
    airmass: [1.2, 1.2],
    timeMs: [Date.UTC(2026, 0, 1, 22), Date.UTC(2026, 0, 1, 22, 1)],
    seeingArcsec: null,
    seeingAtMostArcsec: 3.1,
    fwhmPx: 3,
    undersampled: false,
    scaleArcsecPerPx: 1.6,
    scaleSource: 'header',
    headerScaleOverUsed: 1,
    apertureMm: 80,
    backgroundAdu: 700,
    skyElectronsPerSecondArcsec2: 0.2,
    brightStars: 30,
    brightClipped: 0,
    saturationKnown: true,
    linearity: 'linear',
    probablyProcessed: false,
    noiseCorrelation: 1,
    hotPerMillion: 2,
    ownStars: 300,
    ownOverCommonField: 1,
    overlapFraction: null,
    colours: Array.from({ length: 60 }, (_, k) => Math.sin(k)),
    ...extra,
  };
}

export const SHARED: SharedFacts = {
  commonStars: 250,
  profileStars: 200,
  unit: 'arcsec',
  normalisedWithin: 40,
  noProfiles: null,
  processedAnyway: false,
};

/** Rows of a whole comparison: the i-th label is worse than the one before in all that `worse` names, and alike in the rest. */
export function allRows(
  labels: readonly string[],
  worse: readonly string[] = ['fwhm green', 'halo blue minus red'],
): ComparisonRow[] {
  const row = (
    quantity: string,
    start: number,
    step: number,
    sigma: number,
    extra: Partial<ComparisonRow>,
  ): ComparisonRow =>
    rowOf(
      quantity,
      Object.fromEntries(
        labels.map((label, i) => [label, start + (worse.includes(quantity) ? i * step : 0)]),
      ),
      sigma,
      extra,
    );
  const colour = { group: 'colour', unit: '%', betterWhen: 'nearer zero' } as const;
  const own = { group: 'field', scope: 'own field', betterWhen: 'nearer zero' } as const;
  const depth = { group: 'depth', unit: 'mag', betterWhen: 'larger' } as const;
  return [
    row('fwhm green', 3.1, 0.4, 0.02, {}),
    row('fwhm red', 3.2, 0.4, 0.03, {}),
    row('fwhm blue', 3.4, 0.4, 0.03, {}),
    row('r80 green', 3.3, 0.4, 0.02, {}),
    row('r80 red', 3.4, 0.4, 0.02, {}),
    row('r80 blue', 3.6, 0.8, 0.03, {}),
    row('halo blue minus red', 1.2, 12, 0.6, colour),
    row('halo red minus green', 0.4, 3, 0.5, colour),
    row('core tint', 0.02, 0.2, 0.01, { ...colour, unit: 'mag' }),
    row('rim tint', -0.02, -0.2, 0.01, { ...colour, unit: 'mag' }),
    row('ellipticity', 0.02, 0.03, 0.003, { group: 'shape', unit: '', betterWhen: 'nearer zero' }),
    row('growth centre to corner (common field)', 2, 8, 1, {
      ...own,
      scope: 'same stars',
      unit: '%',
    }),
    row('growth centre to corner (own field)', 3, 9, 1, { ...own, unit: '%' }),
    row('ellipticity in the corners (own field)', 0.03, 0.05, 0.005, { ...own, unit: '' }),
    row('lateral colour', 0.05, 0.6, 0.05, { ...own, scope: 'same stars' }),
    row('corner illumination', 85, -10, 1, {
      group: 'light',
      scope: 'own field',
      unit: '%',
      betterWhen: 'larger',
    }),
    row('stars found', 400, -60, 10, { ...depth, unit: 'count' }),
    row('depth', 0, -0.4, 0.03, depth),
    row('depth per second', 0, -0.4, 0.03, depth),
  ];
}
