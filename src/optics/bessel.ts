/** Bessel functions of the first kind, orders 0 and 1.
 *
 * Below |x| = 12 the ascending power series (DLMF 10.2.2, https://dlmf.nist.gov/10.2.E2) is summed: its largest term
 * there is about 2·10⁴, so rounding stays below 10⁻¹¹. Above, the asymptotic expansion in 1/x (DLMF 10.17.3): its error
 * is bounded by the first term left out, below 3·10⁻¹⁰ at x = 12. Both sets of coefficients are computed, not copied.
 */

const SWITCH = 12;
const SERIES_TERMS = 32;
const ASYMPTOTIC_TERMS = 12;

/** Coefficients of (−x²/4)^k: 1/(k!)² for order 0, 1/(k!(k+1)!) for order 1. */
function seriesCoefficients(order: 0 | 1): Float64Array {
  const coefficients = new Float64Array(SERIES_TERMS);
  let value = 1;
  for (let k = 0; k < SERIES_TERMS; k++) {
    coefficients[k] = value;
    value /= (k + 1) * (k + 1 + order);
  }
  return coefficients;
}

/** a_k(ν) of DLMF 10.17.1, with the signs of 10.17.3 included: even k belong to the cosine, odd k to the sine. */
function asymptoticCoefficients(order: 0 | 1): Float64Array {
  const coefficients = new Float64Array(ASYMPTOTIC_TERMS);
  let value = 1;
  for (let k = 0; k < ASYMPTOTIC_TERMS; k++) {
    coefficients[k] = (k & 2) === 0 ? value : -value;
    const odd = 2 * k + 1;
    value *= (4 * order * order - odd * odd) / (8 * (k + 1));
  }
  return coefficients;
}

const SERIES_0 = seriesCoefficients(0);
const SERIES_1 = seriesCoefficients(1);
const ASYMPTOTIC_0 = asymptoticCoefficients(0);
const ASYMPTOTIC_1 = asymptoticCoefficients(1);

function series(coefficients: Float64Array, x: number): number {
  const t = -0.25 * x * x;
  // Fewer terms serve small arguments: term k is below 10⁻¹⁶ once k exceeds about 6 + 1.7 |x|.
  let k = Math.min(SERIES_TERMS - 1, 8 + Math.ceil(1.7 * x));
  let sum = coefficients[k] as number;
  for (k--; k >= 0; k--) sum = sum * t + (coefficients[k] as number);
  return sum;
}

function asymptotic(coefficients: Float64Array, x: number, phase: number): number {
  const inverse = 1 / x;
  const inverseSquare = inverse * inverse;
  let even = 0;
  let odd = 0;
  for (let k = ASYMPTOTIC_TERMS - 2; k >= 0; k -= 2) {
    even = even * inverseSquare + (coefficients[k] as number);
    odd = odd * inverseSquare + (coefficients[k + 1] as number);
  }
  const chi = x - phase;
  return (
    Math.sqrt((2 / Math.PI) * inverse) * (even * Math.cos(chi) - odd * inverse * Math.sin(chi))
  );
}

/** J0(x) for real x; absolute error below 10⁻⁹. */
export function besselJ0(x: number): number {
  const positive = Math.abs(x);
  if (positive < SWITCH) return series(SERIES_0, positive);
  return asymptotic(ASYMPTOTIC_0, positive, Math.PI / 4);
}

/** J1(x) for real x (odd in x); absolute error below 10⁻⁹. */
export function besselJ1(x: number): number {
  const positive = Math.abs(x);
  const value =
    positive < SWITCH
      ? 0.5 * positive * series(SERIES_1, positive)
      : asymptotic(ASYMPTOTIC_1, positive, 0.75 * Math.PI);
  return x < 0 ? -value : value;
}

/** 2 J1(x)/x, 1 at x = 0: the transform of a uniform disc, and the amplitude of the Airy pattern. */
export function jinc(x: number): number {
  const positive = Math.abs(x);
  if (positive < SWITCH) return series(SERIES_1, positive);
  return (2 * asymptotic(ASYMPTOTIC_1, positive, 0.75 * Math.PI)) / positive;
}
