/** A star list as a picture blurred by the tolerance: whether a star is near a place takes one look. */
import { lnTailBound } from './significance.js';
import type { PreparedList } from './star-list.js';

/** Width of the picture's cells, as a share of the long frame's diagonal, and in px at least. */
const PICTURE_SHARE = 0.0015;
const PICTURE_LEAST_PX = 2;
/** Stars asked before a triangle without support is dropped. */
const FIRST_ASKED = 6;

/** Which places of the long frame have a star near, at one depth. */
export class Picture {
  private readonly columns: number;
  private readonly rows: number;
  private readonly cell: number;
  private readonly taken: Uint8Array;
  /** Chance of an unrelated place to be taken. */
  private readonly chance: number;
  private readonly list: PreparedList;

  constructor(list: PreparedList, depth: number) {
    const { width, height } = list;
    this.list = list;
    this.cell = Math.max(
      PICTURE_LEAST_PX,
      PICTURE_SHARE * Math.sqrt(width * width + height * height),
    );
    this.columns = Math.ceil(width / this.cell);
    this.rows = Math.ceil(height / this.cell);
    this.taken = new Uint8Array(this.columns * this.rows);
    for (let i = 0; i < depth; i++) {
      const cx = Math.floor((list.x[i] + 0.5) / this.cell);
      const cy = Math.floor((list.y[i] + 0.5) / this.cell);
      for (let row = Math.max(0, cy - 1); row <= Math.min(this.rows - 1, cy + 1); row++) {
        for (
          let column = Math.max(0, cx - 1);
          column <= Math.min(this.columns - 1, cx + 1);
          column++
        )
          this.taken[row * this.columns + column] = 1;
      }
    }
    let full = 0;
    for (const one of this.taken) full += one;
    this.chance = full / this.taken.length;
  }

  /** −ln of the chance of the hits, 0 when dropped early: the short list's stars put where two corners say. */
  ask(
    short: PreparedList,
    mixed: Int32Array,
    stars: Int32Array,
    at: number,
    corners: Int32Array,
    flip: boolean,
  ): number {
    const { columns, taken, list } = this;
    const { width, height } = list;
    const { x, y, n } = short;
    const perCell = 1 / this.cell;
    const s0 = stars[at];
    const s1 = stars[at + 1];
    const s2 = stars[at + 2];
    const sign = flip ? -1 : 1;
    const ux = x[s1] - x[s0];
    const uy = sign * (y[s1] - y[s0]);
    const vx = list.x[corners[1]] - list.x[corners[0]];
    const vy = list.y[corners[1]] - list.y[corners[0]];
    const length2 = ux * ux + uy * uy;
    const c = (vx * ux + vy * uy) / length2;
    const s = (vy * ux - vx * uy) / length2;
    const originX = list.x[corners[0]] + 0.5;
    const originY = list.y[corners[0]] + 0.5;
    let asked = 0;
    let hits = 0;
    for (let k = 0; k < n; k++) {
      const i = mixed[k];
      const dx = x[i] - x[s0];
      const dy = sign * (y[i] - y[s0]);
      const px = originX + c * dx - s * dy;
      const py = originY + s * dx + c * dy;
      if (!(px >= 0 && py >= 0 && px < width && py < height)) continue;
      if (i === s0 || i === s1 || i === s2) continue;
      asked++;
      hits += taken[((py * perCell) | 0) * columns + ((px * perCell) | 0)];
      if (asked === FIRST_ASKED && hits === 0) return 0;
      if (asked === 2 * FIRST_ASKED && hits <= 1 + 2 * this.chance * asked) return 0;
    }
    return -lnTailBound(hits, asked, this.chance);
  }
}
