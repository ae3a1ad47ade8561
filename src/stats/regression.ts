/** Robust straight-line and surface fits over star lists. */
import { madSigma } from './robust.js';
import { solveCholesky } from './solve.js';

/**
 * Robust linear least squares: value ≈ Σ c_k basis_k(row), by iteratively reweighted least squares with Tukey's biweight
 * at 4.685 σ (Holland & Welsch 1977, Commun. Stat. A6, 813) and σ from the MAD of the residuals.
 * @param rows number of data
 * @param columns basis values, row-major, `size` per row
 * @param weights prior weights (1/σ²) or null
 * @param robust receives the final biweights (length `rows`)
 * @returns coefficients, or null when there are fewer data than coefficients or they do not determine them
 */
export function robustLinear(
  rows: number,
  size: number,
  columns: Float64Array,
  values: ArrayLike<number>,
  weights: ArrayLike<number> | null,
  robust: Float64Array = new Float64Array(rows),
): Float64Array | null {
  if (rows < size) return null;
  const c = new Float64Array(size);
  robust.fill(1);
  const normal = new Float64Array(size * size);
  const residual = new Float64Array(rows);
  for (let round = 0; round < 12; round++) {
    normal.fill(0);
    const right = new Float64Array(size);
    for (let i = 0; i < rows; i++) {
      const w = (robust[i] as number) * (weights ? (weights[i] as number) : 1);
      for (let j = 0; j < size; j++) {
        const bj = w * (columns[i * size + j] as number);
        right[j] = (right[j] as number) + bj * (values[i] as number);
        for (let k = 0; k <= j; k++) {
          normal[j * size + k] =
            (normal[j * size + k] as number) + bj * (columns[i * size + k] as number);
        }
      }
    }
    if (!solveCholesky(normal, right, size)) return null;
    let change = 0;
    for (let j = 0; j < size; j++) {
      change = Math.max(change, Math.abs((right[j] as number) - (c[j] as number)));
      c[j] = right[j] as number;
    }
    for (let i = 0; i < rows; i++) {
      let model = 0;
      for (let j = 0; j < size; j++) model += (c[j] as number) * (columns[i * size + j] as number);
      const scale = weights ? Math.sqrt(weights[i] as number) : 1;
      residual[i] = ((values[i] as number) - model) * scale;
    }
    const sigma = madSigma(residual, 0);
    if (!(sigma > 0) || (round > 2 && change < 1e-9)) break;
    for (let i = 0; i < rows; i++) {
      const u = (residual[i] as number) / (4.685 * sigma);
      robust[i] = Math.abs(u) < 1 ? (1 - u * u) ** 2 : 0;
    }
  }
  return c;
}

/** Quadratic surface 1, u, v, u², uv, v²; null when undetermined. */
export function robustQuadratic(
  u: readonly number[],
  v: readonly number[],
  values: readonly number[],
): Float64Array | null {
  const columns = new Float64Array(u.length * 6);
  for (let i = 0; i < u.length; i++) {
    const a = u[i] as number;
    const b = v[i] as number;
    columns.set([1, a, b, a * a, a * b, b * b], i * 6);
  }
  return robustLinear(u.length, 6, columns, values, null);
}
