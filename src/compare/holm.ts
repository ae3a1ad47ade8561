/** Many tests at once: how small p must be, so that among all of them together a false one stays rare. */

/**
 * p values corrected by Holm's step-down method (Holm 1979, Scandinavian Journal of Statistics 6, 65): the k-th smallest of m times
 * m − k + 1, never below the one before, never above 1. However the tests depend on each other, the chance that any true null
 * hypothesis has an adjusted p below α is at most α. NaN entries are no tests: they are not counted and stay NaN.
 */
export function holmAdjusted(pValues: readonly number[]): number[] {
  const order = pValues
    .map((_, i) => i)
    .filter((i) => !Number.isNaN(pValues[i] as number))
    .sort((a, b) => (pValues[a] as number) - (pValues[b] as number) || a - b);
  const adjusted = new Array<number>(pValues.length).fill(Number.NaN);
  let least = 0;
  order.forEach((i, k) => {
    least = Math.max(least, Math.min(1, (order.length - k) * (pValues[i] as number)));
    adjusted[i] = least;
  });
  return adjusted;
}
