/** Square cut-outs round positions, background-subtracted, taken while a window of rows passes over the frame. */
import { type BackgroundMesh, type FloatReader, meshAt } from './background.js';
import type { ChannelPlan } from './lattice.js';

/** `n` stamps of (2 × radius + 1)² samples and all planes; a sample without value, or off the frame, is NaN. */
export interface Stamps {
  n: number;
  radius: number;
  side: number;
  planes: number;
  /** Centre sample of each stamp on the frame. */
  cx: Int32Array;
  cy: Int32Array;
  /** Stamp-major, then plane, row, column. */
  data: Float32Array;
  /** Mesh background and noise at the centre, stamp-major, per lattice. */
  background: Float64Array;
  noise: Float64Array;
}

/** Rows of the moving window: this many stamps high, so that little is read twice. */
const WINDOW_STAMPS = 5;

/**
 * Cuts stamps. The mesh background at the stamp's centre is subtracted, one value per lattice: what is left is the local
 * residual that an annulus takes off later.
 */
export function cutStamps(
  read: FloatReader,
  plan: ChannelPlan,
  mesh: BackgroundMesh,
  xs: ArrayLike<number>,
  ys: ArrayLike<number>,
  radius: number,
): Stamps {
  const n = xs.length;
  const { width, height } = mesh;
  const side = 2 * radius + 1;
  const planes = plan.planes;
  const lattices = plan.lattices.length;
  const data = new Float32Array(n * planes * side * side).fill(Number.NaN);
  const cx = new Int32Array(n);
  const cy = new Int32Array(n);
  const background = new Float64Array(n * lattices);
  const noise = new Float64Array(n * lattices);
  const order = Array.from({ length: n }, (_, i) => i).sort(
    (a, b) => (ys[a] as number) - (ys[b] as number) || a - b,
  );
  const table = siteTable(plan);
  const windowRows = Math.min(height, Math.max(128, WINDOW_STAMPS * side));
  const window = new Float32Array(planes * windowRows * width);
  let top = 0;
  let bottom = 0;
  for (const i of order) {
    const x = Math.round(xs[i] as number);
    const y = Math.round(ys[i] as number);
    cx[i] = x;
    cy[i] = y;
    for (let l = 0; l < lattices; l++) {
      background[i * lattices + l] = meshAt(mesh, mesh.level, l, x, y);
      // A constant channel has no noise; a tiny one keeps weights finite.
      const level = Math.abs(background[i * lattices + l] as number);
      noise[i * lattices + l] = Math.max(meshAt(mesh, mesh.noise, l, x, y), 1e-6 * (level + 1e-30));
    }
    const first = Math.max(0, y - radius);
    const last = Math.min(height - 1, y + radius);
    if (first < top || last >= bottom) {
      top = first;
      bottom = Math.min(height, top + windowRows);
      for (let plane = 0; plane < planes; plane++) {
        read(plane, top, bottom - top, window, plane * windowRows * width);
      }
    }
    const left = Math.max(0, x - radius);
    const right = Math.min(width - 1, x + radius);
    for (let plane = 0; plane < planes; plane++) {
      const stamp = (i * planes + plane) * side * side;
      for (let yy = first; yy <= last; yy++) {
        const source = (plane * windowRows + yy - top) * width;
        const target = stamp + (yy - y + radius) * side - x + radius;
        const even = background[
          i * lattices + (table[plane * 4 + (yy & 1) * 2] as number)
        ] as number;
        const odd = background[
          i * lattices + (table[plane * 4 + (yy & 1) * 2 + 1] as number)
        ] as number;
        for (let xx = left; xx <= right; xx++) {
          const value = (window[source + xx] as number) - (xx & 1 ? odd : even);
          // Infinities hold as little as NaN.
          data[target + xx] = value - value === 0 ? value : Number.NaN;
        }
      }
    }
  }
  return { n, radius, side, planes, cx, cy, data, background, noise };
}

/** Lattice index by plane and parity of the site: table[plane × 4 + (y & 1) × 2 + (x & 1)]. */
export function siteTable(plan: ChannelPlan): Int32Array {
  const table = new Int32Array(plan.planes * 4);
  plan.lattices.forEach((lattice, index) => {
    for (let parity = 0; parity < 4; parity++) {
      const fits =
        lattice.step === 1 || ((parity & 1) === lattice.x0 && parity >> 1 === lattice.y0);
      if (fits) table[lattice.plane * 4 + parity] = index;
    }
  });
  return table;
}
