/** Nearest stars of a place: searches in kdbush's flat k-d tree that stop early and allocate nothing. */
import KDBush from 'kdbush';

const LEAF_SIZE = 12;
/** Depth of the tree is at most log2 of the stars; each level leaves at most one branch to visit later. */
const STACK_DEPTH = 64;

/** A flat k-d tree over the first `n` points. */
export class PointIndex {
  readonly n: number;
  /** Squared distance of the last star that `nearest` found, px². */
  distance2 = Number.POSITIVE_INFINITY;
  private readonly ids: Uint16Array | Uint32Array;
  private readonly coords: Float64Array;
  private readonly stack = new Int32Array(3 * STACK_DEPTH);
  private readonly bounds = new Float64Array(STACK_DEPTH);

  constructor(x: Float64Array, y: Float64Array, n: number) {
    this.n = n;
    const tree = new KDBush(n, LEAF_SIZE, Float64Array);
    for (let i = 0; i < n; i++) tree.add(x[i] as number, y[i] as number);
    tree.finish();
    this.ids = tree.ids;
    this.coords = tree.coords as Float64Array;
  }

  /** The nearest point within `radius` of (x, y), or −1; its squared distance is left in `distance2`. */
  nearest(x: number, y: number, radius: number): number {
    const { ids, coords, stack, bounds } = this;
    let limit = radius * radius;
    let best = -1;
    let top = 0;
    if (this.n > 0) top = push(stack, bounds, 0, 0, this.n - 1, 0, 0);
    while (top > 0) {
      top--;
      if ((bounds[top] as number) > limit) continue;
      let left = stack[3 * top] as number;
      let right = stack[3 * top + 1] as number;
      let axis = stack[3 * top + 2] as number;
      while (right - left > LEAF_SIZE) {
        const middle = (left + right) >> 1;
        const cx = coords[2 * middle] as number;
        const cy = coords[2 * middle + 1] as number;
        const d2 = (cx - x) * (cx - x) + (cy - y) * (cy - y);
        if (d2 <= limit) {
          limit = d2;
          best = ids[middle] as number;
        }
        const delta = axis === 0 ? x - cx : y - cy;
        axis = 1 - axis;
        const far = delta * delta;
        if (delta <= 0) {
          if (far <= limit) top = push(stack, bounds, top, middle + 1, right, axis, far);
          right = middle - 1;
        } else {
          if (far <= limit) top = push(stack, bounds, top, left, middle - 1, axis, far);
          left = middle + 1;
        }
      }
      for (let i = left; i <= right; i++) {
        const dx = (coords[2 * i] as number) - x;
        const dy = (coords[2 * i + 1] as number) - y;
        const d2 = dx * dx + dy * dy;
        if (d2 <= limit) {
          limit = d2;
          best = ids[i] as number;
        }
      }
    }
    this.distance2 = best < 0 ? Number.POSITIVE_INFINITY : limit;
    return best;
  }

  /**
   * The `k` nearest points of (x, y), nearest first, into `found` and their squared distances into `d2` (both at least
   * k long). Returns how many there are: k, or all when the index holds fewer.
   */
  kNearest(x: number, y: number, k: number, found: Int32Array, d2: Float64Array): number {
    const { ids, coords, stack, bounds } = this;
    let count = 0;
    let limit = Number.POSITIVE_INFINITY;
    let top = 0;
    if (this.n > 0 && k > 0) top = push(stack, bounds, 0, 0, this.n - 1, 0, 0);
    while (top > 0) {
      top--;
      if ((bounds[top] as number) >= limit) continue;
      let left = stack[3 * top] as number;
      let right = stack[3 * top + 1] as number;
      let axis = stack[3 * top + 2] as number;
      while (right - left > LEAF_SIZE) {
        const middle = (left + right) >> 1;
        const cx = coords[2 * middle] as number;
        const cy = coords[2 * middle + 1] as number;
        const here = (cx - x) * (cx - x) + (cy - y) * (cy - y);
        if (here < limit) {
          count = insert(found, d2, count, k, ids[middle] as number, here);
          if (count === k) limit = d2[k - 1] as number;
        }
        const delta = axis === 0 ? x - cx : y - cy;
        axis = 1 - axis;
        const far = delta * delta;
        if (delta <= 0) {
          if (far < limit) top = push(stack, bounds, top, middle + 1, right, axis, far);
          right = middle - 1;
        } else {
          if (far < limit) top = push(stack, bounds, top, left, middle - 1, axis, far);
          left = middle + 1;
        }
      }
      for (let i = left; i <= right; i++) {
        const dx = (coords[2 * i] as number) - x;
        const dy = (coords[2 * i + 1] as number) - y;
        const here = dx * dx + dy * dy;
        if (here < limit) {
          count = insert(found, d2, count, k, ids[i] as number, here);
          if (count === k) limit = d2[k - 1] as number;
        }
      }
    }
    return count;
  }
}

function push(
  stack: Int32Array,
  bounds: Float64Array,
  top: number,
  left: number,
  right: number,
  axis: number,
  bound: number,
): number {
  stack[3 * top] = left;
  stack[3 * top + 1] = right;
  stack[3 * top + 2] = axis;
  bounds[top] = bound;
  return top + 1;
}

/** Insertion into the sorted list of the nearest so far; k is small. */
function insert(
  found: Int32Array,
  d2: Float64Array,
  count: number,
  k: number,
  id: number,
  distance2: number,
): number {
  let at = count < k ? count : k - 1;
  while (at > 0 && (d2[at - 1] as number) > distance2) {
    d2[at] = d2[at - 1] as number;
    found[at] = found[at - 1] as number;
    at--;
  }
  d2[at] = distance2;
  found[at] = id;
  return count < k ? count + 1 : k;
}
