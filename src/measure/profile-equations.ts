/** What one star contributes to the profile of a channel: its flux, and its normal equations for the spline's coefficients.
 *
 * These loops visit every sample of every star once a round. Samples lie lattice by lattice and, within one, roughly from the centre outwards
 * (profile-samples.ts): neighbouring samples fall on the same four basis functions, whose sums stay in local variables until the
 * interval changes.
 */
import { solveBanded } from '../stats/solve.js';
import { type ProfileSamples, reachOf } from './profile-samples.js';
import { type ProfileTable, profileAt, type RadialSpline } from './radial-spline.js';

/** Relative error of one shared profile for every star: keeps a few bright stars from deciding alone. */
export const PROFILE_ERROR = 0.04;
/** The same in the test that rejects samples: elongation and field changes must not be cut away as outliers. */
export const REJECTION_ERROR = 0.25;
export const REJECTION_SIGMA = 5;
/** Square of a neighbour's relative error in the rejection test. */
export const LOOSE_NEIGHBOUR = 0.15 * 0.15;
/** Relative error of a neighbour's model. */
export const NEIGHBOUR_ERROR = 0.08;
/** Elements of a row of the banded normal equations: a cubic spline couples four coefficients. */
export const BAND = 4;

const PROFILE_VARIANCE = PROFILE_ERROR * PROFILE_ERROR;
const REJECTION_VARIANCE = REJECTION_ERROR * REJECTION_ERROR;
const REJECTION_SQUARE = REJECTION_SIGMA * REJECTION_SIGMA;
const NEIGHBOUR_VARIANCE = NEIGHBOUR_ERROR * NEIGHBOUR_ERROR;

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

/**
 * Second look at a sample that does not fit the round profile: true when it does not fit the elongated one of the same area either. Without
 * it the ends of trailed stars would be cut off as outliers.
 */
function isOutlier(
  table: ProfileTable,
  samples: ProfileSamples,
  elongation: Elongation,
  k: number,
  s: number,
  flux: number,
  v: number,
  noiseVariance: number,
): boolean {
  const dx = (samples.x[s] as number) - (samples.centreX[k] as number);
  const dy = (samples.y[s] as number) - (samples.centreY[k] as number);
  const u = dx * elongation.cos + dy * elongation.sin;
  const w = dy * elongation.cos - dx * elongation.sin;
  const r = Math.sqrt((u * u) / elongation.axisRatio + w * w * elongation.axisRatio);
  const signal = Math.max(0, flux * profileAt(table, r));
  const d = v - signal;
  return d * d > REJECTION_SQUARE * (noiseVariance + REJECTION_VARIANCE * signal * signal);
}

/** Flux of star k: the profile scaled to its samples within rMax by weighted least squares. */
export function scaleStar(
  profile: ChannelProfile,
  samples: ProfileSamples,
  elongation: Elongation,
  k: number,
  rMax: number,
  noisePerSignal: number,
): void {
  const { r, value, neighbour, lattices, start } = samples;
  const table = profile.table.value;
  const perPx = 1 / profile.table.step;
  const before = profile.flux[k] as number;
  const scaled = before > 0;
  const beyond = reachOf(samples, k, rMax);
  let top = 0;
  let bottom = 0;
  for (let at = k * lattices; at < (k + 1) * lattices; at++) {
    const to = start[at + 1] as number;
    const sigma = samples.noise[at] as number;
    const sky = sigma * sigma;
    const level = profile.level[at] as number;
    for (let s = start[at] as number; s < to; s++) {
      const distance = r[s] as number;
      if (distance >= rMax) {
        if (distance >= beyond) break;
        continue;
      }
      // The nearest table entry is within 1/64 px: enough for weights and for a mean over hundreds of samples.
      const p = table[(distance * perPx + 0.5) | 0] as number;
      const signal = scaled && p > 0 ? before * p : 0;
      const nb = neighbour[s] as number;
      const base = sky + noisePerSignal * (signal + nb);
      const v = (value[s] as number) - nb - level;
      const nb2 = nb * nb;
      const signal2 = signal * signal;
      if (scaled) {
        const d = v - before * p;
        if (
          d * d >
            REJECTION_SQUARE * (base + REJECTION_VARIANCE * signal2 + LOOSE_NEIGHBOUR * nb2) &&
          isOutlier(
            profile.table,
            samples,
            elongation,
            k,
            s,
            before,
            v,
            base + LOOSE_NEIGHBOUR * nb2,
          )
        ) {
          continue;
        }
      }
      const w = p / (base + PROFILE_VARIANCE * signal2 + NEIGHBOUR_VARIANCE * nb2);
      top += w * v;
      bottom += w * p;
    }
  }
  if (bottom > 0) {
    profile.flux[k] = top / bottom;
    profile.fluxError[k] = 1 / Math.sqrt(bottom);
  }
}

/** Normal equations of star k, added to `profile.band` and `profile.right`. */
export function addStar(
  profile: ChannelProfile,
  samples: ProfileSamples,
  elongation: Elongation,
  k: number,
  rMax: number,
  noisePerSignal: number,
): void {
  const { r, value, neighbour, lattices, start } = samples;
  const { spline } = profile;
  const { basis, first } = spline;
  const table = profile.table.value;
  const perPx = 1 / profile.table.step;
  const flux = profile.flux[k] as number;
  if (!(flux > 0)) return;
  const beyond = reachOf(samples, k, rMax);
  for (let at = k * lattices; at < (k + 1) * lattices; at++) {
    const to = start[at + 1] as number;
    const sigma = samples.noise[at] as number;
    const sky = sigma * sigma;
    const level = profile.level[at] as number;
    let s = start[at] as number;
    while (s < to) {
      // One run of samples on the same four basis functions.
      const begin = r[s] as number;
      if (begin >= beyond) break;
      if (begin >= rMax) {
        s++;
        continue;
      }
      const f = first[(begin * perPx + 0.5) | 0] as number;
      let r0 = 0;
      let r1 = 0;
      let r2 = 0;
      let r3 = 0;
      let n00 = 0;
      let n01 = 0;
      let n02 = 0;
      let n03 = 0;
      let n11 = 0;
      let n12 = 0;
      let n13 = 0;
      let n22 = 0;
      let n23 = 0;
      let n33 = 0;
      for (; s < to; s++) {
        const distance = r[s] as number;
        if (distance >= rMax) break;
        const entry = (distance * perPx + 0.5) | 0;
        if ((first[entry] as number) !== f) break;
        const p = table[entry] as number;
        const signal = p > 0 ? flux * p : 0;
        const nb = neighbour[s] as number;
        const variance = sky + noisePerSignal * (signal + nb);
        const v = (value[s] as number) - nb - level;
        const d = v - signal;
        const nb2 = nb * nb;
        const signal2 = signal * signal;
        if (
          d * d >
            REJECTION_SQUARE * (variance + REJECTION_VARIANCE * signal2 + LOOSE_NEIGHBOUR * nb2) &&
          isOutlier(
            profile.table,
            samples,
            elongation,
            k,
            s,
            flux,
            v,
            variance + LOOSE_NEIGHBOUR * nb2,
          )
        ) {
          continue;
        }
        const w = flux / (variance + PROFILE_VARIANCE * signal2 + NEIGHBOUR_VARIANCE * nb2);
        const e = entry * 4;
        const b0 = basis[e] as number;
        const b1 = basis[e + 1] as number;
        const b2 = basis[e + 2] as number;
        const b3 = basis[e + 3] as number;
        const wv = w * v;
        r0 += wv * b0;
        r1 += wv * b1;
        r2 += wv * b2;
        r3 += wv * b3;
        const wf = w * flux;
        const w0 = wf * b0;
        const w1 = wf * b1;
        const w2 = wf * b2;
        n00 += w0 * b0;
        n01 += w0 * b1;
        n02 += w0 * b2;
        n03 += w0 * b3;
        n11 += w1 * b1;
        n12 += w1 * b2;
        n13 += w1 * b3;
        n22 += w2 * b2;
        n23 += w2 * b3;
        n33 += wf * b3 * b3;
      }
      const row = k * spline.size + f;
      add4(profile.right, row, r0, r1, r2, r3);
      add4(profile.band, row * BAND, n00, n01, n02, n03);
      add4(profile.band, (row + 1) * BAND, n11, n12, n13, 0);
      add4(profile.band, (row + 2) * BAND, n22, n23, 0, 0);
      // Next to the centre three functions are at work, not four; the last row may lie outside, where nothing is added.
      if (n33 !== 0) add4(profile.band, (row + 3) * BAND, n33, 0, 0, 0);
    }
  }
}

/** Adds four numbers from element `at` on; zeros beyond the end fall off, as assignments outside a typed array do. */
function add4(to: Float64Array, at: number, a: number, b: number, c: number, d: number): void {
  to[at] = (to[at] as number) + a;
  if (b !== 0) to[at + 1] = (to[at + 1] as number) + b;
  if (c !== 0) to[at + 2] = (to[at + 2] as number) + c;
  if (d !== 0) to[at + 3] = (to[at + 3] as number) + d;
}

/** Adds the normal equations of star `k` to those of group `g`. */
export function addTo(
  profile: ChannelProfile,
  k: number,
  g: number,
  band: Float64Array,
  right: Float64Array,
): void {
  const size = profile.spline.size;
  addStretch(profile.band, k * size * BAND, size * BAND, band, g * size * BAND);
  addStretch(profile.right, k * size, size, right, g * size);
}

function addStretch(
  from: Float64Array,
  start: number,
  length: number,
  to: Float64Array,
  at: number,
): void {
  for (let i = 0; i < length; i++) {
    to[at + i] = (to[at + i] as number) + (from[start + i] as number);
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
