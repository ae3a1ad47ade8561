/** Moves profile stars to where the profiles of all channels fit best. */
import {
  type ChannelProfile,
  LOOSE_NEIGHBOUR,
  NEIGHBOUR_ERROR,
  PROFILE_ERROR,
  REJECTION_ERROR,
  REJECTION_SIGMA,
} from './profile-equations.js';
import { moveCentre, type ProfileSamples, reachOf } from './profile-samples.js';
import { profileAt } from './radial-spline.js';

/** Samples within this many FWHM decide a star's centre. */
const CENTRE_FWHM = 1.6;
/** One step moves a centre at most this far, px. */
const LARGEST_STEP = 0.25;

/**
 * Moves each star to where the profiles of all channels together fit best: one Gauss–Newton step a star. The profile knows the star's
 * true shape, which a Moffat does not: on the quincunx of green sites that difference would pull centres towards sites.
 * Lateral colour stays: all channels of a star move together.
 */
export function recentreStars(
  profiles: readonly ChannelProfile[],
  samples: readonly ProfileSamples[],
  noisePerSignal: number,
  fwhmPx: number,
): void {
  const first = samples[0] as ProfileSamples;
  const limit = CENTRE_FWHM * fwhmPx;
  for (let k = 0; k < first.stars; k++) {
    let xx = 0;
    let xy = 0;
    let yy = 0;
    let gx = 0;
    let gy = 0;
    for (let c = 0; c < profiles.length; c++) {
      const { table, flux, level } = profiles[c] as ChannelProfile;
      const list = samples[c] as ProfileSamples;
      const { lattices, start } = list;
      const f = flux[k] as number;
      if (!(f > 0)) continue;
      const cx = list.centreX[k] as number;
      const cy = list.centreY[k] as number;
      const last = table.value.length - 2;
      const beyond = reachOf(list, k, limit);
      for (let at = k * lattices; at < (k + 1) * lattices; at++) {
        const to = start[at + 1] as number;
        const sigma = list.noise[at] as number;
        for (let s = start[at] as number; s < to; s++) {
          const r = list.r[s] as number;
          if (r >= beyond) break;
          if (r >= limit || r < 1e-6) continue;
          const i = Math.min(last, Math.max(1, Math.round(r / table.step)));
          const slope =
            ((table.value[i + 1] as number) - (table.value[i - 1] as number)) / (2 * table.step);
          const nb = list.neighbour[s] as number;
          const signal = Math.max(0, f * profileAt(table, r));
          const variance = sigma * sigma + noisePerSignal * (signal + nb);
          const d = (list.value[s] as number) - nb - (level[at] as number) - signal;
          const loose = variance + (REJECTION_ERROR * signal) ** 2 + LOOSE_NEIGHBOUR * nb * nb;
          if (d * d > REJECTION_SIGMA * REJECTION_SIGMA * loose) continue;
          const w = 1 / (variance + (PROFILE_ERROR * signal) ** 2 + (NEIGHBOUR_ERROR * nb) ** 2);
          // ∂(f p)/∂x0 = −f p′ (x − x0)/r.
          const ax = (-f * slope * ((list.x[s] as number) - cx)) / r;
          const ay = (-f * slope * ((list.y[s] as number) - cy)) / r;
          xx += w * ax * ax;
          xy += w * ax * ay;
          yy += w * ay * ay;
          gx += w * ax * d;
          gy += w * ay * d;
        }
      }
    }
    const det = xx * yy - xy * xy;
    if (!(det > 0)) continue;
    const dx = (yy * gx - xy * gy) / det;
    const dy = (xx * gy - xy * gx) / det;
    const length = Math.sqrt(dx * dx + dy * dy);
    const scale = length > LARGEST_STEP ? LARGEST_STEP / length : 1;
    for (const list of samples) moveCentre(list, k, dx * scale, dy * scale);
  }
}
