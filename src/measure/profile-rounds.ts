/** The effective profile of a channel: a radial spline fitted to the samples of many stars at once.
 *
 * One round: take neighbours off with the current profile; level each star with its own annulus, lattice by lattice; scale the
 * profile to each star; then solve for the spline that all samples share. The sum over stars of normal equations is a flux-weighted
 * stack. Every star's share is kept, so that a bootstrap over stars is a sum of small matrices.
 */

import { robustLinear } from '../stats/regression.js';
import { clippedMean, madSigma } from '../stats/robust.js';
import { extendedProfileAt, influenceRadius, type NeighbourLists, rimOf } from './neighbours.js';
import {
  addStar,
  addTo,
  BAND,
  type ChannelProfile,
  type Elongation,
  scaleStar,
  solveProfile,
} from './profile-equations.js';
import { firstNoise, firstOf, longestStretch, type ProfileSamples } from './profile-samples.js';
import { normaliseTable, type ProfileTable, type RadialSpline, tabulate } from './radial-spline.js';

/** Annulus samples are cut at this many σ, as those inside R_max are: a tighter cut of skewed photon noise would sit low. */
const ANNULUS_CLIP = 5;
/** Fewer samples than this make no background. */
const FEWEST_ANNULUS = 8;
/** Neighbours are taken off out to where they add less than this share of the sky noise. */
const NEIGHBOUR_LIMIT = 0.03;
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
  const { samples, rMax, elongation, noisePerSignal } = input;
  const { stars } = samples;
  takeNeighboursOff(profile, input);

  const level = profile.level;
  const levelCount = new Float64Array(stars * samples.lattices);
  levelStars(profile, samples, rMax, levelCount);
  fitWing(profile, samples);
  const wing = profile.wing > 2 * profile.wingError ? profile.wing : 0;

  for (let k = 0; k < stars; k++) {
    const shed = wing * (profile.flux[k] as number);
    for (let l = 0; l < samples.lattices; l++) {
      const at = k * samples.lattices + l;
      if ((levelCount[at] as number) > 0) level[at] = (level[at] as number) - shed;
    }
    scaleStar(profile, samples, elongation, k, rMax, noisePerSignal);
  }
  profile.band.fill(0);
  profile.right.fill(0);
  for (let k = 0; k < stars; k++) {
    addStar(profile, samples, elongation, k, rMax, noisePerSignal);
  }

  const size = profile.spline.size;
  const band = new Float64Array(size * BAND);
  const right = new Float64Array(size);
  for (let k = 0; k < stars; k++) addTo(profile, k, 0, band, right);
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

/** Local backgrounds from the annulus beyond rMax: per lattice in `profile.level`, their mean in `profile.background`. */
function levelStars(
  profile: ChannelProfile,
  samples: ProfileSamples,
  rMax: number,
  levelCount: Float64Array,
): void {
  const { stars, lattices, start, r, value, neighbour } = samples;
  const { level } = profile;
  level.fill(0);
  const scratch = new Float32Array(longestStretch(samples));
  const stats = new Float64Array(3);
  for (let k = 0; k < stars; k++) {
    let sum = 0;
    let used = 0;
    for (let at = k * lattices; at < (k + 1) * lattices; at++) {
      const to = start[at + 1] as number;
      let n = 0;
      for (let s = start[at] as number; s < to; s++) {
        if ((r[s] as number) < rMax) continue;
        scratch[n++] = (value[s] as number) - (neighbour[s] as number);
      }
      if (n < FEWEST_ANNULUS) continue;
      clippedMean(scratch, n, ANNULUS_CLIP, stats);
      level[at] = stats[0] as number;
      levelCount[at] = stats[2] as number;
      sum += (stats[0] as number) * (stats[2] as number);
      used += stats[2] as number;
    }
    profile.background[k] = used > 0 ? sum / used : 0;
  }
}

function takeNeighboursOff(profile: ChannelProfile, input: RoundInput): void {
  const { samples, rMax, neighbours } = input;
  samples.neighbour.fill(0);
  const { table, rim } = profile;
  const reach = 2 * rMax;
  const reachOfStar = input.rOut + 1;
  for (let k = 0; k < samples.stars; k++) {
    const from = firstOf(samples, k);
    const to = firstOf(samples, k + 1);
    if (from === to) continue;
    const sigma = firstNoise(samples, k);
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
