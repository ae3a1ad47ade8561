/** Radial profiles of light that are linear in their coefficients: even powers, or quadratic splines. */

/** A radial profile that is linear in its coefficients: even powers, or a quadratic spline with knots. */
export interface RadialBasis {
  size: number;
  powers: number;
  knots: readonly number[];
  /** Terms as tables over the distance, `steps` a half diagonal; they come after the others. */
  tables?: readonly Float64Array[];
  steps?: number;
}

/** Place in a table: index below, and share of the way to the next. */
function placeIn(table: Float64Array, steps: number, distance: number): [number, number] {
  const position = Math.min(table.length - 1.001, distance * steps);
  const i = Math.floor(position);
  return [i, position - i];
}

/** From stiff to free; the richest follows the edge of an image circle. */
export const LADDER: readonly RadialBasis[] = [
  { size: 1, powers: 1, knots: [] },
  { size: 2, powers: 2, knots: [] },
  { size: 3, powers: 3, knots: [] },
  { size: 5, powers: 1, knots: [0.35, 0.55, 0.7, 0.85] },
  { size: 8, powers: 1, knots: [0.2, 0.35, 0.5, 0.6, 0.7, 0.8, 0.9] },
  { size: 19, powers: 1, knots: Array.from({ length: 18 }, (_, i) => 0.15 + 0.05 * i) },
];

/** B_k at squared distance `q`, and their derivatives by distance divided by distance. */
export function fillBasis(
  basis: RadialBasis,
  q: number,
  out: Float64Array,
  slope: Float64Array,
): void {
  let power = 1;
  for (let k = 0; k < basis.powers; k++) {
    slope[k] = 2 * (k + 1) * power;
    power *= q;
    out[k] = power;
  }
  const distance = Math.sqrt(q);
  for (let j = 0; j < basis.knots.length; j++) {
    const beyond = Math.max(0, distance - (basis.knots[j] as number));
    out[basis.powers + j] = beyond * beyond;
    slope[basis.powers + j] = beyond > 0 ? (2 * beyond) / distance : 0;
  }
  if (!basis.tables) return;
  const at = basis.powers + basis.knots.length;
  const steps = basis.steps as number;
  basis.tables.forEach((table, k) => {
    const [i, part] = placeIn(table, steps, distance);
    const rise = (table[i + 1] as number) - (table[i] as number);
    out[at + k] = (table[i] as number) + part * rise;
    slope[at + k] = distance > 0 ? (rise * steps) / distance : 0;
  });
}

/** c₀ + Σ c_k B_k at a distance, in units of `scale`. */
export function profileAt(basis: RadialBasis, p: ArrayLike<number>, distance: number): number {
  let sum = p[0] as number;
  const q = distance * distance;
  let power = 1;
  for (let k = 0; k < basis.powers; k++) {
    power *= q;
    sum += (p[1 + k] as number) * power;
  }
  for (let j = 0; j < basis.knots.length; j++) {
    const beyond = Math.max(0, distance - (basis.knots[j] as number));
    sum += (p[1 + basis.powers + j] as number) * beyond * beyond;
  }
  if (basis.tables) {
    const at = 1 + basis.powers + basis.knots.length;
    for (let k = 0; k < basis.tables.length; k++) {
      const table = basis.tables[k] as Float64Array;
      const [i, part] = placeIn(table, basis.steps as number, distance);
      const low = table[i] as number;
      sum += (p[at + k] as number) * (low + part * ((table[i + 1] as number) - low));
    }
  }
  return sum;
}
