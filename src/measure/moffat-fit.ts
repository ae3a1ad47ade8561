/** The single-star fit: an elliptical Moffat (or Gaussian) integrated over the pixel while fitting, to native samples.
 *
 * Levenberg–Marquardt with analytic derivatives; seven parameters: x, y, flux, background, ln α, g1, g2.
 */
import { factorCholesky, inverseDiagonal, solveFactored } from '../stats/solve.js';
import { evaluateModel, NP, PBACKGROUND, PG1, PG2, PLNALPHA, TERMS } from './moffat-model.js';
import type { SampleList } from './samples.js';

const MAX_ITERATIONS = 12;
/** A step that lowers χ² by less than this (in units of χ²/ν) moves no parameter by more than 0.05 σ. */
const CONVERGED = 3e-3;
const LARGEST_G = 0.95;

export interface FitSettings {
  /** Moffat exponent; a multiple of 0.5, or Infinity for a Gaussian. */
  beta: number;
  /** Sky variance of each lattice. */
  skyVariance: Float64Array;
  /** ADU² of photon noise per ADU of signal (1 / gain); 0 when unknown. */
  noisePerSignal: number;
  /**
   * Error of the model itself, ADU, the same for every sample (a share of the star's highest sample): a real star is no Moffat, and with
   * photon weights alone the wings of a bright one would decide the width of its core. It does not depend on the model, so that fits with
   * different exponents can be compared.
   */
  modelSigma: number;
  /** Within this distance of the start position the model is integrated over the pixel; beyond it, one node serves. */
  integrateWithinPx: number;
}

/** Scratch of one fit at a time; made once. */
export interface FitScratch {
  /** Model and derivatives of every sample; true below when they belong to the solution of the last fit. */
  terms: Float64Array;
  solved: boolean;
  weights: Float64Array;
  normal: Float64Array;
  trialNormal: Float64Array;
  gradient: Float64Array;
  trialGradient: Float64Array;
  work: Float64Array;
  step: Float64Array;
  trial: Float64Array;
  variance: Float64Array;
}

export function createFitScratch(capacity: number): FitScratch {
  return {
    terms: new Float64Array(capacity * TERMS),
    solved: false,
    weights: new Float64Array(capacity),
    normal: new Float64Array(NP * NP),
    trialNormal: new Float64Array(NP * NP),
    gradient: new Float64Array(NP),
    trialGradient: new Float64Array(NP),
    work: new Float64Array(NP * NP),
    step: new Float64Array(NP),
    trial: new Float64Array(NP),
    variance: new Float64Array(NP),
  };
}

/**
 * Normal equations and χ² at `p`, for which `terms` were evaluated. The sums live in locals (lower triangle n‹row›‹column›, gradient g‹row›), not in arrays: this is the
 * innermost loop of the whole measurement, and array accesses would cost more than the arithmetic.
 */
function accumulate(
  samples: SampleList,
  p: Float64Array,
  terms: Float64Array,
  weights: Float64Array,
  normal: Float64Array,
  gradient: Float64Array,
): number {
  const { value, n: count } = samples;
  const background = p[PBACKGROUND] as number;
  let chi2 = 0;
  let n00 = 0;
  let n10 = 0;
  let n11 = 0;
  let n20 = 0;
  let n21 = 0;
  let n22 = 0;
  let n30 = 0;
  let n31 = 0;
  let n32 = 0;
  let n33 = 0;
  let n40 = 0;
  let n41 = 0;
  let n42 = 0;
  let n43 = 0;
  let n44 = 0;
  let n50 = 0;
  let n51 = 0;
  let n52 = 0;
  let n53 = 0;
  let n54 = 0;
  let n55 = 0;
  let n60 = 0;
  let n61 = 0;
  let n62 = 0;
  let n63 = 0;
  let n64 = 0;
  let n65 = 0;
  let n66 = 0;
  let g0 = 0;
  let g1 = 0;
  let g2 = 0;
  let g3 = 0;
  let g4 = 0;
  let g5 = 0;
  let g6 = 0;
  for (let i = 0; i < count; i++) {
    const at = i * TERMS;
    const w = weights[i] as number;
    const t0 = terms[at + 1] as number;
    const t1 = terms[at + 2] as number;
    const t2 = terms[at + 3] as number;
    const t4 = terms[at + 5] as number;
    const t5 = terms[at + 6] as number;
    const t6 = terms[at + 7] as number;
    const residual = (value[i] as number) - (terms[at] as number) - background;
    const wr = w * residual;
    chi2 += wr * residual;
    const w0 = w * t0;
    g0 += t0 * wr;
    n00 += w0 * t0;
    const w1 = w * t1;
    g1 += t1 * wr;
    n10 += w1 * t0;
    n11 += w1 * t1;
    const w2 = w * t2;
    g2 += t2 * wr;
    n20 += w2 * t0;
    n21 += w2 * t1;
    n22 += w2 * t2;
    g3 += wr;
    n30 += w * t0;
    n31 += w * t1;
    n32 += w * t2;
    n33 += w;
    const w4 = w * t4;
    g4 += t4 * wr;
    n40 += w4 * t0;
    n41 += w4 * t1;
    n42 += w4 * t2;
    n43 += w4;
    n44 += w4 * t4;
    const w5 = w * t5;
    g5 += t5 * wr;
    n50 += w5 * t0;
    n51 += w5 * t1;
    n52 += w5 * t2;
    n53 += w5;
    n54 += w5 * t4;
    n55 += w5 * t5;
    const w6 = w * t6;
    g6 += t6 * wr;
    n60 += w6 * t0;
    n61 += w6 * t1;
    n62 += w6 * t2;
    n63 += w6;
    n64 += w6 * t4;
    n65 += w6 * t5;
    n66 += w6 * t6;
  }
  gradient[0] = g0;
  normal[0] = n00;
  gradient[1] = g1;
  normal[7] = n10;
  normal[8] = n11;
  gradient[2] = g2;
  normal[14] = n20;
  normal[15] = n21;
  normal[16] = n22;
  gradient[3] = g3;
  normal[21] = n30;
  normal[22] = n31;
  normal[23] = n32;
  normal[24] = n33;
  gradient[4] = g4;
  normal[28] = n40;
  normal[29] = n41;
  normal[30] = n42;
  normal[31] = n43;
  normal[32] = n44;
  gradient[5] = g5;
  normal[35] = n50;
  normal[36] = n51;
  normal[37] = n52;
  normal[38] = n53;
  normal[39] = n54;
  normal[40] = n55;
  gradient[6] = g6;
  normal[42] = n60;
  normal[43] = n61;
  normal[44] = n62;
  normal[45] = n63;
  normal[46] = n64;
  normal[47] = n65;
  normal[48] = n66;
  return chi2;
}

/** Weights of the samples: photon noise comes from the model at the parameters that `terms` were evaluated for. */
function fillWeights(
  samples: SampleList,
  settings: FitSettings,
  terms: Float64Array,
  weights: Float64Array,
): void {
  const model = settings.modelSigma;
  for (let i = 0; i < samples.n; i++) {
    const signal = Math.max(0, terms[i * TERMS] as number);
    weights[i] =
      1 /
      ((settings.skyVariance[samples.lattice[i] as number] as number) +
        settings.noisePerSignal * signal +
        model * model);
  }
}

/**
 * Reduced χ² of a fit when the model may be wrong by `modelSigma` everywhere. With some per cent of the star's highest sample it is near or below
 * 1 for stars of any brightness, well above it for blends, cosmic rays and trails. `samples`, `p` and `scratch` are those of the last fit.
 */
export function fitQuality(
  samples: SampleList,
  p: Float64Array,
  settings: FitSettings,
  modelSigma: number,
  scratch: FitScratch,
): number {
  const { terms } = scratch;
  if (!scratch.solved) evaluateModel(samples, p, settings.beta, settings.integrateWithinPx, terms);
  let chi2 = 0;
  for (let i = 0; i < samples.n; i++) {
    const signal = terms[i * TERMS] as number;
    const d = (samples.value[i] as number) - signal - (p[PBACKGROUND] as number);
    chi2 +=
      (d * d) /
      ((settings.skyVariance[samples.lattice[i] as number] as number) +
        settings.noisePerSignal * Math.max(0, signal) +
        modelSigma * modelSigma);
  }
  return chi2 / Math.max(1, samples.n - NP);
}

/**
 * Fits one star in place.
 *
 * @param samples native samples of one channel, positions relative to the stamp's centre
 * @param p start values on entry, the solution on return
 * @param errors receives 1 σ of each parameter from the curvature of χ², raised by √(χ²/ν) when that is above 1
 * @returns reduced χ², or NaN when the fit failed (too few samples, no convergence, parameters out of bounds)
 */
export function fitStar(
  samples: SampleList,
  p: Float64Array,
  settings: FitSettings,
  scratch: FitScratch,
  errors: Float64Array,
): number {
  const freedom = samples.n - NP;
  if (freedom < 2) return Number.NaN;
  const { terms, weights, step, trial, work } = scratch;
  const { beta, integrateWithinPx } = settings;
  scratch.solved = false;
  let normal = scratch.normal;
  let gradient = scratch.gradient;
  let trialNormal = scratch.trialNormal;
  let trialGradient = scratch.trialGradient;
  evaluateModel(samples, p, beta, integrateWithinPx, terms);
  fillWeights(samples, settings, terms, weights);
  let chi2 = accumulate(samples, p, terms, weights, normal, gradient);
  // Whether `terms` belong to p, or to a trial that was refused.
  let fresh = true;
  let lambda = 1e-3;
  let converged = false;
  let reweighted = false;
  for (let iteration = 0; iteration < MAX_ITERATIONS; iteration++) {
    let accepted = false;
    for (let attempt = 0; attempt < 6; attempt++) {
      work.set(normal);
      for (let j = 0; j < NP; j++) {
        work[j * NP + j] = (normal[j * NP + j] as number) * (1 + lambda) + 1e-300;
        step[j] = gradient[j] as number;
      }
      if (!factorCholesky(work, NP)) {
        lambda = Math.max(1e-3, lambda * 10);
        continue;
      }
      solveFactored(work, step, NP);
      for (let j = 0; j < NP; j++) trial[j] = (p[j] as number) + (step[j] as number);
      // Keep the ellipse an ellipse and the size finite: a long step is shortened, not rejected.
      trial[PLNALPHA] = Math.min(
        (p[PLNALPHA] as number) + 0.7,
        Math.max((p[PLNALPHA] as number) - 0.7, trial[PLNALPHA] as number),
      );
      const g = Math.sqrt((trial[PG1] as number) ** 2 + (trial[PG2] as number) ** 2);
      if (g > LARGEST_G) {
        trial[PG1] = ((trial[PG1] as number) * LARGEST_G) / g;
        trial[PG2] = ((trial[PG2] as number) * LARGEST_G) / g;
      }
      evaluateModel(samples, trial, beta, integrateWithinPx, terms);
      const next = accumulate(samples, trial, terms, weights, trialNormal, trialGradient);
      fresh = next <= chi2;
      if (fresh) {
        const drop = chi2 - next;
        p.set(trial);
        chi2 = next;
        [normal, trialNormal] = [trialNormal, normal];
        [gradient, trialGradient] = [trialGradient, gradient];
        lambda = Math.max(1e-7, lambda * 0.2);
        accepted = true;
        if (drop < CONVERGED * Math.max(1, chi2 / freedom)) converged = true;
        break;
      }
      lambda = Math.max(1e-4, lambda * 8);
    }
    if (!accepted) converged = true;
    if (converged || (!reweighted && iteration >= 2)) {
      if (reweighted) break;
      // Once near the solution, the photon noise is taken from the fitted star instead of the first guess.
      reweighted = true;
      converged = false;
      lambda = 1e-3;
      if (!fresh) evaluateModel(samples, p, beta, integrateWithinPx, terms);
      fresh = true;
      fillWeights(samples, settings, terms, weights);
      chi2 = accumulate(samples, p, terms, weights, normal, gradient);
    }
  }
  scratch.solved = fresh;
  const reduced = chi2 / freedom;
  work.set(normal);
  if (!factorCholesky(work, NP)) return Number.NaN;
  inverseDiagonal(work, NP, scratch.variance, step);
  const inflate = Math.sqrt(Math.max(1, reduced));
  for (let j = 0; j < NP; j++) {
    errors[j] = Math.sqrt(scratch.variance[j] as number) * inflate;
  }
  return Number.isFinite(reduced) ? reduced : Number.NaN;
}
