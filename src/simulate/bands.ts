/** Colour bands of an invented sensor behind an invented UV/IR-cut filter, and the light of stars. */

export type Band = 'R' | 'G' | 'B' | 'L';

/** First wavelength and step of the tables, nm. */
const TABLE_START_NM = 390;
const TABLE_STEP_NM = 10;

/** Quantum efficiency times filter, 390–710 nm in steps of 10 nm. Invented, shaped after typical mosaic filters. */
const BAND_TABLES: Record<Band, readonly number[]> = {
  B: [
    0.02, 0.12, 0.26, 0.36, 0.42, 0.46, 0.48, 0.48, 0.45, 0.38, 0.29, 0.2, 0.13, 0.085, 0.06, 0.045,
    0.035, 0.03, 0.025, 0.02, 0.02, 0.015, 0.015, 0.015, 0.015, 0.015, 0.015, 0.015, 0.015, 0.01,
    0.006, 0.002, 0,
  ],
  G: [
    0, 0.01, 0.02, 0.025, 0.03, 0.04, 0.05, 0.07, 0.12, 0.22, 0.36, 0.47, 0.53, 0.56, 0.565, 0.55,
    0.52, 0.47, 0.4, 0.32, 0.23, 0.16, 0.115, 0.085, 0.07, 0.06, 0.055, 0.055, 0.055, 0.05, 0.03,
    0.01, 0,
  ],
  R: [
    0, 0.005, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.01, 0.015, 0.02, 0.03, 0.035, 0.03,
    0.03, 0.04, 0.1, 0.26, 0.42, 0.48, 0.48, 0.46, 0.44, 0.415, 0.39, 0.365, 0.335, 0.28, 0.16,
    0.05, 0,
  ],
  L: [
    0.05, 0.3, 0.55, 0.66, 0.71, 0.74, 0.76, 0.78, 0.79, 0.8, 0.81, 0.82, 0.82, 0.82, 0.81, 0.8,
    0.79, 0.78, 0.76, 0.74, 0.72, 0.7, 0.68, 0.65, 0.62, 0.6, 0.57, 0.54, 0.5, 0.42, 0.24, 0.08, 0,
  ],
};

/** Shortest and longest wavelength with any response, nm. */
export const BAND_LIMITS_NM: readonly [number, number] = [
  TABLE_START_NM,
  TABLE_START_NM + TABLE_STEP_NM * (BAND_TABLES.L.length - 1),
];

/** Response of a band, electrons per photon at the aperture, linear between table points, 0 outside. */
export function bandResponse(band: Band, wavelengthNm: number): number {
  const table = BAND_TABLES[band];
  const position = (wavelengthNm - TABLE_START_NM) / TABLE_STEP_NM;
  if (position < 0 || position > table.length - 1) return 0;
  const index = Math.min(Math.floor(position), table.length - 2);
  const fraction = position - index;
  return table[index] * (1 - fraction) + table[index + 1] * fraction;
}

/** Second radiation constant hc/k in nm·K (CODATA). */
const SECOND_RADIATION_NM_K = 1.438776877e7;

/** Photons per unit wavelength of a black body, relative to 550 nm (Planck; photon number ∝ λ⁻⁴). */
export function blackBodyPhotons(wavelengthNm: number, temperatureK: number): number {
  return (
    (550 / wavelengthNm) ** 4 *
    (Math.expm1(SECOND_RADIATION_NM_K / (550 * temperatureK)) /
      Math.expm1(SECOND_RADIATION_NM_K / (wavelengthNm * temperatureK)))
  );
}

/** Step of the integrals over a band, nm: half the table's, which keeps them within 1e-3. */
const INTEGRAL_STEP_NM = 5;

/** ∫ response × black-body photons dλ (nm), photons at 550 nm = 1 per nm. */
export function bandIntegral(band: Band, temperatureK: number): number {
  let sum = 0;
  for (let nm = BAND_LIMITS_NM[0]; nm < BAND_LIMITS_NM[1]; nm += INTEGRAL_STEP_NM)
    sum += bandResponse(band, nm) * blackBodyPhotons(nm, temperatureK);
  return sum * INTEGRAL_STEP_NM;
}

/** Photon-weighted mean wavelength of a band for a star of `temperatureK`, nm. */
export function meanWavelengthNm(band: Band, temperatureK: number): number {
  let sum = 0;
  let moment = 0;
  for (let nm = BAND_LIMITS_NM[0]; nm < BAND_LIMITS_NM[1]; nm += INTEGRAL_STEP_NM) {
    const weight = bandResponse(band, nm) * blackBodyPhotons(nm, temperatureK);
    sum += weight;
    moment += weight * nm;
  }
  return moment / sum;
}

/** Photons s⁻¹ cm⁻² nm⁻¹ of a star of magnitude 0 at 550 nm (about 1000 per Å; Allen's Astrophysical Quantities, memory). */
export const PHOTONS_MAGNITUDE_ZERO = 1e4;
