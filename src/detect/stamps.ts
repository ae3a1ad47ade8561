/** Square cut-outs round positions, background-subtracted, taken while a window of rows passes over the frame. */
import type { FloatReader } from '../frame/convert.js';
import { orderAscending } from '../stats/order.js';
import type { BackgroundMesh } from './background.js';
import type { ChannelPlan } from './lattice.js';
import { meshAt } from './mesh-interpolation.js';
import { createRowWindow } from './row-window.js';

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

/** Rows of the moving window: this many stamps high, so that little is moved. */
const WINDOW_STAMPS = 3;
const SMALLEST_WINDOW = 48;

/**
 * Cuts stamps. The mesh background at the stamp's centre is subtracted, one value per lattice: what is left is the local
 * residual that an annulus takes off later. Every row is read once at most, O(rows read + samples of the stamps).
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
  const stamps: Stamps = {
    n,
    radius,
    side,
    planes,
    cx: new Int32Array(n),
    cy: new Int32Array(n),
    data: new Float32Array(n * planes * side * side),
    background: new Float64Array(n * lattices),
    noise: new Float64Array(n * lattices),
  };
  const { cx, cy, data, background, noise } = stamps;
  const order = orderAscending(ys);
  const table = siteTable(plan);
  const windowRows = Math.max(SMALLEST_WINDOW, WINDOW_STAMPS * side);
  const window = createRowWindow(read, planes, width, height, windowRows);
  const { stored, values } = window;
  const size = planes * side * side;
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
    const left = Math.max(0, x - radius);
    const right = Math.min(width - 1, x + radius);
    if (right - left + 1 < side || last - first + 1 < side) {
      data.fill(Number.NaN, i * size, (i + 1) * size);
    }
    window.show(first, last);
    for (let plane = 0; plane < planes; plane++) {
      for (let row = first; row <= last; row++) {
        const from = window.start(plane, row) + left;
        const at = i * size + (plane * side + row - y + radius) * side + left - x + radius;
        const sites = plane * 4 + (row & 1) * 2;
        const even = background[i * lattices + (table[sites] as number)] as number;
        const odd = background[i * lattices + (table[sites + 1] as number)] as number;
        const here = left & 1 ? odd : even;
        const next = left & 1 ? even : odd;
        if (stored) copyStored(stored, from, right - left + 1, data, at, here, next);
        else if (values) copyValues(values, from, right - left + 1, data, at, here, next);
      }
    }
  }
  return stamps;
}

/** The stamps from `from` up to, not including, `to`: the same memory. */
export function partOfStamps(stamps: Stamps, from: number, to: number): Stamps {
  const { radius, side, planes } = stamps;
  const size = planes * side * side;
  const lattices = stamps.n === 0 ? 0 : stamps.background.length / stamps.n;
  return {
    n: to - from,
    radius,
    side,
    planes,
    cx: stamps.cx.subarray(from, to),
    cy: stamps.cy.subarray(from, to),
    data: stamps.data.subarray(from * size, to * size),
    background: stamps.background.subarray(from * lattices, to * lattices),
    noise: stamps.noise.subarray(from * lattices, to * lattices),
  };
}

// Two functions for one line of arithmetic: fed both kinds of array, a shared loop would run several times slower.

/** Copies samples less a background that alternates between `first` and `second`. */
function copyStored(
  samples: Uint16Array,
  from: number,
  count: number,
  data: Float32Array,
  at: number,
  first: number,
  second: number,
): void {
  let i = 0;
  for (; i + 1 < count; i += 2) {
    data[at + i] = (samples[from + i] as number) - first;
    data[at + i + 1] = (samples[from + i + 1] as number) - second;
  }
  if (i < count) data[at + i] = (samples[from + i] as number) - first;
}

/** The same for values that may be NaN or infinite, which hold as little. */
function copyValues(
  samples: Float32Array,
  from: number,
  count: number,
  data: Float32Array,
  at: number,
  first: number,
  second: number,
): void {
  for (let i = 0; i < count; i++) {
    const value = (samples[from + i] as number) - (i & 1 ? second : first);
    data[at + i] = value - value === 0 ? value : Number.NaN;
  }
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
