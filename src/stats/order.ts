/** Orders of lists by a key, and lists rearranged by an order. Loops and comparison are compiled once, not once a frame. */

let keys: ArrayLike<number> = [];

const ascending = (a: number, b: number): number =>
  (keys[a] as number) - (keys[b] as number) || a - b;
const descending = (a: number, b: number): number =>
  (keys[b] as number) - (keys[a] as number) || a - b;

/** Indices 0 … n − 1 of `values`, smallest value first; ties by index, so that the order never varies. */
export function orderAscending(values: ArrayLike<number>): number[] {
  return ordered(values, ascending);
}

/** The same, largest value first; ties by index all the same. */
export function orderDescending(values: ArrayLike<number>): number[] {
  return ordered(values, descending);
}

function ordered(values: ArrayLike<number>, compare: (a: number, b: number) => number): number[] {
  const indices: number[] = [];
  for (let i = 0; i < values.length; i++) indices.push(i);
  keys = values;
  indices.sort(compare);
  keys = [];
  return indices;
}

/** The values at the listed indices. */
export function valuesAt(values: ArrayLike<number>, indices: ArrayLike<number>): Float64Array {
  const out = new Float64Array(indices.length);
  for (let k = 0; k < out.length; k++) out[k] = values[indices[k] as number] as number;
  return out;
}
