/**
 * Figures of four stars and their codes: numbers that do not change with shift, rotation, scale.
 *
 * The two stars farthest apart span the x axis from 0 to 1; the other two have coordinates (x1, y1), (x2, y2) in that
 * frame (the idea of Lang et al. 2010, AJ 139, 1782, with the widest pair as base). Of the two directions of the base
 * the one with x1 + x2 ≤ 1 is taken, and the star with the smaller x comes first. A mirror image has the signs of both
 * y reversed.
 *
 * Which four stars? The depth, scale and part of sky of the other frame are unknown, so figures are made at many
 * depths: at each, of every star with its nearest neighbours among the n brightest. At the depth where both lists have
 * the same stars per area of sky, the same figures occur in both.
 */
import { indexOfBrightest, type PreparedList } from './star-list.js';

/** Four-star figures as a struct of arrays. */
export interface Quads {
  readonly count: number;
  /** Four star numbers each, the base first, in the order of the code. */
  readonly stars: Int32Array;
  /** x1, y1, x2, y2. */
  readonly codes: Float32Array;
  /** Length of the base, px. */
  readonly base: Float32Array;
}

/** How many stars a level takes, and how many neighbours each star is joined with. */
export interface Level {
  stars: number;
  neighbours: number;
}

/** How thoroughly one pass looks: figures tried per level, duplicates included, and its deepest level, stars. */
export interface Thoroughness {
  figures: number;
  deepest: number;
}

const FIRST_LEVEL = 32;
const LEAST_NEIGHBOURS = 5;
const MOST_NEIGHBOURS = 40;
/** Deepest level of lists whose brightness orders them: deeper ones add time, not matches. */
const DEEPEST_ORDERED = 6000;
/** Stars nearer than this many σ make figures that noise has shaped. */
const LEAST_SEPARATION_SIGMA = 6;

/** Depths at which figures are made, from bright to faint, doubling. */
export function quadLevels(list: PreparedList, { figures, deepest }: Thoroughness): Level[] {
  const all = list.ordered ? Math.min(list.n, DEEPEST_ORDERED) : list.n;
  const levels: Level[] = [];
  const add = (stars: number): void => {
    if (stars < 4 || (stars > deepest && levels.length > 0)) return;
    levels.push(levelOf(stars, figures));
  };
  for (let stars = FIRST_LEVEL; stars < 0.75 * all; stars *= 2) add(stars);
  add(all);
  return levels;
}

function levelOf(stars: number, figures: number): Level {
  let neighbours = Math.min(LEAST_NEIGHBOURS, stars - 1);
  while (
    neighbours < Math.min(MOST_NEIGHBOURS, stars - 1) &&
    stars * threeOf(neighbours + 1) <= figures
  ) {
    neighbours++;
  }
  return { stars, neighbours };
}

const threeOf = (k: number): number => (k * (k - 1) * (k - 2)) / 6;

/** Figures of one level; each set of four stars once. */
export function makeQuads(list: PreparedList, { stars: n, neighbours: k }: Level): Quads {
  const { x, y } = list;
  const near = neighbourTable(list, n, k);
  const capacity = n * threeOf(k);
  const stars = new Int32Array(4 * capacity);
  const codes = new Float32Array(4 * capacity);
  const base = new Float32Array(capacity);
  const least2 = (LEAST_SEPARATION_SIGMA * list.sigmaPx) ** 2;
  const every = k >= n - 1;
  let count = 0;
  for (let i = 0; i < n; i++) {
    for (let p = 0; p < k; p++) {
      const a = near[i * k + p];
      if (every && a < i) continue;
      for (let q = p + 1; q < k; q++) {
        const b = near[i * k + q];
        if (every && b < i) continue;
        for (let r = q + 1; r < k; r++) {
          const c = near[i * k + r];
          if (every) {
            if (c < i) continue;
          } else if (
            (a < i && holds(near, k, a, i, b, c)) ||
            (b < i && holds(near, k, b, i, a, c)) ||
            (c < i && holds(near, k, c, i, a, b))
          ) {
            continue;
          }
          if (encode(x, y, i, a, b, c, least2, stars, codes, base, count)) count++;
        }
      }
    }
  }
  return {
    count,
    stars: stars.slice(0, 4 * count),
    codes: codes.slice(0, 4 * count),
    base: base.slice(0, count),
  };
}

/** The k nearest of the n brightest for each of these, row by row. */
export function neighbourTable(list: PreparedList, n: number, k: number): Int32Array {
  const index = indexOfBrightest(list, n);
  const near = new Int32Array(n * k);
  const found = new Int32Array(k + 1);
  const d2 = new Float64Array(k + 1);
  for (let i = 0; i < n; i++) {
    const count = index.kNearest(list.x[i], list.y[i], k + 1, found, d2);
    let at = 0;
    for (let j = 0; j < count && at < k; j++) if (found[j] !== i) near[i * k + at++] = found[j];
  }
  return near;
}

/** Whether star `of` has all of a, b, c among its neighbours. */
function holds(near: Int32Array, k: number, of: number, a: number, b: number, c: number): boolean {
  let hits = 0;
  for (let j = of * k; j < (of + 1) * k; j++) {
    const other = near[j];
    if (other === a || other === b || other === c) hits++;
  }
  return hits === 3;
}

/** Writes figure number `at`; false when its stars stand too close together. */
function encode(
  x: Float64Array,
  y: Float64Array,
  i: number,
  a: number,
  b: number,
  c: number,
  least2: number,
  stars: Int32Array,
  codes: Float32Array,
  base: Float32Array,
  at: number,
): boolean {
  const ia = (x[a] - x[i]) * (x[a] - x[i]) + (y[a] - y[i]) * (y[a] - y[i]);
  const ib = (x[b] - x[i]) * (x[b] - x[i]) + (y[b] - y[i]) * (y[b] - y[i]);
  const ic = (x[c] - x[i]) * (x[c] - x[i]) + (y[c] - y[i]) * (y[c] - y[i]);
  const ab = (x[b] - x[a]) * (x[b] - x[a]) + (y[b] - y[a]) * (y[b] - y[a]);
  const ac = (x[c] - x[a]) * (x[c] - x[a]) + (y[c] - y[a]) * (y[c] - y[a]);
  const bc = (x[c] - x[b]) * (x[c] - x[b]) + (y[c] - y[b]) * (y[c] - y[b]);
  if (Math.min(ia, ib, ic, ab, ac, bc) < least2) return false;
  const widest = Math.max(ia, ib, ic, ab, ac, bc);
  let P = i;
  let Q = a;
  let R = b;
  let S = c;
  if (widest === ib) [Q, R] = [b, a];
  else if (widest === ic) [Q, S] = [c, a];
  else if (widest === ab) [P, Q, R, S] = [a, b, i, c];
  else if (widest === ac) [P, Q, R, S] = [a, c, i, b];
  else if (widest === bc) [P, Q, R, S] = [b, c, i, a];
  writeCode(x, y, P, Q, R, S, stars, codes, base, at);
  return true;
}

/** Code of the figure with base PQ in its canonical form, as figure number `at`. */
export function writeCode(
  x: Float64Array,
  y: Float64Array,
  P: number,
  Q: number,
  R: number,
  S: number,
  stars: Int32Array,
  codes: Float32Array,
  base: Float32Array,
  at: number,
): void {
  const ux = x[Q] - x[P];
  const uy = y[Q] - y[P];
  const length2 = ux * ux + uy * uy;
  let x1 = ((x[R] - x[P]) * ux + (y[R] - y[P]) * uy) / length2;
  let y1 = ((y[R] - y[P]) * ux - (x[R] - x[P]) * uy) / length2;
  let x2 = ((x[S] - x[P]) * ux + (y[S] - y[P]) * uy) / length2;
  let y2 = ((y[S] - y[P]) * ux - (x[S] - x[P]) * uy) / length2;
  const reverse = x1 + x2 > 1;
  if (reverse) {
    x1 = 1 - x1;
    y1 = -y1;
    x2 = 1 - x2;
    y2 = -y2;
  }
  const swap = x1 > x2;
  const o = 4 * at;
  stars[o] = reverse ? Q : P;
  stars[o + 1] = reverse ? P : Q;
  stars[o + 2] = swap ? S : R;
  stars[o + 3] = swap ? R : S;
  codes[o] = swap ? x2 : x1;
  codes[o + 1] = swap ? y2 : y1;
  codes[o + 2] = swap ? x1 : x2;
  codes[o + 3] = swap ? y1 : y2;
  base[at] = Math.sqrt(length2);
}
