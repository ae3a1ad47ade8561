/** Which good stars enter the profiles, and how the others are counted. */
import { FLAG, STAR_FLAGS } from '../catalogue/flags.js';
import { weakFlag } from './classify.js';
import type { Found } from './find.js';
import type { MeasureOptions } from './options.js';
import { noiseSnr } from './sources.js';

const PROFILE_SNR = 20;
const ENOUGH_PROFILE_STARS = 60;
/** 'centre' zone: share of the half-diagonal. */
const CENTRE_ZONE = 0.5;

/** Good stars, best first: unflagged, in the zone, at most `maxStars`; faint ones only while bright ones are few. */
export function selectStars(
  found: Found,
  options: MeasureOptions,
  width: number,
  height: number,
): number[] {
  const { sources } = found;
  const fits = sources.fits[found.reference];
  if (!fits || !found.locus) return [];
  const radius = CENTRE_ZONE * 0.5 * Math.sqrt(width * width + height * height);
  const list: number[] = [];
  for (let i = 0; i < sources.n; i++) {
    if (sources.flags[i] !== 0) continue;
    if (options.zone === 'centre') {
      const dx = (sources.x[i] as number) - (width - 1) / 2;
      const dy = (sources.y[i] as number) - (height - 1) / 2;
      if (dx * dx + dy * dy > radius * radius) {
        sources.flags[i] = FLAG['outside zone'];
        continue;
      }
    }
    list.push(i);
  }
  const snr = (i: number): number => noiseSnr(fits, i);
  list.sort((a, b) => (fits.flux[b] as number) - (fits.flux[a] as number) || a - b);
  const bright = list.filter((i) => snr(i) >= PROFILE_SNR);
  const chosen = bright.length >= ENOUGH_PROFILE_STARS ? bright : list;
  const kept = chosen.slice(0, options.maxStars);
  const keptSet = new Set(kept);
  for (const i of list) {
    if (!keptSet.has(i)) {
      sources.flags[i] =
        (sources.flags[i] as number) |
        (snr(i) < PROFILE_SNR ? weakFlag(sources, i) : FLAG['over limit']);
    }
  }
  return kept;
}

/** Counts each rejected source once, under the first of its flags in registry order. */
export function countRejected(flags: Uint32Array): Record<string, number> {
  const counts: Record<string, number> = {};
  for (let i = 0; i < flags.length; i++) {
    const first = STAR_FLAGS.find((flag) => ((flags[i] as number) & flag.bit) !== 0);
    if (first) counts[first.name] = (counts[first.name] ?? 0) + 1;
  }
  return counts;
}
