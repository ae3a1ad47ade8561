/** Several frames of one set: each star's shape averaged over the frames, so that random seeing and guiding average out. */
import KDBush from 'kdbush';
import { medianOf } from '../stats/robust.js';
import type { ShapeColumns } from './model-data.js';
import type { StarShapes } from './shapes.js';

/** For each star of the first frame, its index in this frame, −1 = not found. */
export type StarMatch = Int32Array;

/** Stars enter when they were measured in at least this share of the frames. */
const LEAST_SHARE = 0.5;
/** Brightest stars that decide the offset between frames, its bin width and the distance of partners, px. */
const VOTERS = 80;
const BIN_PX = 4;
const PARTNER_PX = 3;
const FEWEST_PARTNERS = 8;

/**
 * Partners by position after a common shift (dithering, drift), found by voting among the brightest stars. Frames that are turned
 * against each other need a match from elsewhere.
 * @returns null when no shift brings enough stars together
 */
export function matchByShift(first: StarShapes, other: StarShapes): StarMatch | null {
  const bright = (shapes: StarShapes): number[] =>
    Array.from({ length: shapes.n }, (_, i) => i)
      .sort((a, b) => (shapes.fluxAdu[b] as number) - (shapes.fluxAdu[a] as number) || a - b)
      .slice(0, VOTERS);
  const votes = new Map<string, { count: number; dx: number[]; dy: number[] }>();
  for (const i of bright(first))
    for (const j of bright(other)) {
      const dx = (other.x[j] as number) - (first.x[i] as number);
      const dy = (other.y[j] as number) - (first.y[i] as number);
      const key = `${Math.round(dx / BIN_PX)},${Math.round(dy / BIN_PX)}`;
      const bin = votes.get(key) ?? { count: 0, dx: [], dy: [] };
      bin.count++;
      bin.dx.push(dx);
      bin.dy.push(dy);
      votes.set(key, bin);
    }
  let best: { count: number; dx: number[]; dy: number[] } | null = null;
  for (const bin of votes.values()) if (!best || bin.count > best.count) best = bin;
  if (!best || best.count < FEWEST_PARTNERS) return null;
  const shiftX = medianOf(best.dx);
  const shiftY = medianOf(best.dy);
  const tree = new KDBush(other.n);
  for (let j = 0; j < other.n; j++) tree.add(other.x[j] as number, other.y[j] as number);
  tree.finish();
  let found = 0;
  const match = Int32Array.from({ length: first.n }, (_, i) => {
    const x = (first.x[i] as number) + shiftX;
    const y = (first.y[i] as number) + shiftY;
    let nearest = -1;
    let least = PARTNER_PX * PARTNER_PX;
    for (const j of tree.within(x, y, PARTNER_PX)) {
      const d = ((other.x[j] as number) - x) ** 2 + ((other.y[j] as number) - y) ** 2;
      if (d < least) {
        least = d;
        nearest = j;
      }
    }
    if (nearest >= 0) found++;
    return nearest;
  });
  return found >= Math.max(FEWEST_PARTNERS, 0.3 * Math.min(first.n, other.n)) ? match : null;
}

type Column = 't' | 'q1' | 'q2' | 'k1' | 'k2';
const COLUMNS: readonly Column[] = ['t', 'q1', 'q2', 'k1', 'k2'];
const ERROR_OF = { t: 'tError', q1: 'qError', q2: 'qError', k1: 'kError', k2: 'kError' } as const;

/**
 * Averages matched shapes. Each frame's own seeing and guiding (the median difference of T, Q, K from the first frame) is taken off
 * before, and the mean of all frames put back, so that a star missing in the worst frame is not called sharper.
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
  return {
    n,
    width: first.width,
    height: first.height,
    x: Float64Array.from(kept, (i) => first.x[i] as number),
    y: Float64Array.from(kept, (i) => first.y[i] as number),
    ...made,
    ...errors,
    kept,
  };
}
