/** The lattices of a frame in one detection image: their weights, their background, and rows of physical values combined. */
import type { BackgroundMesh } from './background.js';

const { fround } = Math;

/** Noise of a lattice, as a share of the loudest one's, below which it weighs no more. */
const QUIETEST_SHARE = 0.3;
/**
 * Weight of each lattice: 1/σ², scaled so that the combined image has unit noise, then 1/Σk² so that the filtered one has too. A lattice far
 * quieter than the others is more likely dead than good: its weight is capped.
 */
export function latticeWeights(noise: Float64Array, kernel: Float32Array): number[] {
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
export function combinedLevel(mesh: BackgroundMesh, weights: readonly number[]): Float64Array {
  const cells = mesh.cellsX * mesh.cellsY;
  const level = new Float64Array(cells);
  for (let l = 0; l < weights.length; l++) {
    const weight = weights[l] as number;
    if (weight === 0) continue;
    for (let i = 0; i < cells; i++) {
      level[i] = (level[i] as number) + weight * (mesh.level[l * cells + i] as number);
    }
  }
  return level;
}

/**
 * One row of 2 × 2 cells of a mosaic: weighted sum of the four sites (lattice order (0,0), (1,0), (0,1), (1,1)) minus the
 * background of that sum. A cell with a sample without value counts as empty sky. The arithmetic is that of the kernel for 16-bit samples: the
 * sample type must not matter.
 */
export function combineCells(
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
export function combinePlanes(
  window: Float32Array,
  row: number,
  planeStride: number,
  planes: number,
  weights: readonly number[],
  background: Float32Array,
  combined: Float32Array,
  columns: number,
): void {
  for (let x = 0; x < columns; x++) {
    let sum = -(background[x] as number);
    for (let plane = 0; plane < planes; plane++) {
      const w = weights[plane] as number;
      if (w !== 0) sum += w * (window[plane * planeStride + row + x] as number);
    }
    combined[x] = sum - sum === 0 ? sum : 0;
  }
}
