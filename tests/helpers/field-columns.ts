/** Star shapes made from the laws of the field, with noise: they test what is built on the laws, not the laws themselves. */
import { FIELD_PARAMETERS, OBSERVABLES, predictField, T0 } from '../../src/field/laws.js';
import type { ShapeColumns } from '../../src/field/model-data.js';
import { diffractionShare, responseAt } from '../../src/field/response.js';
import { createRandom, normal } from '../../src/stats/random.js';

export const COLUMN_WIDTH = 1000;
export const COLUMN_HEIGHT = 800;
/** Sharp stars of FWHM 2.5 px; an invented f/5 telescope with 4 µm pixels. */
const SHARP = 4.1;
export const OPTICS = { focalRatio: 5, pixelSizeUm: 4 };

/** Stars at random places with errors of 3 % of T for T, 2 % for Q, 3 % of the size for K. */
export function fieldColumns(
  values: Partial<Record<number, number>>,
  n: number,
  seed: number,
): ShapeColumns {
  const random = createRandom(seed);
  const p = new Float64Array(FIELD_PARAMETERS);
  p[T0] = SHARP;
  for (const [j, value] of Object.entries(values)) p[Number(j)] = value as number;
  const column = () => new Float64Array(n);
  const out = {
    n,
    width: COLUMN_WIDTH,
    height: COLUMN_HEIGHT,
    x: column(),
    y: column(),
    t: column(),
    tError: column(),
    q1: column(),
    q2: column(),
    qError: column(),
    k1: column(),
    k2: column(),
    kError: column(),
  };
  const half = 0.5 * Math.hypot(COLUMN_WIDTH, COLUMN_HEIGHT);
  const u = column();
  const v = column();
  for (let i = 0; i < n; i++) {
    out.x[i] = random() * (COLUMN_WIDTH - 1);
    out.y[i] = random() * (COLUMN_HEIGHT - 1);
    u[i] = (out.x[i] - (COLUMN_WIDTH - 1) / 2) / half;
    v[i] = (out.y[i] - (COLUMN_HEIGHT - 1) / 2) / half;
  }
  const share = diffractionShare(OPTICS.focalRatio, OPTICS.pixelSizeUm, p[T0]) as number;
  const model = new Float64Array(OBSERVABLES * n);
  predictField(p, responseAt(share), u, v, model);
  for (let i = 0; i < n; i++) {
    const t = model[OBSERVABLES * i];
    out.tError[i] = 0.03 * t;
    out.qError[i] = 0.02 * t;
    out.kError[i] = 0.03 * Math.sqrt(t);
    out.t[i] = t + out.tError[i] * normal(random);
    out.q1[i] = model[OBSERVABLES * i + 1] + out.qError[i] * normal(random);
    out.q2[i] = model[OBSERVABLES * i + 2] + out.qError[i] * normal(random);
    out.k1[i] = model[OBSERVABLES * i + 3] + out.kError[i] * normal(random);
    out.k2[i] = model[OBSERVABLES * i + 4] + out.kError[i] * normal(random);
  }
  return out;
}
