/** Where the fit of the model starts from. */
import { robustQuadratic } from '../stats/regression.js';
import { quantileOf } from '../stats/robust.js';
import { ASTIG, FIELD_PARAMETERS, KAPPA, OBSERVABLES, T0, TX, TY, Z0 } from './laws.js';
import type { Data } from './model-data.js';

/** Starts from the quadratic surface of T and from guesses that it cannot see. */
export function startPoints(data: Data): Float64Array[] {
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
