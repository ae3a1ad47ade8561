/** Fits the laws of the field to the stars: several starts, errors rescaled by the residuals, refits without each component,
 * bootstrap over stars.
 */
import { createRandom } from '../stats/random.js';
import { robustQuadratic } from '../stats/regression.js';
import { interval68, madSigma, medianOf, quantileOf } from '../stats/robust.js';
import {
  ASTIG,
  BX,
  BY,
  COMA,
  CX,
  CY,
  FIELD_PARAMETERS,
  KAPPA,
  mirrored,
  OBSERVABLES,
  predictField,
  T0,
  TX,
  TY,
  U1,
  U2,
  Z0,
} from './laws.js';
import { diffractionShare, type Response, responseAt, TYPICAL_DIFFRACTION } from './response.js';
import { differences, type RobustFit, type RobustProblem, robustFit } from './robust-fit.js';

/** What the fit reads: columns as in `StarShapes`, px and px². */
export interface ShapeColumns {
  n: number;
  width: number;
  height: number;
  x: Float64Array;
  y: Float64Array;
  t: Float64Array;
  tError: Float64Array;
  q1: Float64Array;
  q2: Float64Array;
  qError: Float64Array;
  k1: Float64Array;
  k2: Float64Array;
  kError: Float64Array;
}

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
const LOOK_ITERATIONS = 8;
const BEST_STARTS = 3;
/** Stars that the many starts are tried on. */
const LOOK_STARS = 250;
/** Priors (1 σ, in units of √T). Without the first, T0 and z0 trade off without limit; the others prefer curvature where curvature
 * and astigmatism explain the stars alike: a lens with one and not the other is rarer that way round. */
const DEFOCUS_PRIOR = 1;
const ASTIGMATISM_PRIOR = 1;
/** Fewest stars that thirteen numbers are fitted to. */
export const FEWEST_STARS = 20;

interface Data {
  u: Float64Array;
  v: Float64Array;
  value: Float64Array;
  inverseSigma: Float64Array;
  size: number;
}

function collectData(shapes: ShapeColumns): Data {
  const { n, width, height } = shapes;
  const half = 0.5 * Math.sqrt(width * width + height * height);
  const u = new Float64Array(n);
  const v = new Float64Array(n);
  const value = new Float64Array(OBSERVABLES * n);
  const inverseSigma = new Float64Array(OBSERVABLES * n);
  for (let i = 0; i < n; i++) {
    u[i] = ((shapes.x[i] as number) - (width - 1) / 2) / half;
    v[i] = ((shapes.y[i] as number) - (height - 1) / 2) / half;
    const at = OBSERVABLES * i;
    value.set(
      [
        shapes.t[i] as number,
        shapes.q1[i] as number,
        shapes.q2[i] as number,
        shapes.k1[i] as number,
        shapes.k2[i] as number,
      ],
      at,
    );
    const q = 1 / (shapes.qError[i] as number);
    const k = 1 / (shapes.kError[i] as number);
    inverseSigma.set([1 / (shapes.tError[i] as number), q, q, k, k], at);
  }
  return { u, v, value, inverseSigma, size: Math.sqrt(medianOf(shapes.t)) };
}

/** Natural size of every parameter. */
function parameterScale(size: number): Float64Array {
  const scale = new Float64Array(FIELD_PARAMETERS).fill(size);
  scale[T0] = size * size;
  scale[U1] = size * size;
  scale[U2] = size * size;
  return scale;
}

function makeProblem(
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

const ALL = Array.from({ length: FIELD_PARAMETERS }, (_, j) => j);

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

/** Starts from the quadratic surface of T and from guesses that it cannot see. */
function startPoints(data: Data): Float64Array[] {
  const n = data.u.length;
  const t = Array.from({ length: n }, (_, i) => data.value[OBSERVABLES * i] as number);
  const q = robustQuadratic([...data.u], [...data.v], t) ?? new Float64Array(6);
  const floor = quantileOf(Float64Array.from(t), 0.15);
  const s = data.size;
  const [, gx, gy, xx, xy, yy] = q as unknown as number[];
  const angle = 0.5 * Math.atan2(xy as number, (xx as number) - (yy as number));
  const mean = 0.5 * ((xx as number) + (yy as number));
  const spreadXx = 0.5 * Math.hypot((xx as number) - (yy as number), xy as number);
  const major = Math.sqrt(Math.max(0.01 * s * s, mean + spreadXx));
  const start = (values: Partial<Record<number, number>>): Float64Array => {
    const p = new Float64Array(FIELD_PARAMETERS);
    p[T0] = floor;
    for (const [j, value] of Object.entries(values)) p[Number(j)] = value as number;
    return p;
  };
  const bend = Math.sqrt(Math.max(0.02 * s * s, Math.abs(mean)));
  const list = [
    start({ [TX]: major * Math.cos(angle), [TY]: major * Math.sin(angle) }),
    start({ [KAPPA]: bend, [Z0]: 0.1 * s }),
    start({ [KAPPA]: bend, [Z0]: -0.4 * bend }),
    start({ [KAPPA]: 0.2 * bend, [ASTIG]: 0.2 * s, [Z0]: 0.2 * s }),
  ];
  for (const z of [0.3 * s, 0.8 * s]) {
    const tilt = { [TX]: (gx as number) / (2 * z), [TY]: (gy as number) / (2 * z) };
    list.push(start({ [Z0]: z, ...tilt, [KAPPA]: mean / (2 * z) }));
    list.push(start({ [Z0]: z, ...tilt, [KAPPA]: -0.3 * s }));
  }
  return list;
}

/** Robust scatter of standardised residuals, per observable group. */
function groupScatter(data: Data, model: Float64Array): [number, number, number] {
  const n = data.u.length;
  const groups: [number[], number[], number[]] = [[], [], []];
  for (let i = 0; i < n; i++)
    for (let k = 0; k < OBSERVABLES; k++) {
      const at = OBSERVABLES * i + k;
      const r =
        ((data.value[at] as number) - (model[at] as number)) * (data.inverseSigma[at] as number);
      groups[k === 0 ? 0 : k < 3 ? 1 : 2].push(r);
    }
  return groups.map((list) => madSigma(Float64Array.from(list), 0)) as [number, number, number];
}

function rescale(data: Data, [t, q, k]: [number, number, number]): void {
  for (let at = 0; at < data.inverseSigma.length; at++) {
    const c = at % OBSERVABLES;
    const factor = Math.max(0.7, c === 0 ? t : c < 3 ? q : k);
    data.inverseSigma[at] = (data.inverseSigma[at] as number) / factor;
  }
}

/** Every start for a few iterations on some of the stars, the best of them to the end on all. */
function bestOf(
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

/** Every k-th star, so that at most 250 are left. */
function thinned(data: Data): Data {
  const n = data.u.length;
  const every = Math.ceil(n / LOOK_STARS);
  if (every === 1) return data;
  const rows = Array.from({ length: Math.ceil(n / every) }, (_, i) => i * every);
  const wide = (from: Float64Array): Float64Array =>
    Float64Array.from(
      rows.flatMap((i) => [...from.subarray(OBSERVABLES * i, OBSERVABLES * (i + 1))]),
    );
  return {
    u: Float64Array.from(rows, (i) => data.u[i] as number),
    v: Float64Array.from(rows, (i) => data.v[i] as number),
    value: wide(data.value),
    inverseSigma: wide(data.inverseSigma),
    size: data.size,
  };
}

/** Free parameters of the "one shifted centre" model: T0, z0, κ, a, c1, U1, U2, and the centre. */
const SHIFTED = 9;

function fitShifted(
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
