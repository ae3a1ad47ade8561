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
import { type Response, responseValue } from './response.js';

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
 */
export function predictField(
  p: ArrayLike<number>,
  response: Response,
  u: Float64Array,
  v: Float64Array,
  out: Float64Array,
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
  }
}

/** The same telescope with focus and astigmatism turned to the other side: no single frame can tell the two apart. */
export function mirrored(p: ArrayLike<number>): Float64Array {
  const out = Float64Array.from(p);
  for (const j of [Z0, TX, TY, KAPPA, ASTIG, BX, BY]) out[j] = -(p[j] as number);
  return out;
}
