/** Bootstrap over stars of everything that is read off the effective profiles.
 *
 * The profile is linear in the stars' normal equations, so that one draw is a weighted sum of small matrices and a banded solve.
 * The same draw serves all channels: differences between channels keep their covariance.
 */
import { createRandom } from '../stats/random.js';
import { groupEquations, solveGroups } from './grouped-equations.js';
import type { ChannelProfile } from './profile-equations.js';
import {
  emptyTable,
  enclosedAt,
  fwhmOfTable,
  type ProfileTable,
  profileAt,
  radiusOfShare,
} from './radial-spline.js';

/** Above this number stars are bound into random groups first: the draws vary alike and cost the same for any field. */
const GROUPS = 50;
/** Points of the published curves. */
const CURVE_POINTS = 97;

/** Everything read off one set of profiles (the frame's own, or one draw). Arrays per channel, in plan order. */
export interface ProfileReadings {
  fwhm: Float64Array;
  r50: Float64Array;
  r80: Float64Array;
  r90: Float64Array;
  /** p and EE on the curve radii: channel-major. */
  brightness: Float64Array;
  enclosed: Float64Array;
  /** EE of each channel at r50, r80 and r95 of the reference channel: channel-major triples. */
  atReference: Float64Array;
}

export interface BootstrapResult {
  radii: Float64Array;
  best: ProfileReadings;
  draws: ProfileReadings[];
  /** Number of every draw, from 0: one that does not determine a profile is missing. Equal seeds and star counts draw the same stars. */
  numbers: number[];
  /** Factor by which intervals from the draws are widened: few stars show too little of their own scatter. */
  smallSample: number;
}

/** Radii of the published curves: from 0 to R_max, closer together in the core. */
function curveRadii(rMax: number): Float64Array {
  return Float64Array.from(
    { length: CURVE_POINTS },
    (_, i) => rMax * (i / (CURVE_POINTS - 1)) ** 1.5,
  );
}

/** 84.13 % point of Student's t over that of the normal distribution, by the Cornish–Fisher expansion (Abramowitz & Stegun 26.7.5). */
export function studentInflation(freedom: number): number {
  const v = Math.max(1, freedom);
  if (v === 1) return 1.837;
  // z = 1: terms (z³+z)/4, (5z⁵+16z³+3z)/96, (3z⁷+19z⁵+17z³−15z)/384.
  return 1 + 0.5 / v + 0.25 / (v * v) + 24 / 384 / v ** 3;
}

/** Number of independent things that draws over `stars` stars are made of: the stars, or groups of them. */
export function drawnGroups(stars: number): number {
  return Math.min(stars, GROUPS);
}

/** Factor by which 68 % intervals from draws over `stars` stars are widened. */
export function smallSampleFactor(stars: number): number {
  const groups = drawnGroups(stars);
  return Math.sqrt(groups / (groups - 1)) * studentInflation(groups - 1);
}

/**
 * @param reference index of the channel whose radii the tints and the halo refer to
 * @param lit channels that hold light; the others keep their table in every draw and must not be read
 * @throws RangeError when fewer than two stars carry the profiles
 */
export function bootstrapProfiles(
  profiles: readonly ChannelProfile[],
  stars: number,
  rMax: number,
  reference: number,
  seed: number,
  draws: number,
  lit: readonly boolean[],
): BootstrapResult {
  if (stars < 2) throw new RangeError('a bootstrap needs at least two stars');
  const random = createRandom(seed);
  const radii = curveRadii(rMax);
  const groupOf = new Int32Array(stars);
  const groups = drawnGroups(stars);
  if (stars > GROUPS) {
    const order = Array.from({ length: stars }, (_, i) => i);
    for (let i = stars - 1; i > 0; i--) {
      const j = Math.floor(random() * (i + 1));
      const swap = order[i] as number;
      order[i] = order[j] as number;
      order[j] = swap;
    }
    order.forEach((star, position) => {
      groupOf[star] = position % groups;
    });
  } else {
    for (let i = 0; i < stars; i++) groupOf[i] = i;
  }
  const every = Int32Array.from({ length: stars }, (_, i) => i);
  const grouped = profiles.map((profile) => groupEquations(profile, every, groupOf, groups));
  const tables = profiles.map((profile) => emptyTable(profile.table));
  const weights = new Float64Array(groups);
  const best = read(
    profiles.map((profile) => profile.table),
    radii,
    reference,
  );
  const results: ProfileReadings[] = [];
  const numbers: number[] = [];
  for (let d = 0; d < draws; d++) {
    weights.fill(0);
    for (let g = 0; g < groups; g++) {
      const pick = Math.floor(random() * groups);
      weights[pick] = (weights[pick] as number) + 1;
    }
    const solved = grouped.every(
      (equations, c) => !lit[c] || solveGroups(equations, weights, 0, tables[c] as ProfileTable),
    );
    if (!solved) continue;
    results.push(read(tables, radii, reference));
    numbers.push(d);
  }
  return { radii, best, draws: results, numbers, smallSample: smallSampleFactor(stars) };
}

function read(
  tables: readonly ProfileTable[],
  radii: Float64Array,
  reference: number,
): ProfileReadings {
  const n = tables.length;
  const out: ProfileReadings = {
    fwhm: new Float64Array(n),
    r50: new Float64Array(n),
    r80: new Float64Array(n),
    r90: new Float64Array(n),
    brightness: new Float64Array(n * radii.length),
    enclosed: new Float64Array(n * radii.length),
    atReference: new Float64Array(n * 3),
  };
  const base = tables[reference] as ProfileTable;
  const marks = [radiusOfShare(base, 0.5), radiusOfShare(base, 0.8), radiusOfShare(base, 0.95)];
  for (let c = 0; c < n; c++) {
    const table = tables[c] as ProfileTable;
    out.fwhm[c] = fwhmOfTable(table);
    out.r50[c] = radiusOfShare(table, 0.5);
    out.r80[c] = radiusOfShare(table, 0.8);
    out.r90[c] = radiusOfShare(table, 0.9);
    for (let i = 0; i < radii.length; i++) {
      out.brightness[c * radii.length + i] = profileAt(table, radii[i] as number);
      out.enclosed[c * radii.length + i] = enclosedAt(table, radii[i] as number);
    }
    for (let m = 0; m < 3; m++) out.atReference[c * 3 + m] = enclosedAt(table, marks[m] as number);
  }
  return out;
}
