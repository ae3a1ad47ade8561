/** Peaks of the matched-filtered detection image, found while the rows stream by. */
import type { FloatReader } from '../frame/convert.js';
import { valuesAt } from '../stats/order.js';
import { clippedSky } from '../stats/robust.js';
import type { BackgroundMesh } from './background.js';
import {
  createDetectionRows,
  type DetectionRows,
  finishedRow,
  hitGroups,
  nextRow,
} from './detection-rows.js';
import type { ChannelPlan } from './lattice.js';

/** Candidates in sensor pixels, in order of detection (by row, then column). */
export interface Peaks {
  length: number;
  x: Float64Array;
  y: Float64Array;
  /** Matched-filter signal-to-noise, with the noise measured on the filtered image itself. */
  significance: Float64Array;
  /** Measured noise of the filtered image over that of white noise: above 1 for interpolated or stacked pixels. */
  noiseCorrelation: number;
  /** True when the list was cut at `MAX_PEAKS`. */
  overflow: boolean;
}

const MAX_PEAKS = 400_000;
/** Filtered samples that tell the noise. */
const NOISE_SAMPLES = 40_000;

/**
 * Finds local maxima above `threshold` σ.
 * @param kernelFwhmPx FWHM of the matched filter in sensor pixels
 */
export function findPeaks(
  read: FloatReader,
  plan: ChannelPlan,
  mesh: BackgroundMesh,
  width: number,
  height: number,
  kernelFwhmPx: number,
  threshold: number,
): Peaks {
  const image = createDetectionRows(read, plan, mesh, width, height, kernelFwhmPx, threshold);
  const { columns, rows } = image;
  const list: PeakList = { x: [], y: [], value: [], overflow: false };
  const sampleEvery = Math.max(1, Math.floor((columns * rows) / NOISE_SAMPLES));
  const noiseSample = new Float32Array(NOISE_SAMPLES + 960);
  let sampled = 0;
  let sampleClock = 0;
  let groupsAbove = 0;
  // A row is searched when the row below it is finished.
  for (let row = 0; row <= rows; row++) {
    const groups = nextRow(image);
    if (groupsAbove > 0 && !list.overflow) {
      searchRow(image, row - 1, groupsAbove, threshold, plan.bin, list);
    }
    groupsAbove = groups;
    if (row === rows) break;
    sampleClock += columns;
    const values = finishedRow(image, row);
    while (sampleClock >= sampleEvery && sampled < noiseSample.length) {
      sampleClock -= sampleEvery;
      noiseSample[sampled++] = values[Math.min(columns - 1, sampleClock % columns)] as number;
    }
  }

  const stats = new Float64Array(3);
  clippedSky(noiseSample, sampled, stats);
  const correlation = (stats[1] as number) > 0 ? (stats[1] as number) : 1;
  const keep: number[] = [];
  for (let i = 0; i < list.value.length; i++) {
    if ((list.value[i] as number) / Math.max(1, correlation) >= threshold) keep.push(i);
  }
  return {
    length: keep.length,
    x: valuesAt(list.x, keep),
    y: valuesAt(list.y, keep),
    significance: valuesAt(list.value, keep).map((value) => value / Math.max(1, correlation)),
    noiseCorrelation: correlation,
    overflow: list.overflow,
  };
}

interface PeakList {
  x: number[];
  y: number[];
  value: number[];
  overflow: boolean;
}

/** Local maxima of one row of the filtered image. Ties go to the later sample; beyond the left, right and upper border there is empty sky. */
function searchRow(
  image: DetectionRows,
  row: number,
  groups: number,
  threshold: number,
  bin: number,
  list: PeakList,
): void {
  const last = image.columns - 1;
  const shift = 0.5 * (bin - 1);
  const here = finishedRow(image, row);
  const under = finishedRow(image, row + 1);
  const over = row > 0 ? finishedRow(image, row - 1) : null;
  const hits = hitGroups(image, row);
  for (let g = 0; g < groups; g++) {
    const first = hits[g] as number;
    for (let x = first; x < first + 4 && x <= last; x++) {
      const v = here[x] as number;
      if (v < threshold) continue;
      const left = x > 0 ? (here[x - 1] as number) : 0;
      const right = x < last ? (here[x + 1] as number) : 0;
      if (v <= left || v < right) continue;
      const above = over ? (over[x] as number) : 0;
      const below = under[x] as number;
      if (v <= above || v < below) continue;
      if (over) {
        if (x > 0 && v <= (over[x - 1] as number)) continue;
        if (x < last && v <= (over[x + 1] as number)) continue;
      }
      if (x > 0 && v < (under[x - 1] as number)) continue;
      if (x < last && v < (under[x + 1] as number)) continue;
      if (list.x.length >= MAX_PEAKS) {
        list.overflow = true;
        return;
      }
      const fx = (0.5 * (right - left)) / (2 * v - left - right + 1e-12);
      const fy = (0.5 * (below - above)) / (2 * v - above - below + 1e-12);
      list.x.push(bin * (x + Math.max(-0.5, Math.min(0.5, fx))) + shift);
      list.y.push(bin * (row + Math.max(-0.5, Math.min(0.5, fy))) + shift);
      list.value.push(v);
    }
  }
}
