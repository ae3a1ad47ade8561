/** The smooth background and its noise, per site lattice: a mesh of source-clipped estimates, interpolated smoothly.
 *
 * One streamed pass over the frame; a cell is judged on a regular subsample (its error is averaged down by the
 * 3 × 3 median and the interpolation, and every star's own annulus removes what is left).
 */
import type { FloatReader } from '../frame/convert.js';
import { clippedSky } from '../stats/robust.js';
import { medianInPlace } from '../stats/select.js';
import type { ChannelPlan, Lattice } from './lattice.js';

/** Mesh of one frame. `level` and `noise` hold one value per cell, lattice-major. */
export interface BackgroundMesh {
  cellsX: number;
  cellsY: number;
  width: number;
  height: number;
  lattices: number;
  level: Float64Array;
  noise: Float64Array;
  /** Frame-wide medians per lattice: level, noise. */
  medianLevel: Float64Array;
  medianNoise: Float64Array;
  /** 1 σ of the frame-wide level and noise per lattice, from the scatter of the cells. */
  medianLevelError: Float64Array;
  medianNoiseError: Float64Array;
  /** Share of samples without value (NaN, BLANK). */
  emptyShare: number;
  /** Smallest and largest sample seen by the mesh. */
  minimum: number;
  maximum: number;
}

/** Samples examined over all cells and lattices: enough for 4 % of σ a cell on large frames. */
const SAMPLE_BUDGET = 1_600_000;
const LARGEST_CELL_SAMPLE = 4096;
const SMALLEST_CELL_SAMPLE = 200;

/** Cell side in sensor samples: 64, or 128 on frames above four megapixels; never more than a quarter of the side. */
function meshCells(width: number, height: number): { cellsX: number; cellsY: number } {
  const side = width * height > 4e6 ? 128 : 64;
  return {
    cellsX: Math.max(1, Math.min(Math.round(width / side), Math.floor(width / 16))),
    cellsY: Math.max(1, Math.min(Math.round(height / side), Math.floor(height / 16))),
  };
}

/** Even start of cell `i` of `n` along an axis of `size` samples, so that mosaic cells are never cut. */
function cellStart(i: number, n: number, size: number): number {
  return i === n ? size : Math.floor((i * size) / n / 2) * 2;
}

/** Deterministic dither in [−0.5, 0.5): undoes the quantisation of integer samples before a median is taken. */
function ditherOf(index: number): number {
  let h = Math.imul(index ^ 0x9e3779b9, 0x85ebca6b);
  h ^= h >>> 13;
  h = Math.imul(h, 0xc2b2ae35);
  return ((h ^ (h >>> 16)) >>> 0) / 4294967296 - 0.5;
}

/**
 * Builds the mesh.
 * @param quantum step between integer samples in physical units (0 for floats): samples are dithered by it
 */
export function buildBackground(
  read: FloatReader,
  plan: ChannelPlan,
  width: number,
  height: number,
  quantum: number,
): BackgroundMesh {
  const { cellsX, cellsY } = meshCells(width, height);
  const lattices = plan.lattices.length;
  const cells = cellsX * cellsY;
  const level = new Float64Array(cells * lattices).fill(Number.NaN);
  const noise = new Float64Array(cells * lattices).fill(Number.NaN);
  const sampleGoal = Math.max(
    SMALLEST_CELL_SAMPLE,
    Math.min(LARGEST_CELL_SAMPLE, Math.floor(SAMPLE_BUDGET / (cells * lattices))),
  );
  let tallest = 0;
  for (let cy = 0; cy < cellsY; cy++) {
    tallest = Math.max(tallest, cellStart(cy + 1, cellsY, height) - cellStart(cy, cellsY, height));
  }
  const window = new Float32Array(width * tallest);
  const stats = new Float64Array(3);
  // Every skip-th site along both axes: a regular subsample of a cell.
  const skipFor = (rows: number, step: number): number => {
    const sites = Math.ceil(width / cellsX / step) * Math.ceil(rows / step);
    return Math.max(1, Math.ceil(Math.sqrt(sites / sampleGoal)));
  };
  const sampling: Sampling = {
    values: new Float32Array(LARGEST_CELL_SAMPLE + 512),
    seen: 0,
    empty: 0,
    minimum: Number.POSITIVE_INFINITY,
    maximum: Number.NEGATIVE_INFINITY,
  };

  for (let cy = 0; cy < cellsY; cy++) {
    const top = cellStart(cy, cellsY, height);
    const rows = cellStart(cy + 1, cellsY, height) - top;
    for (let plane = 0; plane < plan.planes; plane++) {
      if (!plan.lattices.some((lattice) => lattice.plane === plane)) continue;
      const wanted = new Uint8Array(rows);
      for (let l = 0; l < lattices; l++) {
        const lattice = plan.lattices[l];
        if (lattice?.plane !== plane) continue;
        const skip = skipFor(rows, lattice.step);
        for (let y = lattice.y0; y < rows; y += lattice.step * skip) wanted[y] = 1;
      }
      for (let y = 0; y < rows; ) {
        let end = y;
        while (end < rows && wanted[end] === 1) end++;
        if (end > y) read(plane, top + y, end - y, window, y * width);
        y = end + 1;
      }
      for (let l = 0; l < lattices; l++) {
        const lattice = plan.lattices[l];
        if (!lattice || lattice.plane !== plane) continue;
        const skip = skipFor(rows, lattice.step);
        for (let cx = 0; cx < cellsX; cx++) {
          const left = cellStart(cx, cellsX, width);
          const right = cellStart(cx + 1, cellsX, width);
          const n = sampleCell(window, width, left, right, rows, lattice, skip, quantum, sampling);
          if (n < 16) continue;
          clippedSky(sampling.values, n, stats);
          const cell = l * cells + cy * cellsX + cx;
          level[cell] = stats[0] as number;
          const s = stats[1] as number;
          noise[cell] = Math.sqrt(Math.max(0, s * s - (quantum * quantum) / 12));
        }
      }
    }
  }

  const medianLevel = new Float64Array(lattices).fill(Number.NaN);
  const medianNoise = new Float64Array(lattices).fill(Number.NaN);
  const medianLevelError = new Float64Array(lattices).fill(Number.NaN);
  const medianNoiseError = new Float64Array(lattices).fill(Number.NaN);
  const list = new Float32Array(cells);
  for (let l = 0; l < lattices; l++) {
    const from = l * cells;
    [medianLevel[l], medianLevelError[l]] = robustMedian(level, from, cells, list);
    [medianNoise[l], medianNoiseError[l]] = robustMedian(noise, from, cells, list);
    smoothMesh(level, from, cellsX, cellsY, medianLevel[l] as number);
    smoothMesh(noise, from, cellsX, cellsY, medianNoise[l] as number);
  }
  return {
    cellsX,
    cellsY,
    width,
    height,
    lattices,
    level,
    noise,
    medianLevel,
    medianNoise,
    medianLevelError,
    medianNoiseError,
    emptyShare: sampling.seen === 0 ? 1 : sampling.empty / sampling.seen,
    minimum: sampling.minimum,
    maximum: sampling.maximum,
  };
}

/** Median of the cells with a value, and its 1 σ from their scatter. */
function robustMedian(
  values: Float64Array,
  from: number,
  cells: number,
  list: Float32Array,
): [number, number] {
  let n = 0;
  for (let i = from; i < from + cells; i++) {
    const value = values[i] as number;
    if (value === value) list[n++] = value;
  }
  const median = medianInPlace(list, n);
  for (let i = 0; i < n; i++) list[i] = Math.abs((list[i] as number) - median);
  return [median, (1.4826 * medianInPlace(list, n) * 1.2533) / Math.sqrt(Math.max(1, n))];
}

/** Samples of one cell, and what all cells have seen so far. */
interface Sampling {
  values: Float32Array;
  seen: number;
  empty: number;
  minimum: number;
  maximum: number;
}

/** Fills `into.values` with every `skip`-th site of a lattice in a cell; returns how many hold a value. */
function sampleCell(
  window: Float32Array,
  width: number,
  left: number,
  right: number,
  rows: number,
  lattice: Lattice,
  skip: number,
  quantum: number,
  into: Sampling,
): number {
  const { x0, y0, step } = lattice;
  const { values } = into;
  let { seen, empty, minimum, maximum } = into;
  let n = 0;
  for (let y = y0; y < rows; y += step * skip) {
    // Shift every sampled row so that columns of a defect are not sampled again and again.
    const shift = skip > 1 ? ((y / step) | 0) % skip : 0;
    const base = y * width;
    for (let x = left + x0 + shift * step; x < right; x += step * skip) {
      const value = window[base + x] as number;
      seen++;
      // Not finite: NaN, or an infinity.
      if (value - value !== 0) {
        empty++;
        continue;
      }
      if (value < minimum) minimum = value;
      if (value > maximum) maximum = value;
      values[n++] = quantum > 0 ? value + quantum * ditherOf(seen) : value;
    }
  }
  into.seen = seen;
  into.empty = empty;
  into.minimum = minimum;
  into.maximum = maximum;
  return n;
}

/** 3 × 3 median over the mesh, in place through a copy: a cell full of nebula or a bright star gives way to its neighbours. Empty cells take the median of their neighbours, or `fallback`. */
function smoothMesh(
  values: Float64Array,
  from: number,
  cellsX: number,
  cellsY: number,
  fallback: number,
): void {
  const copy = values.slice(from, from + cellsX * cellsY);
  const near = new Float32Array(9);
  for (let cy = 0; cy < cellsY; cy++) {
    for (let cx = 0; cx < cellsX; cx++) {
      let n = 0;
      for (let dy = -1; dy <= 1; dy++) {
        for (let dx = -1; dx <= 1; dx++) {
          const x = cx + dx;
          const y = cy + dy;
          if (x < 0 || y < 0 || x >= cellsX || y >= cellsY) continue;
          const value = copy[y * cellsX + x] as number;
          if (value === value) near[n++] = value;
        }
      }
      values[from + cy * cellsX + cx] = n > 0 ? medianInPlace(near, n) : fallback;
    }
  }
}
