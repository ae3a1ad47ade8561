/** The native samples of one star in one channel, gathered from its stamp into flat lists that fits and profiles walk. */
import type { ChannelPlan } from '../detect/lattice.js';
import type { Stamps } from '../detect/stamps.js';

/** Positions are relative to the stamp's centre sample. */
export interface SampleList {
  n: number;
  dx: Float64Array;
  dy: Float64Array;
  value: Float64Array;
  /** Lattice of each sample: selects background and noise. */
  lattice: Uint8Array;
  /** Index of the sample in `Stamps.data`. */
  index: Int32Array;
}

/** Lists large enough for every sample of a stamp. */
export function createSampleList(capacity: number): SampleList {
  return {
    n: 0,
    dx: new Float64Array(capacity),
    dy: new Float64Array(capacity),
    value: new Float64Array(capacity),
    lattice: new Uint8Array(capacity),
    index: new Int32Array(capacity),
  };
}

/**
 * Fills `out` with the samples of `channel` whose distance from (x, y) (relative to the stamp's centre) is at least
 * `rMin` and below `rMax`; samples without value are left out.
 */
export function gatherSamples(
  stamps: Stamps,
  star: number,
  plan: ChannelPlan,
  channel: number,
  x: number,
  y: number,
  rMin: number,
  rMax: number,
  out: SampleList,
): void {
  const { radius, side, planes, data } = stamps;
  const cx = stamps.cx[star] as number;
  const cy = stamps.cy[star] as number;
  const low = rMin * rMin;
  const high = rMax * rMax;
  let n = 0;
  const members = plan.ofChannel[channel] as number[];
  for (const l of members) {
    const lattice = plan.lattices[l];
    if (!lattice) continue;
    const { step, plane, x0, y0 } = lattice;
    const base = (star * planes + plane) * side * side;
    let firstY = Math.max(-radius, Math.ceil(y - rMax));
    let firstX = Math.max(-radius, Math.ceil(x - rMax));
    const lastY = Math.min(radius, Math.floor(y + rMax));
    const lastX = Math.min(radius, Math.floor(x + rMax));
    if (step === 2) {
      if (((cy + firstY) & 1) !== y0) firstY++;
      if (((cx + firstX) & 1) !== x0) firstX++;
    }
    for (let yy = firstY; yy <= lastY; yy += step) {
      const dy = yy - y;
      const dy2 = dy * dy;
      const row = base + (yy + radius) * side + radius;
      for (let xx = firstX; xx <= lastX; xx += step) {
        const dx = xx - x;
        const r2 = dx * dx + dy2;
        if (r2 < low || r2 >= high) continue;
        const value = data[row + xx] as number;
        if (value !== value) continue;
        out.dx[n] = xx;
        out.dy[n] = yy;
        out.value[n] = value;
        out.lattice[n] = l;
        out.index[n] = row + xx;
        n++;
      }
    }
  }
  out.n = n;
}
