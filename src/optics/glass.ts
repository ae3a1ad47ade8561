/** Refractive indices of optical glass from the public Sellmeier coefficients of the maker's data sheets. */

/** n² − 1 = Σ B_i λ²/(λ² − C_i), λ in µm. */
export interface Glass {
  readonly name: string;
  readonly b: readonly [number, number, number];
  /** µm². */
  readonly c: readonly [number, number, number];
  /** Range in which the coefficients hold, nm. */
  readonly rangeNm: readonly [number, number];
}

/** Borosilicate crown; data sheet nd = 1.51680, Vd = 64.17. */
export const N_BK7: Glass = {
  name: 'N-BK7',
  b: [1.03961212, 0.231792344, 1.01046945],
  c: [0.00600069867, 0.0200179144, 103.560653],
  rangeNm: [300, 2500],
};

/** Dense flint; data sheet nd = 1.62004, Vd = 36.37. */
export const F2: Glass = {
  name: 'F2',
  b: [1.34533359, 0.209073176, 0.937357162],
  c: [0.00997743871, 0.0470450767, 111.886764],
  rangeNm: [320, 2500],
};

/** Fraunhofer lines used in lens design, nm in air (ISO 7944 for d, e, F′, C′; the rest from common tables). */
export const SPECTRAL_LINES_NM = {
  C: 656.2725,
  d: 587.5618,
  e: 546.074,
  F: 486.1327,
  g: 435.8343,
  h: 404.6561,
} as const;

/**
 * Index of `glass` at `wavelengthNm` (Sellmeier 1871, as printed in the data sheets).
 * @throws RangeError outside the range of the coefficients.
 */
export function refractiveIndex(glass: Glass, wavelengthNm: number): number {
  if (!(wavelengthNm >= glass.rangeNm[0] && wavelengthNm <= glass.rangeNm[1])) {
    throw new RangeError(
      `wavelength ${wavelengthNm} nm is outside ${glass.rangeNm[0]}–${glass.rangeNm[1]} nm of ${glass.name}`,
    );
  }
  const square = wavelengthNm * wavelengthNm * 1e-6;
  let sum = 1;
  for (let i = 0; i < 3; i++) {
    sum += ((glass.b[i] as number) * square) / (square - (glass.c[i] as number));
  }
  return Math.sqrt(sum);
}

/** Abbe number (n_d − 1)/(n_F − n_C). */
export function abbeNumber(glass: Glass): number {
  const { d, F, C } = SPECTRAL_LINES_NM;
  return (refractiveIndex(glass, d) - 1) / (refractiveIndex(glass, F) - refractiveIndex(glass, C));
}
