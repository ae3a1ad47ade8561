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

const PLACES_X = 25;
const PLACES_Y = 17;
const RINGS = 400;
const DIRECTIONS = 72;
const TEMPERATURE_K = 5600;

/** FWHM squared and ellipticity components at the places, row by row. */
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

/** Star images at the simulator's nodes, mixed between them as the simulator does, and measured at a finer grid of places. */
function nodesOf(scene: Scene): Nodes {
  const train = new OpticalTrain(scene);
  const grid = train.imageGrid();
  const maker = new PsfMaker(grid, train.focalRatio);
  const cells = train.spectralCells();
  const weights = cellWeights(cells, referenceBand(scene), TEMPERATURE_K);
  const { widthPx, heightPx } = scene.camera;
  const [columns, rows] = scene.rendering.fieldNodes;
  const even = !variesOverField(scene);
  const images: Float32Array[] = [];
  for (let j = 0; j < rows; j++)
    for (let i = 0; i < columns; i++) {
      const dx = (i / (columns - 1) - 0.5) * (widthPx - 1);
      const dy = (j / (rows - 1) - 0.5) * (heightPx - 1);
      const first = images[0];
      const [image] =
        even && first
          ? [first]
          : maker.make(cells, train.blurAt(dx, dy), [{ cellWeights: weights, offsetPx: [0, 0] }]);
      if (!image) throw new Error('no image');
      images.push(image);
    }
  const n = PLACES_X * PLACES_Y;
  const out = { square: new Float64Array(n), e1: new Float64Array(n), e2: new Float64Array(n) };
  for (let k = 0; k < n; k++) {
    if (even && k > 0) {
      for (const column of [out.square, out.e1, out.e2]) column[k] = column[0] as number;
      continue;
    }
    const x = ((k % PLACES_X) / (PLACES_X - 1)) * (columns - 1);
    const y = (Math.floor(k / PLACES_X) / (PLACES_Y - 1)) * (rows - 1);
    const image = new Float32Array(grid.size * grid.size);
    images.forEach((one, index) => {
      const weight =
        Math.max(0, 1 - Math.abs(x - (index % columns))) *
        Math.max(0, 1 - Math.abs(y - Math.floor(index / columns)));
      if (weight === 0) return;
      for (let i = 0; i < image.length; i++) {
        image[i] = (image[i] as number) + weight * (one[i] as number);
      }
    });
    out.square[k] = halfMaximumSquare(image, grid.size) / grid.perPixel ** 2;
    [out.e1[k], out.e2[k]] = adaptiveEllipticity(image, grid.size);
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

/** Bilinear between places; (0, 0) and (1, 1) are the outer corners. */
function at(values: Float64Array, u: number, v: number): number {
  const x = Math.min(PLACES_X - 1.000001, Math.max(0, u * (PLACES_X - 1)));
  const y = Math.min(PLACES_Y - 1.000001, Math.max(0, v * (PLACES_Y - 1)));
  const [i, j] = [Math.floor(x), Math.floor(y)];
  const [s, t] = [x - i, y - j];
  const value = (column: number, row: number): number => values[row * PLACES_X + column] as number;
  return (
    (1 - t) * ((1 - s) * value(i, j) + s * value(i + 1, j)) +
    t * ((1 - s) * value(i, j + 1) + s * value(i + 1, j + 1))
  );
}
