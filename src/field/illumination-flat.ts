/** Was a flat field applied? The division makes the sky even, but its noise still tells how much light there was.
 *
 * Recorded: σ² = read noise² + light / gain. Divided by the relative illumination F, a place of even sky s has
 * σ² = (read noise / F)² + s / (gain · F): it rises towards the dark corners, by a factor between 1/F and 1/F². Raw, it
 * falls there with the light, by a factor between 1 and F.
 */
import type { Uncertain } from '../measure/result.js';
import { plusMinus } from '../measure/uncertain.js';
import { madSigma, medianOf } from '../stats/robust.js';
import type { SkyGrid } from './illumination-grid.js';
import type { Pedestal } from './pedestal.js';

/** 'cannot tell' where noise and level decide nothing. */
export type FlatState = 'raw' | 'flat applied' | 'cannot tell';

export interface FlatVerdict {
  state: FlatState;
  /**
   * Sky level in the corner zones (beyond 0.65 of the half side along both axes) against the centre zone (within 0.35 half diagonals), percent
   * change; of the light where the pedestal is known, else of the level. The corners themselves change by more: 1.6 times as much for a
   * fall-off that grows with the square of the distance.
   */
  levelChangePercent: Uncertain | null;
  /** Variance of the sky's noise in the same zones, percent change. */
  varianceChangePercent: Uncertain | null;
  /** Share of the centre's variance that photons make, where gain and pedestal are known. */
  photonShare: number | null;
  /** When a flat was applied: light the corner zones really got, percent of the centre zone's, read off the noise alone. */
  cornerPercentFromNoise: { low: number; high: number } | null;
  evidence: string[];
}

/** Significance that decides. */
const CLEAR_SIGMA = 4;
const LIKELY_SIGMA = 2.5;
/** Changes smaller than these shares are not interpreted: the sky itself, and crowding, do as much. */
const LEAST_VARIANCE_CHANGE = 0.03;
const LEAST_LEVEL_CHANGE = 0.01;
/** Raw noise follows the light's own change by at most this factor (1 for photons, 2 for unequal pixels). */
const LARGEST_RESPONSE = 2;
/** Photon share of the noise within which gain and pedestal are believed. */
const BELIEVABLE_SHARE = 1.3;
/** Cells along either axis. */
const FEWEST_CELLS = 6;
const FEWEST_IN_ZONE = 2;
/** Distance from the centre in half diagonals, and from the middle of each axis in half sides. */
const CENTRE_ZONE = 0.35;
const CORNER_ZONE = 0.65;

interface Change {
  /** Corner against centre, absolute. */
  difference: number;
  error: number;
  centre: number;
}

/**
 * Judges from level and noise of the grid's cells. All lattices are used together.
 * @param gain e−/ADU or null: with it and the pedestal, the photons' share of the noise is known
 */
export function judgeFlat(
  grid: SkyGrid,
  pedestal: Pedestal | null,
  gain: number | null,
): FlatVerdict {
  const silent = (sentence: string): FlatVerdict => ({
    state: 'cannot tell',
    levelChangePercent: null,
    varianceChangePercent: null,
    photonShare: null,
    cornerPercentFromNoise: null,
    evidence: [sentence],
  });
  const { cellsX, cellsY, lattices } = grid;
  const cells = cellsX * cellsY;
  let top = 0;
  let weights = 0;
  let levelTop = 0;
  let levelWeights = 0;
  let shareSum = 0;
  let used = 0;
  for (let l = 0; l < lattices; l++) {
    const level = compareZones(grid, grid.level.subarray(l * cells, (l + 1) * cells));
    if (!level) continue;
    const variance = compareZones(grid, grid.variance.subarray(l * cells, (l + 1) * cells));
    if (!variance || !(variance.centre > 0)) continue;
    const zero = pedestal ? (pedestal.latticeAdu?.[l] ?? pedestal.adu) : 0;
    const light = level.centre - zero;
    if (!(light > 0)) continue;
    const v = variance.difference / variance.centre;
    const vError = variance.error / variance.centre;
    const wv = 1 / vError ** 2;
    top += wv * v;
    weights += wv;
    const wl = 1 / Math.max(1e-12, level.error / light) ** 2;
    levelTop += (wl * level.difference) / light;
    levelWeights += wl;
    if (gain !== null) shareSum += light / gain / variance.centre;
    used++;
  }
  if (used === 0)
    return silent('too few cells hold a sky level to compare corners with the centre');
  const v = top / weights;
  const vError = Math.sqrt(1 / weights);
  const d = levelTop / levelWeights;
  const dError = Math.sqrt(1 / levelWeights);
  const share = gain !== null && pedestal !== null ? shareSum / used : null;
  const verdict = decide(v, vError, d, dError, pedestal !== null, share);
  return {
    ...verdict,
    levelChangePercent: plusMinus(100 * d, 100 * dError),
    varianceChangePercent: plusMinus(100 * v, 100 * vError),
    photonShare: share,
  };
}

type Decision = Pick<FlatVerdict, 'state' | 'cornerPercentFromNoise' | 'evidence'>;

function decide(
  v: number,
  vError: number,
  d: number,
  dError: number,
  pedestalKnown: boolean,
  share: number | null,
): Decision {
  const percent = (value: number): string => `${Math.abs(100 * value).toFixed(1)} %`;
  const risesMostBy = Math.max(0, d + 2 * dError);
  const levelRises = d > Math.max(LIKELY_SIGMA * dError, LEAST_LEVEL_CHANGE);
  const levelFalls = d < -Math.max(CLEAR_SIGMA * dError, LEAST_LEVEL_CHANGE);
  // Without a pedestal a rising level may be any rise of the light.
  const explained = pedestalKnown ? risesMostBy : levelRises ? Number.POSITIVE_INFINITY : 0;
  if (v - explained > Math.max(CLEAR_SIGMA * vError, LEAST_VARIANCE_CHANGE)) {
    const corner = (change: number, power: number): number =>
      100 * (1 / (1 + Math.max(0, change))) ** power;
    return {
      state: 'flat applied',
      cornerPercentFromNoise: { low: corner(v + vError, 1), high: corner(v - vError, 0.5) },
      evidence: [
        `The sky's noise grows towards the corners (variance +${percent(v)}) while its level does not: the corners got less light and were divided by a flat field.`,
      ],
    };
  }
  if (levelFalls && v < -LIKELY_SIGMA * vError) {
    const expected = share !== null && share < BELIEVABLE_SHARE ? share * d : null;
    const tooMuch = pedestalKnown && v < LARGEST_RESPONSE * d - LIKELY_SIGMA * vError;
    const tooLittle =
      expected !== null && v > 0.3 * expected + 3 * vError && expected < -3 * vError;
    if (!tooMuch && !tooLittle) {
      return {
        state: 'raw',
        cornerPercentFromNoise: null,
        evidence: [
          `Level and noise of the sky fall together towards the corners (level −${percent(d)}, variance −${percent(v)}), as recorded light does: no flat field was applied.`,
        ],
      };
    }
    return undecided(
      tooMuch
        ? 'The noise falls towards the corners much faster than the light: the frame was stretched or smoothed, or the pedestal is wrong.'
        : 'The level falls towards the corners, but the noise hardly follows it: a flat field that corrects only in part, or a wrong gain or pedestal.',
    );
  }
  if (levelFalls) {
    return undecided(
      'The level falls towards the corners, but the noise is set by the electronics rather than by the light, or is too uncertain: a raw frame and one corrected in part look alike.',
    );
  }
  if (levelRises) {
    return undecided(
      'The sky is brighter at the corners than at the centre: a nebula or galaxy pattern, or a flat field that corrects too much.',
    );
  }
  return undecided(
    `Level and noise of the sky are even (level within ${percent(Math.abs(d) + dError)}, variance within ${percent(Math.abs(v) + vError)}): an evenly lit field, or a flat field over small differences.`,
  );
}

function undecided(sentence: string): Decision {
  return { state: 'cannot tell', cornerPercentFromNoise: null, evidence: [sentence] };
}

/** Median of the cells round the centre, and mean of the medians of the four corners, in which a slope of the sky cancels. */
function compareZones(grid: SkyGrid, values: Float64Array): Change | null {
  const { cellsX, cellsY, width, height } = grid;
  if (cellsX < FEWEST_CELLS || cellsY < FEWEST_CELLS) return null;
  const diagonal = Math.sqrt(width * width + height * height);
  const zones: number[][] = [[], [], [], [], []];
  for (let i = 0; i < cellsX * cellsY; i++) {
    const value = values[i] as number;
    if (value !== value) continue;
    // −1 to 1 across the frame.
    const u = (2 * ((i % cellsX) + 0.5)) / cellsX - 1;
    const v = (2 * (Math.floor(i / cellsX) + 0.5)) / cellsY - 1;
    const distance = Math.sqrt((u * width) ** 2 + (v * height) ** 2) / diagonal;
    if (distance < CENTRE_ZONE) (zones[4] as number[]).push(value);
    else if (Math.abs(u) > CORNER_ZONE && Math.abs(v) > CORNER_ZONE) {
      (zones[(u > 0 ? 1 : 0) + (v > 0 ? 2 : 0)] as number[]).push(value);
    }
  }
  if (zones.some((zone) => zone.length < FEWEST_IN_ZONE)) return null;
  const medians = zones.map((zone) => medianOf(zone));
  const sigma = madSigma(
    zones.flatMap((zone, k) => zone.map((value) => value - (medians[k] as number))),
    0,
  );
  // Variance of a median: π/2 that of a mean.
  let square = 0;
  zones.forEach((zone, k) => {
    square += ((k === 4 ? 1 : 1 / 16) * ((Math.PI / 2) * (sigma * sigma))) / zone.length;
  });
  const centre = medians[4] as number;
  const corner =
    ((medians[0] as number) +
      (medians[1] as number) +
      (medians[2] as number) +
      (medians[3] as number)) /
    4;
  return { difference: corner - centre, error: Math.sqrt(square), centre };
}
