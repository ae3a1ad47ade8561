/** The loops of kernels.wat in plain TypeScript: the reference in tests, and what runs where SIMD is missing.
 *
 * `Math.fround` after every operation makes it single precision, as in the SIMD form: both give the same bits.
 */
import type { Kernels } from './kernels.js';

const { fround } = Math;

/** Kernels over an ordinary buffer of at least `bytes`. */
export function createPlainKernels(bytes: number): Kernels {
  const buffer = new ArrayBuffer(Math.ceil(bytes / 16) * 16);
  const f32 = new Float32Array(buffer);
  const f64 = new Float64Array(buffer, 0, Math.floor(buffer.byteLength / 8));
  const i32 = new Int32Array(buffer);
  const u16 = new Uint16Array(buffer);
  return {
    buffer,
    swap16(at, count, flip) {
      const from = at >> 1;
      for (let i = from; i < from + count; i++) {
        const v = u16[i] as number;
        u16[i] = ((v << 8) | (v >> 8)) ^ flip;
      }
    },
    cells16(top, bottom, background, out, columns, w0, w1, w2, w3) {
      const a = top >> 1;
      const c = bottom >> 1;
      const under = background >> 2;
      const to = out >> 2;
      const v0 = fround(w0);
      const v1 = fround(w1);
      const v2 = fround(w2);
      const v3 = fround(w3);
      const end = wholeGroups(columns);
      for (let x = 0; x < end; x++) {
        const upper = fround(
          fround(v0 * (u16[a + 2 * x] as number)) + fround(v1 * (u16[a + 2 * x + 1] as number)),
        );
        const lower = fround(
          fround(v2 * (u16[c + 2 * x] as number)) + fround(v3 * (u16[c + 2 * x + 1] as number)),
        );
        const sum = fround(fround(upper + lower) - (f32[under + x] as number));
        f32[to + x] = sum - sum === 0 ? sum : 0;
      }
    },
    filterRow(padded, kernel, half, out, columns) {
      const from = padded >> 2;
      const k = kernel >> 2;
      const to = out >> 2;
      const middle = f32[k] as number;
      const end = wholeGroups(columns);
      for (let x = 0; x < end; x++) {
        let sum = fround(middle * (f32[from + x] as number));
        for (let j = 1; j <= half; j++) {
          const pair = fround((f32[from + x - j] as number) + (f32[from + x + j] as number));
          sum = fround(sum + fround((f32[k + j] as number) * pair));
        }
        f32[to + x] = sum;
      }
    },
    filterColumns(rows, kernel, half, out, columns, threshold, hits) {
      const middleRow = (rows >> 2) + half;
      const k = kernel >> 2;
      const to = out >> 2;
      const end = wholeGroups(columns);
      const centre = (i32[middleRow] as number) >> 2;
      const middle = f32[k] as number;
      for (let x = 0; x < end; x++) f32[to + x] = middle * (f32[centre + x] as number);
      // Row by row: two streams at a time, and the same order of additions for every column.
      for (let j = 1; j <= half; j++) {
        const above = (i32[middleRow - j] as number) >> 2;
        const below = (i32[middleRow + j] as number) >> 2;
        const weight = f32[k + j] as number;
        for (let x = 0; x < end; x++) {
          const pair = fround((f32[above + x] as number) + (f32[below + x] as number));
          f32[to + x] = (f32[to + x] as number) + fround(weight * pair);
        }
      }
      const limit = fround(threshold);
      let count = 0;
      for (let x = 0; x < end; x += 4) {
        const reached =
          (f32[to + x] as number) >= limit ||
          (f32[to + x + 1] as number) >= limit ||
          (f32[to + x + 2] as number) >= limit ||
          (f32[to + x + 3] as number) >= limit;
        if (reached) i32[(hits >> 2) + count++] = x;
      }
      return count;
    },
    moments(at, count, centre, low, high, out) {
      const sum = [0, 0];
      const squares = [0, 0];
      let n = 0;
      for (let i = 0; i < count; i++) {
        const value = f32[(at >> 2) + i] as number;
        if (!(value >= low && value <= high)) continue;
        const d = value - centre;
        sum[i & 1] = (sum[i & 1] as number) + d;
        squares[i & 1] = (squares[i & 1] as number) + d * d;
        n++;
      }
      f64[out >> 3] = (sum[0] as number) + (sum[1] as number);
      f64[(out >> 3) + 1] = (squares[0] as number) + (squares[1] as number);
      f64[(out >> 3) + 2] = n;
    },
    select(at, count, rank) {
      const values = f32.subarray(at >> 2, (at >> 2) + count).filter((value) => value === value);
      return values.sort()[rank] as number;
    },
    below(at, count, limit) {
      const t = fround(limit);
      let n = 0;
      for (let i = at >> 2; i < (at >> 2) + count; i++) if ((f32[i] as number) < t) n++;
      return n;
    },
    largestBelow(at, count, limit) {
      const t = fround(limit);
      let best = Number.NEGATIVE_INFINITY;
      for (let i = at >> 2; i < (at >> 2) + count; i++) {
        const value = f32[i] as number;
        if (value < t && value > best) best = value;
      }
      return best;
    },
    ramp(nodes, out, intervals) {
      const from = nodes >> 2;
      const to = out >> 2;
      for (let i = 0; i < intervals; i++) {
        const here = f32[from + i] as number;
        const slope = fround(fround((f32[from + i + 1] as number) - here) * 0.125);
        for (let x = 0; x < 8; x++) f32[to + 8 * i + x] = here + fround(slope * x);
      }
    },
  };
}

/** Loops over cells finish their last group of four. */
function wholeGroups(columns: number): number {
  return Math.ceil(columns / 4) * 4;
}
