/** From the stars of a run to foci: green from the curve itself, everything else from differences within frames.
 *
 * With second moments M of convolved blurs, M(z) = seeing² + b² (z − z0)² for every star and channel. Seeing of one frame is common to
 * all, so M(blue) − M(green) is a straight line in z with slope −2 b² (z_blue − z_green): its error does not hold the seeing. The same
 * holds for the cells of the frame, and, along one axis with b²/2, for radial and tangential foci.
 */

import { studentInflation } from '../measure/bootstrap.js';
import type { Uncertain } from '../measure/result.js';
import { plusMinus, scaled } from '../measure/uncertain.js';
import { depthOfFocusUm } from '../optics/depth-of-focus.js';
import { createRandom } from '../stats/random.js';
import { medianOf, standardDeviation } from '../stats/robust.js';
import { type FocusCurve, fitFocusCurve, focusWeights, robustColumns } from './curve.js';
import { fieldFocus } from './field-focus.js';
import {
  type ChannelFocus,
  type ColourShift,
  type SweepAnalysis,
  type SweepChannel,
  type SweepFacts,
  type SweepRun,
  squareSize,
} from './result.js';
import { sweepSentence, sweepWarnings } from './words.js';

const GREEN_NM = 530;
const DRAWS = 200;
const FEWEST_STARS = 3;

/** Factor on a standard error of `freedom` degrees for a 68.27 % interval. */
function student68(freedom: number): number {
  return freedom < 1 ? Number.POSITIVE_INFINITY : studentInflation(freedom);
}

/** A frame's size² in one channel: the median over stars. */
function frameSizes(run: SweepRun, channel: SweepChannel, stars: readonly number[]): number[] {
  return run.frames.map((frame) => {
    const m = frame.moments[channel];
    return m === undefined ? Number.NaN : medianOf(stars.map((s) => squareSize(m, s)));
  });
}

/** Median over stars of the difference of size² between two channels, frame by frame. */
function colourDifferences(
  run: SweepRun,
  channel: SweepChannel,
  stars: readonly number[],
): number[] {
  return run.frames.map((frame) => {
    const a = frame.moments[channel];
    const b = frame.moments[run.reference];
    if (a === undefined || b === undefined) return Number.NaN;
    return medianOf(stars.map((s) => squareSize(a, s) - squareSize(b, s)));
  });
}

/** Shift of focus from a line through differences of size²; `curve` is the reference channel's. */
function shiftOf(
  z: readonly number[],
  difference: readonly number[],
  curve: FocusCurve,
  b2: number,
): { value: number; error: number; freedom: number } | null {
  const rows = z.flatMap((_, i) => (Number.isFinite(difference[i]) ? [i] : []));
  if (rows.length < 4) return null;
  const u = rows.map((i) => (z[i] as number) - curve.z0);
  const fit = robustColumns(
    [u.map(() => 1), u],
    rows.map((i) => difference[i] as number),
    focusWeights(curve, u),
  );
  if (fit === null) return null;
  return {
    value: -(fit.coefficients[1] as number) / (2 * b2),
    error: (fit.errors[1] as number) / (2 * b2),
    freedom: rows.length - 2,
  };
}

/**
 * Analyses a run.
 * @param run stars followed through all frames, in any order
 */
export function analyseSweep(given: SweepRun, facts: SweepFacts): SweepAnalysis {
  const run = { ...given, frames: inOrder(given) };
  const z0 = run.frames.map(({ position }) => position);
  const stars = completeStars(run);
  const backlash = findBacklash(run, z0, frameSizes(run, run.reference, stars));
  const z = run.frames.map(
    ({ position }, i) =>
      position - (backlash.applied ? (backlash.directions[i] as number) * 0.5 * backlash.value : 0),
  );
  const sizes = frameSizes(run, run.reference, stars);
  const curve = stars.length >= FEWEST_STARS ? fitFinite(z, sizes) : null;
  const channels: SweepAnalysis['channels'] = {};
  const shifts: Partial<Record<SweepChannel, Uncertain | null>> = {};
  const random = createRandom(facts.seed);
  const low = Math.min(...z);
  const high = Math.max(...z);
  for (const channel of run.channels) {
    const isReference = channel === run.reference;
    const own = isReference ? sizes : frameSizes(run, channel, stars);
    const ownCurve = isReference || stars.length < FEWEST_STARS ? curve : fitFinite(z, own);
    let best: Uncertain | null = null;
    if (isReference) {
      if (curve !== null) best = plusMinus(curve.z0, curve.z0Error * student68(z.length - 3));
    } else if (curve !== null) {
      shifts[channel] = colourShift(run, channel, stars, z, curve, random);
      const reference = channels[run.reference]?.bestFocus ?? plusMinus(curve.z0, curve.z0Error);
      const shift = shifts[channel];
      if (shift) {
        const error = Math.hypot(
          (shift.high - shift.low) / 2,
          (reference.high - reference.low) / 2,
        );
        best = plusMinus(curve.z0 + shift.value, error);
      }
    }
    const bracketed = best !== null && brackets(z, best.value, ownCurve);
    channels[channel] = channelFocus(
      run,
      channel,
      stars,
      own,
      ownCurve,
      bracketed ? best : null,
      bracketed,
      facts,
    );
  }
  const usable = curve !== null && channels[run.reference]?.bracketed === true ? curve : null;
  if (usable === null)
    for (const channel of run.channels) if (shifts[channel]) shifts[channel] = null;
  const depth = facts.focalRatio === null ? null : depthOfFocusUm(GREEN_NM, facts.focalRatio);
  const field = fieldFocus(run, stars, z, sizes, usable, facts);
  const analysis: SweepAnalysis = {
    stars: stars.length,
    channels,
    blueMinusGreen: inUnits(shifts.B ?? null, facts, depth),
    redMinusGreen: inUnits(shifts.R ?? null, facts, depth),
    depthOfFocusUm: depth,
    compromiseFocus: compromise(channels, usable, shifts, low, high),
    ...field,
    backlashSteps: Number.isFinite(backlash.value)
      ? plusMinus(backlash.value, backlash.error)
      : null,
    stepUmFromCone: usable === null ? null : stepFromCone(usable.b2, facts),
    sentence: '',
    warnings: [],
  };
  analysis.warnings = sweepWarnings(run, analysis, backlash.applied);
  analysis.sentence = sweepSentence(analysis, facts);
  return analysis;
}

/** By position, then time, then name: the answer must not depend on the order of the files. */
function inOrder(run: SweepRun): SweepRun['frames'] {
  return [...run.frames].sort(
    (a, b) =>
      a.position - b.position ||
      (a.dateObs ?? '').localeCompare(b.dateObs ?? '') ||
      a.file.localeCompare(b.file),
  );
}

/** Stars measured in every channel of every frame: medians of one frame and the next are then of the same stars. */
function completeStars(run: SweepRun): number[] {
  return Array.from(run.x, (_, s) => s).filter((s) =>
    run.channels.every((channel) =>
      run.frames.every((frame) => Number.isFinite(frame.moments[channel]?.[3 * s] ?? Number.NaN)),
    ),
  );
}

function fitFinite(z: readonly number[], size2: readonly number[]): FocusCurve | null {
  const rows = z.flatMap((_, i) => (Number.isFinite(size2[i]) ? [i] : []));
  const fit = fitFocusCurve(
    rows.map((i) => z[i] as number),
    rows.map((i) => size2[i] as number),
  );
  if (fit === null) return null;
  const weights = z.map(() => 0);
  rows.forEach((i, k) => {
    weights[i] = fit.weights[k] as number;
  });
  return { ...fit, weights };
}

/** Two positions on either side of focus: one could be a bad frame. */
function brackets(z: readonly number[], best: number, curve: FocusCurve | null): boolean {
  const counted = z.filter((_, i) => curve === null || (curve.weights[i] as number) > 0.1);
  return counted.filter((v) => v < best).length >= 2 && counted.filter((v) => v > best).length >= 2;
}

/** The larger of what the frames' scatter about the line and what resampled stars say: both hold the photon noise. */
function colourShift(
  run: SweepRun,
  channel: SweepChannel,
  stars: readonly number[],
  z: readonly number[],
  curve: FocusCurve,
  random: () => number,
): Uncertain | null {
  const shift = shiftOf(z, colourDifferences(run, channel, stars), curve, curve.b2);
  if (shift === null) return null;
  const draws: number[] = [];
  for (let draw = 0; draw < DRAWS; draw++) {
    const some = stars.map(() => stars[Math.floor(random() * stars.length)] as number);
    const again = shiftOf(z, colourDifferences(run, channel, some), curve, curve.b2);
    if (again !== null) draws.push(again.value);
  }
  const fromFrames = shift.error * student68(shift.freedom);
  const error = Math.max(fromFrames, standardDeviation(draws));
  return Number.isFinite(error) ? plusMinus(shift.value, error) : null;
}

function channelFocus(
  run: SweepRun,
  channel: SweepChannel,
  stars: readonly number[],
  sizes: readonly number[],
  curve: FocusCurve | null,
  best: Uncertain | null,
  bracketed: boolean,
  facts: SweepFacts,
): ChannelFocus {
  return {
    bestFocus: best,
    bestFocusUm: scaled(best, facts.stepUm),
    sizeAtFocusPx: bracketed && curve !== null && curve.a2 > 0 ? Math.sqrt(curve.a2) : null,
    slopePxPerStep: curve === null ? null : Math.sqrt(curve.b2),
    bracketed,
    curve: run.frames.map((frame, i) => {
      const hfd = frame.hfd[channel];
      return {
        position: frame.position,
        rmsPx: Math.sqrt(sizes[i] as number),
        hfdPx: hfd === undefined ? Number.NaN : medianOf(stars.map((s) => hfd[s] as number)),
        weight: curve === null ? 0 : (curve.weights[i] as number),
      };
    }),
  };
}

function inUnits(steps: Uncertain | null, facts: SweepFacts, depthUm: number | null): ColourShift {
  const um = scaled(steps, facts.stepUm);
  const size = um === null ? null : Math.abs(um.value);
  return {
    steps,
    um,
    focalLengthOver:
      size === null || size === 0 || facts.focalLengthMm === null
        ? null
        : (1000 * facts.focalLengthMm) / size,
    depthsOfFocus: size === null || depthUm === null ? null : size / depthUm,
  };
}

/** Equal b² in all channels: the sum of the parabolas is least at the mean of the foci. */
function compromise(
  channels: SweepAnalysis['channels'],
  curve: FocusCurve | null,
  shifts: Partial<Record<SweepChannel, Uncertain | null>>,
  low: number,
  high: number,
): number | null {
  if (curve === null) return null;
  const { R, B } = shifts;
  if (channels.R === undefined || !R || !B) return null;
  const mean = curve.z0 + (R.value + B.value) / 3;
  return mean >= low && mean <= high ? mean : null;
}

/** A uniform disc of diameter z/N has the mean square radius z²/(8 N²). */
function stepFromCone(b2: number, { pixelSizeUm, focalRatio }: SweepFacts): number | null {
  if (pixelSizeUm === null || focalRatio === null) return null;
  return Math.sqrt(8 * b2) * pixelSizeUm * focalRatio;
}

interface Backlash {
  value: number;
  error: number;
  directions: number[];
  applied: boolean;
}

/** Three frames on the way up and three on the way down are needed, with times; applied from three times its error on. */
function findBacklash(run: SweepRun, z: readonly number[], sizes: readonly number[]): Backlash {
  const directions = z.map(() => 0);
  const none = { value: Number.NaN, error: Number.NaN, directions, applied: false };
  const times = run.frames.map(({ dateObs }) => Date.parse(dateObs ?? ''));
  if (times.some((time) => Number.isNaN(time)) || new Set(times).size < times.length) return none;
  const order = times.map((_, i) => i).sort((a, b) => (times[a] as number) - (times[b] as number));
  let last = 0;
  order.forEach((i, k) => {
    const before = order[k - 1];
    if (before !== undefined && z[i] !== z[before])
      last = Math.sign((z[i] as number) - (z[before] as number));
    directions[i] = last;
  });
  // The first frame stands as the second was approached.
  const second = order[1];
  if (order[0] !== undefined && second !== undefined)
    directions[order[0]] = directions[second] as number;
  if (directions.filter((d) => d > 0).length < 3 || directions.filter((d) => d < 0).length < 3)
    return none;
  const curve = fitFinite(z, sizes);
  if (curve === null) return none;
  const u = z.map((v) => v - curve.z0);
  const fit = robustColumns(
    [u.map(() => 1), u, u.map((v) => v * v), u.map((v, i) => v * (directions[i] as number))],
    sizes,
    focusWeights(curve, u),
  );
  if (fit === null) return none;
  const b2 = fit.coefficients[2] as number;
  const value = -(fit.coefficients[3] as number) / b2;
  const error = ((fit.errors[3] as number) / b2) * student68(z.length - 4);
  return { value, error, directions, applied: Math.abs(value) > 3 * error };
}
