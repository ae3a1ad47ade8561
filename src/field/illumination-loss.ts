/** What a cell's residual costs, and how alike neighbouring residuals are. */
import type { SkyCells } from './illumination-cells.js';

/** Tukey's biweight at 95 % efficiency (Holland & Welsch 1977). */
const BIWEIGHT = 4.685;
/** Darker cells count with less weight from here on, but never drop out (Huber 1964, Ann. Math. Stat. 35, 73). */
const DARK_SIGMA = 2.5;
/** Blocks along the longer side in which neighbouring residuals are compared. */
const BLOCKS = 10;

/** Weight of a residual in σ: nebulae and stars brighten a cell and are left out; what darkens many cells is the fall-off itself. `soft`: bright cells only lose weight. */
export function weightOf(z: number, soft = false): number {
  if (soft && z > DARK_SIGMA) return DARK_SIGMA / z;
  if (z < 0) return z > -DARK_SIGMA ? 1 : -DARK_SIGMA / z;
  const u = z / BIWEIGHT;
  return u < 1 ? (1 - u * u) ** 2 : 0;
}

/** Twice the loss summed over the cells: near χ² for good ones, bounded for others. */
export function robustCost(cells: SkyCells, residual: Float64Array, cellErrorAdu: number): number {
  const unit = meanSpread(cells) / cellErrorAdu;
  const limit = (BIWEIGHT * BIWEIGHT) / 3;
  let sum = 0;
  for (let i = 0; i < cells.n; i++) {
    const z = (unit * (residual[i] as number)) / (cells.spread[i] as number);
    const u = (z / BIWEIGHT) ** 2;
    if (z < 0) sum += z > -DARK_SIGMA ? z * z : DARK_SIGMA * (2 * -z - DARK_SIGMA);
    else sum += u < 1 ? limit * (1 - (1 - u) ** 3) : limit;
  }
  return sum;
}

export function meanSpread(cells: SkyCells): number {
  let sum = 0;
  for (let i = 0; i < cells.n; i++) sum += cells.spread[i] as number;
  return sum / cells.n;
}

/**
 * Ratio of the scatter of means over blocks of cells to what independent cells would give: clouds, nebulae and the profile's own
 * misfit make neighbours alike. Corrected for the parameters fitted, which flatten large scales.
 */
export function clumpingOf(
  cells: SkyCells,
  z: Float64Array,
  weight: Float64Array,
  parameters: number,
): number {
  const side = Math.max(2, Math.round(Math.max(cells.cellsX, cells.cellsY) / BLOCKS));
  const blocksX = Math.ceil(cells.cellsX / side);
  const blocks = blocksX * Math.ceil(cells.cellsY / side);
  if (blocks < 2 * parameters) return 1;
  const sum = new Float64Array(blocks);
  const count = new Float64Array(blocks);
  let squares = 0;
  let used = 0;
  for (let i = 0; i < cells.n; i++) {
    // Cells that the fit left out say nothing of those it used.
    if ((weight[i] as number) < 0.1) continue;
    const cell = cells.cell[i] as number;
    const cx = cell % cells.cellsX;
    const cy = (cell - cx) / cells.cellsX;
    const block = Math.floor(cy / side) * blocksX + Math.floor(cx / side);
    sum[block] = (sum[block] as number) + (z[i] as number);
    count[block] = (count[block] as number) + 1;
    squares += (z[i] as number) ** 2;
    used++;
  }
  let means = 0;
  let full = 0;
  for (let b = 0; b < blocks; b++) {
    if ((count[b] as number) === 0) continue;
    means += (sum[b] as number) ** 2 / (count[b] as number);
    full++;
  }
  if (full < 2 * parameters || !(squares > 0)) return 1;
  return Math.max(1, means / (full - parameters) / (squares / (used - parameters)));
}
