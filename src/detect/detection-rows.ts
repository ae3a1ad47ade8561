/** The matched-filtered detection image, row by row.
 *
 * It has one sample per cell (2 × 2 sites of a mosaic, else one sample per pixel): the lattices' background-subtracted values combined
 * with weights 1/σ², scaled to unit noise after the filter. It is never held whole: a ring of horizontally filtered rows and the last three
 * finished rows are all that is kept. O(pixels × filter height); the loops are those of simd/kernels.ts.
 */
import type { FloatReader } from '../frame/convert.js';
import { createKernels, createLayout, type Kernels } from '../simd/kernels.js';
import { type BackgroundMesh, createRowInterpolator } from './background.js';
import type { ChannelPlan } from './lattice.js';

const { fround } = Math;

/** Noise of a lattice, as a share of the loudest one's, below which it weighs no more. */
const QUIETEST_SHARE = 0.3;
/** Detection rows read at a time. */
const BATCH = 16;
/** Finished rows that are kept: one and its two neighbours. */
const KEPT = 3;
/** The background changes over cells of 64 samples: one interpolated row serves so many. */
const BACKGROUND_ROWS = 4;
/** Columns of one straight piece of the interpolated background. */
const PIECE = 8;

export interface DetectionRows {
  columns: number;
  rows: number;
  /**
   * Filters the next row, the first call row 0; `rows` + 1 calls may be made, since the light of the last row spills over the border.
   * @returns number of groups of four columns that hold a value at or above the threshold
   */
  next(): number;
  /** A finished row, one of the last three. */
  row(row: number): Float32Array;
  /** First columns of the groups found in that row, as many as `next` said, ascending. */
  hits(row: number): Int32Array;
}

/** One-dimensional Gaussian of the given FWHM, normalised to sum 1, cut at 2.2 σ (at least one sample each side). */
export function gaussianKernel(fwhm: number): Float32Array {
  const sigma = fwhm / 2.354820045;
  const half = Math.max(1, Math.ceil(2.2 * sigma));
  const kernel = new Float32Array(2 * half + 1);
  let sum = 0;
  for (let i = -half; i <= half; i++) {
    const value = Math.exp((-0.5 * i * i) / (sigma * sigma));
    kernel[i + half] = value;
    sum += value;
  }
  for (let i = 0; i < kernel.length; i++) kernel[i] = (kernel[i] as number) / sum;
  return kernel;
}

/**
 * Weight of each lattice: 1/σ², scaled so that the combined image has unit noise, then 1/Σk² so that the filtered one has too. A lattice far
 * quieter than the others is more likely dead than good: its weight is capped.
 */
function latticeWeights(noise: Float64Array, kernel: Float32Array): number[] {
  const squares = kernel.reduce((sum, k) => sum + k * k, 0);
  const loudest = Math.max(...Array.from(noise).filter((sigma) => sigma > 0), 0);
  const raw = Array.from(noise, (sigma) =>
    sigma > 0 ? 1 / Math.max(sigma, QUIETEST_SHARE * loudest) ** 2 : 0,
  );
  const total = Math.sqrt(
    raw.reduce((sum, w, l) => sum + (w === 0 ? 0 : (w * (noise[l] as number)) ** 2), 0),
  );
  return raw.map((w) => (total > 0 ? w / (total * squares) : 0));
}

/** One mesh for the weighted sum of all lattices: levels are combined before they are interpolated. */
function combinedLevel(mesh: BackgroundMesh, weights: readonly number[]): Float64Array {
  const cells = mesh.cellsX * mesh.cellsY;
  const level = new Float64Array(cells);
  weights.forEach((weight, l) => {
    if (weight === 0) return;
    for (let i = 0; i < cells; i++) {
      level[i] = (level[i] as number) + weight * (mesh.level[l * cells + i] as number);
    }
  });
  return level;
}

/** Kernels of the last search, kept: fresh memory costs more than the arithmetic on it. */
let workspace: Kernels | null = null;

/**
 * Prepares the rows. One search at a time: the next call takes the memory over.
 * @param kernelFwhmPx FWHM of the matched filter in sensor pixels
 * @param threshold value from which `next` reports groups
 */
export function createDetectionRows(
  read: FloatReader,
  plan: ChannelPlan,
  mesh: BackgroundMesh,
  width: number,
  height: number,
  kernelFwhmPx: number,
  threshold: number,
): DetectionRows {
  const { bin, planes } = plan;
  const columns = Math.floor(width / bin);
  const rows = Math.floor(height / bin);
  const kernel = gaussianKernel(Math.max(1.2, kernelFwhmPx / bin));
  const half = (kernel.length - 1) / 2;
  const taps = kernel.length;
  const weights = latticeWeights(mesh.medianNoise, kernel);
  const level = combinedLevel(mesh, weights);
  const middle = 0.5 * (bin - 1);
  const interpolator = createRowInterpolator(mesh, middle, bin, columns, PIECE);
  const pieces = interpolator.nodes - 1;
  const stored = bin === 2 && planes === 1 ? (read.stored16 ?? null) : null;

  const layout = createLayout();
  const stride = Math.ceil(columns / 4) * 4;
  const rowBytes = 4 * stride;
  const samplesAt = layout.take(stored ? 2 * BATCH * bin * width : 0);
  // Loops finish their last group of four: what they read beyond a row is never used, but must be there.
  const combinedAt = layout.take(16 + 4 * half + rowBytes + 4 * half) + 4 * half;
  const backgroundAt = layout.take(Math.max(rowBytes, 4 * PIECE * pieces));
  const nodesAt = layout.take(4 * (pieces + 1));
  const kernelAt = layout.take(4 * (half + 1));
  const ringAt = layout.take(taps * rowBytes);
  const finishedAt = layout.take(KEPT * rowBytes);
  const rowsAt = layout.take(4 * taps);
  const hitsAt = layout.take(KEPT * rowBytes);
  if (!workspace || workspace.buffer.byteLength < layout.size) {
    workspace = createKernels(layout.size);
  }
  const kernels = workspace;
  const { buffer } = kernels;
  new Float32Array(buffer, kernelAt, half + 1).set(kernel.subarray(half));
  const ring = new Float32Array(buffer, ringAt, taps * stride);
  ring.fill(0);
  const nodes = new Float32Array(buffer, nodesAt, pieces + 1);
  const background = new Float32Array(buffer, backgroundAt, columns);
  const padded = new Float32Array(buffer, combinedAt - 4 * half, stride + 2 * half);
  padded.fill(0);
  const combined = padded.subarray(half);
  const ringRows = new Int32Array(buffer, rowsAt, taps);
  const samples = stored ? new Uint16Array(buffer, samplesAt, BATCH * bin * width) : null;
  const window = stored ? null : new Float32Array(planes * BATCH * bin * width);
  const [w0 = 0, w1 = 0, w2 = 0, w3 = 0] = weights;
  // Rows above the frame were never written: zeros.
  let combinedRows = 0;
  let finished = 0;

  const readBatch = (top: number): void => {
    const count = Math.min(BATCH, rows - top);
    if (stored && samples) {
      stored.readRows(0, top * bin, count * bin, samples);
    } else if (window) {
      for (let plane = 0; plane < planes; plane++) {
        read(plane, top * bin, count * bin, window, plane * BATCH * bin * width);
      }
    }
  };
  const addRow = (row: number): void => {
    const slot = row % taps;
    if (row >= rows) {
      // Rows beyond the frame count as empty sky.
      ring.fill(0, slot * stride, (slot + 1) * stride);
      return;
    }
    const j = row % BATCH;
    if (j === 0) readBatch(row);
    if (row % BACKGROUND_ROWS === 0) {
      interpolator.fill(level, 0, (row + 0.5 * (BACKGROUND_ROWS - 1)) * bin + middle, nodes);
      kernels.ramp(nodesAt, backgroundAt, pieces);
    }
    if (stored) {
      const top = samplesAt + 4 * j * width;
      const bottom = top + 2 * width;
      kernels.cells16(top, bottom, backgroundAt, combinedAt, columns, w0, w1, w2, w3);
      combined.fill(0, columns, stride);
    } else if (window && bin === 2) {
      combineCells(window, 2 * j * width, width, weights, background, combined, columns);
    } else if (window) {
      combinePlanes(window, j * width, BATCH * width, weights, background, combined, columns);
    }
    kernels.filterRow(combinedAt, kernelAt, half, ringAt + slot * rowBytes, columns);
  };

  return {
    columns,
    rows,
    next() {
      for (; combinedRows <= finished + half; combinedRows++) addRow(combinedRows);
      for (let j = 0; j < taps; j++) {
        ringRows[j] = ringAt + ((finished + j - half + taps) % taps) * rowBytes;
      }
      const out = (finished % KEPT) * rowBytes;
      finished++;
      // A hair below the threshold, which is no 32-bit number: whoever looks at the groups decides.
      const limit = threshold * (1 - 1e-6);
      return kernels.filterColumns(
        rowsAt,
        kernelAt,
        half,
        finishedAt + out,
        columns,
        limit,
        hitsAt + out,
      );
    },
    row: (row) => new Float32Array(buffer, finishedAt + (row % KEPT) * rowBytes, columns),
    hits: (row) => new Int32Array(buffer, hitsAt + (row % KEPT) * rowBytes, stride / 4),
  };
}

/**
 * One row of 2 × 2 cells of a mosaic: weighted sum of the four sites (lattice order (0,0), (1,0), (0,1), (1,1)) minus the
 * background of that sum. A cell with a sample without value counts as empty sky. The arithmetic is that of the kernel for 16-bit samples: the
 * sample type must not matter.
 */
function combineCells(
  window: Float32Array,
  top: number,
  width: number,
  weights: readonly number[],
  background: Float32Array,
  combined: Float32Array,
  columns: number,
): void {
  const w0 = weights[0] as number;
  const w1 = weights[1] as number;
  const w2 = weights[2] as number;
  const w3 = weights[3] as number;
  // A lattice without any value has no weight; reading a live site in its place keeps 0 × NaN out of the sum.
  const places = [top, top + 1, top + width, top + width + 1];
  const live = places[weights.findIndex((w) => w !== 0)] ?? top;
  const p0 = w0 === 0 ? live : (places[0] as number);
  const p1 = w1 === 0 ? live : (places[1] as number);
  const p2 = w2 === 0 ? live : (places[2] as number);
  const p3 = w3 === 0 ? live : (places[3] as number);
  const v0 = fround(w0);
  const v1 = fround(w1);
  const v2 = fround(w2);
  const v3 = fround(w3);
  for (let x = 0; x < columns; x++) {
    const i = 2 * x;
    const upper = fround(
      fround(v0 * (window[p0 + i] as number)) + fround(v1 * (window[p1 + i] as number)),
    );
    const lower = fround(
      fround(v2 * (window[p2 + i] as number)) + fround(v3 * (window[p3 + i] as number)),
    );
    const sum = fround(fround(upper + lower) - (background[x] as number));
    combined[x] = sum - sum === 0 ? sum : 0;
  }
}

/** The same for one or three planes at full resolution. */
function combinePlanes(
  window: Float32Array,
  row: number,
  planeStride: number,
  weights: readonly number[],
  background: Float32Array,
  combined: Float32Array,
  columns: number,
): void {
  for (let x = 0; x < columns; x++) {
    let sum = -(background[x] as number);
    for (let plane = 0; plane < weights.length; plane++) {
      const w = weights[plane] as number;
      if (w !== 0) sum += w * (window[plane * planeStride + row + x] as number);
    }
    combined[x] = sum - sum === 0 ? sum : 0;
  }
}
