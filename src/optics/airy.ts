/** The image of a point through a perfect lens with a round, clear aperture (the Airy pattern).
 *
 * Radii are dimensionless: v = r/(λN), r in the focal plane, N the focal ratio. Source of all formulas: Born & Wolf,
 * Principles of Optics, section 8.5.2 (pattern, rings, encircled energy) and 9.5 (transfer function).
 */
import { besselJ0, besselJ1, jinc } from './bessel.js';

/** Full width at half maximum in units of λN: twice the v with [2 J1(πv)/(πv)]² = 1/2. */
export const AIRY_FWHM = 1.0289939;

/** Radii of the first three dark rings in units of λN: zeros of J1 over π. */
export const AIRY_DARK_RINGS: readonly number[] = [1.2196699, 2.2331306, 3.2383155];

/** Surface brightness relative to the centre at radius `v` = r/(λN). */
export function airyBrightness(v: number): number {
  const amplitude = jinc(Math.PI * v);
  return amplitude * amplitude;
}

/** Share of the light inside radius `v` = r/(λN): 1 − J0²(πv) − J1²(πv) (Rayleigh 1881). */
export function airyEncircledEnergy(v: number): number {
  const x = Math.PI * v;
  const j0 = besselJ0(x);
  const j1 = besselJ1(x);
  return 1 - j0 * j0 - j1 * j1;
}

/** Transfer function at spatial frequency `s` in units of the cut-off 1/(λN); 0 beyond it, even in `s`. */
export function diffractionOtf(s: number): number {
  const t = Math.abs(s);
  if (t >= 1) return 0;
  return (2 / Math.PI) * (Math.acos(t) - t * Math.sqrt(1 - t * t));
}

/** FWHM of the Airy pattern in the focal plane, µm. */
export function airyFwhmUm(wavelengthNm: number, focalRatio: number): number {
  return AIRY_FWHM * wavelengthNm * 1e-3 * focalRatio;
}

/** FWHM of the Airy pattern on the sky, arcsec, for an aperture in mm: 1.029 λ/D. */
export function airyFwhmArcsec(wavelengthNm: number, apertureMm: number): number {
  return ((AIRY_FWHM * wavelengthNm * 1e-6) / apertureMm) * (648000 / Math.PI);
}
