/** Peaks of the matched-filtered detection image, found while the rows stream by.
 *
 * The detection image has one sample per cell (2 × 2 sites of a mosaic, else one sample per pixel): the lattices'
 * background-subtracted values combined with weights 1/σ², scaled to unit noise. It is never held whole: a ring of
 * horizontally filtered rows feeds the vertical filter, three filtered rows feed the search for local maxima.
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
/** Detection rows read at a time. */
const BATCH = 16;

/** One-dimensional Gaussian of the given FWHM, normalised to sum 1, cut at 2 σ·1.5 (at least one sample each side). */
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

  const ring = new Float32Array(taps * columns);
  const filtered = new Float32Array(3 * columns);
  const combined = new Float32Array(columns + 2 * half);
  const background = new Float32Array(columns);
  const window = new Float32Array(plan.planes * BATCH * bin * width);
  const interpolators = plan.lattices.map((lattice) =>
    createRowInterpolator(mesh, lattice.x0, bin, columns),
  );
  // Weights 1/σ², scaled so that the combined image has unit noise, then 1/Σk² so that the filtered one has too.
  let norm = 0;
  for (let l = 0; l < plan.lattices.length; l++) {
    const sigma = mesh.medianNoise[l] as number;
    if (sigma > 0) norm += 1 / (sigma * sigma);
  }
  const weights = plan.lattices.map((_, l) => {
    const sigma = mesh.medianNoise[l] as number;
    return sigma > 0 ? 1 / (sigma * sigma * Math.sqrt(norm) * squares) : 0;
  });

  const xs: number[] = [];
  const ys: number[] = [];
  const values: number[] = [];
  const sampleEvery = Math.max(1, Math.floor((columns * rows) / 40_000));
  const noiseSample = new Float32Array(40_960);
  let sampled = 0;
  let sampleClock = 0;
  let overflow = false;

  const searchRow = (row: number): void => {
    // Rows row−1, row, row+1 of the filtered image lie in the three slots.
    const above = ((row + 2) % 3) * columns;
    const here = (row % 3) * columns;
    const below = ((row + 1) % 3) * columns;
    for (let x = 1; x < columns - 1; x++) {
      const v = filtered[here + x] as number;
      if (v < threshold) continue;
      if (v <= (filtered[here + x - 1] as number) || v < (filtered[here + x + 1] as number))
        continue;
      const a = filtered[above + x] as number;
      const b = filtered[below + x] as number;
      if (v <= a || v < b) continue;
      if (v <= (filtered[above + x - 1] as number) || v <= (filtered[above + x + 1] as number)) {
        continue;
      }
      if (v < (filtered[below + x - 1] as number) || v < (filtered[below + x + 1] as number))
        continue;
      if (xs.length >= MAX_PEAKS) {
        overflow = true;
        return;
      }
      const left = filtered[here + x - 1] as number;
      const right = filtered[here + x + 1] as number;
      const fx = (0.5 * (right - left)) / (2 * v - left - right + 1e-12);
      const fy = (0.5 * (b - a)) / (2 * v - a - b + 1e-12);
      const shift = 0.5 * (bin - 1);
      xs.push(bin * (x + Math.max(-0.5, Math.min(0.5, fx))) + shift);
      ys.push(bin * (row + Math.max(-0.5, Math.min(0.5, fy))) + shift);
      values.push(v);
    }
  };

  const filterRow = (row: number): void => {
    const target = (row % 3) * columns;
    filtered.fill(0, target, target + columns);
    for (let j = -half; j <= half; j++) {
      const source = row + j;
      if (source < 0 || source >= rows) continue;
      const weight = kernel[j + half] as number;
      const from = (source % taps) * columns;
      for (let x = 0; x < columns; x++) {
        filtered[target + x] =
          (filtered[target + x] as number) + weight * (ring[from + x] as number);
      }
    }
    sampleClock += columns;
    while (sampleClock >= sampleEvery && sampled < noiseSample.length) {
      sampleClock -= sampleEvery;
      const x = Math.min(columns - 1, sampleClock % columns);
      noiseSample[sampled++] = filtered[target + x] as number;
    }
  };

  for (let top = 0; top < rows; top += BATCH) {
    const count = Math.min(BATCH, rows - top);
    for (let plane = 0; plane < plan.planes; plane++) {
      read(plane, top * bin, count * bin, window, plane * BATCH * bin * width);
    }
    for (let j = 0; j < count; j++) {
      const row = top + j;
      combined.fill(0);
      for (let l = 0; l < plan.lattices.length; l++) {
        const lattice = plan.lattices[l];
        const weight = weights[l] as number;
        const interpolator = interpolators[l];
        if (!lattice || !interpolator || weight === 0) continue;
        interpolator.fill(mesh.level, l, row * bin + lattice.y0, background);
        const base =
          lattice.plane * BATCH * bin * width + (j * bin + lattice.y0) * width + lattice.x0;
        for (let x = 0; x < columns; x++) {
          const d = (window[base + x * bin] as number) - (background[x] as number);
          // A sample without value adds nothing.
          if (d === d) combined[half + x] = (combined[half + x] as number) + weight * d;
        }
      }
      const target = (row % taps) * columns;
      convolveRow(combined, kernel, ring, target, columns);
      if (row >= half) {
        const done = row - half;
        filterRow(done);
        if (done >= 2) searchRow(done - 1);
      }
    }
  }
  for (let row = Math.max(0, rows - half); row < rows; row++) {
    filterRow(row);
    if (row >= 2) searchRow(row - 1);
  }

  const stats = new Float64Array(3);
  clippedSky(noiseSample, sampled, stats);
  const correlation = (stats[1] as number) > 0 ? (stats[1] as number) : 1;
  const keep: number[] = [];
  for (let i = 0; i < values.length; i++) {
    if ((values[i] as number) / Math.max(1, correlation) >= threshold) keep.push(i);
  }
  return {
    length: keep.length,
    x: Float64Array.from(keep, (i) => xs[i] as number),
    y: Float64Array.from(keep, (i) => ys[i] as number),
    significance: Float64Array.from(keep, (i) => (values[i] as number) / Math.max(1, correlation)),
    noiseCorrelation: correlation,
    overflow,
  };
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
    // The common case, unrolled.
    const k0 = kernel[0] as number;
    const k1 = kernel[1] as number;
    const k2 = kernel[2] as number;
    for (let x = 0; x < columns; x++) {
      out[at + x] =
        k0 * ((padded[x] as number) + (padded[x + 4] as number)) +
        k1 * ((padded[x + 1] as number) + (padded[x + 3] as number)) +
        k2 * (padded[x + 2] as number);
    }
    return;
  }
  for (let x = 0; x < columns; x++) {
    let sum = 0;
    for (let i = 0; i < taps; i++) sum += (kernel[i] as number) * (padded[x + i] as number);
    out[at + x] = sum;
  }
}
