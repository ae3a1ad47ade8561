/** The well-corrected circle against fields whose sizes and elongations are formulas. */
import { describe, expect, it } from 'vitest';
import {
  type CircleStars,
  type CorrectedCircle,
  DEFAULT_CIRCLE_LIMITS,
  findCorrectedCircle,
} from '../../src/field/corrected-circle.js';
import { circleStarsOf } from '../../src/field/corrected-circle-stars.js';
import { sizeOfFwhm } from '../../src/field/response.js';
import { formatWithin } from '../../src/field/sensor-formats.js';
import { createRandom, normal } from '../../src/stats/random.js';

const WIDTH = 1500;
const HEIGHT = 1000;
const HALF = 0.5 * Math.sqrt(WIDTH ** 2 + HEIGHT ** 2);

interface Law {
  /** FWHM against the centre's, and ellipticity components, at a place in half diagonals. */
  growth: (x: number, y: number) => number;
  e?: (x: number, y: number) => [number, number];
}

function starField(n: number, law: Law, seed: number, reach = 1): CircleStars {
  const random = createRandom(seed);
  const column = () => new Float64Array(n);
  const stars: CircleStars = {
    n,
    width: WIDTH,
    height: HEIGHT,
    x: column(),
    y: column(),
    fwhmPx: column(),
    fwhmErrorPx: column(),
    e1: column(),
    e2: column(),
    ellipticityError: column(),
  };
  for (let i = 0; i < n; i++) {
    const u = (random() - 0.5) * reach;
    const v = (random() - 0.5) * reach;
    stars.x[i] = (u + 0.5) * WIDTH - 0.5;
    stars.y[i] = (v + 0.5) * HEIGHT - 0.5;
    const x = (u * WIDTH) / HALF;
    const y = (v * HEIGHT) / HALF;
    // Errors from a bright star's to a faint one's.
    const error = 0.01 * 10 ** random();
    // One star in twenty is a pair.
    const pair = random() < 0.05 ? 1.4 : 1;
    stars.fwhmPx[i] = 3 * law.growth(x, y) * pair * (1 + error * normal(random));
    stars.fwhmErrorPx[i] = 3 * error;
    const [e1, e2] = law.e?.(x, y) ?? [0, 0];
    stars.e1[i] = e1 + (error / 2) * normal(random);
    stars.e2[i] = e2 + (error / 2) * normal(random);
    stars.ellipticityError[i] = error / 2;
  }
  return stars;
}

const find = (stars: CircleStars, pixelSizeUm: number | null = 10): CorrectedCircle =>
  findCorrectedCircle(stars, DEFAULT_CIRCLE_LIMITS, pixelSizeUm, 3);

/** Curvature: blur grows with the square of the distance and adds in squares; 1.2 is reached at d² = √0.44 / k. */
const curved = (k: number): Law => ({
  growth: (x, y) => Math.sqrt(1 + (k * (x * x + y * y)) ** 2),
});
const curvedRadius = (k: number): number => HALF * Math.sqrt(Math.sqrt(0.44) / k);

describe('findCorrectedCircle', () => {
  it('finds the radius of a curved field, in px, mm and as a sensor', () => {
    const circle = find(starField(300, curved(1.5), 1));
    expect(circle).toMatchObject({ status: 'inside the frame', limitedBy: 'size' });
    // 4 %: the worst of 48 directions of a noisy surface is found a little early.
    expect(Math.abs((circle.radiusPx.value ?? 0) / curvedRadius(1.5) - 1)).toBeLessThan(0.04);
    expect(circle.radiusMm?.value).toBeCloseTo((circle.radiusPx.value ?? 0) / 100, 9);
    // About 6 mm at 10 µm: less than the half diagonal of the smallest format, 7.9 mm.
    expect(circle.formatMm).toBeNull();
    expect(find(starField(300, curved(1.5), 1), 20).formatMm).toEqual([17.3, 13]);
    expect(Math.abs((circle.centreFwhmPx?.value ?? 0) - 3)).toBeLessThan(0.1);
  });

  it('covers the truth with its interval about as often as it says, and is hardly biased', () => {
    let inside = 0;
    let bias = 0;
    const runs = 30;
    for (let seed = 1; seed <= runs; seed++) {
      const { value, low, high } = find(starField(150, curved(1.2), seed)).radiusPx;
      const truth = curvedRadius(1.2);
      if ((low ?? 0) <= truth && truth <= (high ?? Number.POSITIVE_INFINITY)) inside++;
      bias += ((value ?? HALF) - truth) / truth / runs;
    }
    // 150 stars: one radius scatters by some 4 %.
    expect(Math.abs(bias)).toBeLessThan(0.03);
    // 68 % of 30, less two standard deviations.
    expect(inside / runs).toBeGreaterThan(0.5);
  });

  it('is as small as its worst side where the sensor is tilted', () => {
    // Focus changes along x from the centre on: blur² = (1.2 x)², 1.2 is reached at |x| = √0.44 / 1.2.
    const circle = find(starField(300, { growth: (x) => Math.sqrt(1 + (1.2 * x) ** 2) }, 2));
    expect(
      Math.abs((circle.radiusPx.value ?? 0) / ((HALF * Math.sqrt(0.44)) / 1.2) - 1),
    ).toBeLessThan(0.06);
  });

  it('is limited by elongation where that comes first', () => {
    // Radial elongation 0.25 d²: 0.1 is reached at d = √0.4.
    const law: Law = {
      growth: () => 1,
      e: (x, y) => [0.25 * (x * x - y * y), 0.25 * 2 * x * y],
    };
    const circle = find(starField(300, law, 4));
    expect(circle).toMatchObject({ status: 'inside the frame', limitedBy: 'elongation' });
    expect(Math.abs((circle.radiusPx.value ?? 0) / (HALF * Math.sqrt(0.4)) - 1)).toBeLessThan(0.05);
    expect(circle.sizeRadiusPx.value).toBeNull();
  });

  it('gives no circle where stars are elongated everywhere', () => {
    const circle = find(starField(200, { growth: () => 1, e: () => [0.2, 0] }, 5));
    expect(circle).toMatchObject({ status: 'inside the frame', limitedBy: 'elongation' });
    expect(circle.radiusPx.value).toBe(0);
  });

  it('vouches for the whole frame, and no further, when nothing grows', () => {
    const circle = find(starField(200, { growth: () => 1 }, 6));
    expect(circle).toMatchObject({ status: 'whole frame', limitedBy: null, formatAtLeast: true });
    expect(circle.radiusPx.value).toBeNull();
    expect(circle.atLeastPx).toBeCloseTo(HALF, 9);
    // 9 mm: 13.2 × 8.8 (half diagonal 7.9) fits, 17.3 × 13 (10.8) is not vouched for.
    expect(circle.formatMm).toEqual([13.2, 8.8]);
  });

  it('does not vouch for corners without stars, nor judge by a handful of stars', () => {
    const inner = find(starField(200, { growth: () => 1 }, 7, 0.6));
    expect(inner.status).toBe('cannot tell');
    expect(inner.reason).toContain('reach only');
    expect(find(starField(29, curved(1.5), 8)).reason).toContain('29 stars');
  });

  it('knows sensors by their half diagonals (√(36² + 24²)/2 = 21.63 mm)', () => {
    expect(formatWithin(21.62)).toEqual([23.5, 15.6]);
    expect(formatWithin(21.64)).toEqual([36, 24]);
    expect(formatWithin(7.9)).toBeNull();
    expect(formatWithin(60)).toEqual([44, 33]);
  });
});

describe('circleStarsOf', () => {
  it('turns fitted sizes into recorded ones, and Q/T into (a − b)/(a + b)', () => {
    const one = (value: number) => Float64Array.of(value);
    // Axes a² = 3, b² = 1 along x: T = 4, Q1 = 2; (√3 − 1)/(√3 + 1).
    const stars = circleStarsOf(
      {
        n: 1,
        width: 10,
        height: 10,
        x: one(1),
        y: one(2),
        t: one(4),
        tError: one(0.4),
        q1: one(2),
        q2: one(0),
        qError: one(0.2),
        k1: one(0),
        k2: one(0),
        kError: one(0),
      },
      0,
    );
    expect(stars.e1[0]).toBeCloseTo((Math.sqrt(3) - 1) / (Math.sqrt(3) + 1), 12);
    expect(sizeOfFwhm(stars.fwhmPx[0] as number)).toBeCloseTo(4, 12);
    // FWHM ∝ √T: 10 % of T are 5 % of it.
    expect((stars.fwhmErrorPx[0] as number) / (stars.fwhmPx[0] as number)).toBeCloseTo(0.05, 12);
  });
});
