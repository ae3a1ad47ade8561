/** The level at which stars clip, found from the frame itself: many peaks at one value, and tops that are flat. */
import { medianOf } from '../stats/robust.js';
import type { ChannelPlan } from './lattice.js';
import { type Stamps, siteTable } from './stamps.js';

/** Samples within this share of the highest peak (above background) count as lying on the plateau. */
const PLATEAU_TOLERANCE = 0.004;
/** Stars are called saturated from this share of the level on: sensors bend before they clip. */
export const SATURATION_MARGIN = 0.97;
/** A plateau stands at least this many σ above the background: a channel without light has none. */
const SMALLEST_PLATEAU_SIGMA = 30;
/** Radius of a stamp's core that is searched, px. */
const CORE = 3;

export interface PlateauSearch {
  /** Clipping level per channel in physical ADU, NaN where none shows. */
  level: Float64Array;
  /** Highest physical sample of each stamp's core per channel: stamp-major. */
  peak: Float64Array;
}

/**
 * A plateau is accepted when at least three peaks share it and one of them is flat over two samples or more, or when one peak
 * is flat over at least five samples. An unsaturated field whose star counts fall as 1/flux puts 0.4 % of its peaks so close to
 * the highest one.
 */
export function findPlateau(stamps: Stamps, plan: ChannelPlan): PlateauSearch {
  const { n } = stamps;
  const channels = plan.channels.length;
  const cores = createCores(stamps, plan);
  const peak = new Float64Array(n * channels).fill(Number.NaN);
  const level = new Float64Array(channels).fill(Number.NaN);
  const top = new Float64Array(channels).fill(Number.NEGATIVE_INFINITY);
  const topNet = new Float64Array(channels);
  const flat = new Int32Array(n * channels);
  for (let i = 0; i < n; i++) findPeak(cores, gatherCore(stamps, cores, i), i, peak, top, topNet);
  for (let i = 0; i < n; i++) countFlat(cores, gatherCore(stamps, cores, i), i, top, topNet, flat);
  for (let channel = 0; channel < channels; channel++) {
    let sharing = 0;
    let flattest = 0;
    for (let i = 0; i < n; i++) {
      const count = flat[i * channels + channel] as number;
      if (count > 0) sharing++;
      if (count > flattest) flattest = count;
    }
    const stands =
      (topNet[channel] as number) > SMALLEST_PLATEAU_SIGMA * noiseOf(stamps, plan, channel);
    if (stands && ((sharing >= 3 && flattest >= 2) || flattest >= 5)) {
      level[channel] =
        (top[channel] as number) - PLATEAU_TOLERANCE * Math.abs(topNet[channel] as number);
    }
  }
  return { level, peak };
}

/** Samples of one stamp's core, with what is needed to gather them. */
interface Cores {
  channels: number;
  lattices: number;
  /** Lattice of each site, channel of each lattice. */
  table: Int32Array;
  channelOf: Int32Array;
  channel: Int32Array;
  physical: Float64Array;
  net: Float64Array;
}

function createCores(stamps: Stamps, plan: ChannelPlan): Cores {
  const capacity = stamps.planes * (2 * CORE + 1) ** 2;
  return {
    channels: plan.channels.length,
    lattices: plan.lattices.length,
    table: siteTable(plan),
    channelOf: Int32Array.from(plan.lattices, (lattice) => lattice.channel),
    channel: new Int32Array(capacity),
    physical: new Float64Array(capacity),
    net: new Float64Array(capacity),
  };
}

/** Gathers the core of stamp `i`; returns the number of samples with a value. */
function gatherCore(stamps: Stamps, cores: Cores, i: number): number {
  const { radius, side, planes, data, background } = stamps;
  const { table, channelOf, channel, physical, net } = cores;
  const core = Math.min(CORE, radius);
  const cx = stamps.cx[i] as number;
  const cy = stamps.cy[i] as number;
  let count = 0;
  for (let plane = 0; plane < planes; plane++) {
    for (let y = -core; y <= core; y++) {
      const row = ((i * planes + plane) * side + y + radius) * side + radius;
      for (let x = -core; x <= core; x++) {
        const value = data[row + x] as number;
        if (value !== value) continue;
        const l = table[plane * 4 + ((cy + y) & 1) * 2 + ((cx + x) & 1)] as number;
        channel[count] = channelOf[l] as number;
        physical[count] = value + (background[i * cores.lattices + l] as number);
        net[count] = value;
        count++;
      }
    }
  }
  return count;
}

/** Highest sample of a stamp and, so far, of the frame. */
function findPeak(
  cores: Cores,
  count: number,
  i: number,
  peak: Float64Array,
  top: Float64Array,
  topNet: Float64Array,
): void {
  for (let s = 0; s < count; s++) {
    const c = cores.channel[s] as number;
    const physical = cores.physical[s] as number;
    const at = i * cores.channels + c;
    if (!((peak[at] as number) >= physical)) peak[at] = physical;
    if (physical > (top[c] as number)) {
      top[c] = physical;
      topNet[c] = cores.net[s] as number;
    }
  }
}

/** Samples of a stamp that lie on the frame's plateau. */
function countFlat(
  cores: Cores,
  count: number,
  i: number,
  top: Float64Array,
  topNet: Float64Array,
  flat: Int32Array,
): void {
  for (let s = 0; s < count; s++) {
    const c = cores.channel[s] as number;
    const tolerance = PLATEAU_TOLERANCE * Math.abs(topNet[c] as number);
    if ((cores.physical[s] as number) < (top[c] as number) - tolerance) continue;
    const at = i * cores.channels + c;
    flat[at] = (flat[at] as number) + 1;
  }
}

/** Median sky noise of a channel over the stamps; never 0, so that a constant channel has no plateau. */
function noiseOf(stamps: Stamps, plan: ChannelPlan, channel: number): number {
  const l = (plan.ofChannel[channel] as number[])[0] as number;
  const lattices = plan.lattices.length;
  const values = Array.from(
    { length: stamps.n },
    (_, i) => stamps.noise[i * lattices + l] as number,
  );
  return Math.max(1e-9, medianOf(values));
}
