/** How the halo depends on the stars' own colour: redder stars have redder bands (docs/algorithms.md). */
import { createRandom } from '../stats/random.js';
import { medianOf } from '../stats/robust.js';
import { addTo, BAND, type ChannelProfile, solveProfile } from './profile-rounds.js';
import { enclosedAt, normaliseTable, type ProfileTable, tabulate } from './radial-spline.js';
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
  const size = red.spline.size;
  const grouped = bins.map((bin) =>
    [red, blue].map((profile) => {
      const band = new Float64Array(GROUPS * size * BAND);
      const right = new Float64Array(GROUPS * size);
      bin.forEach((k, position) => {
        const g = position % GROUPS;
        addTo(
          profile,
          k,
          1,
          band.subarray(g * size * BAND, (g + 1) * size * BAND),
          right.subarray(g * size, (g + 1) * size),
        );
      });
      return { band, right };
    }),
  );
  const table: ProfileTable = {
    step: red.table.step,
    value: new Float64Array(red.table.value.length),
    enclosed: new Float64Array(red.table.value.length),
  };
  const fit = (weights: Float64Array): [number, number] | null => {
    const y: number[] = [];
    for (let j = 0; j < BINS; j++) {
      const share: number[] = [];
      for (let c = 0; c < 2; c++) {
        const { band, right } = (grouped[j] as (typeof grouped)[number])[c] as {
          band: Float64Array;
          right: Float64Array;
        };
        const a = new Float64Array(size * BAND);
        const b = new Float64Array(size);
        for (let g = 0; g < GROUPS; g++) {
          const w = weights[j * GROUPS + g] as number;
          if (w === 0) continue;
          for (let i = 0; i < a.length; i++) {
            a[i] = (a[i] as number) + w * (band[g * size * BAND + i] as number);
          }
          for (let i = 0; i < size; i++) {
            b[i] = (b[i] as number) + w * (right[g * size + i] as number);
          }
        }
        if (!solveProfile(a, b, size)) return null;
        tabulate(red.spline, b, table);
        if (!(normaliseTable(table) > 0)) return null;
        share.push(enclosedAt(table, atRadius));
      }
      y.push(100 * ((share[0] as number) - (share[1] as number)));
    }
    // Straight line through the bins.
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
  };
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
