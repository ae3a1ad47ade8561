/** The laws of the field: what thirteen numbers of a telescope make of star sizes, elongations and skews.
 *
 * With w = X + iY, (X, Y) from the frame's centre in units of its half diagonal (third-order aberrations; Born & Wolf,
 * Principles of Optics, section 5.3; Welford, Aberrations of Optical Systems, on decentred systems; from memory):
 *
 *   focus         Z = z0 + t · r + κ r²          (tilt linear, curvature quadratic)
 *   astigmatism   A = a w² + b w                 (quadratic; its linear part shifts its node)
 *   coma          C = c0 + c1 w                  (linear; its constant part shifts its node)
 *   star sharp    T0, elongation the same everywhere U
 *
 * Z, A, C are geometric root-mean-square radii in px. Rays of defocus and astigmatism spread by Z ± A along the two axes, so
 * size grows by Z² + |A|² and elongation by 2 Z A; coma adds C² and C²/2. Wave optics then scales each (response.ts):
 *
 *   T = T0 + ρ (Z² + |A|²) + ρT C²,   Q = U + 2 ρ Z A + ½ ρQ C²,   K = f C
 */
import { type Response, responseSlope, responseValue } from './response.js';

export const T0 = 0;
export const Z0 = 1;
export const TX = 2;
export const TY = 3;
export const KAPPA = 4;
export const ASTIG = 5;
export const BX = 6;
export const BY = 7;
export const CX = 8;
export const CY = 9;
export const COMA = 10;
export const U1 = 11;
export const U2 = 12;
export const FIELD_PARAMETERS = 13;

/** Predictions per star: T, Q1, Q2, K1, K2. */
export const OBSERVABLES = 5;

/** Smallest T0 the laws are evaluated at, px². */
const SMALLEST_SIZE = 0.05;

/**
 * Predicts all stars.
 * @param p the thirteen parameters; px² for T0 and U, px for the others
 * @param u, v places in units of the half diagonal, x right, y along NAXIS2
 * @param out 5 × n values, star-major
 * @param jacobian receives ∂out/∂p, 5 n rows of 13; null = not wanted
 */
export function predictField(
  p: ArrayLike<number>,
  response: Response,
  u: Float64Array,
  v: Float64Array,
  out: Float64Array,
  jacobian: Float64Array | null = null,
): void {
  const t0 = Math.max(SMALLEST_SIZE, p[T0] as number);
  const z0 = p[Z0] as number;
  const tx = p[TX] as number;
  const ty = p[TY] as number;
  const kappa = p[KAPPA] as number;
  const a = p[ASTIG] as number;
  const bx = p[BX] as number;
  const by = p[BY] as number;
  const cx = p[CX] as number;
  const cy = p[CY] as number;
  const c1 = p[COMA] as number;
  for (let i = 0; i < u.length; i++) {
    const x = u[i] as number;
    const y = v[i] as number;
    const z = z0 + tx * x + ty * y + kappa * (x * x + y * y);
    const a1 = a * (x * x - y * y) + bx * x - by * y;
    const a2 = 2 * a * x * y + bx * y + by * x;
    const c = cx + c1 * x;
    const d = cy + c1 * y;
    const blur = z * z + a1 * a1 + a2 * a2;
    const coma = c * c + d * d;
    const growth = responseValue(response.defocus, blur / t0);
    const share = coma / t0;
    const long = 0.5 * responseValue(response.comaElongation, share);
    const skew = responseValue(response.skew, share);
    const at = OBSERVABLES * i;
    out[at] = t0 + growth * blur + responseValue(response.comaSize, share) * coma;
    out[at + 1] = (p[U1] as number) + 2 * growth * z * a1 + long * (c * c - d * d);
    out[at + 2] = (p[U2] as number) + 2 * growth * z * a2 + long * 2 * c * d;
    out[at + 3] = skew * c;
    out[at + 4] = skew * d;
    if (jacobian) fillDerivatives(response, t0, x, y, z, a1, a2, c, d, at, jacobian);
  }
}

/** Derivatives of one star's five predictions, by the chain rule through Z, A, C. */
function fillDerivatives(
  response: Response,
  t0: number,
  x: number,
  y: number,
  z: number,
  a1: number,
  a2: number,
  c: number,
  d: number,
  at: number,
  jacobian: Float64Array,
): void {
  const q = (z * z + a1 * a1 + a2 * a2) / t0;
  const g = responseValue(response.defocus, q);
  const slope = responseSlope(response.defocus, q);
  const coma = c * c + d * d;
  const s = coma / t0;
  const sizeSlope = responseSlope(response.comaSize, s);
  const long = 0.5 * responseValue(response.comaElongation, s);
  const longSlope = 0.5 * responseSlope(response.comaElongation, s);
  const skew = responseValue(response.skew, s);
  const skewSlope = responseSlope(response.skew, s);
  const grown = 2 * (g + slope * q);
  const bend = (4 * slope) / t0;
  const comaGrown = 2 * (responseValue(response.comaSize, s) + sizeSlope * s);
  const plus = c * c - d * d;
  const cross = 2 * c * d;
  for (let k = 0; k < OBSERVABLES; k++) {
    const row = FIELD_PARAMETERS * (at + k);
    // ∂/∂Z, ∂/∂A1, ∂/∂A2, ∂/∂C1, ∂/∂C2, ∂/∂T0 of this prediction.
    let byZ = 0;
    let byA1 = 0;
    let byA2 = 0;
    let byC = 0;
    let byD = 0;
    let byT = 0;
    if (k === 0) {
      byZ = grown * z;
      byA1 = grown * a1;
      byA2 = grown * a2;
      byC = comaGrown * c;
      byD = comaGrown * d;
      byT = 1 - slope * q * q - sizeSlope * s * s;
    } else if (k < 3) {
      const a = k === 1 ? a1 : a2;
      const shape = k === 1 ? plus : cross;
      byZ = 2 * g * a + bend * z * z * a;
      byA1 = (k === 1 ? 2 * g * z : 0) + bend * a1 * z * a;
      byA2 = (k === 2 ? 2 * g * z : 0) + bend * a2 * z * a;
      byC = long * (k === 1 ? 2 * c : 2 * d) + ((longSlope * 2 * c) / t0) * shape;
      byD = long * (k === 1 ? -2 * d : 2 * c) + ((longSlope * 2 * d) / t0) * shape;
      byT = -2 * slope * (q / t0) * z * a - longSlope * (s / t0) * shape;
    } else {
      const v = k === 3 ? c : d;
      byC = (k === 3 ? skew : 0) + ((skewSlope * 2 * c) / t0) * v;
      byD = (k === 4 ? skew : 0) + ((skewSlope * 2 * d) / t0) * v;
      byT = -skewSlope * (s / t0) * v;
    }
    jacobian[row + T0] = byT;
    jacobian[row + Z0] = byZ;
    jacobian[row + TX] = byZ * x;
    jacobian[row + TY] = byZ * y;
    jacobian[row + KAPPA] = byZ * (x * x + y * y);
    jacobian[row + ASTIG] = byA1 * (x * x - y * y) + byA2 * 2 * x * y;
    jacobian[row + BX] = byA1 * x + byA2 * y;
    jacobian[row + BY] = -byA1 * y + byA2 * x;
    jacobian[row + CX] = byC;
    jacobian[row + CY] = byD;
    jacobian[row + COMA] = byC * x + byD * y;
    jacobian[row + U1] = k === 1 ? 1 : 0;
    jacobian[row + U2] = k === 2 ? 1 : 0;
  }
}

/** The same telescope with focus and astigmatism turned to the other side: no single frame can tell the two apart. */
export function mirrored(p: ArrayLike<number>): Float64Array {
  const out = Float64Array.from(p);
  for (const j of [Z0, TX, TY, KAPPA, ASTIG, BX, BY]) out[j] = -(p[j] as number);
  return out;
}
