/** Fall-off of the light about a free centre, times a sky that may be brighter on one side: a robust fit to the cells.
 *
 * light(r) = (1 + g·r) × (c₀ + Σ c_k B_k(|r − r₀|)), B_k(0) = 0. The sky's slope g multiplies, since the lens dims a bright side like
 * any other. For a fall-off that grows with the square of the distance, slope and shifted centre differ only in third order:
 * a weak prior on the centre carries what the cells do not decide, and the posterior shows it.
 */
import { robustLinear } from '../stats/regression.js';
import { madSigma } from '../stats/robust.js';
import { factorCholesky, solveCholesky } from '../stats/solve.js';
import { fillBasis, profileAt, type RadialBasis } from './illumination-basis.js';
import type { SkyCells } from './illumination-cells.js';
import { clumpingOf, meanSpread, weightOf } from './illumination-loss.js';

/** Prior of the centre of illumination against the frame's, half diagonals, 1 σ along each axis: cameras sit roughly in the middle. */
export const CENTRE_PRIOR = 0.15;
const ROUNDS = 40;
/** Slope of the sky over half a diagonal that is never exceeded: the sky stays positive. */
const SLOPE_PRIOR = 0.7;

/** Parameters: [c₀ … c_K, gx, gy, x₀, y₀]; light in units of `scale`. */
export interface RadialFit {
  basis: RadialBasis;
  p: Float64Array;
  /** Lower Cholesky factor of the posterior's inverse covariance, row-major. */
  factor: Float64Array;
  /** Light of 1, ADU. */
  scale: number;
  /** σ of a cell of mean spread, ADU. */
  cellErrorAdu: number;
  /** How much less neighbouring cells say than independent ones, ≥ 1. */
  clumping: number;
  /** Weight 0–1 that each cell had. */
  weight: Float64Array;
  residual: Float64Array;
}

/** Start: robust linear fit of profile and slope about the centre of a stiffer fit, or about the frame's. */
function startOf(
  cells: SkyCells,
  basis: RadialBasis,
  scale: number,
  stiffer: RadialFit | null,
): Float64Array | null {
  if (stiffer?.basis === basis) {
    const ratio = stiffer.scale / scale;
    return stiffer.p.map((value, j) => (j <= basis.size ? value * ratio : value));
  }
  const size = basis.size + 3;
  const columns = new Float64Array(cells.n * size);
  const b = new Float64Array(basis.size);
  const d = new Float64Array(basis.size);
  const values = new Float64Array(cells.n);
  const known = stiffer ? stiffer.p.subarray(stiffer.basis.size + 1) : new Float64Array(4);
  const [gx, gy, x0, y0] = known as unknown as [number, number, number, number];
  for (let i = 0; i < cells.n; i++) {
    const x = cells.x[i] as number;
    const y = cells.y[i] as number;
    fillBasis(basis, (x - x0) ** 2 + (y - y0) ** 2, b, d);
    const plane = 1 + gx * x + gy * y;
    columns[i * size] = 1;
    columns.set(b, i * size + 1);
    columns[i * size + size - 2] = x;
    columns[i * size + size - 1] = y;
    values[i] = (cells.light[i] as number) / (scale * plane);
  }
  const c = robustLinear(cells.n, size, columns, values, null);
  if (!c || !((c[0] as number) > 0)) return null;
  const p = new Float64Array(basis.size + 5);
  p.set(c.subarray(0, basis.size + 1));
  const limited = (slope: number): number => Math.max(-SLOPE_PRIOR, Math.min(SLOPE_PRIOR, slope));
  const top = c[0] as number;
  p[basis.size + 1] = limited(gx + (c[size - 2] as number) / top);
  p[basis.size + 2] = limited(gy + (c[size - 1] as number) / top);
  p[basis.size + 3] = x0;
  p[basis.size + 4] = y0;
  return p;
}

/** The same profile fitted to other cells, started from `fit`. */
export function refit(cells: SkyCells, fit: RadialFit): RadialFit | null {
  return fitBasis(cells, fit.basis, fit);
}

/**
 * Gauss–Newton with damping, weights from the biweight of the residuals renewed in every round.
 * @param stiffer fit to start from: its own parameters where the profile is the same, else its centre and slope
 * @param soft bright cells keep some weight: a start that does not lose corners which a first guess took for dark
 */
export function fitBasis(
  cells: SkyCells,
  basis: RadialBasis,
  stiffer: RadialFit | null,
  soft = false,
): RadialFit | null {
  const { n } = cells;
  const unit = meanSpread(cells);
  const scale = Math.abs(meanLight(cells));
  if (!(scale > 0)) return null;
  const p = startOf(cells, basis, scale, stiffer);
  if (!p) return null;
  const size = p.length;
  const residual = new Float64Array(n);
  const weight = new Float64Array(n).fill(1);
  const normal = new Float64Array(size * size);
  const right = new Float64Array(size);
  const jacobian = new Float64Array(n * size);
  const z = new Float64Array(n);
  let sigma = 0;
  let clumping = 1;
  let damping = 1e-3;
  let previous = Number.POSITIVE_INFINITY;
  const trial = p.slice();
  const evaluate = (q: Float64Array): void => {
    residuals(cells, basis, q, scale, residual);
    for (let i = 0; i < n; i++) {
      z[i] = ((residual[i] as number) * unit) / (cells.spread[i] as number);
    }
  };
  evaluate(p);
  for (let round = 0; round < ROUNDS; round++) {
    sigma = Math.max(madSigma(z, 0) * Math.sqrt(n / (n - size)), 1e-9);
    for (let i = 0; i < n; i++) {
      weight[i] = weightOf((z[i] as number) / sigma, soft);
    }
    clumping = clumpingOf(cells, z, weight, size);
    const noise = sigma * sigma * clumping;
    fillJacobian(cells, basis, p, jacobian);
    assemble(cells, jacobian, residual, weight, unit, noise, p, basis, normal, right);
    const cost = costOf(cells, z, weight, p, basis, noise);
    let improved = false;
    for (let attempt = 0; attempt < 8; attempt++) {
      const damped = normal.slice();
      for (let j = 0; j < size; j++) {
        damped[j * size + j] = (damped[j * size + j] as number) * (1 + damping);
      }
      const step = right.slice();
      if (solveCholesky(damped, step, size)) {
        for (let j = 0; j < size; j++) trial[j] = (p[j] as number) + (step[j] as number);
        evaluate(trial);
        if (costOf(cells, z, weight, trial, basis, noise) <= cost * (1 + 1e-12)) {
          p.set(trial);
          damping = Math.max(1e-9, damping / 10);
          improved = true;
          break;
        }
      }
      damping = Math.min(1e6, damping * 10);
    }
    if (!improved) {
      evaluate(p);
      break;
    }
    if (round > 4 && Math.abs(previous - cost) < 1e-5 * Math.max(1, cost)) break;
    previous = cost;
  }
  const factor = normal.slice();
  if (!factorCholesky(factor, size) || !((p[0] as number) > 0)) return null;
  for (let i = 0; i < n; i++) residual[i] = (residual[i] as number) * scale;
  return { basis, p, factor, scale, cellErrorAdu: sigma * scale, clumping, weight, residual };
}

/** A light level to divide by: the mean of the absolute values. */
function meanLight(cells: SkyCells): number {
  let sum = 0;
  for (let i = 0; i < cells.n; i++) sum += Math.abs(cells.light[i] as number);
  return sum / cells.n;
}

function residuals(
  cells: SkyCells,
  basis: RadialBasis,
  p: Float64Array,
  scale: number,
  out: Float64Array,
): void {
  const at = basis.size + 1;
  for (let i = 0; i < cells.n; i++) {
    const x = cells.x[i] as number;
    const y = cells.y[i] as number;
    const dx = x - (p[at + 2] as number);
    const dy = y - (p[at + 3] as number);
    const plane = 1 + (p[at] as number) * x + (p[at + 1] as number) * y;
    // Beyond the lit circle it is dark, not darker.
    const model = Math.max(0, plane * profileAt(basis, p, Math.sqrt(dx * dx + dy * dy)));
    out[i] = (cells.light[i] as number) / scale - model;
  }
}

function fillJacobian(
  cells: SkyCells,
  basis: RadialBasis,
  p: Float64Array,
  out: Float64Array,
): void {
  const at = basis.size + 1;
  const size = at + 4;
  const b = new Float64Array(basis.size);
  const d = new Float64Array(basis.size);
  for (let i = 0; i < cells.n; i++) {
    const x = cells.x[i] as number;
    const y = cells.y[i] as number;
    const dx = x - (p[at + 2] as number);
    const dy = y - (p[at + 3] as number);
    const plane = 1 + (p[at] as number) * x + (p[at + 1] as number) * y;
    fillBasis(basis, dx * dx + dy * dy, b, d);
    let profile = p[0] as number;
    let slope = 0;
    const row = i * size;
    out[row] = plane;
    for (let k = 0; k < basis.size; k++) {
      profile += (p[1 + k] as number) * (b[k] as number);
      slope += (p[1 + k] as number) * (d[k] as number);
      out[row + 1 + k] = plane * (b[k] as number);
    }
    if (!(plane * profile > 0)) {
      out.fill(0, row, row + size);
      continue;
    }
    out[row + at] = x * profile;
    out[row + at + 1] = y * profile;
    out[row + at + 2] = -plane * slope * dx;
    out[row + at + 3] = -plane * slope * dy;
  }
}

/** Normal equations in units of the noise, priors included. */
function assemble(
  cells: SkyCells,
  jacobian: Float64Array,
  residual: Float64Array,
  weight: Float64Array,
  unit: number,
  noise: number,
  p: Float64Array,
  basis: RadialBasis,
  normal: Float64Array,
  right: Float64Array,
): void {
  const size = p.length;
  normal.fill(0);
  right.fill(0);
  for (let i = 0; i < cells.n; i++) {
    const perCell = unit / (cells.spread[i] as number);
    const w = ((weight[i] as number) * perCell * perCell) / noise;
    for (let j = 0; j < size; j++) {
      const wj = w * (jacobian[i * size + j] as number);
      right[j] = (right[j] as number) + wj * (residual[i] as number);
      for (let k = 0; k <= j; k++) {
        normal[j * size + k] =
          (normal[j * size + k] as number) + wj * (jacobian[i * size + k] as number);
      }
    }
  }
  const at = basis.size + 1;
  for (let j = at; j < size; j++) {
    const precision = 1 / (j < at + 2 ? SLOPE_PRIOR : CENTRE_PRIOR) ** 2;
    normal[j * size + j] = (normal[j * size + j] as number) + precision;
    right[j] = (right[j] as number) - precision * (p[j] as number);
  }
}

function costOf(
  cells: SkyCells,
  z: Float64Array,
  weight: Float64Array,
  p: Float64Array,
  basis: RadialBasis,
  noise: number,
): number {
  let sum = 0;
  for (let i = 0; i < cells.n; i++) sum += ((weight[i] as number) * (z[i] as number) ** 2) / noise;
  const at = basis.size + 1;
  for (let j = at; j < p.length; j++) {
    sum += ((p[j] as number) / (j < at + 2 ? SLOPE_PRIOR : CENTRE_PRIOR)) ** 2;
  }
  return sum;
}
