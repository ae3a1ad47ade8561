/** Several frames of one set: each star's shape averaged over the frames, so that random seeing and guiding average out. */
import { matchStars } from '../match/match.js';
import type { StarList } from '../match/star-list.js';
import { medianOf } from '../stats/robust.js';
import type { ShapeColumns } from './model-data.js';
import type { StarShapes } from './shapes.js';

/** For each star of the first frame, its index in this frame, −1 = not found. */
export type StarMatch = Int32Array;

/** Stars enter when they were measured in at least this share of the frames. */
const LEAST_SHARE = 0.5;
/**
 * Half diagonals by which stars may have moved on the sensor. Shapes belong to the sensor's places: farther apart, one star no longer
 * shows one place, and after a turn by 180° it shows the opposite one.
 */
const FARTHEST = 0.1;

/** Partners on nearly the same places of the sensor, or why there are none. */
export type FramePartners =
  | { match: StarMatch; reason: null }
  | { match: null; reason: 'not matched' | 'moved too far' };

/** Finds the same stars in another frame of the set, shifted or slightly turned. */
export function findPartners(first: StarShapes, other: StarShapes): FramePartners {
  const found = matchStars(listOf(first), listOf(other), { nearlyAligned: true, mirrored: false });
  if (!found.found) return { match: null, reason: 'not matched' };
  const moved = Float64Array.from(found.indexA, (i, k) => {
    const j = found.indexB[k] as number;
    const dx = (other.x[j] as number) - (first.x[i] as number);
    const dy = (other.y[j] as number) - (first.y[i] as number);
    return Math.sqrt(dx * dx + dy * dy);
  });
  const half = 0.5 * Math.sqrt(first.width ** 2 + first.height ** 2);
  if (medianOf(moved) > FARTHEST * half) return { match: null, reason: 'moved too far' };
  const match = new Int32Array(first.n).fill(-1);
  found.indexA.forEach((i, k) => {
    // In a frame that is turned a little, stars far from the pivot may still have moved too far.
    if ((moved[k] as number) <= FARTHEST * half) match[i] = found.indexB[k] as number;
  });
  return { match, reason: null };
}

function listOf({ n, x, y, fluxAdu, width, height }: StarShapes): StarList {
  return {
    x: x.slice(0, n),
    y: y.slice(0, n),
    brightness: fluxAdu.slice(0, n),
    width,
    height,
  };
}

type Column = 't' | 'q1' | 'q2' | 'k1' | 'k2';
const COLUMNS: readonly Column[] = ['t', 'q1', 'q2', 'k1', 'k2'];
const ERROR_OF = { t: 'tError', q1: 'qError', q2: 'qError', k1: 'kError', k2: 'kError' } as const;

/**
 * Averages matched shapes. Each frame's own seeing and guiding (the median difference of T, Q, K from the first frame) is taken off
 * before, and the mean of all frames put back, so that a star missing in the worst frame is not called sharper. The place is the mean of
 * its places on the sensor.
 * @param matches one per further frame
 */
export function averageShapes(
  first: StarShapes,
  others: readonly StarShapes[],
  matches: readonly StarMatch[],
): ShapeColumns & { kept: number[] } {
  const frames = others.length + 1;
  const kept: number[] = [];
  for (let i = 0; i < first.n; i++) {
    const seen = 1 + matches.reduce((sum, match) => sum + ((match[i] as number) >= 0 ? 1 : 0), 0);
    if (seen >= LEAST_SHARE * frames) kept.push(i);
  }
  const n = kept.length;
  const made: Record<Column, Float64Array> = {
    t: new Float64Array(n),
    q1: new Float64Array(n),
    q2: new Float64Array(n),
    k1: new Float64Array(n),
    k2: new Float64Array(n),
  };
  const errors = {
    tError: new Float64Array(n),
    qError: new Float64Array(n),
    kError: new Float64Array(n),
  };
  for (const column of COLUMNS) {
    const offsets = others.map((other, f) => {
      const differences: number[] = [];
      for (const i of kept) {
        const j = matches[f]?.[i] as number;
        if (j >= 0) differences.push((other[column][j] as number) - (first[column][i] as number));
      }
      return differences.length > 0 ? medianOf(differences) : 0;
    });
    const mean = offsets.reduce((sum, value) => sum + value, 0) / frames;
    const error = ERROR_OF[column];
    kept.forEach((i, k) => {
      let w = 1 / (first[error][i] as number) ** 2;
      let sum = w * (first[column][i] as number);
      others.forEach((other, f) => {
        const j = matches[f]?.[i] as number;
        if (j < 0) return;
        const weight = 1 / (other[error][j] as number) ** 2;
        sum += weight * ((other[column][j] as number) - (offsets[f] as number));
        w += weight;
      });
      made[column][k] = sum / w + mean;
      errors[error][k] = 1 / Math.sqrt(w);
    });
  }
  const meanPlace = (axis: 'x' | 'y', i: number): number => {
    let sum = first[axis][i] as number;
    let seen = 1;
    others.forEach((other, f) => {
      const j = matches[f]?.[i] as number;
      if (j < 0) return;
      sum += other[axis][j] as number;
      seen++;
    });
    return sum / seen;
  };
  return {
    n,
    width: first.width,
    height: first.height,
    x: Float64Array.from(kept, (i) => meanPlace('x', i)),
    y: Float64Array.from(kept, (i) => meanPlace('y', i)),
    ...made,
    ...errors,
    kept,
  };
}
