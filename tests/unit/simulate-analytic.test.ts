/** Arrays of analytic stars: pixel integration, signal-to-noise and truth against plain computations. */
import { describe, expect, it } from 'vitest';
import { type AnalyticOptions, simulateAnalytic } from '../../src/simulate/analytic.js';
import { encircledAt } from '../../src/simulate/profile-truth.js';
import { expectClose } from '../expect-close.js';

const MOFFAT: AnalyticOptions = {
  profile: 'moffat',
  fwhmPx: 1.3,
  beta: 3.5,
  ellipticity: 0.15,
  angleDeg: 25,
  snr: 100,
  stars: 4,
  layout: 'mono',
};

/** Mean of a Moffat of unit flux over a pixel by 60 × 60 midpoints: slow, plain, on its own. */
function bruteForce(options: AnalyticOptions, dx: number, dy: number): number {
  const { fwhmPx, beta = 0, ellipticity: e = 0, angleDeg = 0 } = options;
  const alpha = fwhmPx / (2 * Math.sqrt(2 ** (1 / beta) - 1));
  const a = alpha * Math.sqrt((1 + e) / (1 - e));
  const b = (alpha * alpha) / a;
  const turn = (angleDeg * Math.PI) / 180;
  const n = 60;
  let sum = 0;
  for (let j = 0; j < n; j++)
    for (let i = 0; i < n; i++) {
      const x = dx + (i + 0.5) / n - 0.5;
      const y = dy + (j + 0.5) / n - 0.5;
      const u = (x * Math.cos(turn) + y * Math.sin(turn)) / a;
      const v = (y * Math.cos(turn) - x * Math.sin(turn)) / b;
      sum += (1 + u * u + v * v) ** -beta;
    }
  return (((beta - 1) / (Math.PI * a * b)) * sum) / (n * n);
}

describe('pixel values', () => {
  it.each([1.3, 4])('are the mean of the profile over the pixel, FWHM %d px', (fwhmPx) => {
    const options = { ...MOFFAT, fwhmPx, noise: false };
    const { frame, truth } = simulateAnalytic(options);
    const star = truth.stars[3];
    if (!star) throw new Error('no star');
    const flux = star.fluxAdu.L as number;
    const peak = flux * bruteForce(options, 0, 0);
    for (const [ox, oy] of [
      [0, 0],
      [1, 0],
      [-1, 2],
      [3, -2],
      [6, 5],
    ] as const) {
      const x = Math.round(star.x) + ox;
      const y = Math.round(star.y) + oy;
      const value = (frame.data[y * frame.width + x] as number) - truth.backgroundAdu;
      // 1e-4 of the peak: the midpoint rule's own error, neighbours' wings, 32-bit floats.
      expectClose(value, flux * bruteForce(options, x - star.x, y - star.y), { atol: 1e-4 * peak });
    }
  });
  it('add up to the flux', () => {
    const { frame, truth } = simulateAnalytic({
      ...MOFFAT,
      profile: 'gaussian',
      stars: 1,
      noise: false,
    });
    let sum = 0;
    for (const value of frame.data) sum += value - truth.backgroundAdu;
    // 32-bit floats round the background of 600 ADU by 3e-5 in each of 576 pixels.
    expectClose(sum, truth.stars[0]?.fluxAdu.L as number, { rtol: 1e-4 });
  });
  it('a mosaic samples the planes of the same stars', () => {
    const options = { ...MOFFAT, channelFlux: { R: 0.6, B: 0.3 }, noise: false } as const;
    const planes = simulateAnalytic({ ...options, layout: 'rgb', snr: 100 });
    const mosaic = simulateAnalytic({ ...options, layout: 'cfa', cfa: 'GRBG' });
    const { width, height } = mosaic.frame;
    // The mosaic needs more light for the same signal-to-noise: its stars are brighter by one factor.
    const factor =
      (mosaic.truth.stars[0]?.fluxAdu.G as number) / (planes.truth.stars[0]?.fluxAdu.G as number);
    let worst = 0;
    for (let y = 0; y < height; y++)
      for (let x = 0; x < width; x++) {
        const plane = 'RGB'.indexOf('GRBG'[(y % 2) * 2 + (x % 2)] as string);
        const expected = (planes.frame.data[(plane * height + y) * width + x] as number) - 600;
        const value = (mosaic.frame.data[y * width + x] as number) - 600;
        worst = Math.max(worst, Math.abs(value - factor * expected));
      }
    expect(factor).toBeGreaterThan(1.2);
    // The images end at slightly different radii, below 0.002 σ of 10 ADU; rounding of 32-bit floats at 2000 ADU.
    expect(worst).toBeLessThan(0.05);
  });
});

describe('truth', () => {
  it('recorded width of a Gaussian: σ² + 1/12', () => {
    const { truth } = simulateAnalytic({
      ...MOFFAT,
      profile: 'gaussian',
      fwhmPx: 4,
      ellipticity: 0,
    });
    // FWHM of the box-blurred Gaussian to second order; 1e-3: the box's fourth cumulant.
    expectClose(
      truth.channels.L?.fwhmPx as number,
      2.3548 * Math.sqrt((4 / 2.3548) ** 2 + 1 / 12),
      {
        rtol: 1e-3,
      },
    );
    expectClose(truth.opticalFwhmPx.L as number, 4, { rtol: 1e-12 });
  });
  it('encircled energy of a Moffat: 1 − (1 + r²/α²)^(1−β)', () => {
    const { truth } = simulateAnalytic({ ...MOFFAT, fwhmPx: 8, ellipticity: 0 });
    const alpha = 8 / (2 * Math.sqrt(2 ** (1 / 3.5) - 1));
    for (const radius of [4, 8, 16, 40]) {
      // The pixel lowers it by about (1/24) ∇² of the light inside: below 2e-3 at 8 px.
      const channel = truth.channels.L;
      if (!channel) throw new Error('no channel');
      expectClose(encircledAt(channel, radius), 1 - (1 + (radius / alpha) ** 2) ** -2.5, {
        atol: 2e-3,
      });
    }
  });
  it('recorded shape: large stars keep their ellipticity and angle, small ones are rounded by the pixel', () => {
    const large = simulateAnalytic({ ...MOFFAT, fwhmPx: 8 }).truth;
    const small = simulateAnalytic(MOFFAT).truth;
    expectClose(large.channels.L?.ellipticity as number, 0.15, { atol: 0.002 });
    expectClose(large.channels.L?.elongationAngleDeg as number, 25, { atol: 0.1 });
    expect(small.channels.L?.ellipticity).toBeLessThan(0.13);
    const [major, minor] = large.axisFwhmPx.L as [number, number];
    expectClose(major / minor, 1.15 / 0.85, { rtol: 0.01 });
  });
  it('signal-to-noise: the flux fitted with known shape scatters by flux/snr', () => {
    const options: AnalyticOptions = { ...MOFFAT, fwhmPx: 2.5, stars: 400, snr: 30, seed: 5 };
    const noisy = simulateAnalytic(options);
    const clean = simulateAnalytic({ ...options, noise: false });
    const { width } = noisy.frame;
    const errors: number[] = [];
    for (const star of noisy.truth.stars) {
      const flux = star.fluxAdu.L as number;
      let weighted = 0;
      let information = 0;
      for (let y = Math.round(star.y) - 8; y <= Math.round(star.y) + 8; y++)
        for (let x = Math.round(star.x) - 8; x <= Math.round(star.x) + 8; x++) {
          const model = (clean.frame.data[y * width + x] as number) - clean.truth.backgroundAdu;
          const value = (noisy.frame.data[y * width + x] as number) - clean.truth.backgroundAdu;
          // 1 e−/ADU: sky 100, read noise 2, star.
          const variance = 104 + model;
          weighted += ((model / flux) * value) / variance;
          information += (model / flux) ** 2 / variance;
        }
      errors.push(weighted / information / flux - 1);
    }
    const scatter = Math.sqrt(errors.reduce((sum, e) => sum + e * e, 0) / errors.length);
    // 4 σ of a scatter from 400 stars: 4/√800 = 14 %.
    expectClose(scatter, 1 / 30, { rtol: 0.14 });
    expect(Math.abs(errors.reduce((sum, e) => sum + e, 0) / 400)).toBeLessThan(4 / 30 / 20);
  });
  it('a range of signal-to-noise is filled, and the brighter star has the higher one', () => {
    const { stars } = simulateAnalytic({ ...MOFFAT, snr: [10, 300], stars: 60 }).truth;
    const sorted = [...stars].sort((a, b) => a.snr - b.snr);
    expect(sorted[0]?.snr).toBeGreaterThanOrEqual(10);
    expect(sorted[59]?.snr).toBeLessThanOrEqual(300);
    expect((sorted[59]?.snr as number) / (sorted[0]?.snr as number)).toBeGreaterThan(15);
    for (let i = 1; i < 60; i++)
      expect(sorted[i]?.fluxAdu.L).toBeGreaterThan(sorted[i - 1]?.fluxAdu.L as number);
  });
  it('refuses what it cannot draw', () => {
    expect(() => simulateAnalytic({ ...MOFFAT, fwhmPx: 0 })).toThrow(/fwhmPx/);
    expect(() => simulateAnalytic({ ...MOFFAT, snr: -3 })).toThrow(/snr/);
    expect(() => simulateAnalytic({ ...MOFFAT, ellipticity: 1 })).toThrow(/ellipticity/);
  });
});
