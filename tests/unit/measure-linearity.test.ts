/** Stretched data is recognised, and no halo is given from it; linear data is left in peace. */
import { describe, expect, test } from 'vitest';
import { measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { memoryFrame } from '../helpers/memory-frame.js';
import { plantedFrame, starGrid } from '../helpers/planted-frame.js';

const SIDE = 264;
const OPTIONS = { ...DEFAULT_MEASURE_OPTIONS, bootstrapDraws: 20, rMaxPx: 14 };

function planes(layout: 'rgb' | 'cfa') {
  return plantedFrame({
    width: SIDE,
    height: SIDE,
    layout,
    stars: starGrid({
      columns: 8,
      rows: 8,
      spacingPx: 33,
      flux: [20_000, 500_000],
      fwhmPx: 3,
      widen: { B: 1.3 },
      seed: 61,
    }),
    gain: 2,
    seed: 62,
  });
}

/** The curve of a display: black point at the sky, then a power. */
function stretched(data: Uint16Array, power: number): Uint16Array {
  return data.map((value) => Math.round(60_000 * (Math.max(0, value - 480) / 40_000) ** power));
}

describe.each(['rgb', 'cfa'] as const)('%s', (layout) => {
  const { data } = planes(layout);
  const measure = (samples: Uint16Array, more: object = {}) =>
    measureFrame(
      memoryFrame({
        width: SIDE,
        height: SIDE,
        data: samples,
        layout,
        metadata: { gainElectronsPerAdu: 2 },
        ...more,
      }),
      OPTIONS,
    ).result;

  test('linear data is called linear, with a trend that is nothing', () => {
    const result = measure(data);
    expect(result.linearity?.verdict).toBe('linear');
    // 64 stars over 1.4 decades, faint ones uncertain by 3 %: about 1 % a decade; three of that.
    expect(Math.abs(result.linearity?.sizeTrendPercentPerDecade?.value ?? 99)).toBeLessThan(3);
    expect(result.halo).not.toBeNull();
  });

  test.each([0.35, 0.5])(
    'a curve with power %f is called stretched, the halo withheld',
    (power) => {
      const result = measure(stretched(data, power));
      expect(result.linearity?.verdict).toBe('stretched');
      expect(result.linearity?.sizeTrendPercentPerDecade?.value).toBeGreaterThan(6);
      expect(result.halo).toBeNull();
      expect(result.equivalentDefocus).toBeNull();
      const codes = result.warnings.map(({ code }) => code);
      expect(codes).toContain('stretched');
      expect(codes).toContain('halo-withheld');
      expect(result.sentence).toMatch(/stretched/);
    },
  );

  test('asked for, it is given all the same, with its warning', () => {
    const frame = memoryFrame({ width: SIDE, height: SIDE, data: stretched(data, 0.5), layout });
    const { result } = measureFrame(frame, { ...OPTIONS, haloAnyway: true });
    expect(result.halo).not.toBeNull();
    expect(result.warnings.map(({ code }) => code)).toContain('halo-from-stretched-data');
  });

  test('a picture file that is nearly always processed cannot be called linear', () => {
    const result = measure(data, { probablyProcessed: true });
    expect(result.linearity?.verdict).toBe('cannot tell');
    expect(result.halo).toBeNull();
  });
});
