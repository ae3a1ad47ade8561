/** Mechanical vignetting: how much of the pupil a stop before or behind it leaves free, and the profile of light that this makes. */
import type { RadialBasis } from './illumination-basis.js';

/**
 * Area common to two circles of radii `a` and `b` at distance `d` (the lens formed by two circular segments; Bronshtein and
 * Semendyayev, Handbook of Mathematics, circular segment; from memory).
 */
export function circleOverlap(a: number, b: number, d: number): number {
  if (d >= a + b) return 0;
  if (d <= Math.abs(a - b)) return Math.PI * Math.min(a, b) ** 2;
  const first = Math.acos((d * d + a * a - b * b) / (2 * d * a));
  const second = Math.acos((d * d + b * b - a * a) / (2 * d * b));
  const triangle = 0.5 * Math.sqrt((a + b - d) * (d + a - b) * (d - a + b) * (d + a + b));
  return a * a * first + b * b * second - triangle;
}

/** Share of a pupil that a circular stop lets through: full up to `start`, dark from `end` (mechanical vignetting). */
export function stoppedPupil(distance: number, start: number, end: number): number {
  if (distance <= start) return 1;
  const rate = 2 / (end - start);
  return circleOverlap(1, (rate * (end + start)) / 2, rate * distance) / Math.PI;
}

/** Steps of the tables over one half diagonal, and how far they reach. */
const STEPS = 400;
const REACH = 2;
/** Step of the derivatives by start and length, half diagonals. */
const DELTA = 0.004;

/**
 * The profile of light behind a stop that begins at `start` and closes after `length`: with S its share of the pupil, the terms are S − 1,
 * r² S (natural fall-off beside it) and the derivatives of S by start and by length, which let a fit move both.
 */
export function stoppedBasis(start: number, length: number): RadialBasis {
  const share = (r: number, ds: number, dl: number): number =>
    stoppedPupil(r, start + ds, start + ds + length + dl);
  const table = (of: (r: number) => number): Float64Array =>
    Float64Array.from({ length: REACH * STEPS + 1 }, (_, i) => of(i / STEPS));
  const tables = [
    table((r) => share(r, 0, 0) - 1),
    table((r) => r * r * share(r, 0, 0)),
    table((r) => (share(r, DELTA, 0) - share(r, -DELTA, 0)) / (2 * DELTA)),
    table((r) => (share(r, 0, DELTA) - share(r, 0, -DELTA)) / (2 * DELTA)),
  ];
  return { size: tables.length, powers: 0, knots: [], tables, steps: STEPS };
}
