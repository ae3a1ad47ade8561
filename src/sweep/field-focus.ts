/** Best focus over the frame: a plane (tilt) and a bowl (curvature) through the foci of the stars, the foci of nine cells, astigmatism. */
import type { Uncertain } from '../measure/result.js';
import { plusMinus } from '../measure/uncertain.js';
import { type FocusCurve, focusWeights, robustColumns } from './curve.js';
import {
  type SweepAnalysis,
  type SweepCell,
  type SweepFacts,
  type SweepRun,
  squareSize,
} from './result.js';

const SIDE = 3;
const FEWEST_IN_CELL = 3;
const FEWEST_STARS = 12;
/** A bowl's radius is given when its curvature is surer than this many errors. */
const SURE = 2;

type FieldFocus = Pick<
  SweepAnalysis,
  'tiltDeg' | 'tiltDirectionDeg' | 'curvatureRadiusMm' | 'cells'
>;

/**
 * @param sizes size² of each frame in the reference channel
 * @param curve of that channel, or null where focus is not bracketed: then nothing can be told
 */
export function fieldFocus(
  run: SweepRun,
  stars: readonly number[],
  z: readonly number[],
  sizes: readonly number[],
  curve: FocusCurve | null,
  facts: SweepFacts,
): FieldFocus {
  const nothing = { tiltDeg: null, tiltDirectionDeg: null, curvatureRadiusMm: null, cells: [] };
  if (curve === null) return nothing;
  const middleX = (run.width - 1) / 2;
  const middleY = (run.height - 1) / 2;
  const foci = starFoci(run, stars, z, sizes, curve);
  const cells = cellFoci(run, stars, foci);
  if (stars.length < FEWEST_STARS) return { ...nothing, cells };
  const length = Math.hypot(middleX, middleY);
  const x = stars.map((s) => ((run.x[s] as number) - middleX) / length);
  const y = stars.map((s) => ((run.y[s] as number) - middleY) / length);
  const fit = robustColumns(
    [x.map(() => 1), x, y, x.map((v, i) => v * v + (y[i] as number) ** 2)],
    foci.map(({ focus }) => focus),
    x.map(() => 1),
  );
  if (fit === null) return { ...nothing, cells };
  const [, tx, ty, bowl] = fit.coefficients as [number, number, number, number];
  const [, ex, ey, eBowl] = fit.errors as [number, number, number, number];
  const slope = Math.hypot(tx, ty);
  const slopeError = slope > 0 ? Math.hypot(tx * ex, ty * ey) / slope : Math.hypot(ex, ey);
  const tiltDirectionDeg =
    slope > slopeError ? ((Math.atan2(ty, tx) * 180) / Math.PI + 360) % 360 : null;
  if (facts.stepUm === null || facts.pixelSizeUm === null) {
    return { tiltDeg: null, tiltDirectionDeg, curvatureRadiusMm: null, cells };
  }
  const lengthUm = length * facts.pixelSizeUm;
  const degrees = (steps: number): number =>
    (Math.atan((steps * (facts.stepUm as number)) / lengthUm) * 180) / Math.PI;
  return {
    tiltDeg: plusMinus(degrees(slope), degrees(slopeError)),
    tiltDirectionDeg,
    curvatureRadiusMm: radiusOf(bowl * facts.stepUm, eBowl * facts.stepUm, lengthUm),
    cells,
  };
}

/** z = r²/(2 R); the interval is that of the curvature turned over. */
function radiusOf(bowlUm: number, errorUm: number, lengthUm: number): Uncertain | null {
  if (!(Math.abs(bowlUm) > SURE * errorUm)) return null;
  const radius = (bowl: number): number => (lengthUm * lengthUm) / (2 * bowl) / 1000;
  const ends = [radius(bowlUm - errorUm), radius(bowlUm + errorUm)];
  return { value: radius(bowlUm), low: Math.min(...ends), high: Math.max(...ends) };
}

interface StarFocus {
  /** Less the mean of the frame, steps. */
  focus: number;
  /** Radial less tangential, steps. */
  astigmatism: number;
}

/** Each star against the median of its frame: seeing is common to both. */
function starFoci(
  run: SweepRun,
  stars: readonly number[],
  z: readonly number[],
  sizes: readonly number[],
  curve: FocusCurve,
): StarFocus[] {
  const u = z.map((v) => v - curve.z0);
  const prior = focusWeights(curve, u);
  const columns = [u.map(() => 1), u];
  const moments = run.frames.map((frame) => frame.moments[run.reference] as Float64Array);
  const slopeOf = (values: readonly number[]): number =>
    robustColumns(columns, values, prior)?.coefficients[1] ?? Number.NaN;
  return stars.map((s) => {
    const angle = Math.atan2(
      (run.y[s] as number) - (run.height - 1) / 2,
      (run.x[s] as number) - (run.width - 1) / 2,
    );
    const whole = moments.map((m, i) => squareSize(m, s) - (sizes[i] as number));
    const along = moments.map(
      (m) =>
        Math.cos(2 * angle) * ((m[3 * s] as number) - (m[3 * s + 2] as number)) +
        2 * Math.sin(2 * angle) * (m[3 * s + 1] as number),
    );
    return {
      focus: -slopeOf(whole) / (2 * curve.b2),
      // Along one axis the blur grows with half of b².
      astigmatism: -slopeOf(along) / curve.b2,
    };
  });
}

function cellFoci(
  run: SweepRun,
  stars: readonly number[],
  foci: readonly StarFocus[],
): SweepCell[] {
  const cells: SweepCell[] = [];
  for (let row = 0; row < SIDE; row++) {
    for (let column = 0; column < SIDE; column++) {
      const inside = stars.flatMap((s, i) =>
        Math.min(SIDE - 1, Math.floor((((run.x[s] as number) + 0.5) * SIDE) / run.width)) ===
          column &&
        Math.min(SIDE - 1, Math.floor((((run.y[s] as number) + 0.5) * SIDE) / run.height)) === row
          ? [foci[i] as StarFocus]
          : [],
      );
      cells.push({
        column,
        row,
        stars: inside.length,
        x: ((column + 0.5) * run.width) / SIDE - 0.5,
        y: ((row + 0.5) * run.height) / SIDE - 0.5,
        focusOffset: meanOf(inside.map(({ focus }) => focus)),
        radialMinusTangential:
          row === 1 && column === 1 ? null : meanOf(inside.map(({ astigmatism }) => astigmatism)),
      });
    }
  }
  return cells;
}

/** Robust mean with its error from the scatter; null for too few. */
function meanOf(values: readonly number[]): Uncertain | null {
  const finite = values.filter(Number.isFinite);
  if (finite.length < FEWEST_IN_CELL) return null;
  const ones = finite.map(() => 1);
  const fit = robustColumns([ones], finite, ones);
  if (fit === null || !Number.isFinite(fit.errors[0] as number)) return null;
  return plusMinus(fit.coefficients[0] as number, fit.errors[0] as number);
}
