/** Galaxies, nebulae and clusters in the cells: what the fit leaves out as too bright has wings that it does not see. */
import { cellsWhere, type SkyCells } from './illumination-cells.js';
import type { RadialFit } from './illumination-solve.js';

/** Cells side by side from which on they are an object rather than a bright star. */
const FEWEST_CELLS = 4;
/** Weight below which a cell counts as left out. */
const LEFT_OUT = 0.1;
/** How far an object is taken to reach beyond its cells: this share of its radius, and so many cells more. */
const GROWTH = 0.5;
const MARGIN = 1;

/** The cells away from bright objects; null when there are none. */
export function withoutObjects(cells: SkyCells, fit: RadialFit): SkyCells | null {
  const { cellsX, cellsY, n } = cells;
  const bright = new Uint8Array(cellsX * cellsY);
  for (let i = 0; i < n; i++) {
    if ((fit.weight[i] as number) < LEFT_OUT && (fit.residual[i] as number) > 0) {
      bright[cells.cell[i] as number] = 1;
    }
  }
  const covered = new Uint8Array(cellsX * cellsY);
  let found = false;
  for (let start = 0; start < bright.length; start++) {
    if (bright[start] !== 1) continue;
    const object = collect(bright, cellsX, cellsY, start);
    if (object.length < FEWEST_CELLS) continue;
    found = true;
    const radius = MARGIN + GROWTH * Math.sqrt(object.length / Math.PI);
    for (const cell of object) cover(covered, cellsX, cellsY, cell, radius);
  }
  return found ? cellsWhere(cells, (i) => covered[cells.cell[i] as number] === 0) : null;
}

/** Cells joined to `start` by their sides or corners; they are marked as seen. */
function collect(bright: Uint8Array, cellsX: number, cellsY: number, start: number): number[] {
  const object = [start];
  bright[start] = 2;
  for (const cell of object) {
    const cx = cell % cellsX;
    const cy = (cell - cx) / cellsX;
    for (let y = Math.max(0, cy - 1); y <= Math.min(cellsY - 1, cy + 1); y++) {
      for (let x = Math.max(0, cx - 1); x <= Math.min(cellsX - 1, cx + 1); x++) {
        const other = y * cellsX + x;
        if (bright[other] !== 1) continue;
        bright[other] = 2;
        object.push(other);
      }
    }
  }
  return object;
}

function cover(
  covered: Uint8Array,
  cellsX: number,
  cellsY: number,
  cell: number,
  radius: number,
): void {
  const cx = cell % cellsX;
  const cy = (cell - cx) / cellsX;
  const reach = Math.floor(radius);
  for (let y = Math.max(0, cy - reach); y <= Math.min(cellsY - 1, cy + reach); y++) {
    for (let x = Math.max(0, cx - reach); x <= Math.min(cellsX - 1, cx + reach); x++) {
      if ((x - cx) ** 2 + (y - cy) ** 2 <= radius * radius) covered[y * cellsX + x] = 1;
    }
  }
}
