/** Flux per channel of every source: the current profile scaled to the source's own core, its neighbours taken off.
 *
 * These fluxes serve to take sources off each other and fill the catalogue; clipped samples are left out, so that a saturated
 * star is scaled by its wings.
 */
import type { ChannelPlan } from '../detect/lattice.js';
import type { Stamps } from '../detect/stamps.js';
import { extendedProfileAt, influenceRadius, type NeighbourLists } from './neighbours.js';
import { type ProfileTable, profileAt } from './radial-spline.js';
import { gatherSamples, type SampleList } from './samples.js';

export interface FluxInput {
  plan: ChannelPlan;
  channel: number;
  stamps: Stamps;
  /** Sources to measure, the stamp of each, and their neighbours (lists in the same order). */
  who: ArrayLike<number>;
  stampOf: ArrayLike<number>;
  neighbours: NeighbourLists;
  x: Float64Array;
  y: Float64Array;
  shiftX: Float64Array;
  shiftY: Float64Array;
  table: ProfileTable;
  rim: number;
  rMax: number;
  /** Samples within this radius enter. */
  radius: number;
  noisePerSignal: number;
  /** Physical level from which samples are left out, together with their surroundings; NaN = none. */
  clip: number;
}

/** Samples closer than this to a clipped one are left out too: charge spills over. */
const CLIP_GUARD = 1.6;
const NEIGHBOUR_LIMIT = 0.05;

/** Updates `flux` and `fluxError` of the listed sources in place (Gauss–Seidel: later ones see the new values of earlier ones). */
export function updateFluxes(
  input: FluxInput,
  samples: SampleList,
  flux: Float64Array,
  fluxError: Float64Array,
): void {
  const { plan, stamps, table, rim, rMax, neighbours } = input;
  const lattices = plan.lattices.length;
  const clippedX = new Float64Array(samples.dx.length);
  const clippedY = new Float64Array(samples.dx.length);
  for (let k = 0; k < input.who.length; k++) {
    const i = input.who[k] as number;
    const stamp = input.stampOf[k] as number;
    if (stamp < 0) continue;
    const cx = stamps.cx[stamp] as number;
    const cy = stamps.cy[stamp] as number;
    const x = (input.x[i] as number) + (input.shiftX[i] as number) - cx;
    const y = (input.y[i] as number) + (input.shiftY[i] as number) - cy;
    gatherSamples(stamps, stamp, plan, input.channel, x, y, 0, input.radius, samples);
    if (samples.n === 0) continue;
    const sigma = stamps.noise[stamp * lattices + (samples.lattice[0] as number)] as number;
    // Net values from here on: neighbours off.
    for (let m = neighbours.start[k] as number; m < (neighbours.start[k + 1] as number); m++) {
      const j = neighbours.index[m] as number;
      const f = flux[j] as number;
      if (!(f > 0)) continue;
      const nx = (input.x[j] as number) + (input.shiftX[j] as number) - cx;
      const ny = (input.y[j] as number) + (input.shiftY[j] as number) - cy;
      const distance = Math.sqrt((nx - x) ** 2 + (ny - y) ** 2) - input.radius;
      if (distance >= 2 * rMax) continue;
      const reach = influenceRadius(table, rim, rMax, f, NEIGHBOUR_LIMIT * sigma, 2 * rMax);
      if (distance >= reach) continue;
      for (let s = 0; s < samples.n; s++) {
        const dx = (samples.dx[s] as number) - nx;
        const dy = (samples.dy[s] as number) - ny;
        const r2 = dx * dx + dy * dy;
        if (r2 >= reach * reach) continue;
        samples.value[s] =
          (samples.value[s] as number) - f * extendedProfileAt(table, rim, rMax, Math.sqrt(r2));
      }
    }
    let clipped = 0;
    if (input.clip === input.clip) {
      for (let s = 0; s < samples.n; s++) {
        const physical =
          (stamps.data[samples.index[s] as number] as number) +
          (stamps.background[stamp * lattices + (samples.lattice[s] as number)] as number);
        if (physical >= input.clip) {
          clippedX[clipped] = samples.dx[s] as number;
          clippedY[clipped++] = samples.dy[s] as number;
        }
      }
    }
    const old = Math.max(0, flux[i] === flux[i] ? (flux[i] as number) : 0);
    let top = 0;
    let bottom = 0;
    for (let s = 0; s < samples.n; s++) {
      const px = samples.dx[s] as number;
      const py = samples.dy[s] as number;
      let near = false;
      for (let c = 0; c < clipped && !near; c++) {
        const gx = px - (clippedX[c] as number);
        const gy = py - (clippedY[c] as number);
        near = gx * gx + gy * gy < CLIP_GUARD * CLIP_GUARD;
      }
      if (near) continue;
      const r = Math.sqrt((px - x) ** 2 + (py - y) ** 2);
      const p = profileAt(table, r);
      const noise = stamps.noise[stamp * lattices + (samples.lattice[s] as number)] as number;
      const signal = old * p;
      const w = 1 / (noise * noise + input.noisePerSignal * signal + (0.05 * signal) ** 2);
      top += w * p * (samples.value[s] as number);
      bottom += w * p * p;
    }
    if (bottom > 0) {
      flux[i] = top / bottom;
      fluxError[i] = 1 / Math.sqrt(bottom);
    }
  }
}
