/** Integration, roots and minima for the smooth functions of this folder. */

/** Nodes and weights: ∫ f ≈ Σ weight_i f(node_i). */
export interface Quadrature {
  readonly node: Float64Array;
  readonly weight: Float64Array;
}

/**
 * Gauss–Legendre rule of `order` points on [−1, 1]: roots of the Legendre polynomial by Newton's method from
 * Chebyshev-like starts, weights 2/((1 − x²) P′²) (DLMF 3.5(v)). Exact for polynomials of degree 2·order − 1.
 */
export function gaussLegendre(order: number): Quadrature {
  const node = new Float64Array(order);
  const weight = new Float64Array(order);
  for (let i = 0; i < order; i++) {
    let x = -Math.cos((Math.PI * (i + 0.75)) / (order + 0.5));
    let slope = 1;
    for (let iteration = 0; iteration < 100; iteration++) {
      let before = 1;
      let value = x;
      for (let k = 2; k <= order; k++) {
        const next = ((2 * k - 1) * x * value - (k - 1) * before) / k;
        before = value;
        value = next;
      }
      slope = (order * (x * value - before)) / (x * x - 1);
      const step = value / slope;
      x -= step;
      if (Math.abs(step) < 1e-15) break;
    }
    node[i] = x;
    weight[i] = 2 / ((1 - x * x) * slope * slope);
  }
  return { node, weight };
}

/** A rule of `order` points on each of the panels between consecutive `edges`. */
export function compositeRule(edges: readonly number[], order: number): Quadrature {
  const base = gaussLegendre(order);
  const panels = edges.length - 1;
  const node = new Float64Array(panels * order);
  const weight = new Float64Array(panels * order);
  for (let panel = 0; panel < panels; panel++) {
    const low = edges[panel] as number;
    const half = ((edges[panel + 1] as number) - low) / 2;
    for (let i = 0; i < order; i++) {
      node[panel * order + i] = low + half * (1 + (base.node[i] as number));
      weight[panel * order + i] = half * (base.weight[i] as number);
    }
  }
  return { node, weight };
}

/**
 * Root of `f` between `low` and `high`, where f has different signs, by the Illinois variant of the rule of false
 * position (Dowell & Jarratt 1971, BIT 11, 168). Stops when the bracket or the step is below `tolerance`.
 * @throws RangeError when the signs are the same.
 */
export function findRoot(
  f: (x: number) => number,
  low: number,
  high: number,
  tolerance: number,
): number {
  let a = low;
  let b = high;
  let fa = f(a);
  let fb = f(b);
  if (fa === 0) return a;
  if (fb === 0) return b;
  if (!(fa * fb < 0)) {
    throw new RangeError(`no sign change between ${low} (${fa}) and ${high} (${fb})`);
  }
  let x = b;
  for (let iteration = 0; iteration < 200; iteration++) {
    const before = x;
    x = (a * fb - b * fa) / (fb - fa);
    const fx = f(x);
    if (fx === 0 || Math.abs(b - a) < tolerance) return x;
    if (fx * fb < 0) {
      a = b;
      fa = fb;
    } else {
      // The kept end is halved, or it would never move.
      fa /= 2;
    }
    b = x;
    fb = fx;
    if (iteration > 0 && Math.abs(x - before) < tolerance * 0.01) return x;
  }
  return x;
}

/**
 * Place of a minimum of `f` between `low` and `high` (one minimum assumed): golden sections with parabolic steps where
 * these serve (Brent 1973, Algorithms for Minimization without Derivatives, chapter 5). Exact to about `tolerance`.
 */
export function findMinimum(
  f: (x: number) => number,
  low: number,
  high: number,
  tolerance: number,
): number {
  const golden = (3 - Math.sqrt(5)) / 2;
  let a = low;
  let b = high;
  let x = a + golden * (b - a);
  let w = x;
  let v = x;
  let fx = f(x);
  let fw = fx;
  let fv = fx;
  let step = 0;
  let stepBefore = 0;
  for (let iteration = 0; iteration < 100; iteration++) {
    const middle = (a + b) / 2;
    if (Math.abs(x - middle) + (b - a) / 2 <= 2 * tolerance) break;
    // Parabola through the three best points; taken only when it stays inside and shrinks the steps.
    const r = (x - w) * (fx - fv);
    const q0 = (x - v) * (fx - fw);
    let p = (x - v) * q0 - (x - w) * r;
    let q = 2 * (q0 - r);
    if (q > 0) p = -p;
    q = Math.abs(q);
    if (
      Math.abs(stepBefore) > tolerance &&
      Math.abs(p) < Math.abs(0.5 * q * stepBefore) &&
      p > q * (a - x) &&
      p < q * (b - x)
    ) {
      stepBefore = step;
      step = p / q;
      const u = x + step;
      if (u - a < 2 * tolerance || b - u < 2 * tolerance)
        step = x < middle ? tolerance : -tolerance;
    } else {
      stepBefore = x < middle ? b - x : a - x;
      step = golden * stepBefore;
    }
    const u = x + (Math.abs(step) >= tolerance ? step : step > 0 ? tolerance : -tolerance);
    const fu = f(u);
    if (fu <= fx) {
      if (u < x) b = x;
      else a = x;
      v = w;
      fv = fw;
      w = x;
      fw = fx;
      x = u;
      fx = fu;
    } else {
      if (u < x) a = u;
      else b = u;
      if (fu <= fw || w === x) {
        v = w;
        fv = fw;
        w = u;
        fw = fu;
      } else if (fu <= fv || v === x || v === w) {
        v = u;
        fv = fu;
      }
    }
  }
  return x;
}
