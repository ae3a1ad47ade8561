/** Star size and elongation as smooth surfaces over the frame: polynomials no richer than the stars ask for. */
import { normal } from '../stats/random.js';
import { robustLinear } from '../stats/regression.js';
import { madSigma } from '../stats/robust.js';
import { factorCholesky } from '../stats/solve.js';

/** Values of stars at places in half diagonals from the frame's centre, with 1 σ. */
export interface SurfaceData {
  n: number;
  x: Float64Array;
  y: Float64Array;
  value: Float64Array;
  error: Float64Array;
}

/** Σ c_k x^i y^j, i + j ≤ degree, in the order of `fillTerms`. */
export interface Surface {
  degree: number;
  c: Float64Array;
  /** Lower Cholesky factor of the inverse covariance of `c`. */
  factor: Float64Array;
}

/**
 * Focus that changes with the square of the distance makes squared sizes of fourth degree; strong coma, of which a star's width sees
 * less and less, asks for more.
 */
const DEGREES = [0, 1, 2, 3, 4, 5, 6];
export const HIGHEST_DEGREE = 6;
export const MOST_TERMS = 28;
/** Stars per coefficient below which a degree is not tried. */
const STARS_PER_TERM = 5;
const BIWEIGHT = 4.685;

const termsOf = (degree: number): number => ((degree + 1) * (degree + 2)) / 2;

/** 1, x, y, x², xy, y², …: all terms of `degree` at a place. Returns their number. */
export function fillTerms(degree: number, x: number, y: number, out: Float64Array, at = 0): number {
  let n = 0;
  for (let order = 0; order <= degree; order++) {
    for (let j = 0; j <= order; j++) out[at + n++] = x ** (order - j) * y ** j;
  }
  return n;
}

/** Value of a surface with coefficients `c`, given the terms of the place. */
export function surfaceValue(c: ArrayLike<number>, terms: Float64Array): number {
  let sum = 0;
  for (let k = 0; k < c.length; k++) sum += (c[k] as number) * (terms[k] as number);
  return sum;
}

interface Fitted {
  surface: Surface;
  residual: Float64Array;
  /** Scatter of the residuals over their errors. */
  scatter: number;
}

/**
 * Fits all lists with one common degree, chosen by Akaike's criterion on the robust cost (1974, IEEE Trans. Autom. Control 19, 716).
 * Null when the stars are too few for a plane.
 */
export function fitSurfaces(lists: readonly SurfaceData[]): Surface[] | null {
  let best: Fitted[] | null = null;
  for (const degree of DEGREES) {
    const fits: Fitted[] = [];
    for (const data of lists) {
      const fit = data.n >= STARS_PER_TERM * termsOf(degree) ? fitDegree(data, degree) : null;
      if (fit) fits.push(fit);
    }
    if (fits.length < lists.length) break;
    if (best === null || totalCost(fits, best, lists) < totalCost(best, fits, lists)) best = fits;
  }
  return best ? best.map(({ surface }) => surface) : null;
}

/** Robust cost of `fits` in units of the smaller scatter of both, plus 2 per coefficient. */
function totalCost(
  fits: readonly Fitted[],
  others: readonly Fitted[],
  lists: readonly SurfaceData[],
): number {
  let sum = 0;
  fits.forEach((fit, k) => {
    const data = lists[k] as SurfaceData;
    const scatter = Math.min(fit.scatter, (others[k] as Fitted).scatter);
    const limit = BIWEIGHT ** 2 / 3;
    for (let i = 0; i < data.n; i++) {
      const z = (fit.residual[i] as number) / (scatter * (data.error[i] as number) * BIWEIGHT);
      sum += z * z < 1 ? limit * (1 - (1 - z * z) ** 3) : limit;
    }
    sum += 2 * fit.surface.c.length;
  });
  return sum;
}

function fitDegree(data: SurfaceData, degree: number): Fitted | null {
  const { n } = data;
  const size = termsOf(degree);
  const columns = new Float64Array(n * size);
  const weights = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    fillTerms(degree, data.x[i] as number, data.y[i] as number, columns, i * size);
    weights[i] = 1 / (data.error[i] as number) ** 2;
  }
  const robust = new Float64Array(n);
  const c = robustLinear(n, size, columns, data.value, weights, robust);
  if (!c) return null;
  const residual = new Float64Array(n);
  const scaled = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    let model = 0;
    for (let j = 0; j < size; j++) model += (c[j] as number) * (columns[i * size + j] as number);
    residual[i] = (data.value[i] as number) - model;
    scaled[i] = (residual[i] as number) / (data.error[i] as number);
  }
  const scatter = Math.max(1e-9, madSigma(scaled, 0) * Math.sqrt(n / (n - size)));
  const factor = new Float64Array(size * size);
  for (let i = 0; i < n; i++) {
    const w = ((robust[i] as number) * (weights[i] as number)) / (scatter * scatter);
    for (let j = 0; j < size; j++) {
      const wj = w * (columns[i * size + j] as number);
      for (let k = 0; k <= j; k++) {
        factor[j * size + k] =
          (factor[j * size + k] as number) + wj * (columns[i * size + k] as number);
      }
    }
  }
  if (!factorCholesky(factor, size)) return null;
  return { surface: { degree, c, factor }, residual, scatter };
}

/** Coefficients drawn from their normal distribution. */
export function drawCoefficients(surface: Surface, random: () => number): Float64Array {
  const { c, factor } = surface;
  const size = c.length;
  const step = Float64Array.from({ length: size }, () => normal(random));
  for (let i = size - 1; i >= 0; i--) {
    let sum = step[i] as number;
    for (let j = i + 1; j < size; j++) {
      sum -= (factor[j * size + i] as number) * (step[j] as number);
    }
    step[i] = sum / (factor[i * size + i] as number);
  }
  return step.map((value, j) => value + (c[j] as number));
}
