/** The ring round saturated stars: is there as much blue and red as the unsaturated profile, scaled by the inner wing, says? */
import type { ChannelPlan } from '../detect/lattice.js';
import { createRandom } from '../stats/random.js';
import type { EffectiveProfiles } from './effective-profiles.js';
import { extendedProfileAt, findNeighbours } from './neighbours.js';
import { type ProfileTable, profileAt } from './radial-spline.js';
import type { HaloResult } from './result.js';
import { createSampleList, gatherSamples } from './samples.js';
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
  const { stamps } = wide;
  const list = createSampleList(stamps.side ** 2);
  const lattices = plan.lattices.length;
  const neighbours = findNeighbours(sources.x, sources.y, wide.sources, 2 * rMax);
  const observed: number[][] = [[], []];
  const expected: number[][] = [[], []];
  const used: number[] = [];
  wide.sources.forEach((i, k) => {
    const sums: [number, number][] = [];
    for (const name of ['B', 'R'] as const) {
      const c = plan.channels.indexOf(name);
      const shift = effective.shifts[c];
      const table = effective.profiles[c]?.table as ProfileTable;
      const rim = effective.profiles[c]?.rim ?? 0;
      if (!shift) return;
      const cx = stamps.cx[k] as number;
      const cy = stamps.cy[k] as number;
      const x = (sources.x[i] as number) + (shift.x[i] as number) - cx;
      const y = (sources.y[i] as number) + (shift.y[i] as number) - cy;
      gatherSamples(stamps, k, plan, c, x, y, 0, rMax, list);
      let clippedTo = 0;
      const limit = 0.9 * (saturation[c] as number);
      for (let s = 0; s < list.n; s++) {
        const physical =
          (list.value[s] as number) +
          (stamps.background[k * lattices + (list.lattice[s] as number)] as number);
        if (physical < limit) continue;
        const r = Math.sqrt(((list.dx[s] as number) - x) ** 2 + ((list.dy[s] as number) - y) ** 2);
        if (r < inner) clippedTo = Math.max(clippedTo, r);
      }
      const from = clippedTo + GUARD;
      if (from > 0.7 * inner) return;
      for (let m = neighbours.start[k] as number; m < (neighbours.start[k + 1] as number); m++) {
        const j = neighbours.index[m] as number;
        const f = sources.flux[c]?.[j] as number;
        if (!(f > 0)) continue;
        const nx = (sources.x[j] as number) + (shift.x[j] as number) - cx;
        const ny = (sources.y[j] as number) + (shift.y[j] as number) - cy;
        for (let s = 0; s < list.n; s++) {
          const r = Math.sqrt(
            ((list.dx[s] as number) - nx) ** 2 + ((list.dy[s] as number) - ny) ** 2,
          );
          list.value[s] = (list.value[s] as number) - f * extendedProfileAt(table, rim, rMax, r);
        }
      }
      let top = 0;
      let bottom = 0;
      let ring = 0;
      let ringModel = 0;
      const guess = Math.max(0, sources.flux[c]?.[i] as number);
      for (let s = 0; s < list.n; s++) {
        const r = Math.sqrt(((list.dx[s] as number) - x) ** 2 + ((list.dy[s] as number) - y) ** 2);
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
      if (!(bottom > 0) || !(top > 0)) return;
      sums.push([ring, (ringModel * top) / bottom]);
    }
    if (sums.length !== 2) return;
    for (let c = 0; c < 2; c++) {
      (observed[c] as number[]).push((sums[c] as [number, number])[0]);
      (expected[c] as number[]).push((sums[c] as [number, number])[1]);
    }
    used.push(i);
  });
  const n = used.length;
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
