/** The star fit of the field map: an elliptical Moffat with a sideways skew, integrated over the pixel, on native samples.
 *
 * Nine parameters: x, y, flux, background, ln α, g1, g2, k1, k2. With d = position − (x, y), S = α² [[1 + g1, g2], [g2, 1 − g1]],
 * w = S⁻¹ d and u = d · w:
 *
 *   I = F (β − 1)/(π α² √(1 − g²)) (1 + u)^−β · (1 + (k · w) φ(u)),   φ(u) = 2 β u / (1 + u)²
 *
 * The bracket is the first-order effect of shifting the light at u by k · u/(1 + u): the core stays, the wings move by k (px), as
 * coma does. β is fixed at 4, so that α² is a plain, steady measure of size: covariance = S / (2 (β − 2)) = S / 4 (Moffat 1969,
 * A&A 3, 455, for the profile; second moments by integration). Levenberg–Marquardt with analytic derivatives.
 */
import type { SampleList } from '../measure/samples.js';
import { factorCholesky, inverseDiagonal, solveFactored } from '../stats/solve.js';

export const SX = 0;
export const SY = 1;
export const SFLUX = 2;
const SBACKGROUND = 3;
export const SLNALPHA = 4;
export const SG1 = 5;
export const SG2 = 6;
export const SK1 = 7;
export const SK2 = 8;
export const SKEW_PARAMETERS = 9;
const NP = SKEW_PARAMETERS;

/** Moffat exponent of every fit: between sharp and blurred stars, and a power that costs three multiplications. */
const FIELD_BETA = 4;

/** Three Gauss–Legendre nodes over a pixel (Abramowitz & Stegun, table 25.4). */
const NODE = [-0.3872983346207417, 0, 0.3872983346207417] as const;
const WEIGHT = [5 / 18, 8 / 18, 5 / 18] as const;

const MAX_ITERATIONS = 25;
const CONVERGED = 2e-3;
const LARGEST_G = 0.9;
/** Largest skew in units of α: beyond it the first-order term would make the star negative. */
const LARGEST_SKEW = 0.9;

export interface SkewSettings {
  /** Variance of each lattice's background, ADU². */
  skyVariance: Float64Array;
  /** ADU² of photon noise per ADU of signal; 0 when unknown. */
  noisePerSignal: number;
  /** Error of the model, ADU, the same for every sample. */
  modelSigma: number;
  /** Beyond this distance one node serves instead of nine. */
  integrateWithinPx: number;
  /** False keeps k at zero: for sites too sparse to show it. */
  skew: boolean;
}

export interface SkewScratch {
  weights: Float64Array;
  normal: Float64Array;
  gradient: Float64Array;
  trialNormal: Float64Array;
  trialGradient: Float64Array;
  work: Float64Array;
  step: Float64Array;
  trial: Float64Array;
  terms: Float64Array;
}

export function createSkewScratch(capacity: number): SkewScratch {
  return {
    weights: new Float64Array(capacity),
    normal: new Float64Array(NP * NP),
    gradient: new Float64Array(NP),
    trialNormal: new Float64Array(NP * NP),
    trialGradient: new Float64Array(NP),
    work: new Float64Array(NP * NP),
    step: new Float64Array(NP),
    trial: new Float64Array(NP),
    terms: new Float64Array(NP + 1),
  };
}

/** Model (terms[0], background left out) and derivatives (terms[1 + parameter]) at one pixel. */
function evaluate(p: Float64Array, px: number, py: number, whole: boolean, t: Float64Array): void {
  const flux = p[SFLUX] as number;
  const g1 = p[SG1] as number;
  const g2 = p[SG2] as number;
  const k1 = p[SK1] as number;
  const k2 = p[SK2] as number;
  const alpha2 = Math.exp(2 * (p[SLNALPHA] as number));
  const q = 1 - g1 * g1 - g2 * g2;
  const inverse = 1 / (alpha2 * q);
  const a = (1 - g1) * inverse;
  const b = -g2 * inverse;
  const c = (1 + g1) * inverse;
  const h1 = g1 / q;
  const h2 = g2 / q;
  const m1 = a * k1 + b * k2;
  const m2 = b * k1 + c * k2;
  const norm = (FIELD_BETA - 1) / (Math.PI * alpha2 * Math.sqrt(q));
  let sum = 0;
  let sumX = 0;
  let sumY = 0;
  let sumA = 0;
  let sumG1 = 0;
  let sumG2 = 0;
  let sumK1 = 0;
  let sumK2 = 0;
  const from = whole ? 0 : 1;
  const to = whole ? 3 : 2;
  for (let j = from; j < to; j++) {
    const dy = py + (NODE[j] as number);
    const wy = whole ? (WEIGHT[j] as number) : 1;
    for (let i = from; i < to; i++) {
      const dx = px + (NODE[i] as number);
      const weight = whole ? wy * (WEIGHT[i] as number) : 1;
      const w1 = a * dx + b * dy;
      const w2 = b * dx + c * dy;
      const u = w1 * dx + w2 * dy;
      const v = 1 / (1 + u);
      const v2 = v * v;
      const light = weight * norm * v2 * v2;
      const phi = 2 * FIELD_BETA * u * v2;
      const phiSlope = 2 * FIELD_BETA * (1 - u) * v2 * v;
      const skew = k1 * w1 + k2 * w2;
      const bracket = 1 + skew * phi;
      // dI/du at fixed skew, and dI/dskew.
      const byU = light * (skew * phiSlope - FIELD_BETA * v * bracket);
      const bySkew = light * phi;
      sum += light * bracket;
      sumX -= 2 * byU * w1 + bySkew * m1;
      sumY -= 2 * byU * w2 + bySkew * m2;
      sumA += -2 * light * bracket - 2 * u * byU - 2 * skew * bySkew;
      sumG1 +=
        byU * ((dy * dy - dx * dx) * inverse + 2 * h1 * u) +
        bySkew * ((k2 * dy - k1 * dx) * inverse + 2 * h1 * skew) +
        h1 * light * bracket;
      sumG2 +=
        byU * (-2 * dx * dy * inverse + 2 * h2 * u) +
        bySkew * (-(k1 * dy + k2 * dx) * inverse + 2 * h2 * skew) +
        h2 * light * bracket;
      sumK1 += bySkew * w1;
      sumK2 += bySkew * w2;
    }
  }
  t[0] = flux * sum;
  t[1 + SX] = flux * sumX;
  t[1 + SY] = flux * sumY;
  t[1 + SFLUX] = sum;
  t[1 + SBACKGROUND] = 1;
  t[1 + SLNALPHA] = flux * sumA;
  t[1 + SG1] = flux * sumG1;
  t[1 + SG2] = flux * sumG2;
  t[1 + SK1] = flux * sumK1;
  t[1 + SK2] = flux * sumK2;
}

function fillWeights(
  samples: SampleList,
  p: Float64Array,
  settings: SkewSettings,
  scratch: SkewScratch,
): void {
  const near = settings.integrateWithinPx ** 2;
  for (let i = 0; i < samples.n; i++) {
    const dx = (samples.dx[i] as number) - (p[SX] as number);
    const dy = (samples.dy[i] as number) - (p[SY] as number);
    evaluate(p, dx, dy, dx * dx + dy * dy < near, scratch.terms);
    scratch.weights[i] =
      1 /
      ((settings.skyVariance[samples.lattice[i] as number] as number) +
        settings.noisePerSignal * Math.max(0, scratch.terms[0] as number) +
        settings.modelSigma * settings.modelSigma);
  }
}

/** χ², its normal matrix (lower triangle) and gradient at p. */
function accumulate(
  samples: SampleList,
  p: Float64Array,
  settings: SkewSettings,
  scratch: SkewScratch,
  normal: Float64Array,
  gradient: Float64Array,
): number {
  const { weights, terms } = scratch;
  const near = settings.integrateWithinPx ** 2;
  const x0 = p[SX] as number;
  const y0 = p[SY] as number;
  const background = p[SBACKGROUND] as number;
  normal.fill(0);
  gradient.fill(0);
  let chi2 = 0;
  for (let i = 0; i < samples.n; i++) {
    const dx = (samples.dx[i] as number) - x0;
    const dy = (samples.dy[i] as number) - y0;
    evaluate(p, dx, dy, dx * dx + dy * dy < near, terms);
    const w = weights[i] as number;
    const residual = (samples.value[i] as number) - (terms[0] as number) - background;
    chi2 += w * residual * residual;
    for (let j = 0; j < NP; j++) {
      const tj = w * (terms[1 + j] as number);
      gradient[j] = (gradient[j] as number) + tj * residual;
      const row = j * NP;
      for (let k = 0; k <= j; k++) {
        normal[row + k] = (normal[row + k] as number) + tj * (terms[1 + k] as number);
      }
    }
  }
  return chi2;
}

/** Takes the skew out of the system: its rows become the identity. */
function freezeSkew(work: Float64Array, step: Float64Array): void {
  for (const j of [SK1, SK2]) {
    for (let k = 0; k < NP; k++) {
      work[j * NP + k] = 0;
      work[k * NP + j] = 0;
    }
    work[j * NP + j] = 1;
    step[j] = 0;
  }
}

/** Keeps ellipse and skew in their bounds. */
function clampTrial(p: Float64Array, trial: Float64Array): void {
  const old = p[SLNALPHA] as number;
  trial[SLNALPHA] = Math.min(old + 0.6, Math.max(old - 0.6, trial[SLNALPHA] as number));
  const g = Math.sqrt((trial[SG1] as number) ** 2 + (trial[SG2] as number) ** 2);
  if (g > LARGEST_G) {
    trial[SG1] = ((trial[SG1] as number) * LARGEST_G) / g;
    trial[SG2] = ((trial[SG2] as number) * LARGEST_G) / g;
  }
  const limit = LARGEST_SKEW * Math.exp(trial[SLNALPHA] as number);
  const k = Math.sqrt((trial[SK1] as number) ** 2 + (trial[SK2] as number) ** 2);
  if (k > limit) {
    trial[SK1] = ((trial[SK1] as number) * limit) / k;
    trial[SK2] = ((trial[SK2] as number) * limit) / k;
  }
}

/**
 * Fits one star in place.
 * @param samples native samples of one channel, relative to the stamp's centre
 * @param p start on entry, solution on return
 * @param errors receives 1 σ of each parameter, raised by √(χ²/ν) where that is above 1; 0 for a frozen skew
 * @returns reduced χ², NaN when the fit failed
 */
export function fitSkewStar(
  samples: SampleList,
  p: Float64Array,
  settings: SkewSettings,
  scratch: SkewScratch,
  errors: Float64Array,
): number {
  const freedom = samples.n - (settings.skew ? NP : NP - 2);
  if (freedom < 3) return Number.NaN;
  const { work, step, trial } = scratch;
  let { normal, gradient, trialNormal, trialGradient } = scratch;
  if (!settings.skew) {
    p[SK1] = 0;
    p[SK2] = 0;
  }
  fillWeights(samples, p, settings, scratch);
  let chi2 = accumulate(samples, p, settings, scratch, normal, gradient);
  let lambda = 1e-3;
  let reweighted = false;
  for (let iteration = 0; iteration < MAX_ITERATIONS; iteration++) {
    let settled = true;
    for (let attempt = 0; attempt < 7; attempt++) {
      work.set(normal);
      step.set(gradient);
      if (!settings.skew) freezeSkew(work, step);
      for (let j = 0; j < NP; j++) {
        work[j * NP + j] = (work[j * NP + j] as number) * (1 + lambda) + 1e-300;
      }
      if (!factorCholesky(work, NP)) {
        lambda = Math.max(1e-3, lambda * 10);
        continue;
      }
      solveFactored(work, step, NP);
      for (let j = 0; j < NP; j++) trial[j] = (p[j] as number) + (step[j] as number);
      clampTrial(p, trial);
      const next = accumulate(samples, trial, settings, scratch, trialNormal, trialGradient);
      if (next <= chi2) {
        settled = chi2 - next < CONVERGED * Math.max(1, chi2 / freedom);
        p.set(trial);
        chi2 = next;
        [normal, trialNormal] = [trialNormal, normal];
        [gradient, trialGradient] = [trialGradient, gradient];
        lambda = Math.max(1e-7, lambda * 0.2);
        break;
      }
      lambda = Math.max(1e-4, lambda * 8);
    }
    if (!settled && (reweighted || iteration < 3)) continue;
    if (reweighted) break;
    // Photon noise from the fitted star instead of the first guess.
    reweighted = true;
    fillWeights(samples, p, settings, scratch);
    chi2 = accumulate(samples, p, settings, scratch, normal, gradient);
    lambda = 1e-3;
  }
  work.set(normal);
  if (!settings.skew) freezeSkew(work, step);
  if (!factorCholesky(work, NP)) return Number.NaN;
  inverseDiagonal(work, NP, errors, step);
  const reduced = chi2 / freedom;
  const inflate = Math.max(1, reduced);
  for (let j = 0; j < NP; j++) errors[j] = Math.sqrt((errors[j] as number) * inflate);
  if (!settings.skew) {
    errors[SK1] = 0;
    errors[SK2] = 0;
  }
  return Number.isFinite(reduced) ? reduced : Number.NaN;
}
