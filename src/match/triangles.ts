/**
 * Triangles, for a list of few stars against one that may be far deeper: four common stars seldom are neighbours there,
 * three more often are. Every triangle of the short list is held against those of the long one, and the transform that
 * two of its corners fix is asked at once where it puts the other stars: a picture of the long list, blurred by the
 * tolerance, answers with one look each.
 */
import type { FigurePairs } from './collector.js';
import { Picture } from './picture.js';
import { neighbourTable } from './quads.js';
import type { SearchSpace } from './significance.js';
import type { PreparedList } from './star-list.js';

/** Triangles of the short list at most: all, up to about thirty stars. */
const MOST_SHORT = 4000;
/** Depths of the long list that are tried, and the neighbours that each star is joined with there. */
const SHALLOWEST = 32;
const DEEPEST = 1024;
const NEIGHBOURS = 24;
/** Cells of the codes; the third corner lies within 0.866 of the base, and x ≤ ½ but for ties. */
const CELL = 0.01;
const CELLS_X = 56;
const CELLS_Y = 90;
/** Sides that differ by less may trade places. */
const TIE = 0.05;
/** Flatter triangles say little, and noise may mirror them. */
const LEAST_HEIGHT = 0.06;
/** As for figures of four: distortion, error of a code in σ of position over the base, how many pass. */
const STRAIN = 0.004;
const ERROR_SIGMAS = 4.3;
const MOST_REACH = 0.016;
/** A code that errs by more says little. */
const MOST_ERROR = 0.01;
const LEAST_SEPARATION_SIGMA = 6;
/** Multiples of this, without their whole part, jump evenly to and fro. */
const GOLDEN = (Math.sqrt(5) - 1) / 2;
/** −ln of the chance of its hits that a triangle needs, and how many are handed on. */
const LEAST_SCORE = 4;
const MOST_PROPOSED = 3000;

/** Pairs of triangles borne out by the other stars, best first. The third corner stands twice. */
export function trianglePairs(a: PreparedList, b: PreparedList, space: SearchSpace): FigurePairs {
  const short = a.n <= b.n ? a : b;
  const long = a.n <= b.n ? b : a;
  const swapped = short === b;
  const table = new TriangleTable(short);
  const found: Hit[] = [];
  const depths: number[] = [];
  const all = long.ordered ? Math.min(long.n, DEEPEST) : long.n;
  // Without an order no depth can be chosen, and all of a long list would be too much.
  if (all <= DEEPEST) {
    for (let depth = SHALLOWEST; depth < 0.75 * all; depth *= 2) depths.push(depth);
    depths.push(all);
  }
  const limits = swapped
    ? { least: 1 / space.maxScale, most: 1 / space.minScale }
    : { least: space.minScale, most: space.maxScale };
  for (const depth of depths) {
    askLevel(table, short, long, depth, limits, space.mirrored, found);
  }
  found.sort((one, other) => other.score - one.score);
  const count = Math.min(found.length, MOST_PROPOSED);
  const stars = new Int32Array(8 * count);
  const mirrored = new Uint8Array(count);
  for (let c = 0; c < count; c++) {
    const { corners, flip } = found[c];
    for (let j = 0; j < 4; j++) {
      const k = Math.min(j, 2);
      stars[8 * c + (swapped ? 4 : 0) + j] = corners[k];
      stars[8 * c + (swapped ? 0 : 4) + j] = corners[3 + k];
    }
    mirrored[c] = flip ? 1 : 0;
  }
  return { count, stars, mirrored };
}

/** Three corners of the short list, the three of the long one. */
interface Hit {
  corners: number[];
  flip: boolean;
  score: number;
}

/** All triangles of the level against the table. */
function askLevel(
  table: TriangleTable,
  short: PreparedList,
  long: PreparedList,
  depth: number,
  limits: { least: number; most: number },
  mirrored: boolean | null,
  found: Hit[],
): void {
  const { x, y } = long;
  const { starts, x: formX, y: formY, base } = table;
  const k = Math.min(NEIGHBOURS, depth - 1);
  const near = neighbourTable(long, depth, k);
  const joined = joinedStars(near, depth, k);
  const picture = new Picture(long, depth);
  const least2 = (LEAST_SEPARATION_SIGMA * long.sigmaPx) ** 2;
  const corners = new Int32Array(3);
  const code = new Float64Array(3);
  for (let i = 0; i < depth; i++) {
    for (let p = 0; p < k; p++) {
      const j = near[i * k + p];
      for (let q = p + 1; q < k; q++) {
        const l = near[i * k + q];
        // Where all three are neighbours of each other the triangle comes three times: the first is enough.
        if (j < i && joined[j * depth + i] === 1 && joined[j * depth + l] === 1) continue;
        if (l < i && joined[l * depth + i] === 1 && joined[l * depth + j] === 1) continue;
        if (!encode(x, y, i, j, l, least2, corners, code)) continue;
        const flat = Math.abs(code[1]);
        if (flat < LEAST_HEIGHT) continue;
        const length = code[2];
        const errorLong = (ERROR_SIGMAS * long.sigmaPx) / length;
        if (errorLong > MOST_ERROR) continue;
        const widest = Math.min(MOST_REACH, STRAIN + errorLong + table.error);
        const x1 = Math.min(CELLS_X - 1, Math.floor((code[0] + widest) / CELL));
        const y1 = Math.min(CELLS_Y - 1, Math.floor((flat + widest) / CELL));
        for (let cx = Math.max(0, Math.floor((code[0] - widest) / CELL)); cx <= x1; cx++) {
          for (let cy = Math.max(0, Math.floor((flat - widest) / CELL)); cy <= y1; cy++) {
            const cell = cx * CELLS_Y + cy;
            const end = starts[cell + 1];
            for (let e = starts[cell]; e < end; e++) {
              const dx = formX[e] - code[0];
              const dy = Math.abs(formY[e]) - flat;
              const difference2 = dx * dx + dy * dy;
              if (difference2 > widest * widest) continue;
              const errorShort = (ERROR_SIGMAS * short.sigmaPx) / base[e];
              const reach = STRAIN + Math.sqrt(errorLong * errorLong + errorShort * errorShort);
              if (difference2 > reach * reach) continue;
              const scale = length / base[e];
              if (scale < limits.least || scale > limits.most) continue;
              const flip = formY[e] < 0 !== code[1] < 0;
              if (mirrored !== null && flip !== mirrored) continue;
              const score = picture.ask(short, table.mixed, table.stars, 3 * e, corners, flip);
              if (score < LEAST_SCORE) continue;
              found.push({
                corners: [...table.stars.subarray(3 * e, 3 * e + 3), ...corners],
                flip,
                score,
              });
            }
          }
        }
      }
    }
  }
}

/** 1 where a star (row) has another (column) among its neighbours. */
function joinedStars(near: Int32Array, n: number, k: number): Uint8Array {
  const joined = new Uint8Array(n * n);
  for (let i = 0; i < n; i++) for (let p = 0; p < k; p++) joined[i * n + near[i * k + p]] = 1;
  return joined;
}

/**
 * Corners in canonical order (the longest side first, its end nearer the third corner before the other) and the third
 * corner's place in units of that side, with its length. False when two corners are one within the errors.
 */
function encode(
  x: Float64Array,
  y: Float64Array,
  i: number,
  j: number,
  l: number,
  least2: number,
  corners: Int32Array,
  code: Float64Array,
): boolean {
  const ij = (x[i] - x[j]) ** 2 + (y[i] - y[j]) ** 2;
  const il = (x[i] - x[l]) ** 2 + (y[i] - y[l]) ** 2;
  const jl = (x[j] - x[l]) ** 2 + (y[j] - y[l]) ** 2;
  if (ij < least2 || il < least2 || jl < least2) return false;
  if (ij >= il && ij >= jl) place(x, y, i, j, l, corners, code);
  else if (il >= jl) place(x, y, i, l, j, corners, code);
  else place(x, y, j, l, i, corners, code);
  if (code[0] > 0.5) place(x, y, corners[1], corners[0], corners[2], corners, code);
  return true;
}

/** The third corner in the frame of the side from `from` to `to`. */
function place(
  x: Float64Array,
  y: Float64Array,
  from: number,
  to: number,
  third: number,
  corners: Int32Array,
  code: Float64Array,
): void {
  const ux = x[to] - x[from];
  const uy = y[to] - y[from];
  const length2 = ux * ux + uy * uy;
  const vx = x[third] - x[from];
  const vy = y[third] - y[from];
  corners[0] = from;
  corners[1] = to;
  corners[2] = third;
  code[0] = (vx * ux + vy * uy) / length2;
  code[1] = (vy * ux - vx * uy) / length2;
  code[2] = Math.sqrt(length2);
}

/** Triangles of the short list in every form that noise could have made canonical, by the cell of their code. */
class TriangleTable {
  readonly starts = new Int32Array(CELLS_X * CELLS_Y + 1);
  readonly stars: Int32Array;
  readonly x: Float64Array;
  readonly y: Float64Array;
  readonly base: Float64Array;
  /** Largest error of a code. */
  readonly error: number;
  /** The stars, bright and faint ones mixed: the brightest are often clipped, hence lost, in the other list. */
  readonly mixed: Int32Array;

  constructor(list: PreparedList) {
    const fraction = (i: number): number => (i * GOLDEN) % 1;
    this.mixed = Int32Array.from({ length: list.n }, (_, i) => i);
    this.mixed.sort((i, j) => fraction(i) - fraction(j));
    const forms = formsOf(list);
    const cells = forms.map(
      ({ code }) => Math.floor(code[0] / CELL) * CELLS_Y + Math.floor(Math.abs(code[1]) / CELL),
    );
    const order = Array.from(forms.keys()).sort((p, q) => cells[p] - cells[q] || p - q);
    for (const cell of cells) this.starts[cell + 1]++;
    for (let c = 0; c < CELLS_X * CELLS_Y; c++) this.starts[c + 1] += this.starts[c];
    this.stars = Int32Array.from(order.flatMap((f) => forms[f].corners));
    this.x = Float64Array.from(order, (f) => forms[f].code[0]);
    this.y = Float64Array.from(order, (f) => forms[f].code[1]);
    this.base = Float64Array.from(order, (f) => forms[f].code[2]);
    const shortest = this.base.reduce((least, one) => Math.min(least, one), Infinity);
    this.error = (ERROR_SIGMAS * list.sigmaPx) / shortest;
  }
}

interface Form {
  corners: number[];
  code: number[];
}

function formsOf(list: PreparedList): Form[] {
  const { n, x, y } = list;
  const corners = new Int32Array(3);
  const code = new Float64Array(3);
  const forms: Form[] = [];
  const least2 = (LEAST_SEPARATION_SIGMA * list.sigmaPx) ** 2;
  let k = n - 1;
  if ((n * k * (k - 1)) / 6 > MOST_SHORT) {
    while ((n * k * (k - 1)) / 2 > MOST_SHORT) k--;
  }
  const near = neighbourTable(list, n, k);
  const joined = joinedStars(near, n, k);
  for (let i = 0; i < n; i++) {
    for (let p = 0; p < k; p++) {
      const j = near[i * k + p];
      for (let q = p + 1; q < k; q++) {
        const l = near[i * k + q];
        if (j < i && joined[j * n + i] === 1 && joined[j * n + l] === 1) continue;
        if (l < i && joined[l * n + i] === 1 && joined[l * n + j] === 1) continue;
        if (!encode(x, y, i, j, l, least2, corners, code)) continue;
        const longest = code[2];
        for (const [from, to, third] of [
          [i, j, l],
          [j, i, l],
          [i, l, j],
          [l, i, j],
          [j, l, i],
          [l, j, i],
        ]) {
          place(x, y, from, to, third, corners, code);
          if (ERROR_SIGMAS * list.sigmaPx > MOST_ERROR * code[2]) continue;
          if (code[2] < (1 - TIE) * longest || code[0] > 0.5 + TIE || code[0] < 0) continue;
          if (Math.abs(code[1]) < LEAST_HEIGHT || Math.abs(code[1]) >= CELL * CELLS_Y) continue;
          forms.push({ corners: [...corners], code: [...code] });
        }
      }
    }
  }
  return forms;
}
