/** The single-star fit: recovery of known parameters, and its derivatives by way of its error estimates. */
import { describe, expect, test } from 'vitest';
import { createFitScratch, type FitSettings, fitStar } from '../../src/measure/moffat-fit.js';
import {
  alphaOfFwhm,
  fwhmOfAlpha,
  PBACKGROUND,
  PFLUX,
  PG1,
  PG2,
  PLNALPHA,
  PX,
  PY,
} from '../../src/measure/moffat-model.js';
import { createSampleList, type SampleList } from '../../src/measure/samples.js';
import { expectClose } from '../expect-close.js';

const NAMES = ['x', 'y', 'flux', 'background', 'ln α', 'g1', 'g2'];
/** Eight-point Gauss–Legendre nodes and weights on [−½, ½] (Abramowitz & Stegun, table 25.4). */
const NODES = [0.1834346424956498, 0.525532409916329, 0.7966664774136267, 0.9602898564975363];
const WEIGHTS = [0.362683783378362, 0.3137066458778873, 0.2223810344533745, 0.1012285362903763];
const RULE = NODES.flatMap((node, i) => [
  [-node / 2, WEIGHTS[i] / 2],
  [node / 2, WEIGHTS[i] / 2],
]);

/** The model of moffat-model.ts written out again, with a finer integral over the pixel. */
function model(p: ArrayLike<number>, beta: number, x: number, y: number): number {
  const alpha2 = Math.exp(2 * p[PLNALPHA]);
  const q = 1 - p[PG1] ** 2 - p[PG2] ** 2;
  const norm =
    beta === Number.POSITIVE_INFINITY
      ? 1 / (2 * Math.PI * alpha2 * Math.sqrt(q))
      : (beta - 1) / (Math.PI * alpha2 * Math.sqrt(q));
  let sum = 0;
  for (const [ny, wy] of RULE)
    for (const [nx, wx] of RULE) {
      const dx = x + nx - p[PX];
      const dy = y + ny - p[PY];
      const u =
        ((1 - p[PG1]) * dx * dx - 2 * p[PG2] * dx * dy + (1 + p[PG1]) * dy * dy) / (alpha2 * q);
      const value = beta === Number.POSITIVE_INFINITY ? Math.exp(-u / 2) : (1 + u) ** -beta;
      sum += wx * wy * value;
    }
  return p[PFLUX] * norm * sum + p[PBACKGROUND];
}

/** Samples of a star on all pixels, or on one site of each 2 × 2 cell, or on a quincunx. */
function starSamples(
  p: ArrayLike<number>,
  beta: number,
  radius: number,
  sites: 'all' | 'one in four' | 'quincunx',
): SampleList {
  const list = createSampleList((2 * radius + 1) ** 2);
  for (let y = -radius; y <= radius; y++)
    for (let x = -radius; x <= radius; x++) {
      if (x * x + y * y > radius * radius) continue;
      if (sites === 'one in four' && ((x & 1) !== 0 || (y & 1) !== 0)) continue;
      if (sites === 'quincunx' && ((x + y) & 1) !== 0) continue;
      list.dx[list.n] = x;
      list.dy[list.n] = y;
      list.value[list.n] = model(p, beta, x, y);
      list.n++;
    }
  return list;
}

function settings(beta: number, modelSigma = 0): FitSettings {
  return {
    beta,
    skyVariance: Float64Array.of(100),
    noisePerSignal: 0.5,
    modelSigma,
    integrateWithinPx: 100,
  };
}

function start(fwhm: number, beta: number, flux: number): Float64Array {
  const p = new Float64Array(7);
  p[PFLUX] = 0.7 * flux;
  p[PLNALPHA] = Math.log(alphaOfFwhm(1.25 * fwhm, beta));
  return p;
}

const CASES = [
  { beta: 3.5, fwhm: 3, g1: 0, g2: 0, sites: 'all' },
  { beta: 2.5, fwhm: 2.4, g1: 0.15, g2: -0.2, sites: 'all' },
  { beta: 4, fwhm: 5, g1: -0.3, g2: 0.1, sites: 'all' },
  { beta: Number.POSITIVE_INFINITY, fwhm: 2.8, g1: 0.1, g2: 0.25, sites: 'all' },
  { beta: 3, fwhm: 3.2, g1: 0.1, g2: 0.1, sites: 'quincunx' },
  { beta: 3.5, fwhm: 3.6, g1: -0.1, g2: 0.15, sites: 'one in four' },
] as const;

function truthOf({ beta, fwhm, g1, g2 }: (typeof CASES)[number]): Float64Array {
  const p = new Float64Array(7);
  p[PX] = 0.31;
  p[PY] = -0.22;
  p[PFLUX] = 40_000;
  p[PBACKGROUND] = 7;
  p[PLNALPHA] = Math.log(alphaOfFwhm(fwhm, beta));
  p[PG1] = g1;
  p[PG2] = g2;
  return p;
}

describe('a star without noise', () => {
  test.each(CASES)('is recovered: β $beta, $fwhm px, $sites', (star) => {
    const truth = truthOf(star);
    const samples = starSamples(truth, star.beta, 12, star.sites);
    const p = start(star.fwhm, star.beta, truth[PFLUX]);
    const errors = new Float64Array(7);
    const chi2 = fitStar(samples, p, settings(star.beta), createFitScratch(samples.n), errors);
    // The fit stops when a step moves nothing by more than 0.05 of its error; its own integral over the pixel (three or five nodes)
    // is good to some 1e-4 of the brightness. Both lie well below a fifth of the 1 σ of this star (S/N about 250).
    expect(chi2).toBeLessThan(0.05);
    for (let k = 0; k < 7; k++) expectClose(p[k], truth[k], { atol: 0.2 * errors[k] }, NAMES[k]);
  });
});

/** Inverse of a 7 × 7 matrix by elimination with pivots. */
function inverse(matrix: number[][]): number[][] {
  const n = matrix.length;
  const work = matrix.map((row, i) => [...row, ...row.map((_, j) => (i === j ? 1 : 0))]);
  for (let i = 0; i < n; i++) {
    let pivot = i;
    for (let row = i; row < n; row++)
      if (Math.abs(work[row][i]) > Math.abs(work[pivot][i])) pivot = row;
    [work[i], work[pivot]] = [work[pivot], work[i]];
    const scale = work[i][i];
    work[i] = work[i].map((value) => value / scale);
    for (let row = 0; row < n; row++) {
      if (row === i) continue;
      const factor = work[row][i];
      work[row] = work[row].map((value, j) => value - factor * work[i][j]);
    }
  }
  return work.map((row) => row.slice(n));
}

describe('errors of the parameters', () => {
  // errors² = diagonal of (Jᵀ W J)⁻¹: every derivative of the model enters, so that a wrong one shows here.
  test.each(CASES)('follow from derivatives by differences: β $beta, $fwhm px, $sites', (star) => {
    const truth = truthOf(star);
    const samples = starSamples(truth, star.beta, 9, star.sites);
    const p = Float64Array.from(truth);
    const errors = new Float64Array(7);
    const rule = settings(star.beta, 40);
    fitStar(samples, p, rule, createFitScratch(samples.n), errors);
    const steps = [1e-3, 1e-3, 1, 1e-3, 1e-4, 1e-4, 1e-4];
    const fisher = Array.from({ length: 7 }, () => new Array<number>(7).fill(0));
    for (let i = 0; i < samples.n; i++) {
      const j = steps.map((step, k) => {
        const up = Float64Array.from(truth);
        const down = Float64Array.from(truth);
        up[k] += step;
        down[k] -= step;
        return (
          (model(up, star.beta, samples.dx[i], samples.dy[i]) -
            model(down, star.beta, samples.dx[i], samples.dy[i])) /
          (2 * step)
        );
      });
      const signal = samples.value[i] - truth[PBACKGROUND];
      const weight = 1 / (100 + 0.5 * signal + 40 ** 2);
      for (let a = 0; a < 7; a++) for (let b = 0; b < 7; b++) fisher[a][b] += weight * j[a] * j[b];
    }
    const root = fisher.map((row, a) => Math.sqrt(row[a]));
    const covariance = inverse(
      fisher.map((row, a) => row.map((value, b) => value / (root[a] * root[b]))),
    );
    for (let k = 0; k < 7; k++)
      // The fit's coarser integral over the pixel, and weights from its own solution: 0.5 %.
      expectClose(errors[k], Math.sqrt(covariance[k][k]) / root[k], { rtol: 5e-3 }, NAMES[k]);
  });
});

describe('limits', () => {
  test('FWHM and α are each other’s inverse, with the widths of the formulas', () => {
    // Moffat β = 2.5, α = 2: 2 · 2 · √(2^0.4 − 1) = 4 · 0.565333… (Moffat 1969); Gaussian σ = 1: 2 √(2 ln 2).
    expectClose(fwhmOfAlpha(2, 2.5), 4 * Math.sqrt(2 ** 0.4 - 1), { rtol: 1e-14 });
    expectClose(fwhmOfAlpha(1, Number.POSITIVE_INFINITY), 2.354820045030949, { rtol: 1e-14 });
    for (const beta of [1.5, 2.5, 8, Number.POSITIVE_INFINITY])
      expectClose(fwhmOfAlpha(alphaOfFwhm(3.3, beta), beta), 3.3, { rtol: 1e-14 });
  });

  test('too few samples give no fit', () => {
    const truth = truthOf(CASES[0]);
    const samples = starSamples(truth, 3.5, 9, 'all');
    samples.n = 8;
    const errors = new Float64Array(7);
    const chi2 = fitStar(samples, start(3, 3.5, 1e4), settings(3.5), createFitScratch(8), errors);
    expect(chi2).toBeNaN();
  });

  test('errors grow with a bad fit: χ²/ν above 1 raises them by its root', () => {
    const truth = truthOf(CASES[0]);
    const samples = starSamples(truth, 3.5, 9, 'all');
    const errors = new Float64Array(7);
    const rough = new Float64Array(7);
    fitStar(samples, Float64Array.from(truth), settings(3.5), createFitScratch(samples.n), errors);
    // A checkerboard of ± 30 ADU at a sky noise of 10: χ²/ν about 9 where the star adds no noise.
    for (let i = 0; i < samples.n; i++)
      samples.value[i] += ((samples.dx[i] + samples.dy[i]) & 1) === 0 ? 30 : -30;
    const chi2 = fitStar(
      samples,
      Float64Array.from(truth),
      settings(3.5),
      createFitScratch(samples.n),
      rough,
    );
    expect(chi2).toBeGreaterThan(5);
    // The parameters move a little, the weights with them.
    expectClose(rough[PX] / errors[PX], Math.sqrt(chi2), { rtol: 0.1 });
  });
});
