/** What the fitted fall-off means: radii, corners, centre, with intervals from draws of the posterior. */
import type { Uncertain } from '../measure/result.js';
import { createRandom, normal } from '../stats/random.js';
import { interval68, medianOf, standardDeviation } from '../stats/robust.js';
import { profileAt, type RadialBasis } from './illumination-basis.js';
import type { SkyCells } from './illumination-cells.js';
import { jackknifeError, leaveOneOut } from './illumination-jackknife.js';
import { CENTRE_PRIOR, type RadialFit } from './illumination-solve.js';
import type { Pedestal } from './pedestal.js';
import { type RadiusBound, radiusBound, scaleBound } from './radius-bound.js';

/** Illumination levels whose radii are published. */
const LEVELS_PERCENT = [90, 75, 50] as const;
const DRAWS = 400;
/** What a smooth profile misses of the true one, in units of the centre's light, 1 σ (the benchmark's biases). */
const PROFILE_ERROR = 0.00035;
/** It reaches its full size at this distance, half diagonals. */
const FORM_REACH = 0.3;
/** Steps of the radial grid over one half diagonal. */
const GRID = 200;
/** Grid reaches this far, half diagonals: a corner seen from a shifted centre. */
const REACH = 1.6;
/** The centre counts as measured when the cells narrow its prior to this share. */
const CENTRE_KNOWN = 0.5;
/** Spread of the refits without parts of the frame, in units of the fit's own error, from which it counts: below, it is chance. */
const PARTS_COUNT = 1.5;
/** Points of the published profile. */
const PROFILE_POINTS = 26;

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

/** One draw from the posterior; the best fit is the draw without errors. */
interface Draw {
  p: ArrayLike<number>;
  /** Pedestal above the assumed one, in units of the fit's scale. */
  lift: number;
  /** Error of the profile's form. */
  form: number;
}

function drawAll(fit: RadialFit, pedestalSigma: number, seed: number): Draw[] {
  const random = createRandom(seed);
  const size = fit.p.length;
  return Array.from({ length: DRAWS }, () => {
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
    return {
      p: step.map((value, j) => value + (fit.p[j] as number)),
      lift: pedestalSigma * normal(random),
      form: PROFILE_ERROR * normal(random),
    };
  });
}

/** Illumination at a distance, 1 at the centre; never below darkness. */
function illuminationAt(basis: RadialBasis, draw: Draw, distance: number): number {
  const full = (draw.p[0] as number) - draw.lift;
  const here = profileAt(basis, draw.p, distance) - draw.lift;
  return Math.max(0, here / full + draw.form * Math.min(1, distance / FORM_REACH));
}

/** First distance at which the illumination reaches `level`, going outwards; Infinity when it does not within `reach`. */
function crossing(basis: RadialBasis, draw: Draw, level: number, reach: number): number {
  let before = 1;
  for (let i = 1; ; i++) {
    const distance = Math.min(reach, i / GRID);
    const here = illuminationAt(basis, draw, distance);
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
  const { basis, scale } = fit;
  const best: Draw = { p: fit.p, lift: 0, form: 0 };
  const draws = drawAll(fit, pedestal.errorAdu / scale, seed);
  const at = basis.size + 1;
  const half = cells.halfDiagonalPx;
  const parts = leaveOneOut(cells, fit).map((p): Draw => ({ p, lift: 0, form: 0 }));
  const read = (of: (draw: Draw) => number): Uncertain => {
    const value = of(best);
    const [low, high] = interval68(draws.map(of));
    return widened(
      { value, low: Math.min(value, low), high: Math.max(value, high) },
      jackknifeError(parts.map(of)),
    );
  };
  const corners: [number, number][] = [
    [-cells.halfWidth, -cells.halfHeight],
    [cells.halfWidth, -cells.halfHeight],
    [-cells.halfWidth, cells.halfHeight],
    [cells.halfWidth, cells.halfHeight],
  ];
  const distances = ({ p }: Draw): number[] =>
    corners.map(([x, y]) =>
      Math.sqrt((x - (p[at + 2] as number)) ** 2 + (y - (p[at + 3] as number)) ** 2),
    );
  const cornersOf = (draw: Draw): number[] =>
    distances(draw).map((distance) => 100 * illuminationAt(basis, draw, distance));
  const meanCorner = (draw: Draw): number => cornersOf(draw).reduce((a, b) => a + b, 0) / 4;
  const reachOf = (draw: Draw): number => Math.min(REACH, Math.max(...distances(draw)));
  const radii = LEVELS_PERCENT.map((illuminationPercent) => {
    const of = (draw: Draw): number =>
      half * crossing(basis, draw, illuminationPercent / 100, reachOf(draw));
    const bound = radiusBound(of(best), Float64Array.from(draws, of).sort());
    const radiusPx = widenedRadius(bound, jackknifeError(parts.map(of)));
    return { illuminationPercent, radiusPx, radiusMm: scaleBound(radiusPx, pixelSizeMm) };
  });
  const sigma = (j: number): number => standardDeviation(draws.map((draw) => draw.p[j] as number));
  const gradientSeparated = Math.max(sigma(at + 2), sigma(at + 3)) < CENTRE_KNOWN * CENTRE_PRIOR;
  return {
    centreLightAdu: read(({ p, lift }) => scale * ((p[0] as number) - lift)),
    radii,
    cornersPercent: corners.map((_, c) => read((draw) => cornersOf(draw)[c] as number)),
    meanCornerPercent: read(meanCorner),
    darkestCornerPercent: lowestOf(
      read((draw) => Math.min(...cornersOf(draw))),
      draws.map((draw) => Math.min(...cornersOf(draw))),
    ),
    centreOffsetPx: gradientSeparated
      ? {
          x: read(({ p }) => half * (p[at + 2] as number)),
          y: read(({ p }) => half * (p[at + 3] as number)),
        }
      : null,
    gradientPercent: {
      x: read(({ p }) => 200 * cells.halfWidth * (p[at] as number)),
      y: read(({ p }) => 200 * cells.halfHeight * (p[at + 1] as number)),
    },
    gradientSeparated,
    profile: profileOf(basis, reachOf(best), half, read),
    cornerPercentPerPedestalAdu: meanCorner({ ...best, lift: 1 / scale }) - meanCorner(best),
  };
}

/** An interval made as wide as the refits without parts of the frame ask for, where that is clearly more than the fit's own. */
function widened({ value, low, high }: Uncertain, error: number): Uncertain {
  const half = 0.5 * (high - low);
  if (!(error > PARTS_COUNT * half)) return { value, low, high };
  if (!(half > 0)) return { value, low: value - error, high: value + error };
  const factor = error / half;
  return { value, low: value - factor * (value - low), high: value + factor * (high - value) };
}

function widenedRadius(bound: RadiusBound, error: number): RadiusBound {
  const { value, low, high } = bound;
  if (value === null || low === null || high === null) return bound;
  return widened({ value, low, high }, error);
}

/** The lowest of several numbers with errors reads too low; the draws tell by how much, and the interval is mirrored like a basic bootstrap's. */
function lowestOf({ value, low, high }: Uncertain, draws: readonly number[]): Uncertain {
  const excess = value - medianOf(draws);
  return {
    value: Math.max(0, value + excess),
    low: Math.max(0, Math.min(value + excess, 2 * value - high)),
    high: Math.max(value + excess, 2 * value - low),
  };
}

function profileOf(
  basis: RadialBasis,
  reach: number,
  half: number,
  read: (of: (draw: Draw) => number) => Uncertain,
): FallOffReading['profile'] {
  const distances = Array.from(
    { length: PROFILE_POINTS },
    (_, i) => (reach * i) / (PROFILE_POINTS - 1),
  );
  const points = distances.map((distance) =>
    read((draw) => 100 * illuminationAt(basis, draw, distance)),
  );
  return {
    radiusPx: distances.map((distance) => distance * half),
    illuminationPercent: points.map(({ value }) => value),
    lowPercent: points.map(({ low }) => low),
    highPercent: points.map(({ high }) => high),
  };
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
