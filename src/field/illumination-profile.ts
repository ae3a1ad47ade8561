/** What the fitted fall-off means: radii, corners, centre, with intervals from draws of the posterior. */
import type { Uncertain } from '../measure/result.js';
import { createRandom, normal } from '../stats/random.js';
import { interval68 } from '../stats/robust.js';
import type { SkyCells } from './illumination-cells.js';
import { CENTRE_PRIOR, profileAt, type RadialFit } from './illumination-fit.js';
import type { Pedestal } from './pedestal.js';

/** Illumination levels whose radii are published. */
const LEVELS_PERCENT = [90, 75, 50] as const;
const DRAWS = 400;
/** Steps of the radial grid over one half diagonal. */
const GRID = 200;
/** Grid reaches this far, half diagonals: a corner seen from a shifted centre. */
const REACH = 1.6;
/** The centre counts as measured when the cells narrow its prior to this share. */
const CENTRE_KNOWN = 0.5;
/** Points of the published profile. */
const PROFILE_POINTS = 26;

/** A radius with its interval; null where the illumination does not fall so far inside the frame. */
export interface RadiusBound {
  value: number | null;
  low: number | null;
  high: number | null;
}

export interface IlluminationRadius {
  illuminationPercent: number;
  radiusPx: RadiusBound;
  radiusMm: RadiusBound | null;
}

export interface FallOffReading {
  /** Light at the centre of illumination, ADU. */
  centreLightAdu: Uncertain;
  radii: IlluminationRadius[];
  /** Light at the frame's corners in percent of the centre's: (low x, low y), (high x, low y), (low x, high y), (high x, high y). */
  cornersPercent: Uncertain[];
  meanCornerPercent: Uncertain;
  darkestCornerPercent: Uncertain;
  /** Centre of illumination less the frame's centre, px; null when the cells do not decide it. */
  centreOffsetPx: { x: Uncertain; y: Uncertain } | null;
  /** Slope of the sky from edge to edge in percent of its mean, along x and y. */
  gradientPercent: { x: Uncertain; y: Uncertain };
  /** False when a slope of the sky and a shifted centre explain the frame equally well. */
  gradientSeparated: boolean;
  profile: {
    radiusPx: number[];
    illuminationPercent: number[];
    lowPercent: number[];
    highPercent: number[];
  };
  /** Change of the mean corner when the pedestal is 1 ADU higher, percentage points. */
  cornerPercentPerPedestalAdu: number;
}

/** Draws from the posterior: parameter vectors and pedestal errors (in units of the fit's scale). */
interface Draws {
  p: Float64Array[];
  pedestal: Float64Array;
}

function draw(fit: RadialFit, pedestalSigma: number, seed: number): Draws {
  const random = createRandom(seed);
  const size = fit.p.length;
  const p: Float64Array[] = [];
  const pedestal = new Float64Array(DRAWS);
  for (let k = 0; k < DRAWS; k++) {
    const step = new Float64Array(size);
    for (let j = 0; j < size; j++) step[j] = normal(random);
    // Lᵀ step = z gives covariance (L Lᵀ)⁻¹.
    for (let i = size - 1; i >= 0; i--) {
      let sum = step[i] as number;
      for (let j = i + 1; j < size; j++) {
        sum -= (fit.factor[j * size + i] as number) * (step[j] as number);
      }
      step[i] = sum / (fit.factor[i * size + i] as number);
    }
    p.push(step.map((value, j) => value + (fit.p[j] as number)));
    pedestal[k] = pedestalSigma * normal(random);
  }
  return { p, pedestal };
}

/** Illumination at a distance, with the pedestal `lift` higher than assumed. */
function illuminationAt(
  fit: RadialFit,
  p: ArrayLike<number>,
  lift: number,
  distance: number,
): number {
  const top = p[0] as number;
  return (profileAt(fit.basis, p, distance) - lift) / (top - lift);
}

/** First distance at which the illumination reaches `level`, going outwards; Infinity when it does not within `reach`. */
function crossing(
  fit: RadialFit,
  p: ArrayLike<number>,
  lift: number,
  level: number,
  reach: number,
): number {
  let before = 1;
  for (let i = 1; ; i++) {
    const distance = Math.min(reach, i / GRID);
    const here = illuminationAt(fit, p, lift, distance);
    if (here <= level) {
      const start = (i - 1) / GRID;
      return start + ((before - level) / (before - here)) * (distance - start);
    }
    if (distance >= reach) return Number.POSITIVE_INFINITY;
    before = here;
  }
}

/** Reads the fall-off off the fit. `pixelSizeMm` null = no lengths in mm. */
export function readFallOff(
  fit: RadialFit,
  cells: SkyCells,
  pedestal: Pedestal,
  pixelSizeMm: number | null,
  seed: number,
): FallOffReading {
  const draws = draw(fit, pedestal.errorAdu / fit.scale, seed);
  const at = fit.basis.size + 1;
  const half = cells.halfDiagonalPx;
  const read = (
    of: (p: ArrayLike<number>, lift: number) => number,
    value = of(fit.p, 0),
  ): Uncertain => {
    const [low, high] = interval68(draws.p.map((p, k) => of(p, draws.pedestal[k] as number)));
    return { value, low: Math.min(value, low), high: Math.max(value, high) };
  };
  const corners: [number, number][] = [
    [-cells.halfWidth, -cells.halfHeight],
    [cells.halfWidth, -cells.halfHeight],
    [-cells.halfWidth, cells.halfHeight],
    [cells.halfWidth, cells.halfHeight],
  ];
  const distanceTo = (p: ArrayLike<number>, [x, y]: [number, number]): number =>
    Math.sqrt((x - (p[at + 2] as number)) ** 2 + (y - (p[at + 3] as number)) ** 2);
  const cornerOf = (c: number) => (p: ArrayLike<number>, lift: number) =>
    100 * illuminationAt(fit, p, lift, distanceTo(p, corners[c] as [number, number]));
  const meanCorner = (p: ArrayLike<number>, lift: number): number =>
    corners.reduce((sum, _, c) => sum + cornerOf(c)(p, lift), 0) / 4;
  const cornersPercent = corners.map((_, c) => read(cornerOf(c)));
  const reachOf = (p: ArrayLike<number>): number =>
    Math.min(REACH, Math.max(...corners.map((corner) => distanceTo(p, corner))));
  const radii = LEVELS_PERCENT.map((illuminationPercent) => {
    const of = (p: ArrayLike<number>, lift: number): number =>
      half * crossing(fit, p, lift, illuminationPercent / 100, reachOf(p));
    const value = of(fit.p, 0);
    const sorted = Float64Array.from(draws.p, (p, k) => of(p, draws.pedestal[k] as number)).sort();
    const radiusPx = radiusBound(value, sorted);
    return { illuminationPercent, radiusPx, radiusMm: scaleBound(radiusPx, pixelSizeMm) };
  });
  const sigma = (j: number): number => {
    let sum = 0;
    for (const p of draws.p) sum += ((p[j] as number) - (fit.p[j] as number)) ** 2;
    return Math.sqrt(sum / DRAWS);
  };
  const gradientSeparated = Math.max(sigma(at + 2), sigma(at + 3)) < CENTRE_KNOWN * CENTRE_PRIOR;
  const reach = reachOf(fit.p);
  const profile = {
    radiusPx: [],
    illuminationPercent: [],
    lowPercent: [],
    highPercent: [],
  } as FallOffReading['profile'];
  for (let i = 0; i < PROFILE_POINTS; i++) {
    const distance = (reach * i) / (PROFILE_POINTS - 1);
    const { value, low, high } = read((p, lift) => 100 * illuminationAt(fit, p, lift, distance));
    profile.radiusPx.push(distance * half);
    profile.illuminationPercent.push(value);
    profile.lowPercent.push(low);
    profile.highPercent.push(high);
  }
  return {
    centreLightAdu: read((p, lift) => fit.scale * ((p[0] as number) - lift)),
    radii,
    cornersPercent,
    meanCornerPercent: read(meanCorner),
    darkestCornerPercent: read((p, lift) =>
      Math.min(...corners.map((_, c) => cornerOf(c)(p, lift))),
    ),
    centreOffsetPx: gradientSeparated
      ? {
          x: read((p) => half * (p[at + 2] as number)),
          y: read((p) => half * (p[at + 3] as number)),
        }
      : null,
    gradientPercent: {
      x: read((p) => 200 * cells.halfWidth * (p[at] as number)),
      y: read((p) => 200 * cells.halfHeight * (p[at + 1] as number)),
    },
    gradientSeparated,
    profile,
    cornerPercentPerPedestalAdu: meanCorner(fit.p, 1 / fit.scale) - meanCorner(fit.p, 0),
  };
}

/** Quantiles of radii of which some lie beyond the frame (Infinity). */
function radiusBound(value: number, sorted: Float64Array): RadiusBound {
  const n = sorted.length;
  const low = sorted[Math.floor(0.15865 * n)] as number;
  const high = sorted[Math.ceil(0.84135 * n) - 1] as number;
  const known = Number.isFinite(value);
  const lowest = Math.min(low, value);
  const highest = Math.max(high, value);
  return {
    value: known ? value : null,
    low: Number.isFinite(lowest) ? lowest : null,
    high: Number.isFinite(highest) ? highest : null,
  };
}

function scaleBound(bound: RadiusBound, factor: number | null): RadiusBound | null {
  if (factor === null) return null;
  const times = (value: number | null): number | null => (value === null ? null : value * factor);
  return { value: times(bound.value), low: times(bound.low), high: times(bound.high) };
}

/** Light of every cell of the mesh in percent of the centre's, the sky's slope taken out; null where a cell is empty. */
export function illuminationMap(fit: RadialFit, cells: SkyCells): (number | null)[] {
  const at = fit.basis.size + 1;
  const map: (number | null)[] = new Array(cells.cellsX * cells.cellsY).fill(null);
  for (let i = 0; i < cells.n; i++) {
    const plane =
      1 +
      (fit.p[at] as number) * (cells.x[i] as number) +
      (fit.p[at + 1] as number) * (cells.y[i] as number);
    const full = fit.scale * (fit.p[0] as number) * plane;
    map[cells.cell[i] as number] = Math.round((1e4 * (cells.light[i] as number)) / full) / 100;
  }
  return map;
}
