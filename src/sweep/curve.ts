/** The focus curve: size² = a² + b² (z − z0)², a hyperbola in size, a parabola in its square; robust by bisquare weights. */
import { solveCholesky } from '../stats/solve.js';

export interface FocusCurve {
  /** Best focus, smallest size², b². */
  z0: number;
  a2: number;
  b2: number;
  /** Per frame, 0 to 1. */
  weights: number[];
  /** 1 σ of z0 from the scatter of the frames. */
  z0Error: number;
  /** Robust scatter of size² relative to the fit. */
  scatter: number;
}

export interface LinearFit {
  coefficients: number[];
  errors: number[];
  weights: number[];
  scatter: number;
}

const ROUNDS = 30;
const BISQUARE = 4.685;

/**
 * Robust least squares on given columns, weighted; scatter from the weighted residuals with the degrees of freedom taken off.
 * @returns null when the columns do not determine the coefficients or too few rows are left
 */
export function robustColumns(
  columns: readonly (readonly number[])[],
  y: readonly number[],
  prior: readonly number[],
): LinearFit | null {
  const p = columns.length;
  const n = y.length;
  if (n < p) return null;
  let weights = prior.map(() => 1);
  let coefficients: number[] = [];
  let normalMatrix = new Float64Array(p * p);
  let scatter = 0;
  for (let round = 0; round < ROUNDS; round++) {
    normalMatrix = new Float64Array(p * p);
    const right = new Float64Array(p);
    for (let i = 0; i < n; i++) {
      const w = (weights[i] as number) * (prior[i] as number);
      for (let j = 0; j < p; j++) {
        const cj = columns[j]?.[i] as number;
        right[j] = (right[j] as number) + w * cj * (y[i] as number);
        for (let k = 0; k < p; k++) {
          normalMatrix[j * p + k] =
            (normalMatrix[j * p + k] as number) + w * cj * (columns[k]?.[i] as number);
        }
      }
    }
    const solution = right.slice();
    if (!solveCholesky(normalMatrix.slice(), solution, p)) return null;
    coefficients = [...solution];
    const scaled = y.map(
      (value, i) =>
        (value -
          columns.reduce((sum, c, j) => sum + (c[i] as number) * (solution[j] as number), 0)) *
        Math.sqrt(prior[i] as number),
    );
    const sorted = scaled.map(Math.abs).sort((a, b) => a - b);
    // The median of what is left after p parameters: p residuals are nearly zero by the fit itself.
    const middle = sorted[Math.min(n - 1, Math.floor((n + p) / 2))] as number;
    const robust = middle / 0.6745;
    weights = scaled.map((r) => {
      const u = robust > 0 ? r / (BISQUARE * robust) : 0;
      return Math.abs(u) < 1 ? (1 - u * u) ** 2 : 0;
    });
    let squares = 0;
    let total = 0;
    scaled.forEach((r, i) => {
      squares += (weights[i] as number) * r * r;
      total += weights[i] as number;
    });
    scatter = total > p ? Math.sqrt(squares / (total - p)) : Number.NaN;
  }
  const errors = coefficients.map((_, j) => {
    const unit = new Float64Array(p);
    unit[j] = 1;
    return solveCholesky(normalMatrix.slice(), unit, p)
      ? scatter * Math.sqrt(Math.max(0, unit[j] as number))
      : Number.NaN;
  });
  return { coefficients, errors, weights, scatter };
}

/** Prior weights of size² or of its differences at distances `u` from focus: errors of a size² grow with the size². */
export function focusWeights({ a2, b2 }: FocusCurve, u: readonly number[]): number[] {
  return u.map((v) => 1 / (a2 + b2 * v * v) ** 2);
}

/**
 * Fits the curve to size² at positions. Errors of size² are taken as proportional to a² + b²(z − z0)² with a floor: seeing
 * scatters the small sizes, shape the large ones.
 * @returns null for fewer than four positions or where the curve does not open upwards
 */
export function fitFocusCurve(z: readonly number[], size2: readonly number[]): FocusCurve | null {
  const n = z.length;
  if (new Set(z).size < 4) return null;
  const mid = z.reduce((sum, v) => sum + v, 0) / n;
  const span = Math.max(...z.map((v) => Math.abs(v - mid)));
  const u = z.map((v) => (v - mid) / span);
  const columns = [u.map(() => 1), u, u.map((v) => v * v)];
  const smallest = Math.min(...size2);
  let model = size2.slice();
  let fit: LinearFit | null = null;
  for (let round = 0; round < 4; round++) {
    fit = robustColumns(
      columns,
      size2,
      model.map((m) => 1 / Math.max(m, smallest) ** 2),
    );
    if (fit === null) return null;
    const [c0, c1, c2] = fit.coefficients as [number, number, number];
    model = u.map((v) => c0 + c1 * v + c2 * v * v);
  }
  const [c0, c1, c2] = (fit as LinearFit).coefficients as [number, number, number];
  if (!(c2 > 0)) return null;
  const { weights, scatter } = fit as LinearFit;
  return {
    z0: mid - (span * c1) / (2 * c2),
    a2: c0 - (c1 * c1) / (4 * c2),
    b2: c2 / (span * span),
    weights,
    scatter,
    z0Error: errorOfMinimum(columns, model, smallest, fit as LinearFit) * span,
  };
}

/** Error of −c1/(2 c2) by the whole covariance. */
function errorOfMinimum(
  columns: readonly (readonly number[])[],
  model: readonly number[],
  smallest: number,
  { coefficients, weights, scatter }: LinearFit,
): number {
  const matrix = new Float64Array(9);
  model.forEach((m, i) => {
    const w = (weights[i] as number) / Math.max(m, smallest) ** 2;
    for (let j = 0; j < 3; j++) {
      for (let k = 0; k < 3; k++) {
        matrix[3 * j + k] =
          (matrix[3 * j + k] as number) +
          w * (columns[j]?.[i] as number) * (columns[k]?.[i] as number);
      }
    }
  });
  const [, c1, c2] = coefficients as [number, number, number];
  const gradient = [0, -1 / (2 * c2), c1 / (2 * c2 * c2)];
  const solved = Float64Array.from(gradient);
  if (!solveCholesky(matrix, solved, 3)) return Number.NaN;
  return (
    scatter *
    Math.sqrt(
      Math.max(
        0,
        gradient.reduce((s, g, i) => s + g * (solved[i] as number), 0),
      ),
    )
  );
}
