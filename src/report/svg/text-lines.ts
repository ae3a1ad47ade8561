/** Lines of text beside marks: where they stand when several want the same place. */

/** Lines of text, px apart. */
export const LINE = 14;

/** Positions at least one line apart, in the order given, moved as little as pushing from both ends allows. */
export function spread(wanted: readonly number[], top: number, bottom: number): number[] {
  const order = wanted.map((_, i) => i).sort((a, b) => wanted[a] - wanted[b] || a - b);
  const out = [...wanted];
  let last = top - LINE;
  for (const i of order) {
    out[i] = Math.max(out[i], last + LINE);
    last = out[i];
  }
  let next = bottom + LINE;
  for (const i of order.reverse()) {
    out[i] = Math.min(out[i], next - LINE);
    next = out[i];
  }
  return out;
}
