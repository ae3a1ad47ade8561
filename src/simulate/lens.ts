/** How the focus of a refractor moves with wavelength: a thin cemented doublet, and lenses scaled from it. */
import { airRefractivity, type GlassName, glassIndex, SPECTRAL_LINES_NM } from './glass.js';

/** Arcseconds per radian. */
const ARCSEC_PER_RADIAN = 206264.806;

/**
 * Relative focal shift (f(λ) − f(F)) / f(F) of a thin doublet with its focal lengths at F and C made equal.
 *
 * Thin lenses in contact: power φ(λ) = k₁ (n₁(λ) − 1) + k₂ (n₂(λ) − 1), with k₁/k₂ from φ(F) = φ(C).
 * Positive = the focus lies farther from the lens than at F and C.
 */
export function doubletFocalShift(
  wavelengthNm: number,
  crown: GlassName = 'N-BK7',
  flint: GlassName = 'F2',
): number {
  const { F, C } = SPECTRAL_LINES_NM;
  const dispersionCrown = glassIndex(crown, F) - glassIndex(crown, C);
  const dispersionFlint = glassIndex(flint, F) - glassIndex(flint, C);
  // k1 = 1 fixes an arbitrary scale; only the ratio of powers matters.
  const k2 = -dispersionCrown / dispersionFlint;
  const power = (nm: number) => glassIndex(crown, nm) - 1 + k2 * (glassIndex(flint, nm) - 1);
  return power(F) / power(wavelengthNm) - 1;
}

/** Kinds of colour correction. `scaled` multiplies the achromat's shift, `none` has no colour error at all. */
export type ColourCorrection =
  | { kind: 'achromat' }
  | { kind: 'scaled'; factor: number }
  | { kind: 'none' };

/** Focal shift in µm against the common F–C focus, for a lens of `focalLengthMm`. */
export function focalShiftUm(
  colour: ColourCorrection,
  focalLengthMm: number,
  wavelengthNm: number,
): number {
  if (colour.kind === 'none') return 0;
  const factor = colour.kind === 'scaled' ? colour.factor : 1;
  return factor * doubletFocalShift(wavelengthNm) * focalLengthMm * 1000;
}

/**
 * The focus position, µm against the common F–C focus, at which a band is sharpest: it maximises
 * Σ w / (σ₀² + (Δz / 4N)²), the peak of a sum of blurs with the variances of the seeing and of the defocus disc
 * (a uniform disc of diameter d has variance d²/16 along each axis).
 *
 * @param shiftsUm focal shift of each wavelength, @param weights its share of the band's light,
 * @param sigmaUm width of the image without defocus, @param focalRatio N
 */
export function sharpestFocusUm(
  shiftsUm: ArrayLike<number>,
  weights: ArrayLike<number>,
  sigmaUm: number,
  focalRatio: number,
): number {
  let low = Number.POSITIVE_INFINITY;
  let high = Number.NEGATIVE_INFINITY;
  for (let i = 0; i < shiftsUm.length; i++) {
    if (weights[i] <= 0) continue;
    low = Math.min(low, shiftsUm[i]);
    high = Math.max(high, shiftsUm[i]);
  }
  if (!(high > low)) return high === low ? low : 0;
  let best = low;
  let bestPeak = -1;
  // The peak can have several maxima: a plain scan in steps far below the depth of focus is safe and cheap.
  const steps = 2000;
  for (let step = 0; step <= steps; step++) {
    const position = low + ((high - low) * step) / steps;
    let peak = 0;
    for (let i = 0; i < shiftsUm.length; i++) {
      const blur = (shiftsUm[i] - position) / (4 * focalRatio);
      peak += weights[i] / (sigmaUm * sigmaUm + blur * blur);
    }
    if (peak > bestPeak) {
      bestPeak = peak;
      best = position;
    }
  }
  return best;
}

/**
 * Lateral colour and other linear-in-dispersion shifts: 0 at `green`, with shape(450 nm) − shape(630 nm) = 1.
 * The shape follows 1/λ², the leading term of the dispersion of glass.
 */
export function lateralColourShape(wavelengthNm: number): number {
  const term = (nm: number) => (1000 / nm) ** 2;
  return (term(wavelengthNm) - term(535)) / (term(450) - term(630));
}

/**
 * Atmospheric dispersion in arcsec: displacement towards the zenith against light of 535 nm, for a plane-parallel
 * atmosphere, R(λ) − R(535) = 206265″ (n(λ) − n(535)) tan z (Filippenko 1982, PASP 94, 715, eq. 4), scaled by air density.
 */
export function atmosphericDispersionArcsec(
  wavelengthNm: number,
  zenithDistanceDeg: number,
  relativeAirDensity: number,
): number {
  const difference = airRefractivity(wavelengthNm) - airRefractivity(535);
  return (
    ARCSEC_PER_RADIAN *
    difference *
    relativeAirDensity *
    Math.tan((zenithDistanceDeg * Math.PI) / 180)
  );
}
