/** The ring round saturated stars: is there as much blue and red as the unsaturated profile, scaled by the inner wing, says? */
import type { ChannelPlan } from '../detect/lattice.js';
import type { Stamps } from '../detect/stamps.js';
import { createRandom } from '../stats/random.js';
import type { EffectiveProfiles } from './effective-profiles.js';
import { extendedProfileAt, findNeighbours, type NeighbourLists } from './neighbours.js';
import { type ProfileTable, profileAt } from './radial-spline.js';
import type { HaloResult } from './result.js';
import { createSampleList, gatherSamples, type SampleList } from './samples.js';
import type { Sources } from './sources.js';
import { uncertain } from './uncertain.js';

/** Distance kept from clipped samples, px. */
const GUARD = 2;
/** The ring starts at this share of R_max; the wing inside it sets the scale. */
const RING_FROM = 0.55;
const FEWEST = 3;

/**
 * Observed over expected light in the ring RING_FROM · R_max … R_max, for blue and red, over all saturated stars whose clipped
 * area ends well inside it.
 * @returns null when fewer than three stars serve
 */
export function saturatedHalo(
  plan: ChannelPlan,
  effective: EffectiveProfiles,
  sources: Sources,
  saturation: Float64Array,
  noisePerSignal: number,
  seed: number,
): HaloResult['saturatedStars'] {
  const { wide, rMax } = effective;
  if (!wide) return null;
  const inner = RING_FROM * rMax;
  const list = createSampleList(wide.stamps.side ** 2);
  const neighbours = findNeighbours(sources.x, sources.y, wide.sources, 2 * rMax);
  const observed: number[][] = [[], []];
  const expected: number[][] = [[], []];
  const rings = (['B', 'R'] as const).map((name) => {
    const channel = plan.channels.indexOf(name);
    return {
      plan,
      channel,
      stamps: wide.stamps,
      sources,
      flux: sources.flux[channel] as Float64Array,
      shift: effective.shifts[channel] as { x: Float64Array; y: Float64Array },
      table: effective.profiles[channel]?.table as ProfileTable,
      rim: effective.profiles[channel]?.rim ?? 0,
      rMax,
      clip: 0.9 * (saturation[channel] as number),
      noisePerSignal,
      neighbours,
    };
  });
  wide.sources.forEach((i, k) => {
    const sums = rings.map((ring) => ringOf(ring, i, k, list));
    const [blue, red] = sums;
    if (!blue || !red) return;
    [blue, red].forEach((sum, c) => {
      observed[c]?.push(sum.observed);
      expected[c]?.push(sum.expected);
    });
  });
  const n = observed[0]?.length ?? 0;
  if (n < FEWEST) return null;
  const ratio = (c: number, pick: (k: number) => number): number => {
    let a = 0;
    let b = 0;
    for (let k = 0; k < n; k++) {
      const j = pick(k);
      a += (observed[c] as number[])[j] as number;
      b += (expected[c] as number[])[j] as number;
    }
    return a / b;
  };
  const random = createRandom(seed + 16411);
  const draws: [number[], number[]] = [[], []];
  for (let d = 0; d < 100; d++) {
    const picks = Array.from({ length: n }, () => Math.floor(random() * n));
    for (let c = 0; c < 2; c++) (draws[c] as number[]).push(ratio(c, (k) => picks[k] as number));
  }
  const widen = Math.sqrt(n / (n - 1));
  const blue = uncertain(
    ratio(0, (k) => k),
    draws[0],
    widen,
  );
  const redder = uncertain(
    ratio(1, (k) => k),
    draws[1],
    widen,
  );
  if (!blue || !redder) return null;
  return {
    stars: n,
    ringPx: [inner, rMax],
    blueOverExpected: blue,
    redOverExpected: redder,
  };
}

/** What the ring of a saturated star in one channel is measured with. */
interface RingInput {
  plan: ChannelPlan;
  channel: number;
  stamps: Stamps;
  sources: Sources;
  flux: Float64Array;
  shift: { x: Float64Array; y: Float64Array };
  table: ProfileTable;
  rim: number;
  rMax: number;
  /** Physical level from which a sample counts as clipped. */
  clip: number;
  noisePerSignal: number;
  neighbours: NeighbourLists;
}

/**
 * Light of source `i` (stamp `k`) in the ring, and what the profile scaled to the wing inside the ring expects there; null when the clipped area
 * reaches too far out, or the wing holds no light.
 */
function ringOf(
  input: RingInput,
  i: number,
  k: number,
  list: SampleList,
): { observed: number; expected: number } | null {
  const { stamps, sources, shift, table, rMax, noisePerSignal } = input;
  const inner = RING_FROM * rMax;
  const lattices = input.plan.lattices.length;
  const cx = stamps.cx[k] as number;
  const cy = stamps.cy[k] as number;
  const x = (sources.x[i] as number) + (shift.x[i] as number) - cx;
  const y = (sources.y[i] as number) + (shift.y[i] as number) - cy;
  gatherSamples(stamps, k, input.plan, input.channel, x, y, 0, rMax, list);
  const from = clippedTo(input, k, x, y, inner, list) + GUARD;
  if (from > 0.7 * inner) return null;
  takeNeighboursOff(input, k, list);
  let top = 0;
  let bottom = 0;
  let ring = 0;
  let ringModel = 0;
  const guess = Math.max(0, input.flux[i] as number);
  for (let s = 0; s < list.n; s++) {
    const dx = (list.dx[s] as number) - x;
    const dy = (list.dy[s] as number) - y;
    const r = Math.sqrt(dx * dx + dy * dy);
    if (r < from) continue;
    const p = profileAt(table, r);
    if (r < inner) {
      const sigma = stamps.noise[k * lattices + (list.lattice[s] as number)] as number;
      const signal = guess * p;
      const w = 1 / (sigma * sigma + noisePerSignal * signal + (0.05 * signal) ** 2);
      top += w * p * (list.value[s] as number);
      bottom += w * p * p;
    } else {
      ring += list.value[s] as number;
      ringModel += p;
    }
  }
  return bottom > 0 && top > 0 ? { observed: ring, expected: (ringModel * top) / bottom } : null;
}

/** Distance of the outermost clipped sample within `inner`; 0 when none is clipped. */
function clippedTo(
  input: RingInput,
  k: number,
  x: number,
  y: number,
  inner: number,
  list: SampleList,
): number {
  const lattices = input.plan.lattices.length;
  const { background } = input.stamps;
  let outermost = 0;
  for (let s = 0; s < list.n; s++) {
    const mesh = background[k * lattices + (list.lattice[s] as number)] as number;
    if ((list.value[s] as number) + mesh < input.clip) continue;
    const dx = (list.dx[s] as number) - x;
    const dy = (list.dy[s] as number) - y;
    const r = Math.sqrt(dx * dx + dy * dy);
    if (r < inner && r > outermost) outermost = r;
  }
  return outermost;
}

function takeNeighboursOff(input: RingInput, k: number, list: SampleList): void {
  const { stamps, sources, shift, table, rim, rMax, neighbours, flux } = input;
  const cx = stamps.cx[k] as number;
  const cy = stamps.cy[k] as number;
  for (let m = neighbours.start[k] as number; m < (neighbours.start[k + 1] as number); m++) {
    const j = neighbours.index[m] as number;
    const f = flux[j] as number;
    if (!(f > 0)) continue;
    const nx = (sources.x[j] as number) + (shift.x[j] as number) - cx;
    const ny = (sources.y[j] as number) + (shift.y[j] as number) - cy;
    for (let s = 0; s < list.n; s++) {
      const dx = (list.dx[s] as number) - nx;
      const dy = (list.dy[s] as number) - ny;
      const r = Math.sqrt(dx * dx + dy * dy);
      list.value[s] = (list.value[s] as number) - f * extendedProfileAt(table, rim, rMax, r);
    }
  }
}
