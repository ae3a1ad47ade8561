/** A frame on its reference: shift, turn, and how much of the same stars' light arrives. */
import { type Match, matchStars } from '../match/match.js';
import type { StarList } from '../match/star-list.js';
import { applyTransform } from '../match/transform.js';
import type { Uncertain } from '../measure/result.js';
import { MAD_TO_SIGMA, madSigma, medianOf } from '../stats/robust.js';
import type { NightFrame } from './night-frame.js';

/** Stars of one night's camera: the scale changes with focus by far less. */
const SCALE_LIMIT = 1.03;
/** Stars of the reference that a usable frame should show: the brightest ones. */
const SHOULD_SHOW = 60;
const FEWEST_RATIOS = 5;
/** Model error of a star's light, relative: shapes differ from frame to frame. */
const LEAST_RELATIVE_ERROR = 0.01;
/** Turned by more than this from 0° or 180° is neither. */
const TURNED_DEG = 150;

export interface Registration {
  matched: number;
  /** Share of the reference's brightest stars within this frame that were found again. */
  matchedShare: number | null;
  /** Light of the same stars, frame over reference, for equal exposures. */
  transparency: Uncertain | null;
  /** Where the frame's centre lies on the reference, less the reference's centre, px. */
  offsetPx: [number, number];
  rotationDeg: number;
  meridianTurned: boolean;
}

function starListOf(frame: NightFrame): StarList {
  const { stars } = frame;
  return {
    x: Float64Array.from(stars.x),
    y: Float64Array.from(stars.y),
    brightness: Float64Array.from(stars.fluxAdu, (flux) => flux ?? Number.NaN),
    width: frame.width ?? 1,
    height: frame.height ?? 1,
  };
}

/** Registrations of records that are still in use: a watched folder grades the same frames again and again. */
const remembered = new WeakMap<NightFrame, WeakMap<NightFrame, Registration | null>>();

/** Matches `frame` on `reference`; null when no match is beyond doubt. Deterministic. */
export function registerFrame(frame: NightFrame, reference: NightFrame): Registration | null {
  let onto = remembered.get(reference);
  if (onto === undefined) {
    onto = new WeakMap();
    remembered.set(reference, onto);
  }
  const earlier = onto.get(frame);
  if (earlier !== undefined) return earlier;
  const found = matchFrame(frame, reference);
  onto.set(frame, found);
  return found;
}

function matchFrame(frame: NightFrame, reference: NightFrame): Registration | null {
  if (frame === reference) {
    return {
      matched: frame.stars.x.length,
      matchedShare: 1,
      transparency: { value: 1, low: 1, high: 1 },
      offsetPx: [0, 0],
      rotationDeg: 0,
      meridianTurned: false,
    };
  }
  const match = matchStars(starListOf(frame), starListOf(reference), {
    nearlyAligned: true,
    minScale: 1 / SCALE_LIMIT,
    maxScale: SCALE_LIMIT,
    mirrored: false,
  });
  if (!match.found) return null;
  const { rotationDeg } = match.description;
  const centre = applyTransform(
    match.transform,
    ((frame.width as number) - 1) / 2,
    ((frame.height as number) - 1) / 2,
  );
  return {
    matched: match.matched,
    matchedShare: shareOf(match, frame, reference),
    transparency: transparencyOf(match, frame, reference),
    offsetPx: [
      (centre[0] as number) - ((reference.width as number) - 1) / 2,
      (centre[1] as number) - ((reference.height as number) - 1) / 2,
    ],
    rotationDeg,
    meridianTurned: Math.abs(rotationDeg) > TURNED_DEG,
  };
}

/** Of the reference's brightest stars that lie within this frame, the share that it shows. */
function shareOf(match: Match, frame: NightFrame, reference: NightFrame): number | null {
  const seen = new Set(match.indexB);
  const flux = reference.stars.fluxAdu;
  const order = flux
    .map((_, i) => i)
    .filter((i) => flux[i] !== null)
    .sort((a, b) => (flux[b] as number) - (flux[a] as number))
    .slice(0, SHOULD_SHOW);
  let within = 0;
  let found = 0;
  for (const i of order) {
    if (!liesWithin(match, reference, i, frame)) continue;
    within++;
    if (seen.has(i)) found++;
  }
  return within === 0 ? null : found / within;
}

/** Whether star `i` of the reference falls inside the frame: similarity inverted, a margin against edge losses. */
function liesWithin(match: Match, reference: NightFrame, i: number, frame: NightFrame): boolean {
  const { scale, rotationDeg } = match.description;
  const origin = applyTransform(match.transform, 0, 0);
  const dx = (reference.stars.x[i] as number) - (origin[0] as number);
  const dy = (reference.stars.y[i] as number) - (origin[1] as number);
  const angle = (-rotationDeg * Math.PI) / 180;
  const x = (dx * Math.cos(angle) - dy * Math.sin(angle)) / scale;
  const y = (dx * Math.sin(angle) + dy * Math.cos(angle)) / scale;
  const width = frame.width as number;
  const height = frame.height as number;
  const margin = 0.01 * Math.min(width, height);
  return x > margin && y > margin && x < width - 1 - margin && y < height - 1 - margin;
}

/** Median of the ratio of light, by exposure; the interval from the scatter, 1.25 σ/√n. */
function transparencyOf(match: Match, frame: NightFrame, reference: NightFrame): Uncertain | null {
  const logs: number[] = [];
  const errors: number[] = [];
  match.indexA.forEach((i, k) => {
    const j = match.indexB[k] as number;
    const light = frame.stars.fluxAdu[i] ?? null;
    const other = reference.stars.fluxAdu[j] ?? null;
    if (light === null || other === null || !(light > 0) || !(other > 0)) return;
    const a = (frame.stars.fluxErrorAdu[i] ?? 0) / light;
    const b = (reference.stars.fluxErrorAdu[j] ?? 0) / other;
    logs.push(Math.log(light / other));
    errors.push(Math.sqrt(a * a + b * b + LEAST_RELATIVE_ERROR * LEAST_RELATIVE_ERROR));
  });
  if (logs.length < FEWEST_RATIOS) return null;
  const median = weightedMedian(logs, errors);
  const scatter = Math.max(madSigma(logs, median), MAD_TO_SIGMA * medianOf(errors) * 0.5);
  const sigma = (1.2533 * scatter) / Math.sqrt(logs.length);
  const mine = frame.metadata?.exposureSeconds ?? 0;
  const its = reference.metadata?.exposureSeconds ?? 0;
  // A header that says 0 says nothing.
  const exposures = mine > 0 && its > 0 ? mine / its : 1;
  const value = Math.exp(median) / exposures;
  return { value, low: value * Math.exp(-sigma), high: value * Math.exp(sigma) };
}

/** Value at which half of the weight 1/error² lies below. */
function weightedMedian(values: readonly number[], errors: readonly number[]): number {
  const order = values
    .map((_, i) => i)
    .sort((a, b) => (values[a] as number) - (values[b] as number));
  const weight = (i: number): number => 1 / ((errors[i] as number) * (errors[i] as number));
  const half = order.reduce((sum, i) => sum + weight(i), 0) / 2;
  let sum = 0;
  for (const [k, i] of order.entries()) {
    const next = sum + weight(i);
    if (next > half) return values[i] as number;
    if (next === half) {
      return ((values[i] as number) + (values[order[k + 1] ?? i] as number)) / 2;
    }
    sum = next;
  }
  return values[order[order.length - 1] as number] as number;
}
