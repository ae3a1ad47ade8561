/** Who stands near whom, and the light they shed on each other by the current profile. */
import KDBush from 'kdbush';
import { type ProfileTable, profileAt } from './radial-spline.js';

/** For each listed position the indices of all sources within `radius` of it (itself left out), flattened. */
export interface NeighbourLists {
  start: Int32Array;
  index: Int32Array;
}

/** Neighbours of `who` among all sources; order of indices is ascending, so that sums never depend on the index tree. */
export function findNeighbours(
  x: Float64Array,
  y: Float64Array,
  who: ArrayLike<number>,
  radius: number,
): NeighbourLists {
  const start = new Int32Array(who.length + 1);
  const all: number[] = [];
  if (x.length > 0) {
    const tree = new KDBush(x.length);
    for (let i = 0; i < x.length; i++) tree.add(x[i] as number, y[i] as number);
    tree.finish();
    for (let k = 0; k < who.length; k++) {
      start[k] = all.length;
      const i = who[k] as number;
      const near = tree.within(x[i] as number, y[i] as number, radius);
      near.sort((a, b) => a - b);
      for (const j of near) if (j !== i) all.push(j);
    }
  }
  start[who.length] = all.length;
  return { start, index: Int32Array.from(all) };
}

/**
 * The profile beyond its table: p(r) falls as r⁻³ from its value near the rim, the slope of diffraction wings and of light
 * scattered in glass (common practice). Only for taking neighbours off, never for a published number.
 */
export function extendedProfileAt(
  table: ProfileTable,
  rim: number,
  rMax: number,
  r: number,
): number {
  if (r < rMax) return profileAt(table, r);
  const q = rMax / r;
  return rim * q * q * q;
}

/** Mean of the outer tenth of a profile, not below zero: where its extension starts. */
export function rimOf(table: ProfileTable): number {
  const n = table.value.length;
  const from = Math.floor(0.9 * n);
  let sum = 0;
  for (let i = from; i < n; i++) sum += table.value[i] as number;
  return Math.max(0, sum / (n - from));
}

/**
 * Radius beyond which `flux` × p stays below `limit` per sample, at most `reach`: by bisection, since profiles fall outwards (a bump
 * far out that rises above the limit again would be too faint to matter).
 */
export function influenceRadius(
  table: ProfileTable,
  rim: number,
  rMax: number,
  flux: number,
  limit: number,
  reach: number,
): number {
  if (flux * extendedProfileAt(table, rim, rMax, reach) >= limit) return reach;
  let low = 0;
  let high = reach;
  while (high - low > 0.5) {
    const middle = 0.5 * (low + high);
    if (flux * extendedProfileAt(table, rim, rMax, middle) >= limit) low = middle;
    else high = middle;
  }
  return Math.max(1, high);
}
