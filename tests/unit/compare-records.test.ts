/** Telescopes compared by what `measure --with-stars` wrote of them, without their frames. */
import { beforeAll, describe, expect, it } from 'vitest';
import { type MeasuredRecords, measureRecords } from '../../src/compare/compare-records.js';
import { DEFAULT_COMPARE_OPTIONS } from '../../src/compare/options.js';
import { type RecordLabel, recordLabel } from '../../src/compare/record-label.js';
import type { ComparisonRow } from '../../src/compare/result.js';
import { ToolError } from '../../src/errors.js';
import { measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { halfWidth } from '../../src/measure/uncertain.js';
import { jsonText, measureDocument } from '../../src/report/json.js';
import { readMeasureDocument } from '../../src/report/read-measure.js';
import { exposure, randomSky, type TelescopeOptions, truthOf } from '../helpers/paired-skies.js';

const TIMEOUT = 60_000;
const options = { ...DEFAULT_COMPARE_OPTIONS, bootstrapDraws: 150 };
/** Fixed seeds; beyond this many half intervals by chance once in 400. */
const SIGMAS = 3;
const R_MAX_ARCSEC = 24;

const sky = randomSky(5, 150, 1000);
const WIDE: TelescopeOptions = { seed: 1, skirt: { share: 0.3, fwhm: 16 } };
const SHARP: TelescopeOptions = {
  seed: 2,
  fwhm: { R: 4.2, G: 4.2, B: 4.2 },
  scale: 1.5,
  width: 560,
  height: 430,
  rotationDeg: 70,
  mirrored: true,
};

/** Measured, written, read back. */
function recorded(
  label: string,
  telescope: TelescopeOptions,
  rMaxArcsec = R_MAX_ARCSEC,
  given: Parameters<typeof recordLabel>[2] = {},
  seeds = [telescope.seed ?? 1],
): RecordLabel {
  const measured = seeds.map((seed) =>
    measureFrame(exposure(sky, { ...telescope, seed, path: `${label}-${seed}.fits` }), {
      ...DEFAULT_MEASURE_OPTIONS,
      bootstrapDraws: 60,
      rMaxPx: rMaxArcsec / (telescope.scale ?? 2),
    }),
  );
  const text = jsonText(
    measureDocument(
      measured.map(({ result }) => result),
      null,
      DEFAULT_MEASURE_OPTIONS,
      {},
      [],
      measured.map(({ result, catalogue }) => [{ file: result.file, catalogue }]),
    ),
  );
  return recordLabel(label, readMeasureDocument(text, 'x.json').frames, given);
}

function row({ comparison }: MeasuredRecords, quantity: string): ComparisonRow {
  const found = comparison.rows.find((each) => each.quantity === quantity);
  if (!found) throw new Error(`no row ${quantity}`);
  return found;
}

describe('two records', () => {
  let wide: RecordLabel;
  let sharp: RecordLabel;
  let measured: MeasuredRecords;
  beforeAll(() => {
    wide = recorded('wide', WIDE);
    sharp = recorded('sharp', SHARP);
    measured = measureRecords([wide, sharp], options);
  }, TIMEOUT);

  it('the stars are found again in a mirrored, turned field of another scale', () => {
    const { telescopes, transforms, matchedStars, angularUnit } = measured.comparison;
    expect(angularUnit).toBe('arcsec');
    expect(matchedStars).toBeGreaterThan(40);
    expect(transforms[0]?.description.mirrored).toBe(true);
    expect(transforms[0]?.description.scale).toBeCloseTo(2 / 1.5, 2);
    expect(telescopes.map(({ hasPixels }) => hasPixels)).toEqual([false, false]);
    expect(telescopes[1]?.profiles.G?.radius.at(-1)).toBeCloseTo(R_MAX_ARCSEC, 1);
  });

  it.each([
    ['fwhm green', 'G', 'fwhm'],
    ['r80 green', 'G', 'r80'],
    ['r80 blue', 'B', 'r80'],
  ] as const)('%s from the records’ profiles, against truth', (quantity, colour, key) => {
    const each = row(measured, quantity);
    const truth = [WIDE, SHARP].map((one) => truthOf(one, colour, R_MAX_ARCSEC)[key]);
    const [pair] = each.pairs;
    const difference = (truth[0] as number) - (truth[1] as number);
    expect(each.scope).toBe('own field');
    expect(each.reason).toMatch(/not paired/);
    expect(Math.abs((pair?.difference.value ?? Number.NaN) - difference)).toBeLessThan(
      SIGMAS * halfWidth(pair?.difference ?? { value: 0, low: 0, high: 0 }),
    );
  });

  it('the error of an unpaired difference is that of both values in quadrature', () => {
    const { values, pairs } = row(measured, 'r80 blue');
    const sigmas = Object.values(values).map((value) => (value ? halfWidth(value) : Number.NaN));
    const expected = Math.sqrt((sigmas[0] as number) ** 2 + (sigmas[1] as number) ** 2);
    expect(halfWidth(pairs[0]?.difference ?? { value: 0, low: 0, high: 0 })).toBeCloseTo(
      expected,
      6,
    );
  });

  it('single stars are compared pair by pair: green narrower by about its true share', () => {
    const each = row(measured, 'fwhm green, single stars');
    expect(each.scope).toBe('same stars');
    expect(each.stars).toBeGreaterThan(40);
    const [wideFwhm, sharpFwhm] = [WIDE, SHARP].map(
      (one) => truthOf(one, 'G', R_MAX_ARCSEC).fwhm,
    ) as [number, number];
    const percent = each.pairs[0]?.differencePercent?.value ?? Number.NaN;
    // Both greens are plain Moffats, which the fit describes: 2 points.
    expect(Math.abs(percent - 100 * (wideFwhm / sharpFwhm - 1))).toBeLessThan(2);
    expect(each.pairs[0]?.pValue).toBeLessThan(1e-4);
  });

  it('round stars are round, and what needs pixels says so', () => {
    const round = row(measured, 'ellipticity').values.wide;
    expect(round?.value).toBeLessThan(0.02);
    for (const quantity of ['corner illumination', 'stars found']) {
      const each = row(measured, quantity);
      expect(each.pairs).toEqual([]);
      expect(each.reason).toMatch(/needs the frames themselves: wide, sharp/);
    }
  });

  it('the field: sharp to the corners, without lateral colour, as it was made', () => {
    for (const quantity of [
      'growth centre to corner (common field)',
      'growth centre to corner (own field)',
      'lateral colour',
    ]) {
      for (const value of Object.values(row(measured, quantity).values)) {
        if (value === null) throw new Error(`${quantity} was not measured`);
        expect(Math.abs(value.value)).toBeLessThan(SIGMAS * (value.high - value.value) + 1e-9);
      }
      expect(row(measured, quantity).pairs[0]?.pValue).toBeGreaterThan(0.003);
    }
  });

  it('a lens that grows soft towards the corners is seen to', () => {
    const soft = measureRecords([recorded('soft', { ...WIDE, cornerGrowth: 0.4 }), sharp], options);
    const own = row(soft, 'growth centre to corner (own field)');
    // FWHM grows by 0.4 r² of the corner: outer third (mean r² about 0.55 over the corners of a 4:3 frame) against inner (0.05): 15 to 25 %.
    expect(own.values.soft?.value).toBeGreaterThan(12);
    expect(own.values.soft?.value).toBeLessThan(28);
    expect(own.pairs[0]?.pValue).toBeLessThan(1e-4);
  });

  it('light counted within another angle: only pairs of stars remain, and the radius to measure again with is named', () => {
    const other = measureRecords([wide, recorded('sharp', SHARP, 30)], options);
    expect(other.comparison.normalisedWithin).toBeNull();
    expect(row(other, 'fwhm green, single stars').pairs).toHaveLength(1);
    const refused = row(other, 'halo blue minus red');
    expect(refused.pairs).toEqual([]);
    expect(refused.values).toEqual({ wide: null, sharp: null });
    // 30 arcsec at 2 and 1.5 arcsec per px.
    expect(refused.reason).toMatch(/24\.0 to 30\.0 arcsec.*wide 15\.0, sharp 20\.0/);
    expect(other.comparison.warnings.map(({ code }) => code)).toContain('no-profile');
  });

  it('two frames of a label are laid on each other, and given facts win over the record', () => {
    const twice = recorded(
      'wide',
      WIDE,
      R_MAX_ARCSEC,
      { apertureMm: 99, saturationAdu: 50_000 },
      [1, 7],
    );
    const both = measureRecords([twice, sharp], options);
    expect(both.comparison.telescopes[0]?.files).toHaveLength(2);
    expect(both.comparison.telescopes[0]?.apertureMm).toBe(99);
    expect(row(both, 'saturation headroom').pairs).toHaveLength(1);
    const values = row(both, 'r80 green').values.wide;
    const single = row(measured, 'r80 green').values.wide;
    expect(halfWidth(values ?? { value: 0, low: 0, high: 0 })).toBeLessThan(
      1.5 * halfWidth(single ?? { value: 0, low: 0, high: 0 }),
    );
  });

  it('another sky is no match; one label alone is no comparison', () => {
    const elsewhere = recordLabel('elsewhere', [], {});
    expect(() => measureRecords([wide, elsewhere], options)).toThrow(ToolError);
    expect(() => measureRecords([wide], options)).toThrow(/two or more/);
    expect(() => measureRecords([wide, wide], options)).toThrow(/no other telescope/);
  });
});
