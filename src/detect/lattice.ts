/** Which samples belong to which channel: the regular site lattices of a layout.
 *
 * Mono has one lattice, RGB one per plane, a mosaic four (two of them green). Kernels walk lattices with a step instead of
 * asking every sample for its colour.
 */
import type { Frame } from '../frame/frame.js';

export type Channel = 'R' | 'G' | 'B' | 'L';

/** Sites (x0 + i·step, y0 + j·step) of one plane. */
export interface Lattice {
  /** Index into `ChannelPlan.channels`. */
  channel: number;
  plane: number;
  x0: number;
  y0: number;
  step: 1 | 2;
}

/** All lattices of a frame and the channels they form. */
export interface ChannelPlan {
  channels: Channel[];
  lattices: Lattice[];
  /** Lattice indices of each channel. */
  ofChannel: number[][];
  /** Index of the channel that positions, shapes and detection refer to: G, or L. */
  reference: number;
  /** Sensor samples per side of a detection cell: 2 for a mosaic, else 1. */
  bin: 1 | 2;
  planes: number;
}

/** Plan for a frame. A mosaic whose red and blue cannot be told apart yields the green channel as published one, with the two others kept as unnamed lattices. */
export function planChannels(frame: Frame): ChannelPlan {
  const lattices: Lattice[] = [];
  let channels: Channel[];
  if (frame.layout === 'cfa' && frame.cfa) {
    channels = ['R', 'G', 'B'];
    for (let site = 0; site < 4; site++) {
      const letter = frame.cfa.pattern[site] as Channel;
      lattices.push({
        channel: channels.indexOf(letter),
        plane: 0,
        x0: site & 1,
        y0: site >> 1,
        step: 2,
      });
    }
  } else if (frame.layout === 'rgb') {
    channels = ['R', 'G', 'B'];
    for (let plane = 0; plane < 3; plane++) {
      lattices.push({ channel: plane, plane, x0: 0, y0: 0, step: 1 });
    }
  } else {
    channels = ['L'];
    lattices.push({ channel: 0, plane: 0, x0: 0, y0: 0, step: 1 });
  }
  const ofChannel = channels.map((_, c) =>
    lattices.flatMap((lattice, index) => (lattice.channel === c ? [index] : [])),
  );
  return {
    channels,
    lattices,
    ofChannel,
    reference: channels.length === 3 ? 1 : 0,
    bin: frame.layout === 'cfa' ? 2 : 1,
    planes: frame.rows.planes,
  };
}
