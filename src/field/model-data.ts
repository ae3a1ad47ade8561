/** Star shapes as one list of observables with weights: what the fit of the model reads. */
import { madSigma, medianOf } from '../stats/robust.js';
import { FIELD_PARAMETERS, OBSERVABLES, T0, U1, U2 } from './laws.js';

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

/** Stars that the many starts are tried on. */
const LOOK_STARS = 250;

export interface Data {
  u: Float64Array;
  v: Float64Array;
  value: Float64Array;
  inverseSigma: Float64Array;
  size: number;
}

export function collectData(shapes: ShapeColumns): Data {
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
export function parameterScale(size: number): Float64Array {
  const scale = new Float64Array(FIELD_PARAMETERS).fill(size);
  scale[T0] = size * size;
  scale[U1] = size * size;
  scale[U2] = size * size;
  return scale;
}

/** Robust scatter of standardised residuals, per observable group. */
export function groupScatter(data: Data, model: Float64Array): [number, number, number] {
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

export function rescale(data: Data, [t, q, k]: [number, number, number]): void {
  for (let at = 0; at < data.inverseSigma.length; at++) {
    const c = at % OBSERVABLES;
    const factor = Math.max(0.7, c === 0 ? t : c < 3 ? q : k);
    data.inverseSigma[at] = (data.inverseSigma[at] as number) / factor;
  }
}

/** Every k-th star, so that at most 250 are left. */
export function thinned(data: Data): Data {
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
