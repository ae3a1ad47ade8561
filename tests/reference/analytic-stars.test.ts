/** Measurements of invented frames against the truth they were made from (fixtures/reference/analytic.py, numpy). */
import { readFileSync } from 'node:fs';
import { describe, expect, it, vi } from 'vitest';
import { openFrame } from '../../src/frame/open.js';
import { type Measurement, measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { fixture } from '../helpers/data-files.js';
import { nearestRow } from '../helpers/star-reference.js';

vi.setConfig({ testTimeout: 60_000 });

type Colour = 'R' | 'G' | 'B' | 'L';

interface Truth {
  enclosedRadiusPx: number[];
  frames: Record<
    string,
    {
      /** x, y, flux. */
      stars: [number, number, number][];
      channels: Partial<
        Record<
          Colour,
          {
            fwhmOptical: number;
            fwhmRecorded: number;
            /** Before the pixel. */
            ellipticity: number;
            angleDeg: number;
            fluxScale: number;
            background: number;
            noise: number;
            /** Light inside `enclosedRadiusPx`, of all light; round stars only. */
            enclosed: number[] | null;
          }
        >
      >;
    }
  >;
}

const truth: Truth = JSON.parse(readFileSync(fixture('reference/star-analytic.json'), 'utf8'));

async function measure(file: string): Promise<Measurement> {
  const frame = await openFrame(fixture(`reference/${file}`));
  try {
    return measureFrame(frame, { ...DEFAULT_MEASURE_OPTIONS, bootstrapDraws: 20 });
  } finally {
    frame.rows.close();
  }
}

const mean = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / values.length;

describe.each(Object.entries(truth.frames))('%s', (file, scene) => {
  const measurement = measure(file);

  it('finds every star and nothing else', async () => {
    const { result, catalogue } = await measurement;
    expect(result.stars?.found).toBe(scene.stars.length);
    for (const [x, y] of scene.stars) {
      const row = nearestRow(catalogue, x, y, 0.5);
      expect(row, `star at ${x}, ${y}`).toBeGreaterThanOrEqual(0);
      expect(catalogue.flags[row], `star at ${x}, ${y}`).toBe(0);
    }
  });

  it('positions without bias, and scattered as their errors say', async () => {
    const { catalogue } = await measurement;
    const { x: cx, y: cy, x_err: ex, y_err: ey } = catalogue.columns;
    const dx: number[] = [];
    const dy: number[] = [];
    const squares: number[] = [];
    for (const [x, y] of scene.stars) {
      const row = nearestRow(catalogue, x, y, 0.5);
      dx.push((cx?.[row] as number) - x);
      dy.push((cy?.[row] as number) - y);
      squares.push((((cx?.[row] as number) - x) / (ex?.[row] as number)) ** 2);
      squares.push((((cy?.[row] as number) - y) / (ey?.[row] as number)) ** 2);
    }
    // 64 stars of 0.01–0.03 px each: the mean is good to 0.004 px.
    expect(Math.abs(mean(dx))).toBeLessThan(0.01);
    expect(Math.abs(mean(dy))).toBeLessThan(0.01);
    // Errors include 1 % of model error, so they are somewhat too large for stars that are exact Moffats; never too small.
    const pull = Math.sqrt(mean(squares));
    expect(pull).toBeGreaterThan(0.4);
    expect(pull).toBeLessThan(1.2);
  });

  it.each(
    Object.entries(scene.channels) as [
      Colour,
      NonNullable<Truth['frames'][string]['channels'][Colour]>,
    ][],
  )('channel %s: background, size, shape, flux', async (name, expected) => {
    const { result, catalogue } = await measurement;
    const channel = result.channels[name];
    // A star every 30 px: their wings lift any background estimate that keeps them by a fraction of the noise.
    expect(Math.abs((channel?.backgroundAdu.value as number) - expected.background)).toBeLessThan(
      0.1 * expected.noise,
    );
    expect(Math.abs((channel?.noiseAdu.value as number) / expected.noise - 1)).toBeLessThan(0.1);

    // docs/algorithms.md: FWHM bias ≤ 1 % for 2–8 px (here also 1.8 px), on red and blue sites ≤ 2 % above 2.5 px.
    const site = file.includes('mosaic') && name !== 'G' ? 0.02 : 0.01;
    const fits = channel?.medianFitFwhmPx?.value as number;
    expect(Math.abs(fits / expected.fwhmRecorded - 1), `fits: ${fits}`).toBeLessThan(site);
    // The headline: 3 % in green and mono, 5 % in red and blue.
    const profile = channel?.fwhmPx?.value as number;
    expect(
      Math.abs(profile / expected.fwhmRecorded - 1),
      `profile: ${profile} against ${expected.fwhmRecorded}`,
    ).toBeLessThan(name === 'R' || name === 'B' ? 0.05 : 0.03);

    // Pixels widen both axes alike: e of the recorded image is smaller by the ratio of the mean squares.
    const e = expected.ellipticity * (expected.fwhmOptical / expected.fwhmRecorded) ** 2;
    expect(Math.abs((channel?.ellipticity?.value as number) - e)).toBeLessThan(0.01);
    if (e > 0.03) {
      expect(Math.abs((channel?.elongationAngleDeg as number) - expected.angleDeg)).toBeLessThan(3);
    }

    const flux = catalogue.columns[`flux_${name}`] as Float64Array;
    const ratios = scene.stars.map(([x, y, value]) => {
      return (flux[nearestRow(catalogue, x, y, 0.5)] as number) / (value * expected.fluxScale);
    });
    // 3 %: a background wrong by 0.05 σ over R_max is that much of the fainter stars; wings beyond R_max are below 0.3 %.
    expect(Math.abs(mean(ratios) - 1), `mean flux ratio ${mean(ratios)}`).toBeLessThan(0.03);
  });

  it.skipIf(scene.channels.G === undefined)(
    'halo: excess at r80 of green, half-light radii',
    async () => {
      const { result } = await measurement;
      const rMax = result.halo?.blueMinusRed.normalisedWithinPx as number;
      const at = (colour: Colour, r: number): number => {
        const curve = scene.channels[colour]?.enclosed as number[];
        return (
          cubicAt(truth.enclosedRadiusPx, curve, r) / cubicAt(truth.enclosedRadiusPx, curve, rMax)
        );
      };
      const radius = (colour: Colour, share: number): number => {
        let low = 0;
        let high = rMax;
        while (high - low > 1e-6) {
          const middle = (low + high) / 2;
          if (at(colour, middle) < share) low = middle;
          else high = middle;
        }
        return low;
      };
      const r80 = radius('G', 0.8);
      // Sizes to 3 %, 2 points of halo: the accuracy promised. Curves of growth amplify any error of the sky.
      for (const colour of ['R', 'G', 'B'] as const) {
        const channel = result.channels[colour];
        expect(Math.abs((channel?.r50Px?.value as number) / radius(colour, 0.5) - 1)).toBeLessThan(
          0.03,
        );
        expect(Math.abs((channel?.r80Px?.value as number) / radius(colour, 0.8) - 1)).toBeLessThan(
          0.03,
        );
        expect(
          Math.abs((channel?.hfdPx?.value as number) / (2 * radius(colour, 0.5)) - 1),
        ).toBeLessThan(0.03);
      }
      const halo = result.halo;
      expect(Math.abs((halo?.blueMinusRed.atRadiusPx as number) / r80 - 1)).toBeLessThan(0.03);
      const excess = (inner: Colour, outer: Colour): number =>
        100 * (at(inner, r80) - at(outer, r80));
      for (const [measuredExcess, expected] of [
        [halo?.blueMinusRed.excessPercent.value, excess('R', 'B')],
        [halo?.blueMinusGreen.excessPercent.value, excess('G', 'B')],
        [halo?.redMinusGreen.excessPercent.value, excess('G', 'R')],
      ] as const) {
        expect(
          Math.abs((measuredExcess as number) - expected),
          `expected ${expected}`,
        ).toBeLessThan(2);
      }
    },
  );
});

/** Value at `r` by the cubic through the four nearest table entries. */
function cubicAt(radii: readonly number[], values: readonly number[], r: number): number {
  const next = radii.findIndex((value) => value >= r);
  const start = Math.min(Math.max(0, next - 2), radii.length - 4);
  let sum = 0;
  for (let i = start; i < start + 4; i++) {
    let weight = 1;
    for (let j = start; j < start + 4; j++) {
      if (j !== i)
        weight *= (r - (radii[j] as number)) / ((radii[i] as number) - (radii[j] as number));
    }
    sum += weight * (values[i] as number);
  }
  return sum;
}
