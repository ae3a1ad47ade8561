/** A hand-made comparison for tests of report, schema and pictures. The numbers are invented: nothing here was measured. */
import {
  type ComparedProfile,
  type ComparedTelescope,
  type Comparison,
  type ComparisonRow,
  NO_DIFFERENCE,
  NOT_COMPARABLE,
  type RowGroup,
} from '../../src/compare/result.js';
import { createRandom, normal } from '../../src/stats/random.js';
import { u } from './frame-result.js';

/** Moffat profile of exponent 3 with its encircled energy, normalised within 40 units. */
function profile(alpha: number, bands: number): ComparedProfile {
  const radius = Array.from({ length: 60 }, (_, i) => (40 * (i + 0.5)) / 60);
  const share = (r: number): number => 1 - (1 + (r / alpha) ** 2) ** -2;
  const brightness = radius.map(
    (r) => (2 / (Math.PI * alpha * alpha)) * (1 + (r / alpha) ** 2) ** -3 * (1 / share(40)),
  );
  return {
    radius,
    brightness,
    error: brightness.map((b) => bands * (0.02 * b + 2e-6)),
    encircledEnergy: radius.map((r) => share(r) / share(40)),
    encircledEnergyError: radius.map(() => 0.004 * bands),
  };
}

function telescope(label: string, blue: number, scale: number): ComparedTelescope {
  return {
    label,
    files: [`night/${label}-1.fits`, `night/${label}-2.fits`],
    failed: [],
    hasPixels: true,
    layout: 'cfa',
    width: 1400,
    height: 1000,
    scaleArcsecPerPx: scale,
    scaleSource: 'header',
    apertureMm: 80,
    focalLengthMm: 480,
    pixelSizeUm: 3.76,
    exposureSeconds: 60,
    ownStars: 1234,
    blueDefocusUm: u(77 * blue, 3),
    blueDefocusFocalLengthFraction: u((0.077 * blue) / 480, 0.003 / 480),
    profiles: { R: profile(3.1, 1), G: profile(3, 1), B: profile(3 * blue, 1.4) },
  };
}

function row(
  quantity: string,
  group: RowGroup,
  unit: string,
  values: ComparisonRow['values'],
  winner: string | null,
  extra: Partial<ComparisonRow> = {},
): ComparisonRow {
  const [first = '', second = ''] = Object.keys(values);
  return {
    quantity,
    group,
    scope: 'same stars',
    unit,
    betterWhen: 'smaller',
    values,
    difference: winner === null ? null : u(-0.31, 0.042),
    differenceOf: winner === null ? null : [winner, winner === first ? second : first],
    pairs: [
      {
        first,
        second,
        difference: u(-0.31, 0.042),
        differencePercent: u(-8.1, 1.2),
        pValue: 0.0001,
        adjustedPValue: 0.0012,
        better: winner,
      },
    ],
    verdict: winner ?? NO_DIFFERENCE,
    confidence: winner === null ? null : 0.9988,
    stars: 287,
    reason: null,
    caveats: [],
    ...extra,
  };
}

/** Two labels or more; the first has the worst blue. */
export function comparisonFixture(labels: readonly string[] = ['short', 'long']): Comparison {
  const random = createRandom(7);
  const of = <T>(make: (i: number) => T): Record<string, T> =>
    Object.fromEntries(labels.map((label, i) => [label, make(i)]));
  const best = labels.at(-1) as string;
  const stars = 120;
  const list = (make: (i: number) => number): number[] =>
    Array.from({ length: stars }, (_, i) => make(i));
  const distance = list(() => Math.sqrt(random()));
  const x = list(() => 1399 * random());
  const y = list(() => 999 * random());
  return {
    telescopes: labels.map((label, i) => telescope(label, 2 - i / labels.length, 1.616 - 0.2 * i)),
    matchedStars: 287,
    transforms: labels.slice(1).map((label) => ({
      label,
      onto: labels[0] as string,
      matchedStars: 412,
      description: {
        scale: 1.1,
        rotationDeg: 12.3,
        mirrored: false,
        shiftX: 4,
        shiftY: -9,
        stretchRatio: 1,
      },
      kind: 'similarity',
      residualRmsPx: 0.11,
      overlapFraction: 0.93,
      log10FalseProbability: Number.NEGATIVE_INFINITY,
    })),
    angularUnit: 'arcsec',
    normalisedWithin: 40,
    confidence: 0.95,
    fairness: [
      {
        item: 'exposure',
        status: 'equal',
        values: of(() => '60 s'),
        effect: 'Equal exposures.',
        affects: ['depth'],
        weight: 'none',
      },
      {
        item: 'gain',
        status: 'equal',
        values: of(() => '0.8 e/ADU'),
        effect: 'Equal gain.',
        affects: ['depth'],
        weight: 'none',
      },
      {
        item: 'seeing',
        status: 'not correctable',
        values: of((i) => (i === 0 ? null : `at most 2.${i} arcsec`)),
        effect:
          'The frames were taken on different nights: a sharper star may be calmer air and not a better lens.',
        affects: ['size', 'depth'],
        weight: 'weakens',
      },
      {
        item: 'sampling',
        status: 'corrected for',
        values: of((i) => `1.${6 - i} arcsec per px`),
        effect: 'Profiles are read with the pixel of each camera.',
        affects: ['size'],
        weight: 'none',
      },
      {
        item: 'calibration',
        status: 'unknown',
        values: of(() => null),
        effect: 'No frame says whether a flat was applied.',
        affects: ['light'],
        weight: 'none',
      },
    ],
    rows: [
      row(
        'fwhm green',
        'size',
        'arcsec',
        of((i) => u(3.44 - 0.3 * i, 0.031)),
        best,
        {
          caveats: ['seeing'],
        },
      ),
      row(
        'fwhm blue',
        'size',
        'arcsec',
        of((i) => u(3.84 - 0.01 * i, 0.071)),
        null,
        {
          caveats: ['seeing'],
        },
      ),
      row(
        'halo blue minus red',
        'colour',
        '%',
        of((i) => u(40 - 30 * i, 0.71)),
        best,
        {
          betterWhen: 'nearer zero',
        },
      ),
      row(
        'core tint',
        'colour',
        'mag',
        of((i) => u(0.242 - 0.1 * i, 0.007)),
        best,
        {
          betterWhen: 'nearer zero',
        },
      ),
      row(
        'corner illumination',
        'light',
        '%',
        of(() => null),
        null,
        {
          scope: 'own field',
          betterWhen: 'larger',
          pairs: [],
          verdict: NOT_COMPARABLE,
          reason: 'the level of no light is not known',
          stars: 0,
        },
      ),
      row(
        'stars found',
        'depth',
        'count',
        of((i) => u(1200 + 13 * i, 30)),
        null,
        {
          betterWhen: 'larger',
          caveats: ['seeing'],
        },
      ),
    ],
    purposes: [
      {
        purpose: 'bright targets by eye',
        verdict: best,
        sentence: `${best} puts a tenth of the blue light outside the star, the other four tenths.`,
        restsOn: ['halo blue minus red', 'fwhm green'],
      },
      {
        purpose: 'large sensor',
        verdict: 'cannot tell',
        sentence: 'The corners were not compared.',
        restsOn: [],
      },
    ],
    summary: [
      'The two were used on different nights, so sizes say as much about the air as about the lenses.',
      `In colour ${best} is clearly better: 10 against 40 per cent of blue light outside the star.`,
    ],
    stars: {
      distance,
      magnitude: list((i) => i / 20),
      x: of(() => x),
      y: of(() => y),
      fwhm: of((i) =>
        list((k) => 3.4 - 0.3 * i + 0.2 * (distance[k] as number) + 0.05 * normal(random)),
      ),
      ellipticity: of(() => list(() => 0.05 * random())),
    },
    warnings: [{ code: 'invented', message: 'this comparison was made up' }],
  };
}
