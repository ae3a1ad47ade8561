/** Peaks of the matched-filtered detection image, found while the rows stream by.
 *
 * The detection image has one sample per cell (2 × 2 sites of a mosaic, else one sample per pixel): the lattices'
 * background-subtracted values combined with weights 1/σ², scaled to unit noise. It is never held whole: a ring of
 * horizontally filtered rows is all that is kept. The vertical filter is applied only where the horizontally filtered value is high
 * enough to belong to a peak (about one cell in fifteen), and to the neighbours of cells above the threshold.
 */
import { clippedSky } from '../stats/robust.js';
import { type BackgroundMesh, createRowInterpolator, type FloatReader } from './background.js';
import type { ChannelPlan } from './lattice.js';

/** Candidates in sensor pixels, in order of detection (by row, then column). */
export interface Peaks {
  length: number;
  x: Float64Array;
  y: Float64Array;
  /** Matched-filter signal-to-noise, with the noise measured on the filtered image itself. */
  significance: Float64Array;
  /** Measured noise of the filtered image over that of white noise: above 1 for interpolated or stacked pixels. */
  noiseCorrelation: number;
  /** True when the list was cut at `MAX_PEAKS`. */
  overflow: boolean;
}

const MAX_PEAKS = 400_000;
/** Noise of a lattice, as a share of the loudest one's, below which it weighs no more. */
const QUIETEST_SHARE = 0.3;
/** Detection rows read at a time. */
const BATCH = 16;

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
 * Finds local maxima above `threshold` σ.
 * @param kernelFwhmPx FWHM of the matched filter in sensor pixels
 */
export function findPeaks(
  read: FloatReader,
  plan: ChannelPlan,
  mesh: BackgroundMesh,
  width: number,
  height: number,
  kernelFwhmPx: number,
  threshold: number,
): Peaks {
  const bin = plan.bin;
  const columns = Math.floor(width / bin);
  const rows = Math.floor(height / bin);
  const kernel = gaussianKernel(Math.max(1.2, kernelFwhmPx / bin));
  const half = (kernel.length - 1) / 2;
  const taps = kernel.length;
  let squares = 0;
  for (let i = 0; i < taps; i++) squares += (kernel[i] as number) ** 2;

  // Two rows more than the filter is high: the neighbours of a cell are filtered as well.
  const slots = taps + 2;
  const ring = new Float32Array(slots * columns);
  const offsets = new Int32Array(slots);
  const combined = new Float32Array(columns + 2 * half);
  const background = new Float32Array(columns);
  const window = new Float32Array(plan.planes * BATCH * bin * width);
  // Weights 1/σ², scaled so that the combined image has unit noise, then 1/Σk² so that the filtered one has too. A lattice far quieter
  // than the others is more likely dead than good: its weight is capped.
  const loudest = Math.max(...Array.from(mesh.medianNoise).filter((sigma) => sigma > 0), 0);
  const raw = Array.from(mesh.medianNoise, (sigma) =>
    sigma > 0 ? 1 / Math.max(sigma, QUIETEST_SHARE * loudest) ** 2 : 0,
  );
  const total = Math.sqrt(
    raw.reduce((sum, w, l) => sum + (w === 0 ? 0 : (w * (mesh.medianNoise[l] as number)) ** 2), 0),
  );
  const weights = raw.map((w) => (total > 0 ? w / (total * squares) : 0));

  // One mesh for the weighted sum of all lattices: its levels are combined before they are interpolated.
  const cells = mesh.cellsX * mesh.cellsY;
  const level = new Float64Array(cells);
  for (let l = 0; l < plan.lattices.length; l++) {
    const weight = weights[l] as number;
    if (weight === 0) continue;
    for (let i = 0; i < cells; i++) {
      level[i] = (level[i] as number) + weight * (mesh.level[l * cells + i] as number);
    }
  }
  const middle = 0.5 * (bin - 1);
  const interpolator = createRowInterpolator(mesh, middle, bin, columns);

  const list: PeakList = { x: [], y: [], value: [], overflow: false };
  const sampleEvery = Math.max(1, Math.floor((columns * rows) / 40_000));
  const noiseSample = new Float32Array(40_960);
  let sampled = 0;
  let sampleClock = 0;

  for (let top = 0; top < rows + half + 2; top += BATCH) {
    const count = Math.max(0, Math.min(BATCH, rows - top));
    if (count > 0) {
      for (let plane = 0; plane < plan.planes; plane++) {
        read(plane, top * bin, count * bin, window, plane * BATCH * bin * width);
      }
    }
    for (let j = 0; j < BATCH; j++) {
      const row = top + j;
      const slot = (row % slots) * columns;
      if (row < rows) {
        // The background changes over cells of 64 samples: one interpolated row serves four.
        if (row % 4 === 0) interpolator.fill(level, 0, (row + 1.5) * bin + middle, background);
        if (bin === 2) {
          combineCells(window, 2 * j * width, width, weights, background, combined, half, columns);
        } else {
          combinePlanes(
            window,
            j * width,
            BATCH * width,
            weights,
            background,
            combined,
            half,
            columns,
          );
        }
        convolveRow(combined, kernel, ring, slot, columns);
      } else {
        // Rows beyond the frame count as empty sky.
        ring.fill(0, slot, slot + columns);
      }
      const done = row - half - 1;
      if (done < 0 || done >= rows) continue;
      ringOffsets(slots, done, half, columns, offsets);
      searchRow(ring, kernel, offsets, done, columns, threshold, bin, middle, list);
      sampleClock += columns;
      while (sampleClock >= sampleEvery && sampled < noiseSample.length) {
        sampleClock -= sampleEvery;
        const x = Math.min(columns - 1, sampleClock % columns);
        noiseSample[sampled++] = filteredAt(ring, kernel, offsets, 0, x);
      }
    }
  }

  const stats = new Float64Array(3);
  clippedSky(noiseSample, sampled, stats);
  const correlation = (stats[1] as number) > 0 ? (stats[1] as number) : 1;
  const keep: number[] = [];
  for (let i = 0; i < list.value.length; i++) {
    if ((list.value[i] as number) / Math.max(1, correlation) >= threshold) keep.push(i);
  }
  return {
    length: keep.length,
    x: Float64Array.from(keep, (i) => list.x[i] as number),
    y: Float64Array.from(keep, (i) => list.y[i] as number),
    significance: Float64Array.from(
      keep,
      (i) => (list.value[i] as number) / Math.max(1, correlation),
    ),
    noiseCorrelation: correlation,
    overflow: list.overflow,
  };
}

interface PeakList {
  x: number[];
  y: number[];
  value: number[];
  overflow: boolean;
}

/**
 * One row of 2 × 2 cells of a mosaic: weighted sum of the four sites (lattice order (0,0), (1,0), (0,1), (1,1)) minus the
 * background of that sum. A cell with a sample without value counts as empty sky.
 */
function combineCells(
  window: Float32Array,
  top: number,
  width: number,
  weights: readonly number[],
  background: Float32Array,
  combined: Float32Array,
  half: number,
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
  for (let x = 0; x < columns; x++) {
    const i = 2 * x;
    const sum =
      w0 * (window[p0 + i] as number) +
      w1 * (window[p1 + i] as number) +
      w2 * (window[p2 + i] as number) +
      w3 * (window[p3 + i] as number) -
      (background[x] as number);
    combined[half + x] = sum - sum === 0 ? sum : 0;
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
  half: number,
  columns: number,
): void {
  for (let x = 0; x < columns; x++) {
    let sum = -(background[x] as number);
    for (let plane = 0; plane < weights.length; plane++) {
      const w = weights[plane] as number;
      if (w !== 0) sum += w * (window[plane * planeStride + row + x] as number);
    }
    combined[half + x] = sum - sum === 0 ? sum : 0;
  }
}

/**
 * Start of each ring row that the vertical filter needs at `row` and its two neighbours: offsets[j] belongs to row + j − half − 1.
 * Rows above the frame were never written: zeros.
 */
function ringOffsets(
  slots: number,
  row: number,
  half: number,
  columns: number,
  offsets: Int32Array,
): void {
  for (let j = 0; j < offsets.length; j++) {
    offsets[j] = ((row + j - half - 1 + 2 * slots) % slots) * columns;
  }
}

/** Vertically filtered value of column x, `dy` rows below the row that `offsets` were made for (−1, 0, 1). */
function filteredAt(
  ring: Float32Array,
  kernel: Float32Array,
  offsets: Int32Array,
  dy: number,
  x: number,
): number {
  const taps = kernel.length;
  let sum = 0;
  for (let j = 0; j < taps; j++) {
    sum += (kernel[j] as number) * (ring[(offsets[j + 1 + dy] as number) + x] as number);
  }
  return Math.fround(sum);
}

/**
 * Horizontally filtered value, as a share of the threshold, below which a cell cannot be the centre of a peak: at a star's centre row it is
 * at least as large as the vertically filtered value, short of noise (one cell of empty sky in fifteen exceeds it).
 */
const GATE = 0.45;

/** Local maxima of one row of the filtered image. Ties go to the later sample. */
function searchRow(
  ring: Float32Array,
  kernel: Float32Array,
  offsets: Int32Array,
  row: number,
  columns: number,
  threshold: number,
  bin: number,
  shift: number,
  list: PeakList,
): void {
  const from = offsets[(kernel.length + 1) / 2] as number;
  const gate = GATE * threshold;
  const last = columns - 1;
  for (let x = 0; x < columns; x++) {
    if ((ring[from + x] as number) < gate) continue;
    const v = filteredAt(ring, kernel, offsets, 0, x);
    if (v < threshold) continue;
    // Beyond the border there is empty sky.
    const left = x > 0 ? filteredAt(ring, kernel, offsets, 0, x - 1) : 0;
    const right = x < last ? filteredAt(ring, kernel, offsets, 0, x + 1) : 0;
    if (v <= left || v < right) continue;
    const above = row > 0 ? filteredAt(ring, kernel, offsets, -1, x) : 0;
    const below = filteredAt(ring, kernel, offsets, 1, x);
    if (v <= above || v < below) continue;
    if (row > 0) {
      if (x > 0 && v <= filteredAt(ring, kernel, offsets, -1, x - 1)) continue;
      if (x < last && v <= filteredAt(ring, kernel, offsets, -1, x + 1)) continue;
    }
    if (x > 0 && v < filteredAt(ring, kernel, offsets, 1, x - 1)) continue;
    if (x < last && v < filteredAt(ring, kernel, offsets, 1, x + 1)) continue;
    if (list.x.length >= MAX_PEAKS) {
      list.overflow = true;
      return;
    }
    const fx = (0.5 * (right - left)) / (2 * v - left - right + 1e-12);
    const fy = (0.5 * (below - above)) / (2 * v - above - below + 1e-12);
    list.x.push(bin * (x + Math.max(-0.5, Math.min(0.5, fx))) + shift);
    list.y.push(bin * (row + Math.max(-0.5, Math.min(0.5, fy))) + shift);
    list.value.push(v);
  }
}

/** out[at + x] = Σ_i kernel[i] · padded[x + i]; `padded` carries half a kernel of zeros on both sides. */
function convolveRow(
  padded: Float32Array,
  kernel: Float32Array,
  out: Float32Array,
  at: number,
  columns: number,
): void {
  const taps = kernel.length;
  if (taps === 5) {
    // The common case: five values slide through locals, one load a step.
    const k0 = kernel[0] as number;
    const k1 = kernel[1] as number;
    const k2 = kernel[2] as number;
    let a = padded[0] as number;
    let b = padded[1] as number;
    let c = padded[2] as number;
    let d = padded[3] as number;
    for (let x = 0; x < columns; x++) {
      const e = padded[x + 4] as number;
      out[at + x] = k0 * (a + e) + k1 * (b + d) + k2 * c;
      a = b;
      b = c;
      c = d;
      d = e;
    }
    return;
  }
  for (let x = 0; x < columns; x++) {
    let sum = 0;
    for (let i = 0; i < taps; i++) sum += (kernel[i] as number) * (padded[x + i] as number);
    out[at + x] = sum;
  }
}
