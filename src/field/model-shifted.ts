/** The model of centred optics beside the middle of the frame: one common shifted centre in place of tilt. */
import {
  ASTIG,
  BX,
  BY,
  COMA,
  CX,
  CY,
  FIELD_PARAMETERS,
  KAPPA,
  predictField,
  T0,
  TX,
  TY,
  U1,
  U2,
  Z0,
} from './laws.js';
import type { Data } from './model-data.js';
import { ASTIGMATISM_PRIOR, DEFOCUS_PRIOR } from './model-problem.js';
import type { Response } from './response.js';
import { differences, type RobustFit, type RobustProblem, robustFit } from './robust-fit.js';

/** Free parameters of the "one shifted centre" model: T0, z0, κ, a, c1, U1, U2, and the centre. */
const SHIFTED = 9;

export function fitShifted(
  data: Data,
  response: Response,
  starts: readonly Float64Array[],
): { cost: number; centre: [number, number] } {
  const full = new Float64Array(FIELD_PARAMETERS);
  const scale = new Float64Array(SHIFTED).fill(data.size);
  scale[0] = data.size ** 2;
  scale[5] = scale[0];
  scale[6] = scale[0];
  scale[7] = 1;
  scale[8] = 1;
  const prior = new Float64Array(SHIFTED);
  prior[1] = 1 / (DEFOCUS_PRIOR * data.size);
  prior[3] = 1 / (ASTIGMATISM_PRIOR * data.size);
  // A centre far outside the frame is not what is meant by a shift.
  prior[7] = 1;
  prior[8] = 1;
  const problem: RobustProblem = {
    value: data.value,
    inverseSigma: data.inverseSigma,
    times: null,
    scale,
    prior,
    predict: differences((p, out) => {
      const [t0, z0, kappa, a, c1, u1, u2, x0, y0] = p as unknown as number[] & Float64Array;
      full[T0] = t0 as number;
      full[Z0] = (z0 as number) + (kappa as number) * ((x0 as number) ** 2 + (y0 as number) ** 2);
      full[TX] = -2 * (kappa as number) * (x0 as number);
      full[TY] = -2 * (kappa as number) * (y0 as number);
      full[KAPPA] = kappa as number;
      full[ASTIG] = a as number;
      full[BX] = -2 * (a as number) * (x0 as number);
      full[BY] = -2 * (a as number) * (y0 as number);
      full[CX] = -(c1 as number) * (x0 as number);
      full[CY] = -(c1 as number) * (y0 as number);
      full[COMA] = c1 as number;
      full[U1] = u1 as number;
      full[U2] = u2 as number;
      predictField(full, response, data.u, data.v, out);
    }, scale),
  };
  let best: RobustFit | null = null;
  for (const start of starts) {
    const kappa = start[KAPPA] as number;
    const a = start[ASTIG] as number;
    const c1 = start[COMA] as number;
    const s = 0.05 * data.size;
    const guess = (k: number, t: number, b: number, c: number): number => {
      const weight = k * k + a * a + c1 * c1 + s * s;
      const shift = -(0.5 * k * t + 0.5 * a * b + c1 * c) / weight;
      return Math.max(-1, Math.min(1, shift));
    };
    const x0 = guess(kappa, start[TX] as number, start[BX] as number, start[CX] as number);
    const y0 = guess(kappa, start[TY] as number, start[BY] as number, start[CY] as number);
    const values = [T0, Z0, KAPPA, ASTIG, COMA, U1, U2].map((j) => start[j] as number);
    const fit = robustFit(problem, [...values, x0, y0], 40);
    if (!best || fit.cost < best.cost) best = fit;
  }
  const { p, cost } = best as RobustFit;
  return { cost, centre: [p[7] as number, p[8] as number] };
}
