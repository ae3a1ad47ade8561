/** Refractive index of optical glass and of air, from published dispersion formulas. */
import { ParameterError } from '../errors.js';

/** Coefficients of n² − 1 = Σ B_i λ² / (λ² − C_i), λ in µm. */
interface SellmeierCoefficients {
  b: readonly [number, number, number];
  c: readonly [number, number, number];
}

/** Glasses by catalogue name; coefficients as in the maker's public data sheets (SCHOTT optical glass). */
const GLASSES = {
  'N-BK7': {
    b: [1.03961212, 0.231792344, 1.01046945],
    c: [0.00600069867, 0.0200179144, 103.560653],
  },
  F2: {
    b: [1.34533359, 0.209073176, 0.937357162],
    c: [0.00997743871, 0.0470450767, 111.886764],
  },
  'N-FK51A': {
    b: [0.971247817, 0.216901417, 0.904651666],
    c: [0.00472301995, 0.0153575612, 168.68133],
  },
} as const satisfies Record<string, SellmeierCoefficients>;

export type GlassName = keyof typeof GLASSES;

/** Spectral lines of optical glass catalogues, vacuum-free (air) wavelengths in nm; ISO 7944 (memory). */
export const SPECTRAL_LINES_NM = {
  h: 404.6561,
  g: 435.8343,
  F: 486.1327,
  e: 546.074,
  d: 587.5618,
  C: 656.2725,
} as const;

/**
 * Index of refraction against air at `wavelengthNm` (365–2300 nm) by the Sellmeier equation.
 * @throws ParameterError outside that range.
 */
export function glassIndex(glass: GlassName, wavelengthNm: number): number {
  if (!(wavelengthNm >= 365 && wavelengthNm <= 2300))
    throw new ParameterError('wavelengthNm', wavelengthNm, '365 to 2300');
  const { b, c } = GLASSES[glass];
  const square = (wavelengthNm / 1000) ** 2;
  let sum = 1;
  for (let i = 0; i < 3; i++) sum += (b[i] * square) / (square - c[i]);
  return Math.sqrt(sum);
}

/**
 * Refractivity n − 1 of dry air at 15 °C and 760 mmHg (Edlén 1953, as given by Filippenko 1982, PASP 94, 715, eq. 1).
 * `wavelengthNm` is the vacuum wavelength; the difference from the air wavelength is of no matter here.
 */
export function airRefractivity(wavelengthNm: number): number {
  const inverseSquare = (1000 / wavelengthNm) ** 2;
  return 1e-6 * (64.328 + 29498.1 / (146 - inverseSquare) + 255.4 / (41 - inverseSquare));
}
