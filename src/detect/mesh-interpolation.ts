/** The background mesh between its cells: bicubic Catmull–Rom, at single points or along whole rows. */
import type { BackgroundMesh } from './background.js';

/** Index and Catmull–Rom weights along one axis: `out` = [i0, w−1, w0, w1, w2]. Cell centres carry the values; beyond the outermost ones the value is kept. */
function axisWeights(position: number, size: number, cells: number, out: Float64Array): void {
  const u = Math.max(0, Math.min(cells - 1, ((position + 0.5) * cells) / size - 0.5));
  const i = Math.min(cells - 1, Math.floor(u));
  const t = u - i;
  const t2 = t * t;
  const t3 = t2 * t;
  out[0] = i;
  out[1] = 0.5 * (-t3 + 2 * t2 - t);
  out[2] = 0.5 * (3 * t3 - 5 * t2 + 2);
  out[3] = 0.5 * (-3 * t3 + 4 * t2 + t);
  out[4] = 0.5 * (t3 - t2);
}

const weightsX = new Float64Array(5);
const weightsY = new Float64Array(5);

/** Background (from `mesh.level`) or noise (from `mesh.noise`) of lattice `l` at a sample position: bicubic Catmull–Rom. */
export function meshAt(
  mesh: BackgroundMesh,
  values: Float64Array,
  l: number,
  x: number,
  y: number,
): number {
  const { cellsX, cellsY } = mesh;
  axisWeights(x, mesh.width, cellsX, weightsX);
  axisWeights(y, mesh.height, cellsY, weightsY);
  const from = l * cellsX * cellsY;
  let sum = 0;
  for (let j = -1; j <= 2; j++) {
    const cy = Math.max(0, Math.min(cellsY - 1, (weightsY[0] as number) + j));
    let row = 0;
    for (let i = -1; i <= 2; i++) {
      const cx = Math.max(0, Math.min(cellsX - 1, (weightsX[0] as number) + i));
      row += (weightsX[i + 2] as number) * (values[from + cy * cellsX + cx] as number);
    }
    sum += (weightsY[j + 2] as number) * row;
  }
  return sum;
}

/** Fills the nodes of interpolated rows; made by `createRowInterpolator`. */
export interface RowInterpolator {
  /** Number of nodes: columns are covered by pieces between them. */
  nodes: number;
  /** Values of lattice `l` at row `y` and the nodes' columns. */
  fill(values: Float64Array, l: number, y: number, out: Float32Array): void;
}

/**
 * Interpolates the mesh along rows at columns x0 + i·step, i < columns: as `meshAt` on every `piece`-th column. Straight lines in between
 * stay within 2.5 % of the difference between neighbouring cells for pieces of eight (cells are at least 64 samples wide).
 */
export function createRowInterpolator(
  mesh: BackgroundMesh,
  x0: number,
  step: number,
  columns: number,
  piece: number,
): RowInterpolator {
  const { cellsX } = mesh;
  const nodes = Math.ceil(columns / piece) + 1;
  const index = new Int32Array(nodes);
  const w = new Float64Array(nodes * 4);
  for (let i = 0; i < nodes; i++) {
    axisWeights(x0 + i * piece * step, mesh.width, cellsX, weightsX);
    index[i] = weightsX[0] as number;
    for (let k = 0; k < 4; k++) w[i * 4 + k] = weightsX[k + 1] as number;
  }
  // One padded cell on the left, two on the right: no clamping in the loop.
  const padded = new Float64Array(cellsX + 3);
  return {
    nodes,
    fill: (values, l, y, out) => {
      combineRows(mesh, values, l, y, padded);
      fillNodes(padded, index, w, nodes, out);
    },
  };
}

/** One row of the mesh interpolated downwards, padded by one cell on the left and two on the right. */
function combineRows(
  mesh: BackgroundMesh,
  values: Float64Array,
  l: number,
  y: number,
  padded: Float64Array,
): void {
  const { cellsX, cellsY } = mesh;
  axisWeights(y, mesh.height, cellsY, weightsY);
  const from = l * cellsX * cellsY;
  for (let p = 0; p < cellsX + 3; p++) {
    const cx = Math.max(0, Math.min(cellsX - 1, p - 1));
    let sum = 0;
    for (let j = -1; j <= 2; j++) {
      const cy = Math.max(0, Math.min(cellsY - 1, (weightsY[0] as number) + j));
      sum += (weightsY[j + 2] as number) * (values[from + cy * cellsX + cx] as number);
    }
    padded[p] = sum;
  }
}

function fillNodes(
  padded: Float64Array,
  index: Int32Array,
  w: Float64Array,
  nodes: number,
  out: Float32Array,
): void {
  for (let i = 0; i < nodes; i++) {
    const c = index[i] as number;
    const k = i * 4;
    out[i] =
      (w[k] as number) * (padded[c] as number) +
      (w[k + 1] as number) * (padded[c + 1] as number) +
      (w[k + 2] as number) * (padded[c + 2] as number) +
      (w[k + 3] as number) * (padded[c + 3] as number);
  }
}
