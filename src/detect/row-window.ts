/** A window of rows that moves down a frame: every row is read once at most, in the file's own 16-bit samples where these are the values. */
import type { FloatReader } from '../frame/convert.js';

export interface RowWindow {
  /** Samples of all planes; one of the two is null. */
  readonly stored: Uint16Array | null;
  readonly values: Float32Array | null;
  /** Makes rows `first` … `last` present; `first` must not decrease by more than the window holds. */
  show(first: number, last: number): void;
  /** Element at which a row that is present starts. */
  start(plane: number, y: number): number;
}

/** A window of at most `rows` rows (all of the frame's when these are fewer). */
export function createRowWindow(
  read: FloatReader,
  planes: number,
  width: number,
  height: number,
  rows: number,
): RowWindow {
  const capacity = Math.min(height, rows);
  const length = planes * capacity * width;
  const source = read.stored16 ?? null;
  const stored = source ? new Uint16Array(length) : null;
  const values = source ? null : new Float32Array(length);
  const samples = stored ?? (values as Float32Array);
  let top = 0;
  let bottom = 0;
  return {
    stored,
    values,
    show(first, last) {
      if (first >= top && last < bottom) return;
      if (last - first >= capacity) {
        throw new RangeError(`${last - first + 1} rows do not fit into a window of ${capacity}`);
      }
      // Rows that stay move to the top; a jump starts afresh.
      const kept = first >= top && first < bottom ? bottom - first : 0;
      const end = Math.min(height, first + capacity);
      for (let plane = 0; plane < planes; plane++) {
        const base = plane * capacity * width;
        if (kept > 0) {
          samples.copyWithin(base, base + (first - top) * width, base + (bottom - top) * width);
        }
        const at = base + kept * width;
        const from = first + kept;
        if (source && stored) source.readRows(plane, from, end - from, stored, at);
        else if (values) read(plane, from, end - from, values, at);
      }
      top = first;
      bottom = end;
    },
    start: (plane, y) => (plane * capacity + y - top) * width,
  };
}
