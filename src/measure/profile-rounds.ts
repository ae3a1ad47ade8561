/** The effective profile of a channel: a radial spline fitted to the samples of many stars at once.
 *
 * One round: take neighbours off with the current profile; level each star with its own annulus, lattice by lattice; scale the
 * profile to each star; then solve for the spline that all samples share. The sum over stars of normal equations is a flux-weighted
 * stack. Every star's share is kept, so that a bootstrap over stars is a sum of small matrices.
 */

import { robustLinear } from '../stats/regression.js';
import { clippedMean, madSigma } from '../stats/robust.js';
import { solveBanded } from '../stats/solve.js';
import { extendedProfileAt, influenceRadius, type NeighbourLists, rimOf } from './neighbours.js';
import type { ProfileSamples } from './profile-samples.js';
import {
  normaliseTable,
  type ProfileTable,
  profileAt,
  type RadialSpline,
  tabulate,
} from './radial-spline.js';

/** Relative error of one shared profile for every star: keeps a few bright stars from deciding alone. */
export const PROFILE_ERROR = 0.04;
/** The same in the test that rejects samples: elongation and field changes must not be cut away as outliers. */
export const REJECTION_ERROR = 0.25;
export const REJECTION_SIGMA = 5;
/** Square of a neighbour's relative error in the rejection test. */
export const LOOSE_NEIGHBOUR = 0.15 * 0.15;
/** Relative error of a neighbour's model. */
export const NEIGHBOUR_ERROR = 0.08;
/** Annulus samples are cut at this many σ, as those inside R_max are: a tighter cut of skewed photon noise would sit low. */
const ANNULUS_CLIP = 5;
/** Neighbours are taken off out to where they add less than this share of the sky noise. */
const NEIGHBOUR_LIMIT = 0.03;
export const BAND = 4;

/** State of one channel between rounds. */
export interface ChannelProfile {
  spline: RadialSpline;
  table: ProfileTable;
  rim: number;
  coefficients: Float64Array;
  /** Flux of each profile star within R_max, and its error. */
  flux: Float64Array;
  fluxError: Float64Array;
  /** Mean local residual background of each star, above the mesh. */
  background: Float64Array;
  /** The same per lattice (star-major), wings taken off: what the last round subtracted. */
  level: Float64Array;
  /** Normal equations of each star: size × 4 band and size right-hand side. */
  band: Float64Array;
  right: Float64Array;
  /** Annulus brightness per unit flux (wings beyond R_max) and its error. */
  wing: number;
  wingError: number;
}

/** Mean shape of the frame's stars: axis ratio a/b and direction of the long axis. */
export interface Elongation {
  axisRatio: number;
  cos: number;
  sin: number;
}

export interface RoundInput {
  elongation: Elongation;
  samples: ProfileSamples;
  rMax: number;
  /** Outer radius of the annulus, px. */
  rOut: number;
  noisePerSignal: number;
  /** Sources around each profile star, and their positions and fluxes in this channel. */
  neighbours: NeighbourLists;
  sourceX: Float64Array;
  sourceY: Float64Array;
  sourceFlux: Float64Array;
  /** Shift of this channel at each source. */
  shiftX: Float64Array;
  shiftY: Float64Array;
}

export function createChannelProfile(
  spline: RadialSpline,
  table: ProfileTable,
  stars: number,
  lattices: number,
): ChannelProfile {
  return {
    spline,
    table,
    rim: rimOf(table),
    coefficients: new Float64Array(spline.size),
    flux: new Float64Array(stars),
    fluxError: new Float64Array(stars),
    background: new Float64Array(stars),
    level: new Float64Array(stars * lattices),
    band: new Float64Array(stars * spline.size * BAND),
    right: new Float64Array(stars * spline.size),
    wing: 0,
    wingError: Number.POSITIVE_INFINITY,
  };
}

/** One round for one channel; updates `profile` in place. Returns false when the spline cannot be solved. */
export function profileRound(profile: ChannelProfile, input: RoundInput): boolean {
  const { samples, rMax } = input;
  const { stars } = samples;
  takeNeighboursOff(profile, input);

  // Local backgrounds from the annulus, per lattice.
  const level = profile.level;
  level.fill(0);
  const levelCount = new Float64Array(stars * samples.lattices);
  let longest = 0;
  for (let k = 0; k < stars; k++) {
    longest = Math.max(longest, (samples.start[k + 1] as number) - (samples.start[k] as number));
  }
  const scratch = new Float32Array(longest);
  const stats = new Float64Array(3);
  for (let k = 0; k < stars; k++) {
    let sum = 0;
    let used = 0;
    const to = samples.start[k + 1] as number;
    let s = samples.start[k] as number;
    // A star's samples lie lattice by lattice.
    while (s < to) {
      const l = samples.lattice[s] as number;
      let n = 0;
      for (; s < to && samples.lattice[s] === l; s++) {
        if ((samples.r[s] as number) >= rMax) {
          scratch[n++] = (samples.value[s] as number) - (samples.neighbour[s] as number);
        }
      }
      if (n < 8) continue;
      clippedMean(scratch, n, ANNULUS_CLIP, stats);
      level[k * samples.lattices + l] = stats[0] as number;
      levelCount[k * samples.lattices + l] = stats[2] as number;
      sum += (stats[0] as number) * (stats[2] as number);
      used += stats[2] as number;
    }
    profile.background[k] = used > 0 ? sum / used : 0;
  }
  fitWing(profile, samples);
  const wing = profile.wing > 2 * profile.wingError ? profile.wing : 0;

  for (let k = 0; k < stars; k++) {
    const shed = wing * (profile.flux[k] as number);
    for (let l = 0; l < samples.lattices; l++) {
      const at = k * samples.lattices + l;
      if ((levelCount[at] as number) > 0) level[at] = (level[at] as number) - shed;
    }
    scaleStar(profile, input, k, level);
  }
  profile.band.fill(0);
  profile.right.fill(0);
  for (let k = 0; k < stars; k++) addStar(profile, input, k, level);

  const size = profile.spline.size;
  const band = new Float64Array(size * BAND);
  const right = new Float64Array(size);
  for (let k = 0; k < stars; k++) addTo(profile, k, 1, band, right);
  if (!solveProfile(band, right, size)) return false;
  profile.coefficients.set(right);
  tabulate(profile.spline, profile.coefficients, profile.table);
  const total = normaliseTable(profile.table);
  if (!(total > 0)) return false;
  for (let i = 0; i < size; i++) {
    profile.coefficients[i] = (profile.coefficients[i] as number) / total;
  }
  // The same light with a normalised profile: fluxes take the factor up.
  for (let k = 0; k < stars; k++) {
    profile.flux[k] = (profile.flux[k] as number) * total;
    profile.fluxError[k] = (profile.fluxError[k] as number) * total;
  }
  profile.rim = rimOf(profile.table);
  return true;
}

/** Adds `weight` × the normal equations of star `k`. */
export function addTo(
  profile: ChannelProfile,
  k: number,
  weight: number,
  band: Float64Array,
  right: Float64Array,
): void {
  const size = profile.spline.size;
  const bandBase = k * size * BAND;
  const base = k * size;
  for (let i = 0; i < size * BAND; i++) {
    band[i] = (band[i] as number) + weight * (profile.band[bandBase + i] as number);
  }
  for (let i = 0; i < size; i++) {
    right[i] = (right[i] as number) + weight * (profile.right[base + i] as number);
  }
}

/** Solves the summed equations in place; a whisper of ridge keeps knots without samples harmless. */
export function solveProfile(band: Float64Array, right: Float64Array, size: number): boolean {
  let trace = 0;
  for (let i = 0; i < size; i++) trace += band[i * BAND] as number;
  for (let i = 0; i < size; i++) {
    band[i * BAND] = (band[i * BAND] as number) + (1e-10 * trace) / size;
  }
  return solveBanded(band, right, size, BAND - 1);
}

function takeNeighboursOff(profile: ChannelProfile, input: RoundInput): void {
  const { samples, rMax, neighbours } = input;
  samples.neighbour.fill(0);
  const { table, rim } = profile;
  const reach = 2 * rMax;
  const reachOfStar = input.rOut + 1;
  for (let k = 0; k < samples.stars; k++) {
    const from = samples.start[k] as number;
    const to = samples.start[k + 1] as number;
    if (from === to) continue;
    const sigma = samples.noise[k * samples.lattices + (samples.lattice[from] as number)] as number;
    for (let m = neighbours.start[k] as number; m < (neighbours.start[k + 1] as number); m++) {
      const j = neighbours.index[m] as number;
      const flux = input.sourceFlux[j] as number;
      if (!(flux > 0)) continue;
      const x = (input.sourceX[j] as number) + (input.shiftX[j] as number);
      const y = (input.sourceY[j] as number) + (input.shiftY[j] as number);
      const radius = influenceRadius(table, rim, rMax, flux, NEIGHBOUR_LIMIT * sigma, reach);
      const limit = radius * radius;
      const gapX = x - (samples.centreX[k] as number);
      const gapY = y - (samples.centreY[k] as number);
      const touch = radius + reachOfStar;
      if (gapX * gapX + gapY * gapY >= touch * touch) continue;
      for (let s = from; s < to; s++) {
        const dx = (samples.x[s] as number) - x;
        const dy = (samples.y[s] as number) - y;
        const r2 = dx * dx + dy * dy;
        if (r2 >= limit) continue;
        samples.neighbour[s] =
          (samples.neighbour[s] as number) +
          flux * extendedProfileAt(table, rim, rMax, Math.sqrt(r2));
      }
    }
  }
}

/** Light per unit flux that bright stars leave in their own annulus: slope of annulus level against flux. */
function fitWing(profile: ChannelProfile, samples: ProfileSamples): void {
  const stars = samples.stars;
  if (stars < 12) {
    profile.wing = 0;
    profile.wingError = Number.POSITIVE_INFINITY;
    return;
  }
  const columns = new Float64Array(stars * 2);
  for (let k = 0; k < stars; k++) {
    columns[k * 2] = 1;
    columns[k * 2 + 1] = profile.flux[k] as number;
  }
  const fit = robustLinear(stars, 2, columns, profile.background, null);
  if (!fit) return;
  const residual = new Float64Array(stars);
  let sum = 0;
  let sumSquares = 0;
  for (let k = 0; k < stars; k++) {
    const f = profile.flux[k] as number;
    residual[k] = (profile.background[k] as number) - (fit[0] as number) - (fit[1] as number) * f;
    sum += f;
    sumSquares += f * f;
  }
  const spread = sumSquares - (sum * sum) / stars;
  profile.wing = fit[1] as number;
  // The scatter of the bulk: a star with a bright neighbour in its annulus is an outlier, not an error of the slope.
  profile.wingError = madSigma(residual, 0) / Math.sqrt(spread);
}

/**
 * Second look at a sample that does not fit the round profile: true when it does not fit the elongated one of the same area either. Without
 * it the ends of trailed stars would be cut off as outliers.
 */
function isOutlier(
  profile: ChannelProfile,
  input: RoundInput,
  k: number,
  s: number,
  flux: number,
  v: number,
  noiseVariance: number,
): boolean {
  const { samples, elongation } = input;
  const dx = (samples.x[s] as number) - (samples.centreX[k] as number);
  const dy = (samples.y[s] as number) - (samples.centreY[k] as number);
  const u = dx * elongation.cos + dy * elongation.sin;
  const w = dy * elongation.cos - dx * elongation.sin;
  const r = Math.sqrt((u * u) / elongation.axisRatio + w * w * elongation.axisRatio);
  const signal = Math.max(0, flux * profileAt(profile.table, r));
  const d = v - signal;
  const loose = noiseVariance + REJECTION_ERROR * REJECTION_ERROR * signal * signal;
  return d * d > REJECTION_SIGMA * REJECTION_SIGMA * loose;
}

/** Flux of star k: the profile scaled to its samples within R_max by weighted least squares. */
function scaleStar(
  profile: ChannelProfile,
  input: RoundInput,
  k: number,
  level: Float64Array,
): void {
  const { samples, rMax, noisePerSignal } = input;
  const { r, value, neighbour, lattice, noise, lattices } = samples;
  const table = profile.table.value;
  const perPx = 1 / profile.table.step;
  const before = profile.flux[k] as number;
  const first = k * lattices;
  const to = samples.start[k + 1] as number;
  let top = 0;
  let bottom = 0;
  for (let s = samples.start[k] as number; s < to; s++) {
    const distance = r[s] as number;
    if (distance >= rMax) continue;
    const at = first + (lattice[s] as number);
    const sigma = noise[at] as number;
    // The nearest table entry is within 1/128 px: enough for weights and for a mean over hundreds of samples.
    const p = table[(distance * perPx + 0.5) | 0] as number;
    const signal = before > 0 && p > 0 ? before * p : 0;
    const nb = neighbour[s] as number;
    const base = sigma * sigma + noisePerSignal * (signal + nb);
    const v = (value[s] as number) - nb - (level[at] as number);
    if (before > 0) {
      const d = v - before * p;
      const loose =
        base + REJECTION_ERROR * REJECTION_ERROR * signal * signal + LOOSE_NEIGHBOUR * nb * nb;
      if (
        d * d > REJECTION_SIGMA * REJECTION_SIGMA * loose &&
        isOutlier(profile, input, k, s, before, v, base + LOOSE_NEIGHBOUR * nb * nb)
      ) {
        continue;
      }
    }
    const w =
      p /
      (base +
        PROFILE_ERROR * PROFILE_ERROR * signal * signal +
        NEIGHBOUR_ERROR * NEIGHBOUR_ERROR * nb * nb);
    top += w * v;
    bottom += w * p;
  }
  if (bottom > 0) {
    profile.flux[k] = top / bottom;
    profile.fluxError[k] = 1 / Math.sqrt(bottom);
  }
}

/** Normal equations of star k. */
function addStar(profile: ChannelProfile, input: RoundInput, k: number, level: Float64Array): void {
  const { samples, rMax, noisePerSignal } = input;
  const { r, value, neighbour, lattice, noise, lattices } = samples;
  const { spline, band, right } = profile;
  const { basis } = spline;
  const firstOf = spline.first;
  const table = profile.table.value;
  const perPx = 1 / profile.table.step;
  const flux = profile.flux[k] as number;
  if (!(flux > 0)) return;
  const base = k * spline.size;
  const to = samples.start[k + 1] as number;
  for (let s = samples.start[k] as number; s < to; s++) {
    const distance = r[s] as number;
    if (distance >= rMax) continue;
    const at = k * lattices + (lattice[s] as number);
    const sigma = noise[at] as number;
    const entry = (distance * perPx + 0.5) | 0;
    const p = table[entry] as number;
    const signal = p > 0 ? flux * p : 0;
    const nb = neighbour[s] as number;
    const variance = sigma * sigma + noisePerSignal * (signal + nb);
    const v = (value[s] as number) - nb - (level[at] as number);
    const d = v - signal;
    const loose =
      variance + REJECTION_ERROR * REJECTION_ERROR * signal * signal + LOOSE_NEIGHBOUR * nb * nb;
    if (
      d * d > REJECTION_SIGMA * REJECTION_SIGMA * loose &&
      isOutlier(profile, input, k, s, flux, v, variance + LOOSE_NEIGHBOUR * nb * nb)
    ) {
      continue;
    }
    const w =
      flux /
      (variance +
        PROFILE_ERROR * PROFILE_ERROR * signal * signal +
        NEIGHBOUR_ERROR * NEIGHBOUR_ERROR * nb * nb);
    const first = base + (firstOf[entry] as number);
    const e = entry * 4;
    const b0 = basis[e] as number;
    const b1 = basis[e + 1] as number;
    const b2 = basis[e + 2] as number;
    const b3 = basis[e + 3] as number;
    const wv = w * v;
    right[first] = (right[first] as number) + wv * b0;
    right[first + 1] = (right[first + 1] as number) + wv * b1;
    right[first + 2] = (right[first + 2] as number) + wv * b2;
    if (b3 !== 0) right[first + 3] = (right[first + 3] as number) + wv * b3;
    const wf = w * flux;
    const w0 = wf * b0;
    const w1 = wf * b1;
    const w2 = wf * b2;
    let row = first * BAND;
    band[row] = (band[row] as number) + w0 * b0;
    band[row + 1] = (band[row + 1] as number) + w0 * b1;
    band[row + 2] = (band[row + 2] as number) + w0 * b2;
    band[row + 3] = (band[row + 3] as number) + w0 * b3;
    row += BAND;
    band[row] = (band[row] as number) + w1 * b1;
    band[row + 1] = (band[row + 1] as number) + w1 * b2;
    band[row + 2] = (band[row + 2] as number) + w1 * b3;
    row += BAND;
    band[row] = (band[row] as number) + w2 * b2;
    band[row + 1] = (band[row + 1] as number) + w2 * b3;
    // Next to the centre three functions are at work, not four; the last row may lie outside.
    if (b3 !== 0) band[row + BAND] = (band[row + BAND] as number) + wf * b3 * b3;
  }
}
