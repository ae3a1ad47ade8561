/** Fits the laws of the field to the stars: several starts, errors rescaled by the residuals, refits without each component,
 * bootstrap over stars.
 */
import { createRandom } from '../stats/random.js';
import { interval68, quantileOf } from '../stats/robust.js';
import {
  ASTIG,
  BX,
  BY,
  COMA,
  CX,
  CY,
  KAPPA,
  mirrored,
  OBSERVABLES,
  predictField,
  TX,
  TY,
  U1,
  U2,
  Z0,
} from './laws.js';
import { collectData, type Data, groupScatter, rescale, type ShapeColumns } from './model-data.js';
import { ALL, bestOf, makeProblem } from './model-problem.js';
import { fitShifted } from './model-shifted.js';
import { startPoints } from './model-starts.js';
import { diffractionShare, type Response, responseAt, TYPICAL_DIFFRACTION } from './response.js';
import { type RobustFit, robustFit } from './robust-fit.js';

export interface FieldOptics {
  focalRatio: number | null;
  pixelSizeUm: number | null;
}

/** Components that refits leave out. */
export const COMPONENTS = ['tilt', 'curvature', 'coma', 'decentre', 'tracking', 'defocus'] as const;
export type Component = (typeof COMPONENTS)[number];

/** Parameters of each component. Curvature and astigmatism go together: near best focus they trade off. */
export const PARAMETERS_OF: Readonly<Record<Component, readonly number[]>> = {
  tilt: [TX, TY],
  curvature: [KAPPA, ASTIG],
  coma: [COMA],
  decentre: [CX, CY],
  tracking: [U1, U2],
  defocus: [Z0],
};

export interface FieldFit {
  /** The thirteen parameters of laws.ts. */
  p: Float64Array;
  cost: number;
  stars: number;
  response: Response;
  /** Rise of the cost and best parameters without each component. */
  without: Record<Component, { rise: number; p: Float64Array }>;
  /** Cost with one shifted centre for curvature, astigmatism and coma instead of tilt, minus cost with tilt and centred aberrations. */
  shiftedMinusTilted: number;
  /** Rise of each of the two over the free fit. */
  shiftedRise: number;
  tiltedRise: number;
  /** Shift of that common centre, units of the half diagonal. */
  centre: [number, number];
  /** Bootstrap draws, each the thirteen parameters, of the same sign as `p`. */
  draws: Float64Array[];
  /** Robust scatter of the standardised residuals of T, Q, K before they were rescaled. */
  scatter: [number, number, number];
}

const DRAWS = 80;
/** Fewest stars that thirteen numbers are fitted to. */
export const FEWEST_STARS = 20;

/** The sign of all focus terms that lies nearer to `like`. */
function alignSign(p: Float64Array, like: Float64Array): Float64Array {
  let dot = 0;
  for (const j of [Z0, TX, TY, KAPPA, ASTIG, BX, BY]) dot += (p[j] as number) * (like[j] as number);
  return dot < 0 ? mirrored(p) : p;
}

/**
 * Fits the thirteen parameters.
 * @returns null below 20 stars
 */
export function fitField(
  shapes: ShapeColumns,
  optics: FieldOptics,
  seed: number,
  draws: number = DRAWS,
): FieldFit | null {
  if (shapes.n < FEWEST_STARS) return null;
  const data = collectData(shapes);
  const floor = quantileOf(shapes.t, 0.2);
  const share =
    diffractionShare(optics.focalRatio, optics.pixelSizeUm, floor) ?? TYPICAL_DIFFRACTION;
  const response = responseAt(share);
  const starts = startPoints(data);
  const first = bestOf(data, response, ALL, starts);
  const model = new Float64Array(data.value.length);
  predictField(first.p, response, data.u, data.v, model);
  const scatter = groupScatter(data, model);
  rescale(data, scatter);
  let best = bestOf(data, response, ALL, [first.p, ...starts]);
  const without = {} as FieldFit['without'];
  for (const component of COMPONENTS) {
    const free = ALL.filter((j) => !PARAMETERS_OF[component].includes(j));
    const fit = bestOf(data, response, free, [best.p, ...starts.slice(0, 5)]);
    without[component] = { rise: fit.cost, p: fit.p };
  }
  // A refit with fewer parameters may have found a better valley than the free one.
  const refits: ArrayLike<number>[] = COMPONENTS.map((component) => without[component].p);
  const again = bestOf(data, response, ALL, refits);
  if (again.cost < best.cost) best = again;
  best = preferCurvature(data, response, best);
  for (const component of COMPONENTS) {
    without[component].rise -= best.cost;
    without[component].p = alignSign(without[component].p, best.p);
  }
  const centred = ALL.filter((j) => ![BX, BY, CX, CY].includes(j));
  const tilted = bestOf(data, response, centred, [best.p, ...starts.slice(0, 3)]);
  const shifted = fitShifted(data, response, [best.p, without.tilt.p, starts[2] as Float64Array]);
  return {
    p: best.p,
    cost: best.cost,
    stars: shapes.n,
    response,
    without,
    shiftedMinusTilted: shifted.cost - tilted.cost,
    shiftedRise: shifted.cost - best.cost,
    tiltedRise: tilted.cost - best.cost,
    centre: shifted.centre,
    draws: bootstrap(data, response, best.p, seed, draws),
    scatter,
  };
}

/** Cost by which curvature may fit worse than astigmatism and still be taken. */
const SAME_COST = 4;

/**
 * At best focus curvature and astigmatism widen stars alike, and only wave optics and small elongations tell them apart. Where
 * astigmatism leads by a hair, curvature is taken: lenses have astigmatism beside curvature, hardly ever without it.
 */
function preferCurvature(data: Data, response: Response, best: RobustFit): RobustFit {
  if (Math.abs(best.p[ASTIG] as number) <= Math.abs(best.p[KAPPA] as number)) return best;
  const start = Float64Array.from(best.p);
  start[KAPPA] = best.p[ASTIG] as number;
  start[ASTIG] = best.p[KAPPA] as number;
  const other = robustFit(makeProblem(data, response, ALL, null), start, 30);
  const curved = Math.abs(other.p[ASTIG] as number) < Math.abs(other.p[KAPPA] as number);
  return curved && other.cost < best.cost + SAME_COST ? other : best;
}

function bootstrap(
  data: Data,
  response: Response,
  best: Float64Array,
  seed: number,
  draws: number,
): Float64Array[] {
  const random = createRandom(seed);
  const n = data.u.length;
  const times = new Float64Array(OBSERVABLES * n);
  const problem = makeProblem(data, response, ALL, times);
  const out: Float64Array[] = [];
  for (let d = 0; d < draws; d++) {
    times.fill(0);
    for (let k = 0; k < n; k++) {
      const i = OBSERVABLES * Math.floor(random() * n);
      for (let c = 0; c < OBSERVABLES; c++) times[i + c] = (times[i + c] as number) + 1;
    }
    const fit = robustFit(problem, best, 10);
    out.push(alignSign(fit.p, best));
  }
  return out;
}

/** 1 σ of any function of the parameters from the draws. */
export function drawnSigma(fit: FieldFit, of: (p: Float64Array) => number): number {
  const [low, high] = interval68(fit.draws.map(of));
  return 0.5 * (high - low);
}
