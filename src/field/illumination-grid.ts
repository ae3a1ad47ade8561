/** Level and noise of the sky in a grid of small cells, per site lattice.
 *
 * Finer than the background mesh: at the edge of an image circle the level changes over a mesh cell by many times the noise, which
 * would count as noise there. Noise is taken from differences of neighbouring samples, to which a slope adds nothing.
 */
import type { ChannelPlan } from '../detect/lattice.js';
import { createFloatReader } from '../frame/convert.js';
import type { RowSource } from '../frame/frame.js';
import { clippedMean } from '../stats/robust.js';

/** Cells along the longer side, where they can be at least `SMALLEST_SIDE` samples of a lattice wide. */
const LONG_SIDE_CELLS = 48;
const SMALLEST_SIDE = 16;
/** Rows are skipped above this many samples a cell and lattice. */
const SAMPLE_GOAL = 1024;
const FEWEST_SAMPLES = 64;
const CLIP_SIGMA = 3;

/** Values per cell, lattice-major; NaN where a cell has too few samples. ADU. */
export interface SkyGrid {
  cellsX: number;
  cellsY: number;
  width: number;
  height: number;
  lattices: number;
  level: Float64Array;
  /** σ² of single samples. */
  variance: Float64Array;
  /** Mean column of the samples of a cell (per lattice and cell column), and mean row; px. */
  columnPx: Float64Array;
  rowPx: Float64Array;
  /** Samples that made each level. */
  samples: Float64Array;
  /** Smallest sample seen. */
  minimum: number;
}

/**
 * Measures the grid: clipped means. The light of faint stars stays in; it is dimmed like the sky and does not change ratios.
 * @throws FrameReadError when rows cannot be read
 */
export function measureSkyGrid(rows: RowSource, plan: ChannelPlan): SkyGrid {
  const { width, height } = rows;
  const read = createFloatReader(rows);
  const side = Math.max(SMALLEST_SIDE * plan.bin, Math.max(width, height) / LONG_SIDE_CELLS);
  const cellsX = Math.max(1, Math.floor(width / side));
  const cellsY = Math.max(1, Math.floor(height / side));
  const cells = cellsX * cellsY;
  const lattices = plan.lattices.length;
  const grid: SkyGrid = {
    cellsX,
    cellsY,
    width,
    height,
    lattices,
    level: new Float64Array(cells * lattices).fill(Number.NaN),
    variance: new Float64Array(cells * lattices).fill(Number.NaN),
    columnPx: new Float64Array(cellsX * lattices),
    rowPx: new Float64Array(cellsY * lattices),
    samples: new Float64Array(cells * lattices),
    minimum: Number.POSITIVE_INFINITY,
  };
  const isFloat = rows.sampleType === 'f32' || rows.sampleType === 'f64';
  const rounding = isFloat ? 0 : (rows.scale * rows.scale) / 12;
  const line = new Float32Array(width);
  const capacity = 4 * SAMPLE_GOAL + width;
  const values = Array.from({ length: cellsX }, () => new Float32Array(capacity));
  const differences = new Float32Array(capacity);
  const count = new Int32Array(cellsX);
  const out = new Float64Array(3);
  for (let cy = 0; cy < cellsY; cy++) {
    const top = evenStart(cy, cellsY, height);
    const bottom = evenStart(cy + 1, cellsY, height);
    for (let l = 0; l < lattices; l++) {
      const lattice = plan.lattices[l];
      if (!lattice) continue;
      const { x0, y0, step, plane } = lattice;
      const perRow = Math.ceil(width / cellsX / step);
      const lines = Math.ceil((bottom - top) / step);
      const skip = Math.max(1, Math.ceil((perRow * lines) / SAMPLE_GOAL));
      count.fill(0);
      const used = Math.ceil((bottom - top - y0) / (step * skip));
      grid.rowPx[l * cellsY + cy] = top + y0 + 0.5 * step * skip * (used - 1);
      for (let y = top + y0; y < bottom; y += step * skip) {
        read(plane, y, 1, line);
        for (let cx = 0; cx < cellsX; cx++) {
          const right = evenStart(cx + 1, cellsX, width);
          const list = values[cx] as Float32Array;
          let n = count[cx] as number;
          // Pairs of neighbours: each sample enters one difference.
          for (
            let x = evenStart(cx, cellsX, width) + x0;
            x + step < right && n + 1 < capacity;
            x += 2 * step
          ) {
            const a = line[x] as number;
            const b = line[x + step] as number;
            // Not finite: NaN, or an infinity.
            if (a - a !== 0 || b - b !== 0) continue;
            if (a < grid.minimum) grid.minimum = a;
            if (b < grid.minimum) grid.minimum = b;
            list[n++] = a;
            list[n++] = b;
          }
          count[cx] = n;
        }
      }
      for (let cx = 0; cx < cellsX; cx++) {
        const n = count[cx] as number;
        if (n < FEWEST_SAMPLES) continue;
        const list = values[cx] as Float32Array;
        for (let i = 0; i < n; i += 2) {
          differences[i >> 1] = (list[i + 1] as number) - (list[i] as number);
        }
        clippedMean(differences, n >> 1, CLIP_SIGMA, out);
        const cell = l * cells + cy * cellsX + cx;
        grid.variance[cell] = Math.max(0, 0.5 * (out[1] as number) ** 2 - rounding);
        clippedMean(list, n, CLIP_SIGMA, out);
        grid.level[cell] = out[0] as number;
        grid.samples[cell] = out[2] as number;
        const left = evenStart(cx, cellsX, width) + x0;
        const pairs = Math.floor((evenStart(cx + 1, cellsX, width) - left + step - 1) / (2 * step));
        grid.columnPx[l * cellsX + cx] = left + step * (pairs - 0.5);
      }
    }
  }
  return grid;
}

/** Even start of cell `i` of `n` along an axis of `size` samples, so that mosaic cells are never cut. */
function evenStart(i: number, n: number, size: number): number {
  return i === n ? size : Math.floor((i * size) / n / 2) * 2;
}
