/** Questions that the rounds of the profile fit ask between two rounds, and the profile they start from. */
import { medianOf } from '../stats/robust.js';
import type { ChannelProfile } from './profile-equations.js';
import { firstOf, type ProfileSamples } from './profile-samples.js';
import {
  normaliseTable,
  type ProfileTable,
  type RadialSpline,
  TABLE_PER_PX,
  tableLength,
} from './radial-spline.js';

/** Largest change of encircled energy in a round at which the rounds end. */
const SETTLED = 5e-4;

/** True when no encircled energy moved by more than `SETTLED` in the last round; remembers the present curves. */
export function settled(
  profiles: readonly ChannelProfile[],
  before: readonly Float64Array[],
): boolean {
  let largest = 0;
  profiles.forEach((profile, c) => {
    const old = before[c] as Float64Array;
    const now = profile.table.enclosed;
    for (let i = 0; i < now.length; i++) {
      largest = Math.max(largest, Math.abs((now[i] as number) - (old[i] as number)));
    }
    old.set(now);
  });
  return largest < SETTLED;
}

/** Neighbours' light within R_max over the star's own, median star. */
export function crowdingOf(profile: ChannelProfile, samples: ProfileSamples, rMax: number): number {
  const shares: number[] = [];
  for (let k = 0; k < samples.stars; k++) {
    let sum = 0;
    let n = 0;
    const to = firstOf(samples, k + 1);
    for (let s = firstOf(samples, k); s < to; s++) {
      if ((samples.r[s] as number) >= rMax) continue;
      sum += samples.neighbour[s] as number;
      n++;
    }
    shares.push((Math.PI * rMax * rMax * sum) / Math.max(1, n) / (profile.flux[k] as number));
  }
  return medianOf(shares);
}

/** Light per octave-like step at the rim (2π R² p) that calls for a larger R_max. */
const RIM_LIGHT = 0.02;

/**
 * True when light at the rim is both significant and a noticeable part of the whole. Significance comes from the scatter among
 * the stars: in a rich field what is left of neighbours, not the sky noise, limits what can be said about faint wings.
 */
export function hasOpenRim(
  profile: ChannelProfile,
  samples: ProfileSamples,
  rMax: number,
): boolean {
  const octave = 2 * Math.PI * rMax * rMax;
  // Light still found in the annulus, beyond the rim.
  if (octave * profile.wing > RIM_LIGHT && profile.wing > 4 * profile.wingError) return true;
  if (octave * profile.rim < RIM_LIGHT) return false;
  const brightness: number[] = [];
  const weight: number[] = [];
  for (let k = 0; k < samples.stars; k++) {
    const flux = profile.flux[k] as number;
    if (!(flux > 0)) continue;
    let sum = 0;
    let n = 0;
    for (let at = k * samples.lattices; at < (k + 1) * samples.lattices; at++) {
      for (let s = samples.start[at] as number; s < (samples.start[at + 1] as number); s++) {
        const r = samples.r[s] as number;
        if (r < 0.8 * rMax || r >= rMax) continue;
        sum +=
          (samples.value[s] as number) -
          (samples.neighbour[s] as number) -
          (profile.level[at] as number);
        n++;
      }
    }
    if (n === 0) continue;
    brightness.push(sum / n / flux);
    weight.push(flux);
  }
  if (brightness.length < 8) return false;
  // Half of the stars at a time, so that one bright star with a bright neighbour cannot decide: both halves must agree.
  const halves = [0, 1].map((half) => {
    let top = 0;
    let bottom = 0;
    let squares = 0;
    let n = 0;
    const mean = (): number => top / bottom;
    for (let i = half; i < brightness.length; i += 2) {
      top += (weight[i] as number) * (brightness[i] as number);
      bottom += weight[i] as number;
      n++;
    }
    const centre = mean();
    for (let i = half; i < brightness.length; i += 2) {
      squares += ((weight[i] as number) * ((brightness[i] as number) - centre)) ** 2;
    }
    return n > 1 && centre > 3 * (Math.sqrt((squares * n) / (n - 1)) / bottom);
  });
  return halves.every((seen) => seen);
}

/** A round Moffat of the given recorded FWHM as first profile. */
export function moffatTable(spline: RadialSpline, fwhmPx: number, beta: number): ProfileTable {
  const entries = tableLength(spline.rMax);
  const table: ProfileTable = {
    step: 1 / TABLE_PER_PX,
    value: new Float64Array(entries),
    enclosed: new Float64Array(entries),
  };
  const alpha = fwhmPx / (2 * Math.sqrt(2 ** (1 / beta) - 1));
  let sum = 0;
  let before = 0;
  for (let i = 0; i < entries; i++) {
    const r = i / TABLE_PER_PX;
    const v = (1 + (r * r) / (alpha * alpha)) ** -beta;
    table.value[i] = v;
    const ring = 2 * Math.PI * r * v;
    if (i > 0) sum += (0.5 * (before + ring)) / TABLE_PER_PX;
    before = ring;
    table.enclosed[i] = sum;
  }
  normaliseTable(table);
  return table;
}
