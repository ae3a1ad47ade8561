/** The samples of all profile stars, flattened: one long list per channel that the rounds of the profile fit walk in order. */
import type { ChannelPlan } from '../detect/lattice.js';
import type { Stamps } from '../detect/stamps.js';
import { createSampleList, gatherSamples } from './samples.js';

/** Samples of one channel of all stars; star k owns entries start[k] … start[k + 1] − 1. */
export interface ProfileSamples {
  stars: number;
  start: Int32Array;
  /** Position on the frame, px. */
  x: Float32Array;
  y: Float32Array;
  /** Centre of each star in this channel, frame pixels. */
  centreX: Float64Array;
  centreY: Float64Array;
  /** Distance from that centre, px. */
  r: Float32Array;
  /** Value above the mesh background. */
  value: Float32Array;
  /** Light of neighbours by the current model. */
  neighbour: Float32Array;
  lattice: Uint8Array;
  /** Sky noise of each lattice at each star: star-major. */
  noise: Float64Array;
  lattices: number;
}

/**
 * Flattens one channel.
 * @param starX centre of each star in this channel (lateral colour included), frame pixels
 * @param rOut outer radius of the background annulus, px
 */
export function flattenSamples(
  stamps: Stamps,
  plan: ChannelPlan,
  channel: number,
  starX: Float64Array,
  starY: Float64Array,
  rOut: number,
): ProfileSamples {
  const stars = stamps.n;
  const share = (plan.ofChannel[channel] as number[]).length / (plan.bin === 2 ? 4 : 1);
  const perStar = Math.ceil(share * Math.PI * (rOut + 1.5) ** 2) + 16;
  let capacity = stars * perStar;
  const start = new Int32Array(stars + 1);
  let x = new Float32Array(capacity);
  let y = new Float32Array(capacity);
  let r = new Float32Array(capacity);
  let value = new Float32Array(capacity);
  let lattice = new Uint8Array(capacity);
  const list = createSampleList(stamps.side * stamps.side);
  let n = 0;
  for (let k = 0; k < stars; k++) {
    start[k] = n;
    const cx = stamps.cx[k] as number;
    const cy = stamps.cy[k] as number;
    const sx = (starX[k] as number) - cx;
    const sy = (starY[k] as number) - cy;
    gatherSamples(stamps, k, plan, channel, sx, sy, 0, rOut, list);
    if (n + list.n > capacity) {
      // Only possible through rounding of the estimate; grow once instead of failing.
      capacity = n + list.n + perStar * (stars - k);
      x = grow(x, capacity);
      y = grow(y, capacity);
      r = grow(r, capacity);
      value = grow(value, capacity);
      const larger = new Uint8Array(capacity);
      larger.set(lattice);
      lattice = larger;
    }
    for (let s = 0; s < list.n; s++) {
      const dx = (list.dx[s] as number) - sx;
      const dy = (list.dy[s] as number) - sy;
      x[n] = cx + (list.dx[s] as number);
      y[n] = cy + (list.dy[s] as number);
      r[n] = Math.sqrt(dx * dx + dy * dy);
      value[n] = list.value[s] as number;
      lattice[n] = list.lattice[s] as number;
      n++;
    }
  }
  start[stars] = n;
  return {
    stars,
    start,
    x,
    y,
    centreX: starX.slice(),
    centreY: starY.slice(),
    r,
    value,
    neighbour: new Float32Array(n),
    lattice,
    noise: stamps.noise,
    lattices: plan.lattices.length,
  };
}

/** Moves the centre of star k and brings the distances of its samples up to date. */
export function moveCentre(samples: ProfileSamples, k: number, dx: number, dy: number): void {
  const cx = (samples.centreX[k] as number) + dx;
  const cy = (samples.centreY[k] as number) + dy;
  samples.centreX[k] = cx;
  samples.centreY[k] = cy;
  for (let s = samples.start[k] as number; s < (samples.start[k + 1] as number); s++) {
    const x = (samples.x[s] as number) - cx;
    const y = (samples.y[s] as number) - cy;
    samples.r[s] = Math.sqrt(x * x + y * y);
  }
}

function grow(from: Float32Array, capacity: number): Float32Array<ArrayBuffer> {
  const larger = new Float32Array(capacity);
  larger.set(from);
  return larger;
}
