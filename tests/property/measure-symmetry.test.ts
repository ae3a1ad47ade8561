/** What must not change a measurement: mirror, transposition, position on the frame, units of flux, pedestal, workers' order. */
import { describe, expect, test } from 'vitest';
import type { CfaPattern, Frame, SampleArray } from '../../src/frame/frame.js';
import { type Measurement, measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import type { FrameResult, Uncertain } from '../../src/measure/result.js';
import { expectClose } from '../expect-close.js';
import { memoryFrame } from '../helpers/memory-frame.js';
import { plantedFrame, rowAt, starGrid } from '../helpers/planted-frame.js';

const WIDTH = 290;
const HEIGHT = 246;
const OPTIONS = { ...DEFAULT_MEASURE_OPTIONS, bootstrapDraws: 60, rMaxPx: 14 };

/** One mosaic with an elongated star image and a wide blue, recorded once; everything below rearranges its samples. */
const { data: SAMPLES } = plantedFrame({
  width: WIDTH,
  height: HEIGHT,
  layout: 'cfa',
  stars: starGrid({
    columns: 7,
    rows: 6,
    spacingPx: 41,
    flux: [15_000, 200_000],
    fwhmPx: 2.8,
    ellipticity: 0.12,
    angleDeg: 30,
    widen: { R: 1.05, B: 1.5 },
    seed: 21,
  }),
  gain: 2,
  seed: 22,
});

function mosaic(
  width: number,
  height: number,
  data: SampleArray,
  cfa: CfaPattern,
  more: { scale?: number; zero?: number; gain?: number } = {},
): Frame {
  const { gain = 2, ...units } = more;
  return memoryFrame({
    width,
    height,
    data,
    layout: 'cfa',
    cfa,
    metadata: { gainElectronsPerAdu: gain },
    ...units,
  });
}

const BASE = measureFrame(mosaic(WIDTH, HEIGHT, SAMPLES, 'RGGB'), OPTIONS);

/** Samples at new places: out(x, y) = in(from(x, y)). */
function rearranged(
  width: number,
  height: number,
  from: (x: number, y: number) => [number, number],
): Uint16Array {
  const out = new Uint16Array(width * height);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const [sx, sy] = from(x, y);
      out[y * width + x] = SAMPLES[sy * WIDTH + sx];
    }
  return out;
}

const half = (value: Uncertain): number => (value.high - value.low) / 2;

/**
 * The same numbers within a share of their own 68 % interval. The background mesh dithers and samples by position, so that a
 * rearranged frame is not measured on exactly the same subset of the sky: a fifth of the interval is far more than that.
 */
function expectSame(a: FrameResult, b: FrameResult, share = 0.2): void {
  for (const name of ['R', 'G', 'B'] as const) {
    const one = a.channels[name];
    const two = b.channels[name];
    if (!one || !two) throw new Error(`no channel ${name}`);
    for (const size of ['fwhmPx', 'r50Px', 'r80Px', 'r90Px', 'ellipticity'] as const) {
      const first = one[size] as Uncertain;
      const second = two[size] as Uncertain;
      expectClose(second.value, first.value, { atol: share * half(first) }, `${name} ${size}`);
    }
  }
  if (!a.halo || !b.halo) throw new Error('no halo');
  for (const pair of ['blueMinusRed', 'blueMinusGreen', 'redMinusGreen'] as const) {
    const first = a.halo[pair].excessPercent;
    const second = b.halo[pair].excessPercent;
    expectClose(second.value, first.value, { atol: share * half(first) }, pair);
  }
  expect(b.stars?.found).toBe(a.stars?.found);
  expect(b.stars?.used).toBe(a.stars?.used);
}

/** Stars of both catalogues, paired by where the first one's stars must lie in the second. */
function expectMoved(
  { catalogue: a }: Measurement,
  { catalogue: b }: Measurement,
  to: (x: number, y: number) => [number, number],
): void {
  const shifts: number[] = [];
  for (let i = 0; i < a.length; i++) {
    if (a.flags[i] !== 0) continue;
    const [x, y] = to(a.columns.x[i], a.columns.y[i]);
    const row = rowAt(b.columns, x, y, 1);
    expect(row).toBeGreaterThanOrEqual(0);
    // Fits stop when a step is small against the error, and the sky below differs a little: single stars agree to half their error.
    expectClose(b.columns.x[row], x, { atol: 0.5 * a.columns.x_err[i] });
    expectClose(b.columns.y[row], y, { atol: 0.5 * a.columns.y_err[i] });
    shifts.push(b.columns.x[row] - x, b.columns.y[row] - y);
  }
  // Together they must not move: a mirror that is off by a fraction of a pixel shows here.
  const mean = shifts.reduce((sum, shift) => sum + shift, 0) / shifts.length;
  expect(Math.abs(mean)).toBeLessThan(1e-3);
}

const angle = (measured: Measurement): number =>
  measured.result.channels.G?.elongationAngleDeg ?? 0;
/** Difference of two directions, degrees, −90 … 90. */
const turn = (a: number, b: number): number => ((((a - b + 90) % 180) + 180) % 180) - 90;

describe('rearranged samples', () => {
  test('the frame itself is a fair one', () => {
    expect(BASE.result.stars?.used).toBe(42);
    // Long axis at 30° as planted; 42 stars of e = 0.12 fix it to about a degree.
    expect(Math.abs(turn(angle(BASE), 30))).toBeLessThan(5);
  });

  test('mirrored left to right', () => {
    const data = rearranged(WIDTH, HEIGHT, (x, y) => [WIDTH - 1 - x, y]);
    const mirrored = measureFrame(mosaic(WIDTH, HEIGHT, data, 'GRBG'), OPTIONS);
    expectSame(BASE.result, mirrored.result);
    expectMoved(BASE, mirrored, (x, y) => [WIDTH - 1 - x, y]);
    expect(Math.abs(turn(angle(mirrored), 180 - angle(BASE)))).toBeLessThan(1);
  });

  test('upside down', () => {
    const data = rearranged(WIDTH, HEIGHT, (x, y) => [x, HEIGHT - 1 - y]);
    const mirrored = measureFrame(mosaic(WIDTH, HEIGHT, data, 'GBRG'), OPTIONS);
    expectSame(BASE.result, mirrored.result);
    expectMoved(BASE, mirrored, (x, y) => [x, HEIGHT - 1 - y]);
    expect(Math.abs(turn(angle(mirrored), 180 - angle(BASE)))).toBeLessThan(1);
  });

  test('transposed', () => {
    const data = rearranged(HEIGHT, WIDTH, (x, y) => [y, x]);
    const transposed = measureFrame(mosaic(HEIGHT, WIDTH, data, 'RGGB'), OPTIONS);
    expectSame(BASE.result, transposed.result);
    expectMoved(BASE, transposed, (x, y) => [y, x]);
    expect(Math.abs(turn(angle(transposed), 90 - angle(BASE)))).toBeLessThan(1);
  });

  test('moved over the sensor, by whole cells and by odd steps', () => {
    // The outer 20 px hold no star: cut at different places, the frame shows the same stars elsewhere.
    for (const [dx, dy, cfa] of [
      [4, 6, 'RGGB'],
      [5, 6, 'GRBG'],
      [3, 7, 'BGGR'],
    ] as const) {
      const data = rearranged(WIDTH - 8, HEIGHT - 8, (x, y) => [x + dx, y + dy]);
      const moved = measureFrame(mosaic(WIDTH - 8, HEIGHT - 8, data, cfa), OPTIONS);
      expectSame(BASE.result, moved.result, 0.5);
      expectMoved(BASE, moved, (x, y) => [x - dx, y - dy]);
    }
  });
});

describe('units', () => {
  test('a pedestal changes backgrounds by itself and nothing else', () => {
    const raised = measureFrame(mosaic(WIDTH, HEIGHT, SAMPLES, 'RGGB', { zero: 1000 }), OPTIONS);
    // 32-bit floats carry values near 1550 with steps of 1e-4: rounding, and a sample here and there tipped over the limit for outliers.
    expectSame(BASE.result, raised.result, 0.15);
    for (const name of ['R', 'G', 'B'] as const)
      expectClose(
        raised.result.channels[name]?.backgroundAdu.value ?? 0,
        (BASE.result.channels[name]?.backgroundAdu.value ?? 0) + 1000,
        { atol: 1e-2 },
      );
  });

  test('a scale multiplies fluxes, backgrounds and noise, and leaves sizes alone', () => {
    const factor = 0.125;
    const scaled = measureFrame(
      mosaic(WIDTH, HEIGHT, SAMPLES, 'RGGB', { scale: factor, gain: 2 / factor }),
      OPTIONS,
    );
    // A power of two: every sum is the same but for its exponent.
    expectSame(BASE.result, scaled.result, 1e-3);
    for (const name of ['flux_G', 'flux_B', 'flux_err_R', 'background_R', 'peak_G'])
      expectClose(
        scaled.catalogue.columns[name],
        BASE.catalogue.columns[name].map((value) => value * factor),
        { rtol: 1e-4, atol: 1e-6 },
        name,
      );
    const noise = (result: FrameResult) => result.channels.G?.noiseAdu.value ?? 0;
    expectClose(noise(scaled.result), factor * noise(BASE.result), { rtol: 1e-4 });
  });

  test('the sample type does not matter', () => {
    const data = Float32Array.from(SAMPLES);
    const asFloats = measureFrame(mosaic(WIDTH, HEIGHT, data, 'RGGB'), OPTIONS);
    // Integers are dithered before medians are taken, floats are not.
    expectSame(BASE.result, asFloats.result, 0.1);
  });

  test('the same frame has the same size in arcsec at any pixel scale that is told', () => {
    const measured = measureFrame(
      memoryFrame({
        width: WIDTH,
        height: HEIGHT,
        data: SAMPLES,
        layout: 'cfa',
        metadata: { gainElectronsPerAdu: 2, pixelSizeUm: 3.76, focalLengthMm: 400 },
      }),
      OPTIONS,
    ).result;
    // 206.265 × 3.76 / 400 = 1.93889 arcsec per px.
    expectClose(measured.scaleArcsecPerPx ?? 0, 1.938891, { rtol: 1e-6 });
    const { fwhmPx, fwhmArcsec } = measured.channels.G ?? {};
    expectClose(fwhmArcsec?.value ?? 0, 1.938891 * (fwhmPx?.value ?? 0), { rtol: 1e-6 });
  });
});

describe('determinism and intervals', () => {
  test('the same frame and seed give the same record to the last digit', () => {
    const again = measureFrame(mosaic(WIDTH, HEIGHT, SAMPLES, 'RGGB'), OPTIONS);
    expect(JSON.stringify(again.result)).toBe(JSON.stringify(BASE.result));
    for (const [name, column] of Object.entries(BASE.catalogue.columns))
      expect(again.catalogue.columns[name], name).toEqual(column);
  });

  test('another seed moves intervals, never values', () => {
    const other = measureFrame(mosaic(WIDTH, HEIGHT, SAMPLES, 'RGGB'), { ...OPTIONS, seed: 77 });
    const green = BASE.result.channels.G;
    const seeded = other.result.channels.G;
    expect(seeded?.fwhmPx?.value).toBe(green?.fwhmPx?.value);
    expect(seeded?.r80Px?.value).toBe(green?.r80Px?.value);
    expect(other.result.halo?.blueMinusRed.excessPercent.value).toBe(
      BASE.result.halo?.blueMinusRed.excessPercent.value,
    );
    expect(seeded?.fwhmPx?.low).not.toBe(green?.fwhmPx?.low);
  });

  test('every interval holds its value and has a width', () => {
    let seen = 0;
    const walk = (value: unknown, path: string): void => {
      if (value === null || typeof value !== 'object') return;
      const entry = value as Record<string, unknown>;
      if (
        typeof entry.value === 'number' &&
        typeof entry.low === 'number' &&
        typeof entry.high === 'number'
      ) {
        seen++;
        expect(entry.low, path).toBeLessThanOrEqual(entry.value);
        expect(entry.high, path).toBeGreaterThanOrEqual(entry.value);
        expect(entry.high, path).toBeGreaterThan(entry.low);
        return;
      }
      for (const [key, child] of Object.entries(entry)) walk(child, `${path}.${key}`);
    };
    walk(BASE.result, 'result');
    expect(seen).toBeGreaterThan(30);
  });

  test('the curve of each contrast lies within its own band', () => {
    const { curve } = BASE.result.halo?.blueMinusRed ?? {};
    if (!curve) throw new Error('no curve');
    curve.excessPercent.forEach((value, i) => {
      expect(curve.low[i]).toBeLessThanOrEqual(value);
      expect(curve.high[i]).toBeGreaterThanOrEqual(value);
    });
  });
});
