/** The blur of the atmosphere in a long exposure (Kolmogorov turbulence).
 *
 * Source: D. L. Fried 1966, J. Opt. Soc. Am. 56, 1372: transfer function exp(−3.44 (λf/r₀)^{5/3}), f in cycles per
 * radian, and r₀ ∝ λ^{6/5}; hence the FWHM 0.976 λ/r₀ shrinks as λ^{−1/5}.
 */

/** FWHM of the long-exposure image in units of λ/r₀: half-maximum width of the transform of the OTF above. */
export const SEEING_FWHM = 0.97553;

const COEFFICIENT = 3.44;

/** Long-exposure seeing OTF at `frequency` (cycles per px) for a seeing of `fwhmPx` px; any one unit of length serves. */
export function seeingOtf(frequency: number, fwhmPx: number): number {
  const reduced = (Math.abs(frequency) * fwhmPx) / SEEING_FWHM;
  return Math.exp(-COEFFICIENT * reduced ** (5 / 3));
}

/** Seeing FWHM at `wavelengthNm` when it is `fwhm` at `referenceNm`: FWHM ∝ λ^{−1/5}. Unit as that of `fwhm`. */
export function seeingFwhmAt(fwhm: number, referenceNm: number, wavelengthNm: number): number {
  return fwhm * (wavelengthNm / referenceNm) ** -0.2;
}

/** Seeing FWHM in arcsec for a Fried length r₀ in mm at `wavelengthNm`. */
export function seeingFwhmArcsec(friedLengthMm: number, wavelengthNm: number): number {
  return ((SEEING_FWHM * wavelengthNm * 1e-6) / friedLengthMm) * (648000 / Math.PI);
}
