/** The largest well-corrected circle: how far from the frame's centre stars stay small and round, and which sensor that serves. */

import type { Uncertain } from '../measure/result.js';
import { createRandom } from '../stats/random.js';
import { interval68, medianOf } from '../stats/robust.js';
import {
  drawCoefficients,
  fillTerms,
  fitSurfaces,
  HIGHEST_DEGREE,
  MOST_TERMS,
  type Surface,
  type SurfaceData,
  surfaceValue,
} from './corrected-circle-surface.js';
import { type RadiusBound, radiusBound, scaleBound, widened } from './radius-bound.js';
import { formatWithin } from './sensor-formats.js';

/** Stars of a frame (or of several, averaged). Ellipticity as components e cos 2θ, e sin 2θ of (a − b)/(a + b): noise averages out. */
export interface CircleStars {
  n: number;
  width: number;
  height: number;
  x: Float64Array;
  y: Float64Array;
  fwhmPx: Float64Array;
  fwhmErrorPx: Float64Array;
  e1: Float64Array;
  e2: Float64Array;
  /** 1 σ of either component. */
  ellipticityError: Float64Array;
}

export interface CircleLimits {
  /** Largest FWHM, in units of that at the centre. */
  maxGrowth: number;
  /** Largest (a − b)/(a + b). */
  maxEllipticity: number;
}

/**
 * 1.2: the peak of a star falls by 30 % (0.4 mag), and its image is as if a blur of two thirds of its width were added: the corners
 * begin to look soft beside the centre. 0.1: axes as 1 to 0.82, where elongation begins to be seen.
 */
export const DEFAULT_CIRCLE_LIMITS: CircleLimits = { maxGrowth: 1.2, maxEllipticity: 0.1 };

export type CircleStatus = 'inside the frame' | 'whole frame' | 'cannot tell';

export interface CorrectedCircle {
  status: CircleStatus;
  reason: string | null;
  maxGrowth: number;
  maxEllipticity: number;
  stars: number;
  centreFwhmPx: Uncertain | null;
  centreEllipticity: number | null;
  /** Null value = not reached inside the frame; then the radius is at least `atLeastPx`. */
  radiusPx: RadiusBound;
  radiusMm: RadiusBound | null;
  /** The radius over the half diagonal of the frame. */
  halfDiagonalShare: RadiusBound;
  /** The same for size and for elongation alone. */
  sizeRadiusPx: RadiusBound;
  elongationRadiusPx: RadiusBound;
  limitedBy: 'size' | 'elongation' | null;
  /** Half diagonal of the frame where the circle is not reached inside it. */
  atLeastPx: number | null;
  atLeastMm: number | null;
  /** Width and height of the largest usual sensor whose corners lie inside the circle, mm; null = none, or pixel size not known. */
  formatMm: [number, number] | null;
  /** True when a still larger one may be served: the frame ends before the circle. */
  formatAtLeast: boolean;
}

const FEWEST_STARS = 30;
/** Share of the half diagonal that stars must reach for the whole frame to be vouched for, and how many must lie there. */
const SUPPORT = 0.85;
const STARS_AT_EDGE = 3;
const DRAWS = 200;
const RINGS = 60;
const DIRECTIONS = 48;
/** Errors that more light does not lessen: shares of the FWHM, and of 1. */
const SIZE_FLOOR = 0.02;
const ELLIPTICITY_FLOOR = 0.01;
/** Share of a radius by which smooth surfaces and fitted widths miss it however many the stars (`npm run bench:circle`, seeds 2 to 4: on the small side by 2 % of the half diagonal). */
const RADIUS_FLOOR = 0.06;
/** Stars about the centre that check the surface there, and the disagreement beyond which it is not trusted. */
const STARS_AT_CENTRE = 7;
const CENTRE_TOLERANCE = 0.06;

/**
 * Finds the circle about the frame's centre inside which no direction exceeds a limit. Intervals from draws of the surfaces.
 * @param pixelSizeUm null = no lengths in mm and no format
 */
export function findCorrectedCircle(
  stars: CircleStars,
  limits: CircleLimits,
  pixelSizeUm: number | null,
  seed: number,
): CorrectedCircle {
  const unknown: RadiusBound = { value: null, low: null, high: null };
  const blank: CorrectedCircle = {
    status: 'cannot tell',
    reason: null,
    ...limits,
    stars: stars.n,
    centreFwhmPx: null,
    centreEllipticity: null,
    radiusPx: unknown,
    radiusMm: null,
    halfDiagonalShare: unknown,
    sizeRadiusPx: unknown,
    elongationRadiusPx: unknown,
    limitedBy: null,
    atLeastPx: null,
    atLeastMm: null,
    formatMm: null,
    formatAtLeast: false,
  };
  if (stars.n < FEWEST_STARS) {
    return { ...blank, reason: `${stars.n} stars; at least ${FEWEST_STARS} are needed` };
  }
  const half = 0.5 * Math.sqrt(stars.width ** 2 + stars.height ** 2);
  const { size, first, second } = surfaceData(stars, half);
  const sizes = fitSurfaces([size]);
  const shapes = fitSurfaces([first, second]);
  if (!sizes || !shapes) return { ...blank, reason: 'no smooth map of sizes could be fitted' };
  const [square, e1, e2] = [...sizes, ...shapes] as [Surface, Surface, Surface];
  const support = supportOf(size);
  const places = ringPlaces(stars.width / 2 / half, stars.height / 2 / half, support);
  const best = worstOf(places, { square: square.c, e1: e1.c, e2: e2.c });
  const near = centreFwhm(stars);
  const fitted = Math.sqrt(Math.max(0, square.c[0] as number));
  if (!(Math.abs(fitted / near - 1) <= CENTRE_TOLERANCE)) {
    return {
      ...blank,
      reason: `the stars about the centre (${near.toFixed(2)} px) do not follow the smooth map of sizes (${fitted.toFixed(2)} px)`,
    };
  }
  const random = createRandom(seed);
  const centres = new Float64Array(DRAWS);
  const draws = Array.from({ length: DRAWS }, (_, k) => {
    const c = {
      square: drawCoefficients(square, random),
      e1: drawCoefficients(e1, random),
      e2: drawCoefficients(e2, random),
    };
    centres[k] = Math.sqrt(Math.max(0, c.square[0] as number));
    return worstOf(places, c);
  });
  removeNoise(
    best.growth,
    draws.map(({ growth }) => growth),
  );
  removeNoise(
    best.ellipticity,
    draws.map(({ ellipticity }) => ellipticity),
  );
  const sizeRadius = ({ growth }: Worst): number =>
    firstAbove(places, growth, limits.maxGrowth ** 2, half);
  const shapeRadius = ({ ellipticity }: Worst): number =>
    firstAbove(places, ellipticity, limits.maxEllipticity, half);
  const bound = (of: (worst: Worst) => number): RadiusBound =>
    widened(radiusBound(of(best), Float64Array.from(draws, of).sort()), RADIUS_FLOOR);
  const radiusPx = bound((worst) => Math.min(sizeRadius(worst), shapeRadius(worst)));
  const centre = Math.sqrt(Math.max(0, square.c[0] as number));
  const [low, high] = interval68(centres);
  const pixelMm = pixelSizeUm === null ? null : pixelSizeUm / 1000;
  const found: CorrectedCircle = {
    ...blank,
    centreFwhmPx: { value: centre, low: Math.min(low, centre), high: Math.max(high, centre) },
    centreEllipticity: best.ellipticity[0] as number,
    radiusPx,
    radiusMm: scaleBound(radiusPx, pixelMm),
    halfDiagonalShare: scaleBound(radiusPx, 1 / half) ?? unknown,
    sizeRadiusPx: bound(sizeRadius),
    elongationRadiusPx: bound(shapeRadius),
  };
  if (radiusPx.value !== null) {
    return {
      ...found,
      status: 'inside the frame',
      limitedBy: sizeRadius(best) <= shapeRadius(best) ? 'size' : 'elongation',
      formatMm: pixelMm === null ? null : formatWithin(radiusPx.value * pixelMm),
    };
  }
  if (support < SUPPORT) {
    return {
      ...found,
      reason: `the stars reach only ${(100 * support).toFixed(0)} % of the way to the corners, and all is well so far`,
      atLeastPx: support * half,
      atLeastMm: pixelMm === null ? null : support * half * pixelMm,
      formatMm: pixelMm === null ? null : formatWithin(support * half * pixelMm),
      formatAtLeast: true,
    };
  }
  return {
    ...found,
    status: 'whole frame',
    atLeastPx: half,
    atLeastMm: pixelMm === null ? null : half * pixelMm,
    formatMm: pixelMm === null ? null : formatWithin(half * pixelMm),
    formatAtLeast: true,
  };
}

/** Median FWHM of the stars nearest to the centre, px. */
function centreFwhm({ n, x, y, width, height, fwhmPx }: CircleStars): number {
  const distance = (i: number): number =>
    ((x[i] as number) - (width - 1) / 2) ** 2 + ((y[i] as number) - (height - 1) / 2) ** 2;
  const nearest = Array.from({ length: n }, (_, i) => i)
    .sort((a, b) => distance(a) - distance(b) || a - b)
    .slice(0, STARS_AT_CENTRE);
  return medianOf(nearest.map((i) => fwhmPx[i] as number));
}

function surfaceData(
  stars: CircleStars,
  half: number,
): { size: SurfaceData; first: SurfaceData; second: SurfaceData } {
  const { n } = stars;
  const x = new Float64Array(n);
  const y = new Float64Array(n);
  const square = new Float64Array(n);
  const squareError = new Float64Array(n);
  const shapeError = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    const fwhm = stars.fwhmPx[i] as number;
    x[i] = ((stars.x[i] as number) - (stars.width - 1) / 2) / half;
    y[i] = ((stars.y[i] as number) - (stars.height - 1) / 2) / half;
    // Blurs add in squares: these are polynomials of the place where sizes are not.
    square[i] = fwhm * fwhm;
    const error = stars.fwhmErrorPx[i] as number;
    squareError[i] = 2 * fwhm * Math.sqrt(error * error + (SIZE_FLOOR * fwhm) ** 2);
    shapeError[i] = Math.sqrt((stars.ellipticityError[i] as number) ** 2 + ELLIPTICITY_FLOOR ** 2);
  }
  return {
    size: { n, x, y, value: square, error: squareError },
    first: { n, x, y, value: stars.e1, error: shapeError },
    second: { n, x, y, value: stars.e2, error: shapeError },
  };
}

/** Distance that a few stars reach, half diagonals. */
function supportOf({ n, x, y }: SurfaceData): number {
  const distances = Float64Array.from({ length: n }, (_, i) =>
    Math.sqrt((x[i] as number) ** 2 + (y[i] as number) ** 2),
  ).sort();
  return distances[n - STARS_AT_EDGE] as number;
}

/** Terms of the surfaces at the points of one ring that lie in the frame. */
interface Ring {
  distance: number;
  terms: Float64Array[];
}

/** Rings from the centre to the corner, or to where stars end. */
function ringPlaces(halfWidth: number, halfHeight: number, support: number): Ring[] {
  const reach = support >= SUPPORT ? 1 : support;
  const rings: Ring[] = [];
  for (let r = 0; r <= RINGS; r++) {
    const distance = (reach * r) / RINGS;
    const terms: Float64Array[] = [];
    for (let k = 0; k < DIRECTIONS; k++) {
      const angle = (2 * Math.PI * k) / DIRECTIONS;
      const x = distance * Math.cos(angle);
      const y = distance * Math.sin(angle);
      if (Math.abs(x) > halfWidth || Math.abs(y) > halfHeight) continue;
      const at = new Float64Array(MOST_TERMS);
      fillTerms(HIGHEST_DEGREE, x, y, at);
      terms.push(at);
    }
    // The corners themselves.
    if (distance > Math.max(halfWidth, halfHeight)) {
      const x = Math.min(halfWidth, distance * halfWidth);
      const y = Math.min(halfHeight, distance * halfHeight);
      for (const [u, v] of [
        [x, y],
        [-x, y],
        [x, -y],
        [-x, -y],
      ] as const) {
        const at = new Float64Array(MOST_TERMS);
        fillTerms(HIGHEST_DEGREE, u, v, at);
        terms.push(at);
      }
    }
    rings.push({ distance, terms });
  }
  return rings;
}

interface Coefficients {
  square: Float64Array;
  e1: Float64Array;
  e2: Float64Array;
}

/** The worst direction of every ring: growth (FWHM over the centre's, squared) and ellipticity. */
interface Worst {
  growth: Float64Array;
  ellipticity: Float64Array;
}

function worstOf(rings: readonly Ring[], c: Coefficients): Worst {
  const worst = {
    growth: new Float64Array(rings.length),
    ellipticity: new Float64Array(rings.length),
  };
  const centre = c.square[0] as number;
  for (let r = 0; r < rings.length; r++) {
    let size = 0;
    let shape = 0;
    for (const at of (rings[r] as Ring).terms) {
      size = Math.max(size, surfaceValue(c.square, at));
      shape = Math.max(shape, surfaceValue(c.e1, at) ** 2 + surfaceValue(c.e2, at) ** 2);
    }
    worst.growth[r] = size / centre;
    worst.ellipticity[r] = Math.sqrt(shape);
  }
  return worst;
}

/**
 * The worst of many noisy directions is worse than the worst direction. Draws show by how much: each adds the same noise once
 * more. Taken off once from the fit, twice from the draws.
 */
function removeNoise(best: Float64Array, draws: readonly Float64Array[]): void {
  for (let r = 0; r < best.length; r++) {
    let excess = 0;
    for (const draw of draws) excess += ((draw[r] as number) - (best[r] as number)) / draws.length;
    excess = Math.max(0, excess);
    best[r] = Math.max(0, (best[r] as number) - excess);
    for (const draw of draws) draw[r] = Math.max(0, (draw[r] as number) - 2 * excess);
  }
}

/** First distance at which `worst` exceeds `limit`, px; Infinity = nowhere. */
function firstAbove(
  rings: readonly Ring[],
  worst: Float64Array,
  limit: number,
  half: number,
): number {
  for (let r = 0; r < rings.length; r++) {
    const here = worst[r] as number;
    if (!(here > limit)) continue;
    if (r === 0) return 0;
    const before = worst[r - 1] as number;
    const from = (rings[r - 1] as Ring).distance;
    const to = (rings[r] as Ring).distance;
    return half * (from + ((limit - before) / (here - before)) * (to - from));
  }
  return Number.POSITIVE_INFINITY;
}
