/** The true circle of a scene, from star images without noise at a grid of places. Shares nothing with the estimator. */
import {
  cellWeights,
  OpticalTrain,
  referenceBand,
  variesOverField,
} from '../../src/simulate/optical-train.js';
import { PsfMaker } from '../../src/simulate/psf.js';
import type { Scene } from '../../src/simulate/scene.js';

export interface CircleTruth {
  /** Null = beyond the corner. */
  radiusPx: number | null;
  centreFwhmPx: number;
}

const NODES_X = 7;
const NODES_Y = 5;
const RINGS = 100;
const DIRECTIONS = 72;
const TEMPERATURE_K = 5600;

/** FWHM squared and ellipticity components at the nodes, row by row. */
interface Nodes {
  square: Float64Array;
  e1: Float64Array;
  e2: Float64Array;
}

export function circleTruth(
  scene: Scene,
  limits: { maxGrowth: number; maxEllipticity: number },
): CircleTruth {
  const { widthPx, heightPx } = scene.camera;
  const nodes = nodesOf(scene);
  const half = 0.5 * Math.sqrt(widthPx ** 2 + heightPx ** 2);
  const centre = at(nodes.square, 0.5, 0.5);
  for (let r = 0; r <= RINGS; r++) {
    const distance = (half * r) / RINGS;
    for (let k = 0; k < DIRECTIONS; k++) {
      const angle = (2 * Math.PI * k) / DIRECTIONS;
      const u = 0.5 + (distance * Math.cos(angle)) / widthPx;
      const v = 0.5 + (distance * Math.sin(angle)) / heightPx;
      if (u < -1e-9 || v < -1e-9 || u > 1 + 1e-9 || v > 1 + 1e-9) continue;
      const growth = Math.sqrt(at(nodes.square, u, v) / centre);
      const ellipticity = Math.sqrt(at(nodes.e1, u, v) ** 2 + at(nodes.e2, u, v) ** 2);
      if (growth > limits.maxGrowth || ellipticity > limits.maxEllipticity) {
        return { radiusPx: distance, centreFwhmPx: Math.sqrt(centre) };
      }
    }
  }
  return { radiusPx: null, centreFwhmPx: Math.sqrt(centre) };
}

function nodesOf(scene: Scene): Nodes {
  const train = new OpticalTrain(scene);
  const grid = train.imageGrid();
  const maker = new PsfMaker(grid, train.focalRatio);
  const cells = train.spectralCells();
  const weights = cellWeights(cells, referenceBand(scene), TEMPERATURE_K);
  const { widthPx, heightPx } = scene.camera;
  const n = NODES_X * NODES_Y;
  const out = { square: new Float64Array(n), e1: new Float64Array(n), e2: new Float64Array(n) };
  const even = !variesOverField(scene);
  for (let j = 0; j < NODES_Y; j++)
    for (let i = 0; i < NODES_X; i++) {
      const k = j * NODES_X + i;
      if (even && k > 0) {
        for (const column of [out.square, out.e1, out.e2]) column[k] = column[0] as number;
        continue;
      }
      const dx = (i / (NODES_X - 1) - 0.5) * widthPx;
      const dy = (j / (NODES_Y - 1) - 0.5) * heightPx;
      const [image] = maker.make(cells, train.blurAt(dx, dy), [
        { cellWeights: weights, offsetPx: [0, 0] },
      ]);
      if (!image) throw new Error('no image');
      out.square[k] = halfMaximumSquare(image, grid.size) / grid.perPixel ** 2;
      const [e1, e2] = adaptiveEllipticity(image, grid.size);
      out.e1[k] = e1;
      out.e2[k] = e2;
    }
  return out;
}

/** Square of the diameter of the disc whose area is that above half of the peak, squared samples; cells are split 4 × 4. */
function halfMaximumSquare(image: Float32Array, size: number): number {
  let peak = 0;
  for (const value of image) if (value > peak) peak = value;
  const parts = 4;
  let count = 0;
  for (let y = 0; y + 1 < size; y++)
    for (let x = 0; x + 1 < size; x++) {
      const a = image[y * size + x] as number;
      const b = image[y * size + x + 1] as number;
      const c = image[(y + 1) * size + x] as number;
      const d = image[(y + 1) * size + x + 1] as number;
      if (Math.max(a, b, c, d) < peak / 2) continue;
      for (let v = 0.5; v < parts; v++)
        for (let u = 0.5; u < parts; u++) {
          const [s, t] = [u / parts, v / parts];
          const value = (1 - t) * ((1 - s) * a + s * b) + t * ((1 - s) * c + s * d);
          if (value > peak / 2) count++;
        }
    }
  return ((4 / Math.PI) * count) / parts ** 2;
}

/** (a − b)/(a + b) as components, from moments under a Gaussian of the star's own shape (Bernstein & Jarvis 2002, AJ 123, 583; from memory). */
function adaptiveEllipticity(image: Float32Array, size: number): [number, number] {
  let [cx, cy, xx, yy, xy] = [size / 2, size / 2, 30, 30, 0];
  for (let round = 0; round < 20; round++) {
    const det = xx * yy - xy * xy;
    let [sum, sx, sy, mxx, myy, mxy] = [0, 0, 0, 0, 0, 0];
    for (let y = 0; y < size; y++)
      for (let x = 0; x < size; x++) {
        const [dx, dy] = [x - cx, y - cy];
        const q = (yy * dx * dx - 2 * xy * dx * dy + xx * dy * dy) / det;
        if (q > 25) continue;
        const w = Math.exp(-0.5 * q) * (image[y * size + x] as number);
        sum += w;
        sx += w * dx;
        sy += w * dy;
        mxx += w * dx * dx;
        myy += w * dy * dy;
        mxy += w * dx * dy;
      }
    cx += sx / sum;
    cy += sy / sum;
    [xx, yy, xy] = [(2 * mxx) / sum, (2 * myy) / sum, (2 * mxy) / sum];
  }
  const t = xx + yy;
  const g = Math.sqrt((xx - yy) ** 2 + 4 * xy * xy) / t;
  if (g < 1e-9) return [0, 0];
  const e = (1 - Math.sqrt(1 - g * g)) / g;
  return [(e * (xx - yy)) / (t * g), (e * 2 * xy) / (t * g)];
}

/** Bilinear between nodes; (0, 0) and (1, 1) are the outer corners. */
function at(values: Float64Array, u: number, v: number): number {
  const x = Math.min(NODES_X - 1.000001, Math.max(0, u * (NODES_X - 1)));
  const y = Math.min(NODES_Y - 1.000001, Math.max(0, v * (NODES_Y - 1)));
  const [i, j] = [Math.floor(x), Math.floor(y)];
  const [s, t] = [x - i, y - j];
  const value = (column: number, row: number): number => values[row * NODES_X + column] as number;
  return (
    (1 - t) * ((1 - s) * value(i, j) + s * value(i + 1, j)) +
    t * ((1 - s) * value(i, j + 1) + s * value(i + 1, j + 1))
  );
}
