/** Robust nonlinear least squares for a handful of parameters: Levenberg–Marquardt with a Cauchy loss. */
import { solveCholesky } from '../stats/solve.js';

/** Residuals beyond this many σ count less and less (Cauchy loss c² ln(1 + (r/c)²); Holland & Welsch 1977, Commun. Stat. A6, 813). */
const CAUCHY = 3;

export interface RobustProblem {
  /** Values and 1/σ of each, equal lengths. */
  value: Float64Array;
  inverseSigma: Float64Array;
  /** How often each value counts (bootstrap); null = once. */
  times: Float64Array | null;
  /** Writes the predictions for free parameters `p`, and ∂out/∂p (row-major) where a Jacobian is given. */
  predict: (p: Float64Array, out: Float64Array, jacobian: Float64Array | null) => void;
  /** Natural size of each parameter: keeps the system solvable where the data say nothing. */
  scale: Float64Array;
  /** 1/σ of a Gaussian prior about 0 for each parameter; 0 = none. */
  prior: Float64Array;
}

export interface RobustFit {
  p: Float64Array;
  cost: number;
}

function costOf(problem: RobustProblem, p: Float64Array, model: Float64Array): number {
  const { value, inverseSigma, times, prior } = problem;
  problem.predict(p, model, null);
  let cost = 0;
  for (let i = 0; i < value.length; i++) {
    const r = ((value[i] as number) - (model[i] as number)) * (inverseSigma[i] as number);
    const c = CAUCHY * CAUCHY * Math.log1p((r * r) / (CAUCHY * CAUCHY));
    cost += times ? (times[i] as number) * c : c;
  }
  for (let j = 0; j < p.length; j++) cost += ((p[j] as number) * (prior[j] as number)) ** 2;
  return cost;
}

/**
 * Minimises from `start`. The cost is −2 ln of the Cauchy likelihood up to a constant, so that differences compare like χ².
 * @param iterations at most
 */
export function robustFit(
  problem: RobustProblem,
  start: ArrayLike<number>,
  iterations: number,
): RobustFit {
  const n = problem.value.length;
  const m = start.length;
  const { value, inverseSigma, times, prior, scale } = problem;
  let p = Float64Array.from(start);
  let trial = new Float64Array(m);
  const model = new Float64Array(n);
  const moved = new Float64Array(n);
  const jacobian = new Float64Array(n * m);
  const normal = new Float64Array(m * m);
  const work = new Float64Array(m * m);
  const gradient = new Float64Array(m);
  const step = new Float64Array(m);
  let cost = costOf(problem, p, model);
  let lambda = 1e-2;
  for (let iteration = 0; iteration < iterations; iteration++) {
    problem.predict(p, model, jacobian);
    normal.fill(0);
    gradient.fill(0);
    for (let i = 0; i < n; i++) {
      const inverse = inverseSigma[i] as number;
      const residual = (value[i] as number) - (model[i] as number);
      const r = residual * inverse;
      let w = (inverse * inverse) / (1 + (r * r) / (CAUCHY * CAUCHY));
      if (times) w *= times[i] as number;
      if (w === 0) continue;
      const row = i * m;
      for (let j = 0; j < m; j++) {
        const wj = w * (jacobian[row + j] as number);
        if (wj === 0) continue;
        gradient[j] = (gradient[j] as number) + wj * residual;
        for (let k = 0; k <= j; k++)
          normal[j * m + k] = (normal[j * m + k] as number) + wj * (jacobian[row + k] as number);
      }
    }
    for (let j = 0; j < m; j++) {
      const q = (prior[j] as number) ** 2;
      normal[j * m + j] = (normal[j * m + j] as number) + q;
      gradient[j] = (gradient[j] as number) - q * (p[j] as number);
    }
    let drop = 0;
    for (let attempt = 0; attempt < 6; attempt++) {
      work.set(normal);
      step.set(gradient);
      for (let j = 0; j < m; j++)
        work[j * m + j] =
          (work[j * m + j] as number) * (1 + lambda) + 1e-9 / (scale[j] as number) ** 2;
      if (solveCholesky(work, step, m)) {
        for (let j = 0; j < m; j++) trial[j] = (p[j] as number) + (step[j] as number);
        const next = costOf(problem, trial, moved);
        if (next < cost) {
          drop = cost - next;
          [p, trial] = [trial, p];
          model.set(moved);
          cost = next;
          lambda = Math.max(1e-7, lambda * 0.2);
          break;
        }
      }
      lambda = Math.min(1e8, lambda * 8);
    }
    if (drop < 1e-3) break;
  }
  return { p, cost };
}

/** Derivatives by forward differences, for models that know none: steps of 10⁻⁴ of each parameter's natural size. */
export function differences(
  predict: (p: Float64Array, out: Float64Array) => void,
  scale: Float64Array,
): RobustProblem['predict'] {
  let moved = new Float64Array(0);
  return (p, out, jacobian) => {
    predict(p, out);
    if (!jacobian) return;
    if (moved.length !== out.length) moved = new Float64Array(out.length);
    const m = p.length;
    for (let j = 0; j < m; j++) {
      const h = 1e-4 * (scale[j] as number);
      const old = p[j] as number;
      p[j] = old + h;
      predict(p, moved);
      p[j] = old;
      for (let i = 0; i < out.length; i++)
        jacobian[i * m + j] = ((moved[i] as number) - (out[i] as number)) / h;
    }
  };
}
