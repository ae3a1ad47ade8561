/** The model of the single-star fit and its derivatives: an elliptical Moffat or Gaussian, integrated over the pixel.
 *
 * All samples of a star in one loop, O(samples × nodes²): a call for each sample would box its arguments and cost as much again.
 * The matrix of the quadratic form is α² [[1 + g1, g2], [g2, 1 − g1]], so |g| < 1 keeps it positive definite, the squared
 * axes are α²(1 ± |g|) and the angle of the long axis is ½ atan2(g2, g1).
 * Moffat: I = F (β − 1)/(π α² √(1 − g²)) (1 + u)^−β (Moffat 1969, A&A 3, 455). Gaussian: I = F/(2π α² √(1 − g²)) e^(−u/2).
 */
import type { SampleList } from './samples.js';

/** Indices of the parameter vector. */
export const PX = 0;
export const PY = 1;
export const PFLUX = 2;
export const PBACKGROUND = 3;
export const PLNALPHA = 4;
export const PG1 = 5;
export const PG2 = 6;
/** Number of parameters. */
export const NP = 7;
/** Columns of an evaluation: the model, then its derivatives by parameter, but for that by the background, which is 1. */
export const TERMS = 8;

/** Gauss–Legendre nodes over a pixel and their weights (Abramowitz & Stegun, table 25.4): one, two, three, five nodes, one after the other. */
const NODE_X = Float64Array.of(
  0,
  -0.2886751345948129,
  0.2886751345948129,
  -0.3872983346207417,
  0,
  0.3872983346207417,
  -0.4530899229693319,
  -0.2692346550528415,
  0,
  0.2692346550528415,
  0.4530899229693319,
);
const NODE_W = Float64Array.of(
  1,
  0.5,
  0.5,
  5 / 18,
  8 / 18,
  5 / 18,
  0.1184634425280945,
  0.2393143352496832,
  0.2844444444444444,
  0.2393143352496832,
  0.1184634425280945,
);
/** Optical FWHM below which two, then three nodes no longer follow a star across one pixel to 0.1 % (worst for small exponents; the error falls as FWHM⁻⁴). */
const TWO_NODES_FROM_FWHM = 3;
const THREE_NODES_FROM_FWHM = 1.3;

function nodesFor(p: Float64Array, beta: number): 2 | 3 | 5 {
  const fwhm = fwhmOfAlpha(Math.exp(p[PLNALPHA] as number), beta);
  return fwhm >= TWO_NODES_FROM_FWHM ? 2 : fwhm >= THREE_NODES_FROM_FWHM ? 3 : 5;
}

/**
 * Evaluates the model and its derivatives at all samples.
 * @param beta exponent, a multiple of 0.5 below 16, or Infinity for a Gaussian
 * @param integrateWithinPx samples within this distance of the model's centre are integrated over the pixel; beyond it, one node serves
 * @param out receives `TERMS` values a sample
 */
export function evaluateModel(
  samples: SampleList,
  p: Float64Array,
  beta: number,
  integrateWithinPx: number,
  out: Float64Array,
): void {
  const { dx: sampleX, dy: sampleY, n } = samples;
  const x0 = p[PX] as number;
  const y0 = p[PY] as number;
  const flux = p[PFLUX] as number;
  const alpha2 = Math.exp(2 * (p[PLNALPHA] as number));
  const g1 = p[PG1] as number;
  const g2 = p[PG2] as number;
  const q = 1 - g1 * g1 - g2 * g2;
  const inverse = 1 / (alpha2 * q);
  const a = (1 - g1) * inverse;
  const b = -g2 * inverse;
  const c = (1 + g1) * inverse;
  const h1 = g1 / q;
  const h2 = g2 / q;
  const gaussian = beta === Number.POSITIVE_INFINITY;
  const k = gaussian
    ? 1 / (2 * Math.PI * alpha2 * Math.sqrt(q))
    : (beta - 1) / (Math.PI * alpha2 * Math.sqrt(q));
  // dI/du = slopeOfU × (1 + u)^(−β−1), or × e^(−u/2).
  const slopeOfU = gaussian ? -0.5 * k : -beta * k;
  const whole = gaussian ? 0 : Math.floor(beta);
  const halfPower = !gaussian && beta - whole > 0.25;
  const near = integrateWithinPx * integrateWithinPx;
  const many = nodesFor(p, beta);
  const manyFrom = many === 2 ? 1 : many === 3 ? 3 : 6;
  const b2 = 2 * b;
  for (let s = 0; s < n; s++) {
    const px = (sampleX[s] as number) - x0;
    const py = (sampleY[s] as number) - y0;
    const inside = px * px + py * py < near;
    const from = inside ? manyFrom : 0;
    const to = inside ? manyFrom + many : 1;
    // Sums over the nodes of intensity / k, and of the moments of its slope; all derivatives are combinations of these.
    let sum = 0;
    let mx = 0;
    let my = 0;
    let mxx = 0;
    let mxy = 0;
    let myy = 0;
    for (let j = from; j < to; j++) {
      const dy = py + (NODE_X[j] as number);
      const bdy = b2 * dy;
      const cdy = c * dy * dy;
      let row = 0;
      let rowSlope = 0;
      let rowX = 0;
      let rowXX = 0;
      for (let i = from; i < to; i++) {
        const dx = px + (NODE_X[i] as number);
        const u = dx * (a * dx + bdy) + cdy;
        let weighted: number;
        let slope: number;
        if (gaussian) {
          weighted = (NODE_W[i] as number) * Math.exp(-0.5 * u);
          slope = weighted;
        } else {
          const v = 1 / (1 + u);
          const v2 = v * v;
          let power = NODE_W[i] as number;
          if (halfPower) power *= Math.sqrt(v);
          if (whole & 1) power *= v;
          if (whole & 2) power *= v2;
          if (whole & 4) power *= v2 * v2;
          if (whole & 8) power *= v2 * v2 * v2 * v2;
          weighted = power;
          slope = power * v;
        }
        row += weighted;
        rowSlope += slope;
        const first = slope * dx;
        rowX += first;
        rowXX += first * dx;
      }
      const wy = NODE_W[j] as number;
      const wdy = wy * dy;
      sum += wy * row;
      mx += wy * rowX;
      my += wdy * rowSlope;
      mxx += wy * rowXX;
      mxy += wdy * rowX;
      myy += wdy * dy * rowSlope;
    }
    const sumI = k * sum;
    const sumX = slopeOfU * (a * mx + b * my);
    const sumY = slopeOfU * (b * mx + c * my);
    const sumA = slopeOfU * (a * mxx + b2 * mxy + c * myy);
    const sumG1 = slopeOfU * (myy - mxx) * inverse + 2 * h1 * sumA;
    const sumG2 = -2 * slopeOfU * mxy * inverse + 2 * h2 * sumA;
    const at = s * TERMS;
    out[at] = flux * sumI;
    out[at + 1 + PX] = -2 * flux * sumX;
    out[at + 1 + PY] = -2 * flux * sumY;
    out[at + 1 + PFLUX] = sumI;
    out[at + 1 + PLNALPHA] = -2 * flux * (sumA + sumI);
    out[at + 1 + PG1] = flux * (sumG1 + sumI * h1);
    out[at + 1 + PG2] = flux * (sumG2 + sumI * h2);
  }
}

/** FWHM of a Moffat with scale α and exponent β: 2 α √(2^{1/β} − 1); for β = Infinity, of a Gaussian with σ = α. */
export function fwhmOfAlpha(alpha: number, beta: number): number {
  if (beta === Number.POSITIVE_INFINITY) return 2 * Math.sqrt(2 * Math.LN2) * alpha;
  return 2 * alpha * Math.sqrt(2 ** (1 / beta) - 1);
}

/** Inverse of `fwhmOfAlpha`. */
export function alphaOfFwhm(fwhm: number, beta: number): number {
  return fwhm / fwhmOfAlpha(1, beta);
}
