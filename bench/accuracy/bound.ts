/** The Cramér–Rao bound of the elliptical star model on the samples of a frame, from numerical derivatives.
 *
 * Seven parameters: x, y, flux, background, ln width, e1, e2. Fisher matrix F = Σ J Jᵀ / variance over native samples within
 * four FWHM, variance = sky + read noise² + photons of the star (its own dependence on the parameters is left out: it adds
 * below one part in a hundred of information here). Nothing is shared with the estimators: the model and its derivatives
 * come from the simulator's profile by central differences.
 */
import { type Profile, pixelMean } from '../../src/simulate/analytic-profile.js';
import type { SiteLattice } from '../../src/simulate/stamp.js';
import { profileOf, type Shape } from '../../tests/helpers/recorded-width.js';

const PARAMETERS = 7;
const WINDOW_FWHM = 4;
const STEP_PX = 0.02;
const STEP_SHAPE = 0.01;

/** Derivatives of a unit-flux star at one sub-pixel place: sample-major, columns x, y, value, ln width, e1, e2. */
interface Derivatives {
  n: number;
  columns: Float64Array;
}

const COLUMNS = 6;

function derivatives(shape: Shape, lattices: readonly SiteLattice[], x: number, y: number) {
  const e1 = shape.ellipticity * Math.cos((2 * shape.angleDeg * Math.PI) / 180);
  const e2 = shape.ellipticity * Math.sin((2 * shape.angleDeg * Math.PI) / 180);
  const variant = (width: number, c1: number, c2: number): Profile =>
    profileOf({
      ...shape,
      fwhmPx: width,
      ellipticity: Math.sqrt(c1 * c1 + c2 * c2),
      angleDeg: (Math.atan2(c2, c1) * 90) / Math.PI,
    });
  const base = variant(shape.fwhmPx, e1, e2);
  const wider = variant(shape.fwhmPx * Math.exp(STEP_SHAPE), e1, e2);
  const narrower = variant(shape.fwhmPx * Math.exp(-STEP_SHAPE), e1, e2);
  const shapes = [
    variant(shape.fwhmPx, e1 + STEP_SHAPE, e2),
    variant(shape.fwhmPx, e1 - STEP_SHAPE, e2),
    variant(shape.fwhmPx, e1, e2 + STEP_SHAPE),
    variant(shape.fwhmPx, e1, e2 - STEP_SHAPE),
  ];
  const reach = Math.ceil(WINDOW_FWHM * shape.fwhmPx + 2);
  const rows: number[] = [];
  for (const { x0, y0, step } of lattices)
    for (let row = -reach; row <= reach; row++)
      for (let column = -reach; column <= reach; column++) {
        if ((((row - y0) % step) + step) % step !== 0) continue;
        if ((((column - x0) % step) + step) % step !== 0) continue;
        const dx = column - x;
        const dy = row - y;
        if (dx * dx + dy * dy > reach * reach) continue;
        rows.push(
          (pixelMean(base, dx - STEP_PX, dy) - pixelMean(base, dx + STEP_PX, dy)) / (2 * STEP_PX),
          (pixelMean(base, dx, dy - STEP_PX) - pixelMean(base, dx, dy + STEP_PX)) / (2 * STEP_PX),
          pixelMean(base, dx, dy),
          (pixelMean(wider, dx, dy) - pixelMean(narrower, dx, dy)) / (2 * STEP_SHAPE),
          (pixelMean(shapes[0], dx, dy) - pixelMean(shapes[1], dx, dy)) / (2 * STEP_SHAPE),
          (pixelMean(shapes[2], dx, dy) - pixelMean(shapes[3], dx, dy)) / (2 * STEP_SHAPE),
        );
      }
  return { n: rows.length / COLUMNS, columns: Float64Array.from(rows) };
}

/** Inverse of a small symmetric positive definite matrix by Gauss–Jordan elimination. */
function invert(matrix: readonly number[][]): number[][] {
  const n = matrix.length;
  const work = matrix.map((row, i) => [...row, ...row.map((_, j) => (i === j ? 1 : 0))]);
  for (let pivot = 0; pivot < n; pivot++) {
    let best = pivot;
    for (let row = pivot + 1; row < n; row++)
      if (Math.abs(work[row][pivot]) > Math.abs(work[best][pivot])) best = row;
    [work[pivot], work[best]] = [work[best], work[pivot]];
    const scale = work[pivot][pivot];
    work[pivot] = work[pivot].map((value) => value / scale);
    for (let row = 0; row < n; row++) {
      if (row === pivot) continue;
      const factor = work[row][pivot];
      if (factor !== 0) work[row] = work[row].map((value, j) => value - factor * work[pivot][j]);
    }
  }
  return work.map((row) => row.slice(n));
}

function covariance({ n, columns }: Derivatives, flux: number, variance: number): number[][] {
  const fisher = Array.from({ length: PARAMETERS }, () => new Array<number>(PARAMETERS).fill(0));
  const j = new Float64Array(PARAMETERS);
  for (let i = 0; i < n; i++) {
    const at = i * COLUMNS;
    j[0] = flux * columns[at];
    j[1] = flux * columns[at + 1];
    j[2] = columns[at + 2];
    j[3] = 1;
    j[4] = flux * columns[at + 3];
    j[5] = flux * columns[at + 4];
    j[6] = flux * columns[at + 5];
    const weight = 1 / (variance + flux * Math.max(0, columns[at + 2]));
    for (let a = 0; a < PARAMETERS; a++)
      for (let b = 0; b < PARAMETERS; b++) fisher[a][b] += weight * j[a] * j[b];
  }
  // Flux and background differ from the shape by orders of magnitude: scale to a unit diagonal before inverting.
  const root = fisher.map((row, a) => Math.sqrt(row[a]));
  const scaled = fisher.map((row, a) => row.map((value, b) => value / (root[a] * root[b])));
  return invert(scaled).map((row, a) => row.map((value, b) => value / (root[a] * root[b])));
}

export interface Bound {
  /** 1 σ of one coordinate (root mean square of both), from one channel and from all channels together. */
  centroidPx: number;
  /** 1 σ of ln width (before the pixel). */
  lnWidth: number;
}

/** One channel of a star: where its samples lie and how much light it has, electrons. */
export interface BoundChannel {
  lattices: readonly SiteLattice[];
  flux: number;
}

/**
 * Bounds per channel, and that of a centroid which all channels share, averaged over sub-pixel places.
 * @param variance of a sample without star, electrons²
 * @param brightness factors on the flux, one result each
 */
export function starBounds(
  shape: Shape,
  channels: readonly BoundChannel[],
  variance: number,
  brightness: readonly number[],
): { channels: Bound[]; sharedCentroidPx: number }[] {
  // Places over one cell of the coarsest lattice.
  const cell = Math.max(...channels.flatMap(({ lattices }) => lattices.map(({ step }) => step)));
  const perAxis = shape.fwhmPx > 4 ? 2 : cell === 2 ? 4 : 3;
  const sums = brightness.map(() => ({
    channels: channels.map(() => ({ centroid: 0, width: 0 })),
    shared: 0,
  }));
  for (let j = 0; j < perAxis; j++)
    for (let i = 0; i < perAxis; i++) {
      const x = (cell * (i + 0.37)) / perAxis;
      const y = (cell * (j + 0.29)) / perAxis;
      const images = channels.map(({ lattices }) => derivatives(shape, lattices, x, y));
      brightness.forEach((factor, k) => {
        const information = [
          [0, 0],
          [0, 0],
        ];
        channels.forEach(({ flux }, c) => {
          const cov = covariance(images[c], factor * flux, variance);
          sums[k].channels[c].centroid += (cov[0][0] + cov[1][1]) / 2;
          sums[k].channels[c].width += cov[4][4];
          const own = invert([
            [cov[0][0], cov[0][1]],
            [cov[1][0], cov[1][1]],
          ]);
          for (let a = 0; a < 2; a++) for (let b = 0; b < 2; b++) information[a][b] += own[a][b];
        });
        const shared = invert(information);
        sums[k].shared += (shared[0][0] + shared[1][1]) / 2;
      });
    }
  const places = perAxis * perAxis;
  return sums.map((sum) => ({
    channels: sum.channels.map(({ centroid, width }) => ({
      centroidPx: Math.sqrt(centroid / places),
      lnWidth: Math.sqrt(width / places),
    })),
    sharedCentroidPx: Math.sqrt(sum.shared / places),
  }));
}
