/** The matched-filtered detection image, row by row.
 *
 * It has one sample per cell (2 × 2 sites of a mosaic, else one sample per pixel): the lattices' background-subtracted values combined
 * with weights 1/σ², scaled to unit noise after the filter. It is never held whole: a ring of horizontally filtered rows and the last three
 * finished rows are all that is kept. O(pixels × filter height); the loops are those of simd/kernels.ts.
 */
import type { FloatReader } from '../frame/convert.js';
import type { RowSource } from '../frame/frame.js';
import { createKernels, createLayout, type Kernels } from '../simd/kernels.js';
import type { BackgroundMesh } from './background.js';
import { combineCells, combinedLevel, combinePlanes, latticeWeights } from './combine-lattices.js';
import type { ChannelPlan } from './lattice.js';
import { createRowInterpolator, type RowInterpolator } from './mesh-interpolation.js';

/** Detection rows read at a time. */
const BATCH = 16;
/** Finished rows that are kept: one and its two neighbours. */
const KEPT = 3;
/** The background changes over cells of 64 samples: one interpolated row serves so many. */
const BACKGROUND_ROWS = 4;
/** Columns of one straight piece of the interpolated background. */
const PIECE = 8;

/** What the rows are made with. `nextRow`, `finishedRow` and `hitGroups` work on it. */
export interface DetectionRows {
  columns: number;
  rows: number;
  read: FloatReader;
  plan: ChannelPlan;
  width: number;
  /** Rows of unsigned 16-bit samples, and their batch; or the batch of physical values. */
  stored: RowSource | null;
  samples: Uint16Array | null;
  window: Float32Array | null;
  weights: readonly number[];
  level: Float64Array;
  interpolator: RowInterpolator;
  /** Filter: half its height, and its full height. */
  half: number;
  taps: number;
  threshold: number;
  kernels: Kernels;
  /** Columns with padding, and bytes of such a row. */
  stride: number;
  rowBytes: number;
  at: Addresses;
  ring: Float32Array;
  ringRows: Int32Array;
  nodes: Float32Array;
  background: Float32Array;
  combined: Float32Array;
  /** The kept rows and the groups found in each. */
  kept: Float32Array[];
  hits: Int32Array[];
  /** Rows that went into the ring, and rows that are finished, so far. */
  combinedRows: number;
  finished: number;
}

/** Byte addresses in the kernels' memory. */
interface Addresses {
  samples: number;
  combined: number;
  background: number;
  nodes: number;
  kernel: number;
  ring: number;
  finished: number;
  rows: number;
  hits: number;
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
  // Loops finish their last group of four: what they read beyond a row is never used, but must be there.
  const at: Addresses = {
    samples: layout.take(stored ? 2 * BATCH * bin * width : 0),
    combined: layout.take(16 + 8 * half + rowBytes) + 4 * half,
    background: layout.take(Math.max(rowBytes, 4 * PIECE * pieces)),
    nodes: layout.take(4 * (pieces + 1)),
    kernel: layout.take(4 * (half + 1)),
    ring: layout.take(taps * rowBytes),
    finished: layout.take(KEPT * rowBytes),
    rows: layout.take(4 * taps),
    hits: layout.take(KEPT * rowBytes),
  };
  if (!workspace || workspace.buffer.byteLength < layout.size) {
    workspace = createKernels(layout.size);
  }
  const kernels = workspace;
  const { buffer } = kernels;
  new Float32Array(buffer, at.kernel, half + 1).set(kernel.subarray(half));
  // Rows above the frame are never written: zeros.
  const ring = new Float32Array(buffer, at.ring, taps * stride);
  ring.fill(0);
  const padded = new Float32Array(buffer, at.combined - 4 * half, stride + 2 * half);
  padded.fill(0);
  const samples = stored ? new Uint16Array(buffer, at.samples, BATCH * bin * width) : null;
  const window = stored ? null : new Float32Array(planes * BATCH * bin * width);
  const perRow = <T>(make: (at: number) => T): T[] =>
    Array.from({ length: KEPT }, (_, i) => make(i * rowBytes));
  return {
    columns,
    rows,
    read,
    plan,
    width,
    stored,
    samples,
    window,
    weights: [0, 1, 2, 3].map((l) => weights[l] ?? 0),
    level,
    interpolator,
    half,
    taps,
    // A hair below the threshold, which is no 32-bit number: whoever looks at the groups decides.
    threshold: threshold * (1 - 1e-6),
    kernels,
    stride,
    rowBytes,
    at,
    ring,
    ringRows: new Int32Array(buffer, at.rows, taps),
    nodes: new Float32Array(buffer, at.nodes, pieces + 1),
    background: new Float32Array(buffer, at.background, columns),
    combined: padded.subarray(half),
    kept: perRow((from) => new Float32Array(buffer, at.finished + from, columns)),
    hits: perRow((from) => new Int32Array(buffer, at.hits + from, stride / 4)),
    combinedRows: 0,
    finished: 0,
  };
}

/**
 * Filters the next row, the first call row 0; `rows` + 1 calls may be made, since the light of the last row spills over the border.
 * @returns number of groups of four columns that hold a value at or above the threshold
 */
export function nextRow(image: DetectionRows): number {
  const { half, taps, rowBytes, at, ringRows, finished, kernels, columns } = image;
  for (; image.combinedRows <= finished + half; image.combinedRows++) {
    addRow(image, image.combinedRows);
  }
  for (let j = 0; j < taps; j++) {
    ringRows[j] = at.ring + ((finished + j - half + taps) % taps) * rowBytes;
  }
  const out = (finished % KEPT) * rowBytes;
  image.finished++;
  return kernels.filterColumns(
    at.rows,
    at.kernel,
    half,
    at.finished + out,
    columns,
    image.threshold,
    at.hits + out,
  );
}

/** A finished row, one of the last three. */
export function finishedRow(image: DetectionRows, row: number): Float32Array {
  return image.kept[row % KEPT] as Float32Array;
}

/** First columns of the groups found in that row, as many as `nextRow` said, ascending. */
export function hitGroups(image: DetectionRows, row: number): Int32Array {
  return image.hits[row % KEPT] as Int32Array;
}

/** Combines and filters one row into the ring; rows beyond the frame count as empty sky. */
function addRow(image: DetectionRows, row: number): void {
  const { stride, rowBytes, at, kernels, columns, window, width, weights, background } = image;
  const { combined, half, ring, plan, level, interpolator, nodes } = image;
  const slot = row % image.taps;
  if (row >= image.rows) {
    ring.fill(0, slot * stride, (slot + 1) * stride);
    return;
  }
  const j = row % BATCH;
  if (j === 0) readBatch(image, row);
  if (row % BACKGROUND_ROWS === 0) {
    const middle = 0.5 * (plan.bin - 1);
    interpolator.fill(level, 0, (row + 0.5 * (BACKGROUND_ROWS - 1)) * plan.bin + middle, nodes);
    kernels.ramp(at.nodes, at.background, nodes.length - 1);
  }
  if (image.stored) {
    const top = at.samples + 4 * j * width;
    kernels.cells16(
      top,
      top + 2 * width,
      at.background,
      at.combined,
      columns,
      weights[0] as number,
      weights[1] as number,
      weights[2] as number,
      weights[3] as number,
    );
    combined.fill(0, columns, stride);
  } else if (window && plan.bin === 2) {
    combineCells(window, 2 * j * width, width, weights, background, combined, columns);
  } else if (window) {
    combinePlanes(
      window,
      j * width,
      BATCH * width,
      plan.planes,
      weights,
      background,
      combined,
      columns,
    );
  }
  kernels.filterRow(at.combined, at.kernel, half, at.ring + slot * rowBytes, columns);
}

function readBatch(image: DetectionRows, top: number): void {
  const { plan, stored, samples, window, width } = image;
  const { bin, planes } = plan;
  const count = Math.min(BATCH, image.rows - top);
  if (stored && samples) {
    stored.readRows(0, top * bin, count * bin, samples);
  } else if (window) {
    for (let plane = 0; plane < planes; plane++) {
      image.read(plane, top * bin, count * bin, window, plane * BATCH * bin * width);
    }
  }
}
