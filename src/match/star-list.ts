/** Star lists as the matching wants them: brightest first, one entry per place, with their density. */
import { ParameterError } from '../errors.js';
import { medianOf } from '../stats/robust.js';
import { PointIndex } from './neighbours.js';

/** Positions of the stars of one frame. Arrays have one length; non-finite positions are left out. */
export interface StarList {
  /** Px; (0, 0) is the centre of the first pixel. */
  x: Float64Array;
  y: Float64Array;
  /**
   * Any measure of brightness; only its order counts. NaN = unknown, as for clipped stars: taken as the brightest.
   * Left out: every star counts the same, which makes the search slower and weaker.
   */
  brightness?: Float64Array;
  /** Whether `brightness` is a magnitude (small = bright). Default false: a flux. */
  magnitudes?: boolean;
  /** 1 σ of a position along one axis, px. Only the median is used. Default 0.3 px. */
  positionErrorPx?: Float64Array;
  /** Size of the frame, px. */
  width: number;
  height: number;
}

/** A star list made ready: sorted by brightness, duplicates removed. */
export interface PreparedList {
  readonly n: number;
  readonly x: Float64Array;
  readonly y: Float64Array;
  /** Index of each star in the list that was given. */
  readonly source: Int32Array;
  readonly width: number;
  readonly height: number;
  /** Median 1 σ of a position along one axis, px. */
  readonly sigmaPx: number;
  /** Stars per px² of the frame. */
  readonly density: number;
  /** False when brightness says nothing about the order. */
  readonly ordered: boolean;
  readonly index: PointIndex;
  /** Indices of the brightest alone, made when they are asked for. */
  readonly shallow: Map<number, PointIndex>;
}

const DEFAULT_SIGMA_PX = 0.3;
/** Centroids are never trusted further than this: colour, seeing and blends move them. */
const LEAST_SIGMA_PX = 0.05;
/** Positions nearer than this are one star entered twice. */
const SAME_PLACE_PX = 0.05;
/** With fewer different brightnesses than this share of the stars, or more unknown ones, the order is no guide. */
const LEAST_DISTINCT = 0.25;
const MOST_UNKNOWN = 0.5;

/**
 * Sorts and cleans a list. Ties are broken by a fixed scramble of the index, so that equally bright stars of a list
 * sorted by position are not taken from one corner first.
 * @throws ParameterError for arrays of different length, or a frame without size
 */
export function prepareList(list: StarList, name: string): PreparedList {
  const { x, y, brightness, positionErrorPx, width, height } = list;
  if (y.length !== x.length) {
    throw new ParameterError(`${name}.y`, `${y.length} long`, `an array of ${x.length}, like x`);
  }
  if (brightness !== undefined && brightness.length !== x.length) {
    const found = `${brightness.length} long`;
    throw new ParameterError(`${name}.brightness`, found, `an array of ${x.length}, like x`);
  }
  if (!(width > 0 && height > 0 && Number.isFinite(width * height))) {
    throw new ParameterError(`${name}.width × height`, `${width} × ${height}`, 'positive sizes');
  }

  const order: number[] = [];
  for (let i = 0; i < x.length; i++) {
    if (Number.isFinite(x[i]) && Number.isFinite(y[i])) order.push(i);
  }
  const rank = new Float64Array(x.length);
  const sign = list.magnitudes === true ? 1 : -1;
  const seen = new Set<number>();
  let unknown = 0;
  for (const i of order) {
    const value = brightness === undefined ? 0 : brightness[i];
    if (Number.isNaN(value)) unknown++;
    else seen.add(value);
    rank[i] = Number.isNaN(value) ? Number.NEGATIVE_INFINITY : sign * value;
  }
  order.sort((i, j) => (rank[i] === rank[j] ? scramble(i) - scramble(j) : rank[i] - rank[j]));

  const kept = withoutDuplicates(order, x, y);
  const n = kept.length;
  const px = new Float64Array(n);
  const py = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    px[i] = x[kept[i]];
    py[i] = y[kept[i]];
  }
  return {
    n,
    x: px,
    y: py,
    source: Int32Array.from(kept),
    width,
    height,
    sigmaPx: medianError(positionErrorPx),
    density: n / (width * height),
    ordered: seen.size >= LEAST_DISTINCT * order.length && unknown <= MOST_UNKNOWN * order.length,
    index: new PointIndex(px, py, n),
    shallow: new Map(),
  };
}

/** Index of the n brightest stars. */
export function indexOfBrightest(list: PreparedList, n: number): PointIndex {
  if (n >= list.n) return list.index;
  let index = list.shallow.get(n);
  if (index === undefined) {
    index = new PointIndex(list.x, list.y, n);
    list.shallow.set(n, index);
  }
  return index;
}

function medianError(errors: Float64Array | undefined): number {
  if (errors === undefined) return DEFAULT_SIGMA_PX;
  const known = errors.filter((error) => error > 0 && Number.isFinite(error));
  return known.length === 0 ? DEFAULT_SIGMA_PX : Math.max(LEAST_SIGMA_PX, medianOf(known));
}

/** A fixed permutation-like hash of the index (the finaliser of a 32-bit MurmurHash3, public domain). */
function scramble(i: number): number {
  let h = (i + 1) | 0;
  h = Math.imul(h ^ (h >>> 16), 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35);
  return (h ^ (h >>> 16)) >>> 0;
}

/** The brighter of two entries at one place stays. */
function withoutDuplicates(order: number[], x: Float64Array, y: Float64Array): number[] {
  const places = new Map<string, number[]>();
  const kept: number[] = [];
  for (const i of order) {
    const cx = Math.floor(x[i] / SAME_PLACE_PX);
    const cy = Math.floor(y[i] / SAME_PLACE_PX);
    let twice = false;
    for (let dy = -1; dy <= 1 && !twice; dy++) {
      for (let dx = -1; dx <= 1 && !twice; dx++) {
        for (const j of places.get(`${cx + dx},${cy + dy}`) ?? []) {
          if ((x[i] - x[j]) ** 2 + (y[i] - y[j]) ** 2 < SAME_PLACE_PX ** 2) twice = true;
        }
      }
    }
    if (twice) continue;
    kept.push(i);
    const key = `${cx},${cy}`;
    const cell = places.get(key);
    if (cell === undefined) places.set(key, [i]);
    else cell.push(i);
  }
  return kept;
}
