/** Pairs of figures with the same code: each proposes a transform. */
import {
  type Candidates,
  CODE_ERROR,
  CODE_SIGMAS,
  Collector,
  MOST_CANDIDATES,
  STRAIN,
} from './collector.js';
import { type Quads, writeCode } from './quads.js';
import type { SearchSpace } from './significance.js';
import type { PreparedList } from './star-list.js';

/** Cell of the code table. Twice the largest tolerance, so that a query looks at two or three cells per coordinate. */
const CELL = 0.05;
const CELLS_X1 = 11;
const CELLS_X2 = 21;
/** The first y is made positive by mirroring, and no star is farther from the base than 0.866. */
const CELLS_Y1 = 18;
const CELLS_Y2 = 36;
const CELLS_ALL = CELLS_X1 * CELLS_Y1 * CELLS_X2 * CELLS_Y2;
const MOST_TOLERANCE = CELL / 2;
/** Bounds of the classes of figures by the error of their codes. */
const ERROR_CLASSES = [0.003, 0.008, Number.POSITIVE_INFINITY] as const;
/** A figure that occurs this often is part of a pattern: more of it would say nothing new. */
const MOST_PER_QUERY = 32;

/** Joins the figures of both lists. The order of the candidates is fixed by the order of the figures. */
export function findCandidates(
  a: PreparedList,
  quadsA: readonly Quads[],
  b: PreparedList,
  quadsB: readonly Quads[],
  space: SearchSpace,
): Candidates {
  const tables = errorClasses(a, quadsA);
  const found = new Collector(space, a, b);
  const variants = new VariantScratch();
  for (const quads of quadsB) {
    for (let q = 0; q < quads.count && found.count < MOST_CANDIDATES; q++) {
      const errorB = (CODE_SIGMAS * CODE_ERROR * b.sigmaPx) / quads.base[q];
      const reach = Math.min(MOST_TOLERANCE, STRAIN + errorB);
      const count = variants.fill(b, quads, q, 2 * reach);
      for (let v = 0; v < count; v++) {
        for (const table of tables) {
          table.query(variants, v, false, errorB, found);
          if (Math.abs(variants.codes[4 * v + 1]) < reach) {
            table.query(variants, v, true, errorB, found);
          }
        }
      }
    }
  }
  return found.result();
}

/**
 * Tables of the figures by the error of their codes: a query need not look as far among exact ones. All figures of a
 * class have at most its error.
 */
function errorClasses(list: PreparedList, levels: readonly Quads[]): CodeTable[] {
  let from = 0;
  return ERROR_CLASSES.flatMap((to) => {
    // An error is constant over base: bases between two lengths.
    const constant = CODE_SIGMAS * CODE_ERROR * list.sigmaPx;
    const table = new CodeTable(levels, constant / to, from > 0 ? constant / from : Infinity, to);
    from = to;
    return table.count > 0 ? [table] : [];
  });
}

/** Codes of one figure in every form that noise within the tolerance could have made canonical. */
class VariantScratch {
  readonly stars = new Int32Array(4 * 64);
  readonly codes = new Float32Array(4 * 64);
  readonly base = new Float32Array(64);

  fill(list: PreparedList, quads: Quads, q: number, tie: number): number {
    const { stars, codes, base } = this;
    const o = 4 * q;
    const x1 = quads.codes[o];
    const y1 = quads.codes[o + 1];
    const x2 = quads.codes[o + 2];
    const y2 = quads.codes[o + 3];
    for (let j = 0; j < 4; j++) {
      stars[j] = quads.stars[o + j];
      codes[j] = quads.codes[o + j];
    }
    base[0] = quads.base[q];
    let count = 1;
    // Another pair nearly as wide as the base: squared lengths in units of the base's.
    const least = (1 - tie) * (1 - tie);
    const [P, Q, R, S] = [stars[0], stars[1], stars[2], stars[3]];
    const wide = (length2: number, p: number, s: number, r1: number, r2: number): void => {
      if (length2 < least) return;
      writeCode(list.x, list.y, p, s, r1, r2, stars, codes, base, count);
      count++;
    };
    wide(x1 * x1 + y1 * y1, P, R, Q, S);
    wide(x2 * x2 + y2 * y2, P, S, Q, R);
    wide((1 - x1) ** 2 + y1 * y1, Q, R, P, S);
    wide((1 - x2) ** 2 + y2 * y2, Q, S, P, R);
    wide((x1 - x2) ** 2 + (y1 - y2) ** 2, R, S, P, Q);
    for (let v = count - 1; v >= 0; v--) {
      if (Math.abs(codes[4 * v] + codes[4 * v + 2] - 1) < tie) count = this.copy(v, count, true);
    }
    for (let v = count - 1; v >= 0; v--) {
      if (Math.abs(codes[4 * v] - codes[4 * v + 2]) < tie) count = this.copy(v, count, false);
    }
    return count;
  }

  /** Adds form `v` with its base reversed, or with its inner stars exchanged. */
  private copy(v: number, count: number, reverse: boolean): number {
    const { stars, codes, base } = this;
    const from = 4 * v;
    const to = 4 * count;
    stars[to] = stars[from + (reverse ? 1 : 0)];
    stars[to + 1] = stars[from + (reverse ? 0 : 1)];
    stars[to + 2] = stars[from + 3];
    stars[to + 3] = stars[from + 2];
    for (let j = 0; j < 4; j++) {
      const value = codes[from + ((j + 2) & 3)];
      codes[to + j] = !reverse ? value : j & 1 ? -value : 1 - value;
    }
    base[count] = base[v];
    return count + 1;
  }
}

/** Figures sorted into the cells of a four-dimensional grid. */
class CodeTable {
  readonly count: number;
  private readonly error: number;
  private readonly starts: Int32Array;
  private readonly codes: Float32Array;
  private readonly stars: Int32Array;
  private readonly base: Float32Array;
  /** 1 where the first y was negative: the code stored is the mirror image's. */
  private readonly flipped: Uint8Array;

  /** Takes the figures with bases from `shortest` to below `longest`, px; their codes err by at most `error`. */
  constructor(levels: readonly Quads[], shortest: number, longest: number, error: number) {
    this.error = error;
    let total = 0;
    for (const { count, base } of levels) {
      for (let q = 0; q < count; q++) if (base[q] >= shortest && base[q] < longest) total++;
    }
    this.count = total;
    const starts = new Int32Array(total === 0 ? 0 : CELLS_ALL + 1);
    this.starts = starts;
    this.codes = new Float32Array(4 * total);
    this.stars = new Int32Array(4 * total);
    this.base = new Float32Array(total);
    this.flipped = new Uint8Array(total);
    if (total === 0) return;
    const cellOf = new Int32Array(total);
    let at = 0;
    for (const { count, codes, base } of levels) {
      for (let q = 0; q < count; q++) {
        if (base[q] < shortest || base[q] >= longest) continue;
        const sign = codes[4 * q + 1] < 0 ? -1 : 1;
        const cell =
          ((cellX(codes[4 * q], CELLS_X1) * CELLS_Y1 + cellY1(sign * codes[4 * q + 1])) * CELLS_X2 +
            cellX(codes[4 * q + 2], CELLS_X2)) *
            CELLS_Y2 +
          cellY2(sign * codes[4 * q + 3]);
        cellOf[at++] = cell;
        starts[cell + 1]++;
      }
    }
    for (let c = 0; c < CELLS_ALL; c++) starts[c + 1] += starts[c];
    at = 0;
    for (const { count, codes, stars, base } of levels) {
      for (let q = 0; q < count; q++) {
        if (base[q] < shortest || base[q] >= longest) continue;
        const slot = starts[cellOf[at++]]++;
        const flip = codes[4 * q + 1] < 0;
        this.flipped[slot] = flip ? 1 : 0;
        for (let j = 0; j < 4; j++) {
          this.codes[4 * slot + j] = (j & 1 && flip ? -1 : 1) * codes[4 * q + j];
          this.stars[4 * slot + j] = stars[4 * q + j];
        }
        this.base[slot] = base[q];
      }
    }
    // Filling moved every start to the next cell's: move them back.
    starts.copyWithin(1, 0, CELLS_ALL);
    starts[0] = 0;
  }

  /**
   * Adds the figures, mirrored or not, near form `v` to `found`. `other` asks from the other side of the base, for a
   * first y so small that noise may have changed its sign.
   */
  query(v: VariantScratch, at: number, other: boolean, errorB: number, found: Collector): void {
    const { starts, codes, base, flipped } = this;
    const flip = v.codes[4 * at + 1] < 0 !== other;
    const sign = flip ? -1 : 1;
    const x1 = v.codes[4 * at];
    const y1 = sign * v.codes[4 * at + 1];
    const x2 = v.codes[4 * at + 2];
    const y2 = sign * v.codes[4 * at + 3];
    const baseB = v.base[at];
    const reach = Math.min(
      MOST_TOLERANCE,
      STRAIN + Math.sqrt(this.error * this.error + errorB * errorB),
    );
    const x1Hi = cellX(x1 + reach, CELLS_X1);
    const y1Hi = cellY1(y1 + reach);
    const x2Hi = cellX(x2 + reach, CELLS_X2);
    const y2Lo = cellY2(y2 - reach);
    const y2Hi = cellY2(y2 + reach);
    let taken = 0;
    for (let cx1 = cellX(x1 - reach, CELLS_X1); cx1 <= x1Hi; cx1++) {
      for (let cy1 = cellY1(y1 - reach); cy1 <= y1Hi; cy1++) {
        for (let cx2 = cellX(x2 - reach, CELLS_X2); cx2 <= x2Hi; cx2++) {
          const row = ((cx1 * CELLS_Y1 + cy1) * CELLS_X2 + cx2) * CELLS_Y2;
          const end = starts[row + y2Hi + 1];
          for (let e = starts[row + y2Lo]; e < end; e++) {
            const d1 = codes[4 * e] - x1;
            const d2 = codes[4 * e + 1] - y1;
            const d3 = codes[4 * e + 2] - x2;
            const d4 = codes[4 * e + 3] - y2;
            const difference2 = d1 * d1 + d2 * d2 + d3 * d3 + d4 * d4;
            if (difference2 > reach * reach) continue;
            const tolerance = Math.min(reach, found.tolerance(errorB, base[e]));
            if (difference2 > tolerance * tolerance) continue;
            const mirrored = (flipped[e] === 1) !== flip;
            const lnOdds = lnCodeOdds(difference2, tolerance);
            if (found.add(this.stars, e, v.stars, at, baseB / base[e], mirrored, lnOdds)) taken++;
            if (taken >= MOST_PER_QUERY) return;
          }
        }
      }
    }
  }
}

/** Four normal differences with the tolerance at CODE_SIGMAS σ, against differences spread evenly. */
function lnCodeOdds(difference2: number, tolerance: number): number {
  const sigma = tolerance / CODE_SIGMAS;
  return -4 * Math.log(sigma) - difference2 / (2 * sigma * sigma);
}

function cellX(x: number, cells: number): number {
  return Math.max(0, Math.min(cells - 1, Math.floor(x / CELL)));
}

function cellY1(y: number): number {
  return Math.max(0, Math.min(CELLS_Y1 - 1, Math.floor(y / CELL)));
}

function cellY2(y: number): number {
  return Math.max(0, Math.min(CELLS_Y2 - 1, Math.floor(y / CELL) + CELLS_Y2 / 2));
}
