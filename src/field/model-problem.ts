/** The laws of the field as a robust least-squares problem with some parameters free, and its best solution from several starts. */
import { ASTIG, BX, BY, FIELD_PARAMETERS, predictField, Z0 } from './laws.js';
import { type Data, parameterScale, thinned } from './model-data.js';
import type { Response } from './response.js';
import { type RobustFit, type RobustProblem, robustFit } from './robust-fit.js';

const LOOK_ITERATIONS = 8;
const BEST_STARTS = 3;
/** Priors (1 σ, in units of √T). Without the first, T0 and z0 trade off without limit; the others prefer curvature where curvature
 * and astigmatism explain the stars alike: a lens with one and not the other is rarer that way round. */
export const DEFOCUS_PRIOR = 1;
export const ASTIGMATISM_PRIOR = 1;

export function makeProblem(
  data: Data,
  response: Response,
  free: readonly number[],
  times: Float64Array | null,
): RobustProblem {
  const full = new Float64Array(FIELD_PARAMETERS);
  let wide = new Float64Array(0);
  const scale = parameterScale(data.size);
  return {
    value: data.value,
    inverseSigma: data.inverseSigma,
    times,
    scale: Float64Array.from(free, (j) => scale[j] as number),
    prior: Float64Array.from(free, (j) =>
      j === Z0
        ? 1 / (DEFOCUS_PRIOR * data.size)
        : j === ASTIG || j === BX || j === BY
          ? 1 / (ASTIGMATISM_PRIOR * data.size)
          : 0,
    ),
    predict: (p, out, jacobian) => {
      full.fill(0);
      for (let k = 0; k < free.length; k++) full[free[k] as number] = p[k] as number;
      if (!jacobian || free.length === FIELD_PARAMETERS) {
        predictField(full, response, data.u, data.v, out, jacobian);
        return;
      }
      if (wide.length === 0) wide = new Float64Array(out.length * FIELD_PARAMETERS);
      predictField(full, response, data.u, data.v, out, wide);
      const m = free.length;
      for (let i = 0; i < out.length; i++)
        for (let k = 0; k < m; k++)
          jacobian[i * m + k] = wide[i * FIELD_PARAMETERS + (free[k] as number)] as number;
    },
  };
}

export const ALL = Array.from({ length: FIELD_PARAMETERS }, (_, j) => j);

function pick(p: ArrayLike<number>, free: readonly number[]): Float64Array {
  return Float64Array.from(free, (j) => p[j] as number);
}

function spread(p: ArrayLike<number>, free: readonly number[]): Float64Array {
  const out = new Float64Array(FIELD_PARAMETERS);
  free.forEach((j, k) => {
    out[j] = p[k] as number;
  });
  return out;
}

/** Every start for a few iterations on some of the stars, the best of them to the end on all. */
export function bestOf(
  data: Data,
  response: Response,
  free: readonly number[],
  starts: readonly ArrayLike<number>[],
): { p: Float64Array; cost: number } {
  const problem = makeProblem(data, response, free, null);
  const look = makeProblem(thinned(data), response, free, null);
  const looks = starts
    .map((start) => robustFit(look, pick(start, free), LOOK_ITERATIONS))
    .sort((a, b) => a.cost - b.cost);
  let best: RobustFit | null = null;
  for (const start of looks.slice(0, BEST_STARTS)) {
    const fit = robustFit(problem, start.p, 30);
    if (!best || fit.cost < best.cost) best = fit;
  }
  const { p, cost } = best as RobustFit;
  return { p: spread(p, free), cost };
}
