/** How the halo depends on the stars' own colour: redder stars have redder bands (docs/algorithms.md). */
import { createRandom } from '../stats/random.js';
import { medianOf } from '../stats/robust.js';
import { type GroupedEquations, groupEquations, solveGroups } from './grouped-equations.js';
import type { ChannelProfile } from './profile-equations.js';
import { emptyTable, enclosedAt, type ProfileTable } from './radial-spline.js';
import type { HaloResult } from './result.js';
import { uncertain } from './uncertain.js';

const FEWEST_STARS = 60;
const BINS = 3;
const DRAWS = 40;
/** Stars of one bin are bound into this many groups for the bootstrap. */
const GROUPS = 25;

/**
 * Stacks the stars in three groups of colour, and fits a line through blue-minus-red against the mean B − R magnitude.
 * The reference colour is that of the median star.
 * @returns null below 60 stars or when the colours do not differ
 */
export function colourTrend(
  red: ChannelProfile,
  blue: ChannelProfile,
  stars: number,
  atRadius: number,
  seed: number,
): HaloResult['starColour'] {
  if (stars < FEWEST_STARS) return null;
  const colour = new Float64Array(stars).fill(Number.NaN);
  for (let k = 0; k < stars; k++) {
    const b = blue.flux[k] as number;
    const r = red.flux[k] as number;
    if (b > 0 && r > 0) colour[k] = -2.5 * Math.log10(b / r);
  }
  const order = Array.from({ length: stars }, (_, k) => k)
    .filter((k) => !Number.isNaN(colour[k] as number))
    .sort((a, b) => (colour[a] as number) - (colour[b] as number) || a - b);
  const bins = Array.from({ length: BINS }, (_, j) =>
    order.slice(Math.floor((j * order.length) / BINS), Math.floor(((j + 1) * order.length) / BINS)),
  );
  const mean = bins.map(
    (bin) => bin.reduce((sum, k) => sum + (colour[k] as number), 0) / bin.length,
  );
  if (Math.abs((mean[BINS - 1] as number) - (mean[0] as number)) < 0.05) return null;
  const reference = medianOf(colour);
  const groupOf = Int32Array.from({ length: order.length }, (_, i) => i % GROUPS);
  const grouped = bins.map((bin): [GroupedEquations, GroupedEquations] => [
    groupEquations(red, bin, groupOf, GROUPS),
    groupEquations(blue, bin, groupOf, GROUPS),
  ]);
  const table = emptyTable(red.table);
  const fit = (weights: Float64Array): [number, number] | null =>
    colourLine(grouped, weights, table, atRadius, mean, reference);
  const best = fit(new Float64Array(BINS * GROUPS).fill(1));
  if (!best) return null;
  const random = createRandom(seed + 8209);
  const slopes: number[] = [];
  const values: number[] = [];
  for (let d = 0; d < DRAWS; d++) {
    const weights = new Float64Array(BINS * GROUPS);
    for (let j = 0; j < BINS; j++) {
      for (let g = 0; g < GROUPS; g++) {
        const pick = j * GROUPS + Math.floor(random() * GROUPS);
        weights[pick] = (weights[pick] as number) + 1;
      }
    }
    const draw = fit(weights);
    if (draw) {
      slopes.push(draw[0]);
      values.push(draw[1]);
    }
  }
  const widen = Math.sqrt(GROUPS / (GROUPS - 1));
  const trend = uncertain(best[0], slopes, widen);
  const atReference = uncertain(best[1], values, widen);
  if (!trend || !atReference) return null;
  return {
    trendPercentPerMag: trend,
    referenceColourMag: reference,
    atReferencePercent: atReference,
    stars: order.length,
  };
}

/** Slope of blue-minus-red at `atRadius` over the bins' mean colours, and the line's value at the reference colour, for one draw; null when a bin has no profile. */
function colourLine(
  grouped: readonly [GroupedEquations, GroupedEquations][],
  weights: Float64Array,
  table: ProfileTable,
  atRadius: number,
  mean: readonly number[],
  reference: number,
): [number, number] | null {
  const y = new Float64Array(BINS);
  for (let j = 0; j < BINS; j++) {
    const [red, blue] = grouped[j] as [GroupedEquations, GroupedEquations];
    if (!solveGroups(red, weights, j * GROUPS, table)) return null;
    const inRed = enclosedAt(table, atRadius);
    if (!solveGroups(blue, weights, j * GROUPS, table)) return null;
    y[j] = 100 * (inRed - enclosedAt(table, atRadius));
  }
  const mx = mean.reduce((a, b) => a + b, 0) / BINS;
  const my = y.reduce((a, b) => a + b, 0) / BINS;
  let sxy = 0;
  let sxx = 0;
  for (let j = 0; j < BINS; j++) {
    sxy += ((mean[j] as number) - mx) * ((y[j] as number) - my);
    sxx += ((mean[j] as number) - mx) ** 2;
  }
  const slope = sxy / sxx;
  return [slope, my + slope * (reference - mx)];
}
