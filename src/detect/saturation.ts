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
  const { n, radius, side, planes, data } = stamps;
  const channels = plan.channels.length;
  const lattices = plan.lattices.length;
  const table = siteTable(plan);
  const core = Math.min(CORE, radius);
  const peak = new Float64Array(n * channels).fill(Number.NaN);
  const level = new Float64Array(channels).fill(Number.NaN);

  const walk = (visit: (stamp: number, channel: number, physical: number, net: number) => void) => {
    for (let i = 0; i < n; i++) {
      for (let plane = 0; plane < planes; plane++) {
        for (let y = -core; y <= core; y++) {
          for (let x = -core; x <= core; x++) {
            const net = data[
              ((i * planes + plane) * side + y + radius) * side + x + radius
            ] as number;
            if (net !== net) continue;
            const parity =
              (((stamps.cy[i] as number) + y) & 1) * 2 + (((stamps.cx[i] as number) + x) & 1);
            const l = table[plane * 4 + parity] as number;
            const channel = plan.lattices[l]?.channel ?? 0;
            visit(i, channel, net + (stamps.background[i * lattices + l] as number), net);
          }
        }
      }
    }
  };

  const top = new Float64Array(channels).fill(Number.NEGATIVE_INFINITY);
  const topNet = new Float64Array(channels);
  walk((i, channel, physical, net) => {
    const at = i * channels + channel;
    if (!((peak[at] as number) >= physical)) peak[at] = physical;
    if (physical > (top[channel] as number)) {
      top[channel] = physical;
      topNet[channel] = net;
    }
  });
  const flat = new Int32Array(n * channels);
  walk((i, channel, physical) => {
    const tolerance = PLATEAU_TOLERANCE * Math.abs(topNet[channel] as number);
    if (physical >= (top[channel] as number) - tolerance) {
      flat[i * channels + channel] = (flat[i * channels + channel] as number) + 1;
    }
  });
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
