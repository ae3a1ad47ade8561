/** Adaptive moments: second and third moments under a Gaussian weight matched to the star itself
 * (Bernstein & Jarvis 2002, AJ 123, 583; Hirata & Seljak 2003, MNRAS 343, 459; from memory). Equal site spacing is assumed, so on the
 * red and blue sites of a mosaic, or on its green quincunx below about 3 px FWHM, the result only starts other estimates.
 */
import type { SampleList } from './samples.js';

/** Result vector of `adaptiveMoments`. */
export const MX = 0;
export const MY = 1;
export const MXX = 2;
const MXY = 3;
const MYY = 4;
/** Sum of samples under the weight. */
const MSUM = 5;
/** Third moments ⟨x r²⟩ / ⟨r²⟩ and ⟨y r²⟩ / ⟨r²⟩ under the weight, px: direction and strength of coma. */
export const M3X = 6;
export const M3Y = 7;
export const MOMENTS = 8;

const MAX_ROUNDS = 30;

/**
 * Iterates weight and moments until they agree.
 * @param samples background-subtracted samples
 * @param m on entry x, y and a first σ² in MXX; on return the result; σ² is the star's own (for a Gaussian star the true one)
 * @returns false when the light does not behave like one compact source (negative sum, runaway size or position)
 */
export function adaptiveMoments(
  samples: SampleList,
  m: Float64Array,
  largestSigma: number,
): boolean {
  let x = m[MX] as number;
  let y = m[MY] as number;
  const startX = x;
  const startY = y;
  let xx = m[MXX] as number;
  let xy = 0;
  let yy = xx;
  for (let round = 0; round < MAX_ROUNDS; round++) {
    const det = xx * yy - xy * xy;
    if (!(det > 0.01)) return false;
    const a = yy / det;
    const b = -xy / det;
    const c = xx / det;
    let sum = 0;
    let sx = 0;
    let sy = 0;
    let sxx = 0;
    let sxy = 0;
    let syy = 0;
    let s3x = 0;
    let s3y = 0;
    for (let i = 0; i < samples.n; i++) {
      const dx = (samples.dx[i] as number) - x;
      const dy = (samples.dy[i] as number) - y;
      const u = a * dx * dx + 2 * b * dx * dy + c * dy * dy;
      if (u > 20) continue;
      const w = Math.exp(-0.5 * u) * (samples.value[i] as number);
      sum += w;
      sx += w * dx;
      sy += w * dy;
      sxx += w * dx * dx;
      sxy += w * dx * dy;
      syy += w * dy * dy;
      const r2 = dx * dx + dy * dy;
      s3x += w * dx * r2;
      s3y += w * dy * r2;
    }
    if (!(sum > 0)) return false;
    // A Gaussian under its own weight shows half its size and half its shift: hence the factors of two.
    const shiftX = (2 * sx) / sum;
    const shiftY = (2 * sy) / sum;
    const nextXX = (2 * sxx) / sum;
    const nextXY = (2 * sxy) / sum;
    const nextYY = (2 * syy) / sum;
    x += 0.7 * shiftX;
    y += 0.7 * shiftY;
    const change = Math.abs(nextXX - xx) + Math.abs(nextYY - yy) + Math.abs(nextXY - xy);
    xx = Math.max(0.12, nextXX);
    yy = Math.max(0.12, nextYY);
    xy = Math.max(-0.95 * Math.sqrt(xx * yy), Math.min(0.95 * Math.sqrt(xx * yy), nextXY));
    if (
      Math.abs(x - startX) > 3 * largestSigma ||
      Math.abs(y - startY) > 3 * largestSigma ||
      xx + yy > 2 * largestSigma * largestSigma
    ) {
      return false;
    }
    if (change < 1e-4 * (xx + yy) && Math.abs(shiftX) + Math.abs(shiftY) < 1e-3) {
      m[M3X] = s3x / (sxx + syy);
      m[M3Y] = s3y / (sxx + syy);
      m[MX] = x;
      m[MY] = y;
      m[MXX] = xx;
      m[MXY] = xy;
      m[MYY] = yy;
      m[MSUM] = sum;
      return true;
    }
  }
  return false;
}
