/** The samples of all profile stars, flattened: one long list per channel that the rounds of the profile fit walk in order. */
import type { ChannelPlan } from '../detect/lattice.js';
import type { Stamps } from '../detect/stamps.js';
import { createSampleList, gatherSamples, type SampleList } from './samples.js';

/** Samples of one channel of all stars. */
export interface ProfileSamples {
  stars: number;
  lattices: number;
  /**
   * Star k owns, of lattice l, entries start[k × lattices + l] … start[k × lattices + l + 1] − 1, in order of their distance from the star's first
   * centre, to within `ORDER_PX`.
   */
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
  /** Sky noise of each lattice at each star: star-major. */
  noise: Float64Array;
  /** How far each star's centre has moved from the first one, at most, px. */
  drift: Float64Array;
}

/** Samples are ordered by distance to within this much, px. */
const ORDER_PX = 0.125;

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
  const lattices = plan.lattices.length;
  const share = (plan.ofChannel[channel] as number[]).length / (plan.bin === 2 ? 4 : 1);
  const perStar = Math.ceil(share * Math.PI * (rOut + 1.5) ** 2) + 16;
  const start = new Int32Array(stars * lattices + 1);
  const list = createSampleList(stamps.side * stamps.side);
  const order = createOrder(list.dx.length, rOut);
  let out = createColumns(stars * perStar);
  let n = 0;
  for (let k = 0; k < stars; k++) {
    const cx = stamps.cx[k] as number;
    const cy = stamps.cy[k] as number;
    const sx = (starX[k] as number) - cx;
    const sy = (starY[k] as number) - cy;
    gatherSamples(stamps, k, plan, channel, sx, sy, 0, rOut, list);
    if (n + list.n > out.x.length) {
      // Only possible through rounding of the estimate; grow once instead of failing.
      out = growColumns(out, n + list.n + perStar * (stars - k));
    }
    let from = 0;
    for (let l = 0; l < lattices; l++) {
      start[k * lattices + l] = n;
      let to = from;
      while (to < list.n && list.lattice[to] === l) to++;
      if (to > from) appendOrdered(list, from, to, sx, sy, cx, cy, order, out, n);
      n += to - from;
      from = to;
    }
  }
  start[stars * lattices] = n;
  return {
    stars,
    lattices,
    start,
    x: out.x,
    y: out.y,
    centreX: starX.slice(),
    centreY: starY.slice(),
    r: out.r,
    value: out.value,
    neighbour: new Float32Array(n),
    noise: stamps.noise,
    drift: new Float64Array(stars),
  };
}

interface Columns {
  x: Float32Array;
  y: Float32Array;
  r: Float32Array;
  value: Float32Array;
}

function createColumns(length: number): Columns {
  return {
    x: new Float32Array(length),
    y: new Float32Array(length),
    r: new Float32Array(length),
    value: new Float32Array(length),
  };
}

function growColumns(from: Columns, length: number): Columns {
  const larger = createColumns(length);
  larger.x.set(from.x);
  larger.y.set(from.y);
  larger.r.set(from.r);
  larger.value.set(from.value);
  return larger;
}

/** Scratch of the counting sort: distance of each sample, and where each bucket of distances starts. */
interface Order {
  r: Float64Array;
  bucket: Int32Array;
}

function createOrder(capacity: number, rOut: number): Order {
  return {
    r: new Float64Array(capacity),
    bucket: new Int32Array(Math.ceil(rOut / ORDER_PX) + 2),
  };
}

/** Appends samples from … to − 1 of `list` in order of distance: a counting sort, O(samples + buckets), stable. */
function appendOrdered(
  list: SampleList,
  from: number,
  to: number,
  sx: number,
  sy: number,
  cx: number,
  cy: number,
  order: Order,
  out: Columns,
  at: number,
): void {
  const { r, bucket } = order;
  const { x, y, value } = out;
  bucket.fill(0);
  for (let s = from; s < to; s++) {
    const dx = (list.dx[s] as number) - sx;
    const dy = (list.dy[s] as number) - sy;
    const distance = Math.sqrt(dx * dx + dy * dy);
    r[s] = distance;
    const b = ((distance / ORDER_PX) | 0) + 1;
    bucket[b] = (bucket[b] as number) + 1;
  }
  for (let b = 1; b < bucket.length; b++) {
    bucket[b] = (bucket[b] as number) + (bucket[b - 1] as number);
  }
  for (let s = from; s < to; s++) {
    const b = ((r[s] as number) / ORDER_PX) | 0;
    const place = at + (bucket[b] as number);
    bucket[b] = (bucket[b] as number) + 1;
    x[place] = cx + (list.dx[s] as number);
    y[place] = cy + (list.dy[s] as number);
    out.r[place] = r[s] as number;
    value[place] = list.value[s] as number;
  }
}

/** First entry of star k, all lattices. */
export function firstOf(samples: ProfileSamples, k: number): number {
  return samples.start[k * samples.lattices] as number;
}

/** Sky noise of the first lattice that star k has samples of. */
export function firstNoise(samples: ProfileSamples, k: number): number {
  const { lattices, start, noise } = samples;
  let at = k * lattices;
  while (at < (k + 1) * lattices - 1 && start[at] === start[at + 1]) at++;
  return noise[at] as number;
}

/** Samples of one lattice of one star, at most. */
export function longestStretch(samples: ProfileSamples): number {
  const { start } = samples;
  let longest = 0;
  for (let at = 0; at + 1 < start.length; at++) {
    longest = Math.max(longest, (start[at + 1] as number) - (start[at] as number));
  }
  return longest;
}

/** Once a sample of star k is this far out, all later ones of its lattice lie beyond `radius`. */
export function reachOf(samples: ProfileSamples, k: number, radius: number): number {
  // Any two distances may have changed by the drift in opposite senses; stored distances are rounded to 32 bits.
  return radius + 2 * (samples.drift[k] as number) + ORDER_PX + 1e-3;
}

/** Moves the centre of star k and brings the distances of its samples up to date. */
export function moveCentre(samples: ProfileSamples, k: number, dx: number, dy: number): void {
  const cx = (samples.centreX[k] as number) + dx;
  const cy = (samples.centreY[k] as number) + dy;
  samples.centreX[k] = cx;
  samples.centreY[k] = cy;
  samples.drift[k] = (samples.drift[k] as number) + Math.sqrt(dx * dx + dy * dy);
  const to = firstOf(samples, k + 1);
  for (let s = firstOf(samples, k); s < to; s++) {
    const x = (samples.x[s] as number) - cx;
    const y = (samples.y[s] as number) - cy;
    samples.r[s] = Math.sqrt(x * x + y * y);
  }
}
