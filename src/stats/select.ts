/** Selection in place: the k-th smallest of a stretch of a Float32Array without sorting it. */

/**
 * Rearranges `data[lo … hi]` so that element `k` is the one a full sort would put there, and returns it.
 * Hoare's quickselect (1961, CACM 4, 321) with a median-of-three pivot; expected O(hi − lo).
 * NaN must have been removed.
 */
export function selectInPlace(data: Float32Array, k: number, lo: number, hi: number): number {
  let left = lo;
  let right = hi;
  while (right > left) {
    // Median of three to the middle guards against sorted input.
    const middle = (left + right) >> 1;
    const a = data[left] as number;
    const b = data[middle] as number;
    const c = data[right] as number;
    // biome-ignore lint/complexity/useMathMinMax: a comparison chain is the fast form here
    const pivot = a < b ? (b < c ? b : a < c ? c : a) : a < c ? a : b < c ? c : b;
    let i = left;
    let j = right;
    while (i <= j) {
      while ((data[i] as number) < pivot) i++;
      while ((data[j] as number) > pivot) j--;
      if (i <= j) {
        const swap = data[i] as number;
        data[i] = data[j] as number;
        data[j] = swap;
        i++;
        j--;
      }
    }
    if (k <= j) right = j;
    else if (k >= i) left = i;
    else return data[k] as number;
  }
  return data[k] as number;
}

/** Median of `data[0 … n − 1]`, reordering it; the mean of the middle two when n is even. NaN when n = 0. */
export function medianInPlace(data: Float32Array, n: number): number {
  if (n === 0) return Number.NaN;
  const upper = selectInPlace(data, n >> 1, 0, n - 1);
  if (n & 1) return upper;
  // After selection everything left of n/2 is not larger: its maximum is the lower middle.
  let lower = Number.NEGATIVE_INFINITY;
  const half = n >> 1;
  for (let i = 0; i < half; i++) {
    const value = data[i] as number;
    if (value > lower) lower = value;
  }
  return 0.5 * (lower + upper);
}
