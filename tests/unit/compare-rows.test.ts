/** Rows of a comparison against invented telescopes of known sharpness: differences, intervals, and none where there is none. */
import { beforeAll, describe, expect, it } from 'vitest';
import { FLAG } from '../../src/catalogue/flags.js';
import { type Measured, measureCommon } from '../../src/compare/compare.js';
import type { LabelInput } from '../../src/compare/label.js';
import { DEFAULT_COMPARE_OPTIONS } from '../../src/compare/options.js';
import type { ComparisonRow, PairDifference } from '../../src/compare/result.js';
import { ToolError } from '../../src/errors.js';
import type { Uncertain } from '../../src/measure/result.js';
import type { SearchedFrame } from '../../src/measure/search-frame.js';
import {
  exposure,
  randomSky,
  type SkyStar,
  searched,
  type TelescopeOptions,
  telescope,
  truthOf,
} from '../helpers/paired-skies.js';

const TIMEOUT = 60_000;
/** A value this many of its own half-intervals from the truth happens once in 400 trials; seeds are fixed. */
const SIGMAS = 3;
const options = DEFAULT_COMPARE_OPTIONS;
/** R_max known beforehand and fewer draws: much faster, where the numbers are not the point. */
const quick = { ...DEFAULT_COMPARE_OPTIONS, rMaxPx: 10, bootstrapDraws: 80 };

const sky: readonly SkyStar[] = randomSky(5, 150, 1000);
const SHARP: TelescopeOptions = {
  seed: 2,
  fwhm: { R: 4.5, G: 4.5, B: 4.6 },
  scale: 1.5,
  width: 560,
  height: 430,
  rotationDeg: 70,
  mirrored: true,
  pointing: [20, -11],
  light: 1.3,
  skyElectrons: 80,
};
const HALO: TelescopeOptions = { seed: 1, skirt: { share: 0.3, fwhm: 16 } };

function row({ rows }: Measured, quantity: string): ComparisonRow {
  const found = rows.find((each) => each.quantity === quantity);
  if (!found) throw new Error(`no row ${quantity}`);
  return found;
}

function pair(measured: Measured, quantity: string, index = 0): PairDifference {
  const found = row(measured, quantity).pairs[index];
  if (!found) throw new Error(`no pair in ${quantity}`);
  return found;
}

const sigma = (value: Uncertain): number => 0.5 * (value.high - value.low);

/** Smallest p over all rows, times the number of rows and pairs: what Bonferroni's correction makes of it. */
function smallestCorrected({ rows }: Measured, except: readonly string[] = []): number {
  const pairs = rows.filter(({ quantity }) => !except.includes(quantity)).flatMap((r) => r.pairs);
  return Math.min(...pairs.map(({ pValue }) => pValue)) * pairs.length;
}

describe('what the headers and the frames themselves leave open', () => {
  it(
    'headroom where clipping is known in green only: the other colours clip no lower',
    () => {
      const [a, b] = [HALO, SHARP].map((each, k) => telescope(`t${k}`, sky, each));
      const labels = [a, b] as LabelInput[];
      const level = 60_000;
      for (const { frames } of labels) {
        for (const { plan, found } of frames) {
          found.saturation.fill(Number.NaN);
          found.saturation[plan.reference] = level;
        }
      }
      const green = row(measureCommon(labels, quick), 'saturation headroom');
      for (const { frames } of labels) for (const { found } of frames) found.saturation.fill(level);
      const every = row(measureCommon(labels, quick), 'saturation headroom');
      expect(every.pairs).toHaveLength(1);
      expect(green.values).toEqual(every.values);
      for (const { frames } of labels)
        for (const { found } of frames) found.saturation.fill(Number.NaN);
      expect(row(measureCommon(labels, quick), 'saturation headroom')).toMatchObject({
        pairs: [],
        reason: expect.stringMatching(/not known for t0, t1/),
      });
    },
    TIMEOUT,
  );

  it(
    'corners without a level of no light: no option is named that compare does not have',
    () => {
      const dark = { metadata: { pedestalAdu: null } };
      const labels = [HALO, SHARP].map((each, k) => telescope(`t${k}`, sky, { ...each, ...dark }));
      const { reason } = row(measureCommon(labels, quick), 'corner illumination');
      expect(reason).toMatch(/t0: the level of no light is not in its header/);
      expect(reason).not.toMatch(/--/);
    },
    TIMEOUT,
  );

  it(
    'one picture under two names, and twice under one',
    () => {
      // Each comparison refines the places of its stars, so that each takes frames of its own.
      const shot = (seed: number): SearchedFrame =>
        telescope('a', sky, { ...HALO, seed }).frames[0] as SearchedFrame;
      const label = (name: string, ...frames: SearchedFrame[]): LabelInput => ({
        label: name,
        frames,
        failed: [],
        seeingArcsec: null,
      });
      const messages = (...labels: LabelInput[]): string[] =>
        measureCommon(labels, quick)
          .warnings.filter(({ code }) => code === 'same-frame')
          .map(({ message }) => message);
      expect(messages(label('a', shot(1)), label('b', shot(1)))).toEqual([
        expect.stringMatching(/^b and a share a picture .* shows nothing$/),
      ]);
      expect(messages(label('a', shot(1)), label('b', shot(9)))).toEqual([]);
      expect(messages(label('a', shot(1), shot(1)), label('b', shot(9)))).toEqual([
        expect.stringMatching(/^a: .*counts twice/),
      ]);
    },
    TIMEOUT,
  );
});

describe('two lenses of known sharpness', () => {
  let measured: Measured;
  beforeAll(() => {
    measured = measureCommon(
      [telescope('halo', sky, HALO), telescope('sharp', sky, SHARP)],
      options,
    );
  }, TIMEOUT);

  it('finds the same stars, the ratio of scales, the turn and the flip', () => {
    const [first, second] = measured.data.labels;
    expect(measured.data.common).toBeGreaterThan(40);
    expect(first?.scaleArcsecPerPx).toBeCloseTo(2, 6);
    expect(second?.match?.description.scale).toBeCloseTo(2 / 1.5, 3);
    expect(second?.match?.description.mirrored).toBe(true);
    expect(second?.match?.description.rotationDeg).toBeCloseTo(70, 1);
    expect(second?.scaleArcsecPerPx).toBeCloseTo(1.5, 3);
    expect(second?.scaleSource).toBe('header');
    expect(measured.warnings.map(({ code }) => code)).not.toContain('scale-disagrees');
  });

  it('counts the light of both within the same angle, on the same stars', () => {
    const { rMax, labels, stars } = measured.data;
    for (const { frames, averaged, unitPerPx } of labels) {
      expect(frames[0].stars).toHaveLength(stars);
      expect(averaged?.radii.at(-1)).toBeCloseTo(rMax as number, 9);
      expect((rMax as number) / unitPerPx).toBeGreaterThan(6);
    }
    expect(labels[0]?.averaged?.numbers).toEqual(labels[1]?.averaged?.numbers);
  });

  it.each(['green', 'red', 'blue'] as const)('size difference in %s', (word) => {
    const colour = { green: 'G', red: 'R', blue: 'B' }[word] as 'R' | 'G' | 'B';
    const rMax = measured.data.rMax as number;
    const [a, b] = [truthOf(HALO, colour, rMax), truthOf(SHARP, colour, rMax)];
    for (const key of ['fwhm', 'r80'] as const) {
      const { difference, pValue } = pair(measured, `${key} ${word}`);
      expect(Math.abs(difference.value - (a[key] - b[key]))).toBeLessThan(
        SIGMAS * sigma(difference),
      );
      expect(pValue).toBeLessThan(1e-4);
      // The truth of the difference must be many intervals from zero, or the check above says little.
      expect(a[key] - b[key]).toBeGreaterThan(3 * sigma(difference));
    }
  });

  it('halo difference, and how sure it is', () => {
    const rMax = measured.data.rMax as number;
    const excess = (o: TelescopeOptions): number => {
      const at = truthOf(o, 'G', rMax).r80;
      return 100 * (truthOf(o, 'R', rMax).enclosed(at) - truthOf(o, 'B', rMax).enclosed(at));
    };
    const { difference, pValue } = pair(measured, 'halo blue minus red');
    const truth = excess(HALO) - excess(SHARP);
    expect(truth).toBeGreaterThan(10);
    expect(Math.abs(difference.value - truth)).toBeLessThan(SIGMAS * sigma(difference));
    expect(pValue).toBeLessThan(1e-6);
  });

  it('finds no difference in shape, growth, lateral colour and headroom: there is none', () => {
    for (const quantity of [
      'ellipticity',
      'growth centre to corner (common field)',
      'growth centre to corner (own field)',
      'lateral colour',
    ]) {
      expect(pair(measured, quantity).pValue, quantity).toBeGreaterThan(0.01);
    }
  });

  it('depth follows light, sky and star size', () => {
    // Sky-limited: S/N goes with flux / (σ per arcsec × width), the same Moffat in both, the pixel's part by the recorded width.
    const rMax = measured.data.rMax as number;
    const sizes = truthOf(HALO, 'G', rMax).fwhm / truthOf(SHARP, 'G', rMax).fwhm;
    const skies = Math.sqrt((120 + 4) / 2 ** 2 / ((80 + 4) / 1.5 ** 2));
    const truth = 2.5 * Math.log10(1.3 * sizes * skies);
    const { difference } = pair(measured, 'depth');
    expect(truth).toBeGreaterThan(0.2);
    // 0.01 mag for a noise-equivalent area that is not quite that of the widths.
    expect(Math.abs(-difference.value - truth)).toBeLessThan(SIGMAS * sigma(difference) + 0.01);
    expect(row(measured, 'depth').values.halo?.value).toBe(0);
  });

  it('every difference is the first minus the second value', () => {
    for (const { quantity, betterWhen, values, pairs } of measured.rows) {
      for (const { first, second, difference } of pairs) {
        const [a, b] = [values[first]?.value as number, values[second]?.value as number];
        const expected = betterWhen === 'nearer zero' ? Math.abs(a) - Math.abs(b) : a - b;
        expect(difference.value, quantity).toBeCloseTo(expected, 9);
        expect(difference.low).toBeLessThanOrEqual(difference.value);
        expect(difference.high).toBeGreaterThanOrEqual(difference.value);
      }
    }
  });

  it('lists every common star with its place in both', () => {
    const { stars, data } = measured;
    expect(stars.distance).toHaveLength(data.common);
    expect(Math.max(...stars.distance)).toBeLessThanOrEqual(1.02);
    expect(stars.x.sharp).toHaveLength(data.common);
    // The first is the brightest, and the list falls.
    expect(stars.magnitude[0]).toBeCloseTo(0, 9);
    expect(stars.magnitude).toEqual([...stars.magnitude].sort((p, q) => p - q));
    // Arcsec in both: a star has about the size of its telescope.
    const median = (list: number[]): number =>
      [...list].sort((p, q) => p - q)[list.length >> 1] as number;
    expect(median(stars.fwhm.halo as number[])).toBeCloseTo(truthOf(HALO, 'G', 40).fwhm, 0);
    expect(median(stars.fwhm.sharp as number[])).toBeCloseTo(truthOf(SHARP, 'G', 40).fwhm, 0);
  });
});

describe('one lens twice', () => {
  it(
    'no row differs: other noise, pixel, turn, flip',
    () => {
      const measured = measureCommon(
        [
          telescope('one', sky, { seed: 11 }),
          telescope('two', sky, {
            seed: 12,
            scale: 1.6,
            width: 530,
            height: 410,
            rotationDeg: -140,
            mirrored: true,
          }),
        ],
        quick,
      );
      // The pixel counts as a part of the recorded size, and depth and headroom depend on it: true differences.
      const rMax = measured.data.rMax as number;
      const pixel = truthOf({ scale: 2 }, 'G', rMax).fwhm - truthOf({ scale: 1.6 }, 'G', rMax).fwhm;
      expect(Math.abs(pair(measured, 'fwhm green').difference.value - pixel)).toBeLessThan(
        SIGMAS * sigma(pair(measured, 'fwhm green').difference),
      );
      const except = [
        'depth',
        'depth per second',
        'depth per second and cm²',
        'saturation headroom',
      ];
      expect(smallestCorrected(measured, except)).toBeGreaterThan(0.05);
    },
    TIMEOUT,
  );

  it(
    'nor with two frames against three, the camera turned by half between two of them',
    () => {
      const measured = measureCommon(
        [
          telescope('one', sky, { seed: 21 }, { seed: 22, pointing: [3, 2] }),
          telescope(
            'two',
            sky,
            { seed: 23 },
            { seed: 24, rotationDeg: 180, pointing: [4, 4] },
            { seed: 25 },
          ),
        ],
        quick,
      );
      expect(measured.data.labels.map(({ frames }) => frames.length)).toEqual([2, 3]);
      expect(measured.warnings.filter(({ code }) => code === 'frame-left-out')).toEqual([]);
      expect(smallestCorrected(measured)).toBeGreaterThan(0.05);
    },
    TIMEOUT,
  );

  it(
    'frames that scatter widen the interval',
    () => {
      const at = (widths: readonly number[]): Measured =>
        measureCommon(
          [
            telescope('steady', sky, { seed: 31 }),
            telescope(
              'moody',
              sky,
              ...widths.map((G, f) => ({ seed: 32 + f, fwhm: { R: G, G, B: G } })),
            ),
          ],
          quick,
        );
      const calm = pair(at([5, 5]), 'fwhm green').difference;
      const moody = pair(at([4.6, 5.4]), 'fwhm green').difference;
      // Two frames ± 0.4 arcsec: standard error 0.4, and Student's factor 1.84 for one degree of freedom.
      expect(sigma(moody)).toBeGreaterThan(0.5);
      expect(sigma(calm)).toBeLessThan(0.3);
      expect(Math.abs(moody.value)).toBeLessThan(SIGMAS * sigma(moody));
    },
    TIMEOUT,
  );
});

describe('growth towards the edge', () => {
  it(
    'is told from an even field, over the common and over the own field',
    () => {
      const dense = randomSky(8, 330, 1000);
      const measured = measureCommon(
        [
          telescope('bent', dense, { seed: 41, cornerGrowth: 0.5 }),
          telescope('flat', dense, { seed: 42 }),
        ],
        quick,
      );
      for (const quantity of [
        'growth centre to corner (common field)',
        'growth centre to corner (own field)',
      ]) {
        const { values, pairs } = row(measured, quantity);
        // 50 % × r²: beyond two thirds of the half diagonal between 22 and 50 %, less what the pixel hides and 3 % inside.
        expect(values.bent?.value, quantity).toBeGreaterThan(14);
        expect(values.bent?.value, quantity).toBeLessThan(45);
        expect(Math.abs(values.flat?.value as number)).toBeLessThan(4);
        expect(pairs[0]?.pValue).toBeLessThan(1e-4);
      }
    },
    TIMEOUT,
  );
});

describe('three telescopes', () => {
  it(
    'mono beside two in colour: sizes compare, colours say why not',
    () => {
      const measured = measureCommon(
        [
          telescope('mono', sky, { seed: 51, layout: 'mono' }),
          telescope('mosaic', sky, { seed: 52 }),
          telescope('planes', sky, { seed: 53, layout: 'rgb', fwhm: { R: 6.5, G: 6.5, B: 6.5 } }),
        ],
        quick,
      );
      const green = row(measured, 'fwhm green');
      expect(green.pairs.map(({ first, second }) => `${first} ${second}`)).toEqual([
        'mono mosaic',
        'mono planes',
        'mosaic planes',
      ]);
      expect(green.pairs[0]?.pValue).toBeGreaterThan(0.01);
      expect(green.pairs[1]?.pValue).toBeLessThan(1e-3);
      expect(green.pairs[2]?.pValue).toBeLessThan(1e-3);
      const halo = row(measured, 'halo blue minus red');
      expect(halo.values.mono).toBeNull();
      expect(halo.reason).toMatch(/mono/);
      expect(halo.pairs).toHaveLength(1);
      expect(measured.warnings.map(({ code }) => code)).toContain('mono-against-colour');
    },
    TIMEOUT,
  );

  it(
    'all mono: one size, no colour rows',
    () => {
      const measured = measureCommon(
        [
          telescope('one', sky, { seed: 54, layout: 'mono' }),
          telescope('two', sky, { seed: 55, layout: 'mono', rotationDeg: 30 }),
        ],
        quick,
      );
      const quantities = measured.rows.map(({ quantity }) => quantity);
      expect(quantities).toContain('fwhm');
      expect(quantities.some((quantity) => /halo|tint|green/.test(quantity))).toBe(false);
      expect(smallestCorrected(measured)).toBeGreaterThan(0.05);
    },
    TIMEOUT,
  );
});

describe('scales', () => {
  it(
    'the match carries a known scale to a header without',
    () => {
      const { data } = measureCommon(
        [
          telescope('unknown', sky, { seed: 61, scaleKnown: false }),
          telescope('known', sky, { seed: 62, scale: 1.5, width: 560, height: 430 }),
        ],
        quick,
      );
      expect(data.unit).toBe('arcsec');
      expect(data.labels[0]?.scaleArcsecPerPx).toBeCloseTo(2, 2);
      expect(data.labels.map(({ scaleSource }) => scaleSource)).toEqual(['match', 'header']);
    },
    TIMEOUT,
  );

  it(
    'none known: angles in pixels of the first, and what needs arcsec says so',
    () => {
      const measured = measureCommon(
        [
          telescope('one', sky, { seed: 63, scaleKnown: false }),
          telescope('two', sky, {
            seed: 64,
            scale: 1.5,
            width: 560,
            height: 430,
            scaleKnown: false,
          }),
        ],
        quick,
      );
      expect(measured.data.unit).toBe('px');
      expect(measured.warnings.map(({ code }) => code)).toContain('no-scale');
      const green = row(measured, 'fwhm green');
      expect(green.unit).toBe('px');
      expect(green.values.one?.value).toBeCloseTo(truthOf({}, 'G', 40).fwhm / 2, 0);
      expect(green.values.two?.value).toBeCloseTo(truthOf({ scale: 1.5 }, 'G', 40).fwhm / 2, 0);
      const over = row(measured, 'halo blue minus red over perfect lens');
      expect(over.pairs).toEqual([]);
      expect(over.reason).toMatch(/aperture and scale/);
    },
    TIMEOUT,
  );

  it(
    'a header that contradicts the stars is pointed out, and the stars are believed',
    () => {
      const { data, warnings } = measureCommon(
        [
          telescope('right', sky, { seed: 65 }),
          telescope('wrong', sky, { seed: 66, metadata: { focalLengthMm: 430 } }),
        ],
        quick,
      );
      expect(warnings.find(({ code }) => code === 'scale-disagrees')?.message).toMatch(/wrong/);
      expect(data.labels[1]?.scaleArcsecPerPx).toBeCloseTo(2, 2);
      expect(data.labels[1]?.headerScaleArcsecPerPx).toBeCloseTo((2 * 400) / 430, 6);
    },
    TIMEOUT,
  );
});

describe('options', () => {
  it(
    'centre zone: stars within half the half diagonal of the common field',
    () => {
      const at = (zone: 'all' | 'centre'): Measured =>
        measureCommon([telescope('one', sky, { seed: 81 }), telescope('two', sky, { seed: 82 })], {
          ...quick,
          zone,
        });
      const centre = at('centre');
      expect(Math.max(...centre.stars.distance)).toBeLessThanOrEqual(0.5);
      expect(centre.data.common).toBe(at('all').stars.distance.filter((r) => r <= 0.5).length);
    },
    TIMEOUT,
  );

  it(
    'air and pixels removed: in quadrature, only on request and where the seeing is given',
    () => {
      const two = (seeing: number | null): Measured =>
        measureCommon(
          [
            { ...telescope('one', sky, { seed: 83 }), seeingArcsec: 3 },
            { ...telescope('two', sky, { seed: 84 }), seeingArcsec: seeing },
          ],
          { ...quick, modelSeeing: true },
        );
      const measured = two(4);
      const model = row(measured, 'fwhm green, air and pixels removed');
      const green = row(measured, 'fwhm green');
      // A pixel of 2 arcsec counts as a Gaussian of FWHM 0.68 × 2 (variance 1/12 px²).
      for (const [label, seeing] of [
        ['one', 3],
        ['two', 4],
      ] as const) {
        const fwhm = green.values[label]?.value as number;
        const expected = Math.sqrt(fwhm ** 2 - seeing ** 2 - (0.6798 * 2) ** 2);
        expect(model.values[label]?.value).toBeCloseTo(expected, 3);
      }
      expect(model.scope).toBe('model');
      expect(row(two(null), 'fwhm green, air and pixels removed').reason).toMatch(/seeing .* two/);
      expect(row(two(9), 'fwhm green, air and pixels removed').reason).toMatch(/two .*narrower/);
      expect(measured.rows.filter(({ scope }) => scope === 'model')).toHaveLength(1);
    },
    TIMEOUT,
  );
});

describe('what cannot be compared', () => {
  const one = (): LabelInput => telescope('one', sky, { seed: 71 });
  const attempt = (labels: LabelInput[]): ToolError => {
    try {
      measureCommon(labels, quick);
    } catch (error) {
      if (error instanceof ToolError) return error;
      throw error;
    }
    throw new Error('it was compared');
  };

  it(
    'another field',
    () => {
      const error = attempt([one(), telescope('other', randomSky(99, 150, 1000), { seed: 72 })]);
      expect(error.code).toBe('not-matched');
      expect(error.message).toMatch(/other .*one/);
    },
    TIMEOUT,
  );

  it(
    'no frame, an empty sky, one telescope alone, a name twice',
    () => {
      expect(
        attempt([one(), { label: 'none', frames: [], failed: [], seeingArcsec: null }]).code,
      ).toBe('no-frames');
      expect(attempt([one(), telescope('dark', [], { seed: 73 })]).code).toBe('no-frames');
      expect(attempt([one()]).code).toBe('parameter');
      expect(attempt([one(), one()]).message).toMatch(/one/);
    },
    TIMEOUT,
  );

  it(
    'stars that are clipped in one telescope and faint in the other',
    () => {
      const error = attempt([
        telescope('long', sky, { seed: 74, light: 6, saturationAdu: 2500 }),
        telescope('short', sky, { seed: 75, light: 0.045 }),
      ]);
      expect(error.code).toBe('few-common-stars');
    },
    TIMEOUT,
  );

  it(
    'a frame of another field is left out, with a word; the label goes on',
    () => {
      const label = one();
      const stray = searched(exposure(randomSky(98, 150, 1000), { seed: 76, path: 'stray.fits' }));
      const { data, warnings } = measureCommon(
        [{ ...label, frames: [...label.frames, stray] }, telescope('two', sky, { seed: 77 })],
        quick,
      );
      expect(data.labels[0]?.frames).toHaveLength(1);
      expect(data.labels[0]?.failed.map(({ file }) => file)).toEqual(['stray.fits']);
      expect(warnings.find(({ code }) => code === 'frame-left-out')?.file).toBe('stray.fits');
    },
    TIMEOUT,
  );

  it(
    'too few common stars for profiles: rows say so, counts remain',
    () => {
      const crowded = telescope('two', sky, { seed: 79 });
      // All but four stars of the second frame stand too close to a neighbour.
      const { flags } = (crowded.frames[0] as SearchedFrame).found.sources;
      const good = Array.from(flags.keys()).filter((i) => flags[i] === 0);
      const kept = new Set(good.slice(good.length / 2, good.length / 2 + 4));
      for (const i of good) if (!kept.has(i)) flags[i] = FLAG.blended;
      const measured = measureCommon([one(), crowded], quick);
      expect(measured.data.common).toBeGreaterThanOrEqual(3);
      expect(measured.data.common).toBeLessThan(5);
      const green = row(measured, 'fwhm green');
      expect(green.verdict).toBe('not comparable');
      expect(green.reason).toMatch(/stars are usable in all frames/);
      expect(row(measured, 'stars found').values.one?.value).toBeGreaterThan(0);
    },
    TIMEOUT,
  );
});
