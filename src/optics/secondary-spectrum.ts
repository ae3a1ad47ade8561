/** Where a classical two-lens objective focuses each colour. */
import { F2, type Glass, N_BK7, refractiveIndex, SPECTRAL_LINES_NM } from './glass.js';

/**
 * Focus of a thin cemented doublet at `wavelengthNm` relative to its common focus for two colours, as a fraction of
 * the focal length; positive = longer (farther from the lens). Multiply by the focal length for a length.
 *
 * The powers K₁ (n₁ − 1) and K₂ (n₂ − 1) of thin lenses in contact add up; K₁ Δn₁ + K₂ Δn₂ = 0 brings the two colours
 * together (Born & Wolf, section 4.7.3). What remains at other colours is the secondary spectrum.
 *
 * @param crown, flint glasses of the positive and the negative lens; N-BK7 and F2 when left out.
 * @param correctedNm the two colours brought together; F and C when left out.
 */
export function doubletFocusShift(
  wavelengthNm: number,
  crown: Glass = N_BK7,
  flint: Glass = F2,
  correctedNm: readonly [number, number] = [SPECTRAL_LINES_NM.F, SPECTRAL_LINES_NM.C],
): number {
  const [first, second] = correctedNm;
  const crownSpread = refractiveIndex(crown, first) - refractiveIndex(crown, second);
  const flintSpread = refractiveIndex(flint, first) - refractiveIndex(flint, second);
  const power = (wavelength: number): number =>
    (refractiveIndex(crown, wavelength) - 1) / crownSpread -
    (refractiveIndex(flint, wavelength) - 1) / flintSpread;
  return power(first) / power(wavelengthNm) - 1;
}
