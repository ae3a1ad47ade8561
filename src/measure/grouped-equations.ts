/** The normal equations of many stars, summed in groups: what a bootstrap over stars draws from.
 *
 * A profile is linear in its stars' equations, so that a draw is a weighted sum of small matrices and a banded solve: O(groups · size) a
 * draw. The loops are functions of their own at the top of the module: a loop inside a closure is compiled anew for every frame.
 */
import { addTo, BAND, type ChannelProfile, solveProfile } from './profile-equations.js';
import { normaliseTable, type ProfileTable, type RadialSpline, tabulate } from './radial-spline.js';

export interface GroupedEquations {
  spline: RadialSpline;
  groups: number;
  /** groups × size × BAND and groups × size. */
  band: Float64Array;
  right: Float64Array;
  /** Scratch of one draw. */
  drawBand: Float64Array;
  drawRight: Float64Array;
}

/** Sums the equations of the listed stars by group: star `stars[i]` belongs to group `groupOf[i]`. */
export function groupEquations(
  profile: ChannelProfile,
  stars: ArrayLike<number>,
  groupOf: ArrayLike<number>,
  groups: number,
): GroupedEquations {
  const { spline } = profile;
  const { size } = spline;
  const band = new Float64Array(groups * size * BAND);
  const right = new Float64Array(groups * size);
  for (let i = 0; i < stars.length; i++) {
    addTo(profile, stars[i] as number, groupOf[i] as number, band, right);
  }
  return {
    spline,
    groups,
    band,
    right,
    drawBand: new Float64Array(size * BAND),
    drawRight: new Float64Array(size),
  };
}

/**
 * Solves the sum of all groups, each times its weight, into a normalised table.
 * @param weights one per group, from element `at` on
 * @returns false when the sum does not determine a profile
 */
export function solveGroups(
  equations: GroupedEquations,
  weights: Float64Array,
  at: number,
  table: ProfileTable,
): boolean {
  const { spline, groups, drawBand, drawRight } = equations;
  sumGroups(equations.band, spline.size * BAND, groups, weights, at, drawBand);
  sumGroups(equations.right, spline.size, groups, weights, at, drawRight);
  if (!solveProfile(drawBand, drawRight, spline.size)) return false;
  tabulate(spline, drawRight, table);
  return normaliseTable(table) > 0;
}

/** out = Σ weights[at + g] × the g-th stretch of `values`. */
function sumGroups(
  values: Float64Array,
  length: number,
  groups: number,
  weights: Float64Array,
  at: number,
  out: Float64Array,
): void {
  out.fill(0);
  for (let g = 0; g < groups; g++) {
    const w = weights[at + g] as number;
    if (w === 0) continue;
    const from = g * length;
    for (let i = 0; i < length; i++) {
      out[i] = (out[i] as number) + w * (values[from + i] as number);
    }
  }
}
