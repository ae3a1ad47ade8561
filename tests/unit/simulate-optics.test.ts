/** The wave optics of the simulation against textbook values. No code is shared with src/optics. */
import { describe, expect, it, vi } from 'vitest';
import { type ChannelTruth, encircledAt, measureImage } from '../../src/simulate/profile-truth.js';
import { type Blur, PsfMaker } from '../../src/simulate/psf.js';
import type { Wavefront } from '../../src/simulate/pupil.js';
import { besselJ0 } from '../../src/simulate/radial-pupil.js';
import { expectClose } from '../expect-close.js';

// Rendering is quick on a free machine; a busy one gets more time.
vi.setConfig({ testTimeout: 30_000 });

const NO_ERROR: Wavefront = {
  defocusUm: 0,
  astigmatismUm: 0,
  astigmatismAngle: 0,
  sphericalNm: 0,
  comaXNm: 0,
  comaYNm: 0,
};

function blurOf(wavefront: Partial<Wavefront>, rest: Partial<Blur> = {}): Blur {
  return {
    wavefront: () => ({ ...NO_ERROR, ...wavefront }),
    displacementPx: () => [0, 0],
    seeingFwhmPx: () => 0,
    jitterPx: 0,
    driftPx: [0, 0],
    pixelIncluded: false,
    ...rest,
  };
}

interface Optics {
  size?: number;
  perPixel?: number;
  pixelUm?: number;
  focalRatio?: number;
  wavelengthNm?: number;
  method?: 'auto' | 'fourier';
}

function imageOf(blur: Blur, optics: Optics = {}): Float32Array {
  const { size = 512, perPixel = 4, pixelUm = 2, focalRatio = 8, wavelengthNm = 550 } = optics;
  const cell = { middleNm: wavelengthNm, widthNm: 1, nodes: [{ wavelengthNm, weight: 1 }] };
  const request = { cellWeights: [1], offsetPx: [0, 0] as const };
  const maker = new PsfMaker({ size, perPixel, pixelUm }, focalRatio);
  return maker.make([cell], blur, [request], optics.method)[0] as Float32Array;
}

function measured(image: Float32Array, perPixel = 4): ChannelTruth {
  return measureImage(image, Math.sqrt(image.length), perPixel, [0, 0]);
}

function peakOf(image: Float32Array): number {
  return image.reduce((peak, value) => Math.max(peak, value), 0);
}

/** Centre of light about the middle of the grid, px. */
function centreOf(image: Float32Array, perPixel = 4): [number, number] {
  const size = Math.sqrt(image.length);
  let sum = 0;
  let sumX = 0;
  let sumY = 0;
  image.forEach((value, i) => {
    sum += value;
    sumX += value * ((i % size) - size / 2);
    sumY += value * (Math.floor(i / size) - size / 2);
  });
  return [sumX / sum / perPixel, sumY / sum / perPixel];
}

describe('diffraction', () => {
  // λN = 4.4 µm = 2.2 px.
  const lambdaN = 2.2;
  it.each(['auto', 'fourier'] as const)('Airy pattern by the %s method', (method) => {
    const airy = measured(imageOf(blurOf({}), { method }));
    // Born & Wolf, Principles of Optics, 8.5.2: first dark ring at 1.220 λN with 83.8 % inside; FWHM 1.029 λN.
    // Tolerances: the softened pupil edge and the grid's end move the FWHM by a part in a thousand.
    expect(airy.fwhmPx / lambdaN).toBeCloseTo(1.029, 2);
    expect(Math.abs(airy.fwhmPx / lambdaN - 1.029)).toBeLessThan(0.0025);
    expect(Math.abs(encircledAt(airy, 1.22 * lambdaN) - 0.8378)).toBeLessThan(0.001);
  });
  it('peak of the Airy pattern is π/4 / (λN)² per unit of light', () => {
    expect(peakOf(imageOf(blurOf({}))) * 16).toBeCloseTo(Math.PI / 4 / lambdaN ** 2, 4);
  });
  it.each([
    ['defocus', { defocusUm: 90 }],
    ['spherical', { sphericalNm: 110 }],
    ['both', { defocusUm: -150, sphericalNm: 60 }],
  ] as const)('the radial and the two-dimensional transform agree: %s', (_, wavefront) => {
    const radial = imageOf(blurOf(wavefront));
    const fourier = imageOf(blurOf(wavefront), { method: 'fourier' });
    const peak = peakOf(fourier);
    let worst = 0;
    radial.forEach((value, i) => {
      worst = Math.max(worst, Math.abs(value - (fourier[i] as number)));
    });
    // The sampled pupil is 58 points wide: its stair-cased edge limits the agreement.
    expect(worst / peak).toBeLessThan(3e-3);
  });
  it.each([
    ['spherical', { sphericalNm: 40 }, 40],
    ['coma', { comaXNm: 24, comaYNm: 32 }, 40],
    // ρ² has a standard deviation of 1/√12 over the disc: 44.34 µm / (8 · 8²) / √12 = 25 nm.
    ['defocus', { defocusUm: 44.34 }, 25],
    // ρ² cos 2θ has 1/√6: 31.35 µm / (8 · 8²) / √6 = 25 nm.
    ['astigmatism', { astigmatismUm: 31.35 }, 25],
  ] as const)('%s dims the peak by exp(−(2πσ/λ)²)', (_, wavefront, rmsNm) => {
    // Mahajan 1983, J. Opt. Soc. Am. 73, 860; good to about 1 % for small errors. Away from the origin for coma.
    const ratio =
      peakOf(imageOf(blurOf(wavefront))) / peakOf(imageOf(blurOf({}), { method: 'fourier' }));
    expect(ratio).toBeCloseTo(Math.exp(-(((2 * Math.PI * rmsNm) / 550) ** 2)), 1);
    expect(Math.abs(ratio - Math.exp(-(((2 * Math.PI * rmsNm) / 550) ** 2)))).toBeLessThan(0.012);
  });
  it('coma moves the centre of light by 2N times the mean slope of the wavefront', () => {
    // Mean of ∂W/∂u over the pupil = (1/π) ∮ W cos θ dθ = √8 c; 2 · 8 · √8 · 60 nm = 2.715 µm = 1.358 px.
    // The wings beyond the grid hold a part of the moment that shrinks as 1/size: two sizes give the limit.
    const small = centreOf(imageOf(blurOf({ comaXNm: 60 })));
    const large = centreOf(imageOf(blurOf({ comaXNm: 60 }), { size: 1024 }));
    const limit = Math.abs(2 * large[0] - small[0]);
    expect(Math.abs(limit / 1.358 - 1)).toBeLessThan(0.01);
    expect(Math.abs(large[0] / 1.358)).toBeGreaterThan(0.96);
    expect(Math.abs(large[1])).toBeLessThan(0.01);
  });
  it('astigmatism: the elongation turns by 90° through focus', () => {
    const inside = measured(
      imageOf(blurOf({ defocusUm: 60, astigmatismUm: 30, astigmatismAngle: Math.PI / 6 })),
    );
    const outside = measured(
      imageOf(blurOf({ defocusUm: -60, astigmatismUm: 30, astigmatismAngle: Math.PI / 6 })),
    );
    expect(inside.elongationAngleDeg).toBeCloseTo(30, 0);
    expect(outside.elongationAngleDeg).toBeCloseTo(120, 0);
    expect(inside.ellipticity).toBeGreaterThan(0.05);
  });
});

describe('defocus', () => {
  it('spreads the light over a disc of diameter Δz/N with RMS radius d/(2√2)', () => {
    // 640 µm / 8 = 80 µm = 40 px of 2 µm. At 80 nm that is 16 waves of defocus: geometric optics holds.
    const disc = measured(
      imageOf(blurOf({ defocusUm: 640 }), { wavelengthNm: 80, perPixel: 8 }),
      8,
    );
    const limit = 24;
    let moment = 0;
    for (let i = 1; i < disc.radiusPx.length && (disc.radiusPx[i] as number) <= limit; i++) {
      const radius = ((disc.radiusPx[i] as number) + (disc.radiusPx[i - 1] as number)) / 2;
      const light = (disc.encircledEnergy[i] as number) - (disc.encircledEnergy[i - 1] as number);
      moment += light * radius * radius;
    }
    const rms = Math.sqrt(moment / encircledAt(disc, limit));
    // 2 %: diffraction carries some light past the geometric edge.
    expect(Math.abs(rms / (40 / (2 * Math.SQRT2)) - 1)).toBeLessThan(0.02);
    // Uniform disc: 64 % of the light within 80 % of the radius.
    expect(Math.abs(encircledAt(disc, 16) - 0.64)).toBeLessThan(0.01);
  });
});

describe('seeing, guiding and pixel', () => {
  // Pixels of 5 µm at N = 3.6: diffraction (0.4 px) is small beside 4 px of seeing.
  const wide = { size: 512, perPixel: 8, pixelUm: 5, focalRatio: 3.6 };
  const seeing: Partial<Blur> = { seeingFwhmPx: (nm) => 4 * (nm / 500) ** -0.2 };
  it('the Kolmogorov image has FWHM 0.976 λ/r₀', () => {
    // ∫ exp(−3.44 f^{5/3}) J₀(2πfr) f df halves at r = 0.488 (Roddier 1981, Progress in Optics 19, 281; memory: 0.98).
    const brightness = (r: number) => {
      let sum = 0;
      for (let f = 0.0005; f < 4; f += 0.001)
        sum += Math.exp(-3.44 * f ** (5 / 3)) * besselJ0(2 * Math.PI * f * r) * f * 0.001;
      return sum;
    };
    expect(brightness(0.9759 / 2) / brightness(0)).toBeCloseTo(0.5, 3);
  });
  it('has the width asked for, and grows as λ^(−1/5)', () => {
    const at = (wavelengthNm: number) =>
      measured(imageOf(blurOf({}, seeing), { ...wide, wavelengthNm }), 8).fwhmPx;
    // 2 %: diffraction adds a little.
    expect(Math.abs(at(500) / 4 - 1)).toBeLessThan(0.02);
    // Fried 1966, JOSA 56, 1372 (memory): r₀ ∝ λ^{6/5}, so λ/r₀ ∝ λ^{−1/5}; 1.5 %: diffraction grows as λ.
    expect(Math.abs(at(400) / at(700) / (700 / 400) ** 0.2 - 1)).toBeLessThan(0.015);
  });
  it('jitter adds its variance, the pixel 1/12, drift d²/12 along its direction', () => {
    const image = (rest: Partial<Blur>) => imageOf(blurOf({}, { jitterPx: 1.5, ...rest }), wide);
    const variance = (img: Float32Array) => {
      // Second moments within 12 px: the Gaussian ends there, diffraction wings cancel in the differences.
      const size = 512;
      let sum = 0;
      let xx = 0;
      let yy = 0;
      img.forEach((value, i) => {
        const x = ((i % size) - size / 2) / 8;
        const y = (Math.floor(i / size) - size / 2) / 8;
        if (x * x + y * y > 144) return;
        sum += value;
        xx += value * x * x;
        yy += value * y * y;
      });
      return [xx / sum, yy / sum] as const;
    };
    const plain = variance(image({}));
    const boxed = variance(image({ pixelIncluded: true }));
    const drifted = variance(image({ driftPx: [3, 0] }));
    const blurred = variance(image({ jitterPx: 2 }));
    // 1.5 %: a share 0.2 λN / 12 px = 0.7 % of the light lies in diffraction wings outside the circle.
    expectClose(boxed[0] - plain[0], 1 / 12, { rtol: 0.015 });
    expectClose(drifted[0] - plain[0], 9 / 12, { rtol: 0.015 });
    expectClose(drifted[1] - plain[1], 0, { atol: 0.005 });
    expectClose(blurred[0] - plain[0], 4 - 2.25, { rtol: 0.015 });
  });
  it('a displacement moves the image by just that much', () => {
    const still = measured(imageOf(blurOf({}, seeing), wide), 8);
    const moved = measured(
      imageOf(blurOf({}, { ...seeing, displacementPx: () => [1.3, -0.45] }), wide),
      8,
    );
    expect(moved.centroidPx[0] - still.centroidPx[0]).toBeCloseTo(1.3, 4);
    expect(moved.centroidPx[1] - still.centroidPx[1]).toBeCloseTo(-0.45, 4);
    expect(moved.fwhmPx).toBeCloseTo(still.fwhmPx, 3);
  });
});

describe('Bessel function J₀', () => {
  // Abramowitz & Stegun, tables 9.1 and 9.5.
  it.each([
    [0, 1],
    [1, 0.7651976866],
    [2.4048255577, 0],
    [5, -0.1775967713],
    [10, -0.2459357645],
    [50, 0.0558123277],
  ])('J₀(%d) = %d', (x, value) => {
    expect(Math.abs(besselJ0(x) - value)).toBeLessThan(1e-7);
  });
});
