/** Which frame the others of a group are held against. */
import { medianOf } from '../stats/robust.js';
import type { NightFrame } from './night-frame.js';
import { type Registration, registerFrame } from './register.js';
import { usualOf } from './usual.js';

/** Fewest measured stars of a reference frame. */
export const FEWEST_REFERENCE_STARS = 8;
/** Bright stars whose median light stands for the transparency before anything is matched. */
const LIGHT_STARS = 50;
/** Frames that a candidate is tried against, and candidates tried. */
const TRIED_AGAINST = 6;
const MOST_TRIED = 5;

export interface Reference {
  index: number;
  why: string;
}

/**
 * The frame in which a faint star stands out most, by noise, size and light, among those with round stars; it must show the same stars as
 * most of the others. Ties go to the earlier frame of `group`, which is in time order.
 * @param group indices into frames, in time order
 * @param wanted file that the user chose; taken when it is in the group and has stars
 * @returns null when no frame has stars enough
 */
export function chooseReference(
  frames: readonly NightFrame[],
  group: readonly number[],
  wanted: string | null,
): Reference | null {
  const able = group.filter((i) => {
    const frame = frames[i] as NightFrame;
    return frame.starsUsed >= FEWEST_REFERENCE_STARS && Number.isFinite(merit(frame));
  });
  const chosen = able.find((i) => wanted !== null && frames[i]?.file === wanted);
  if (chosen !== undefined) return { index: chosen, why: 'chosen by --reference' };
  if (able.length === 0) return null;
  const round = usualOf(
    able.map((i) => frames[i]?.ellipticity?.value ?? 0),
    'low',
    0.02,
  );
  const limit = round === null ? Number.POSITIVE_INFINITY : round.centre + 2 * round.spread;
  const ranked = [...able].sort((a, b) => {
    const roundA = (frames[a]?.ellipticity?.value ?? 0) <= limit;
    const roundB = (frames[b]?.ellipticity?.value ?? 0) <= limit;
    if (roundA !== roundB) return roundA ? -1 : 1;
    return merit(frames[b] as NightFrame) - merit(frames[a] as NightFrame) || a - b;
  });
  const index = mostShared(frames, able, ranked.slice(0, MOST_TRIED));
  const { fwhmPx, starsUsed, ellipticity } = frames[index] as NightFrame;
  const size = fwhmPx === null ? '' : `stars of ${fwhmPx.value.toFixed(1)} px, `;
  const shape = ellipticity === null ? '' : `ellipticity ${ellipticity.value.toFixed(2)}, `;
  return {
    index,
    why: `a faint star stands out most in it (${size}${shape}${starsUsed} stars measured)`,
  };
}

/** The first candidate that shows the stars of at least half the others; failing that, the one that shows most. */
function mostShared(
  frames: readonly NightFrame[],
  able: readonly number[],
  candidates: readonly number[],
): number {
  let best = candidates[0] as number;
  let most = -1;
  for (const candidate of candidates) {
    const others = able.filter((i) => i !== candidate);
    const step = Math.max(1, others.length / TRIED_AGAINST);
    let tried = 0;
    let shared = 0;
    for (let k = 0; Math.floor(k) < others.length && tried < TRIED_AGAINST; k += step) {
      const other = others[Math.floor(k)] as number;
      tried++;
      if (registerFrame(frames[other] as NightFrame, frames[candidate] as NightFrame)) shared++;
    }
    if (tried === 0 || shared >= tried / 2) return candidate;
    if (shared > most) {
      most = shared;
      best = candidate;
    }
  }
  return best;
}

/** Stand-in for the weight before anything is matched: the light of the bright stars over the noise of a star's image, squared. */
function merit(frame: NightFrame): number {
  const { noiseAdu, starAreaPx, stars } = frame;
  const light = stars.fluxAdu.filter((flux): flux is number => flux !== null && flux > 0);
  if (light.length === 0 || !(Number(noiseAdu) > 0) || !(Number(starAreaPx) > 0)) {
    return Number.NaN;
  }
  light.sort((a, b) => b - a);
  const typical = medianOf(light.slice(0, LIGHT_STARS));
  return (typical * typical) / (Number(noiseAdu) ** 2 * Number(starAreaPx));
}

/** Every frame of a group on its reference; null where no match is beyond doubt. */
export function registerGroup(
  frames: readonly NightFrame[],
  group: readonly number[],
  reference: number,
): Map<number, Registration | null> {
  return new Map(
    group.map((i) => [i, registerFrame(frames[i] as NightFrame, frames[reference] as NightFrame)]),
  );
}
