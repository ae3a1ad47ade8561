/** Does the light fall off gradually, or does the edge of the image circle begin inside the frame? */
import { solveCholesky } from '../stats/solve.js';
import type { SkyCells } from './illumination-cells.js';
import type { FallOffReading } from './illumination-profile.js';
import { stoppedPupil } from './illumination-pupil.js';
import type { RadialFit } from './illumination-solve.js';
import type { RadiusBound } from './radius-bound.js';

/** 'even': no fall-off worth the name; 'gradual': cos⁴-like; 'edge': full light up to a radius, then a steep fall. */
export type FallOffKind = 'even' | 'gradual' | 'edge' | 'cannot tell';

export interface FallOffShape {
  kind: FallOffKind;
  /** Where the fall begins, px from the centre of illumination; only for 'edge'. */
  edgeStartPx: RadiusBound | null;
  /** What cos⁴ of the field angle alone leaves at the corner, percent; null without focal length and pixel size. */
  naturalCornerPercent: number | null;
}

/** Corner loss (percentage points) below which the field counts as even. */
const EVEN_LOSS = 3;
const LEAST_LOSS = 1;
/** Fall of χ² that an edge must bring against a smooth profile with as many coefficients. */
const EDGE_GAIN = 15;
/** The edge must take at least this share of the light inside the frame. */
const EDGE_LOSS = 0.03;
const BINS = 60;
/** Starts tried first, half diagonals; distances from start to darkness are searched between the limits. */
const STARTS = 31;
const FIRST_START = 0.1;
const LAST_START = 1;
const SHORTEST = 0.05;
const LONGEST = 2.5;
const GOLDEN = (Math.sqrt(5) - 1) / 2;

/** cos⁴ law of natural fall-off: relative illuminance at a distance from the axis on a flat sensor (textbook photometry). */
function naturalIllumination(distanceMm: number, focalLengthMm: number): number {
  return (1 + (distanceMm / focalLengthMm) ** 2) ** -2;
}

/** Judges the shape. Lengths null = unknown. */
export function judgeShape(
  fit: RadialFit,
  cells: SkyCells,
  reading: FallOffReading,
  pixelSizeMm: number | null,
  focalLengthMm: number | null,
): FallOffShape {
  const naturalCornerPercent =
    pixelSizeMm !== null && focalLengthMm !== null
      ? 100 * naturalIllumination(cells.halfDiagonalPx * pixelSizeMm, focalLengthMm)
      : null;
  const shape = (kind: FallOffKind, edgeStartPx: RadiusBound | null = null): FallOffShape => ({
    kind,
    edgeStartPx,
    naturalCornerPercent,
  });
  const edge = findEdge(fit, cells);
  if (edge) {
    const half = cells.halfDiagonalPx;
    return shape('edge', {
      value: edge.start * half,
      low: edge.low * half,
      high: edge.high * half,
    });
  }
  const { value, low, high } = reading.meanCornerPercent;
  // Twice the upper half of the interval: about 95 %.
  const surest = value + 2 * (high - value);
  if (surest < 100 - LEAST_LOSS) return shape('gradual');
  return shape(value - 2 * (value - low) > 100 - EVEN_LOSS ? 'even' : 'cannot tell');
}

/** Where an edge begins with its 68 % interval, and its length to darkness, half diagonals. */
export interface Edge {
  start: number;
  low: number;
  high: number;
  length: number;
}

/** The edge in the light about the fit's centre, the sky's slope taken out; null when a smooth profile does as well. */
export function findEdge(fit: RadialFit, cells: SkyCells): Edge | null {
  return fitEdge(radialBins(fit, cells));
}

interface Bins {
  n: number;
  distance: Float64Array;
  light: Float64Array;
  /** 1/σ². */
  weight: Float64Array;
}

/** Light against distance from the centre of illumination, the sky's slope taken out. */
function radialBins(fit: RadialFit, cells: SkyCells): Bins {
  const at = fit.basis.size + 1;
  const sums = new Float64Array(3 * BINS);
  let spread = 0;
  for (let i = 0; i < cells.n; i++) spread += (cells.spread[i] as number) / cells.n;
  const sigma = (fit.cellErrorAdu / fit.scale) * Math.sqrt(fit.clumping);
  for (let i = 0; i < cells.n; i++) {
    const x = cells.x[i] as number;
    const y = cells.y[i] as number;
    const plane = 1 + (fit.p[at] as number) * x + (fit.p[at + 1] as number) * y;
    const distance = Math.sqrt(
      (x - (fit.p[at + 2] as number)) ** 2 + (y - (fit.p[at + 3] as number)) ** 2,
    );
    const bin = Math.min(BINS - 1, Math.floor((distance / 1.2) * BINS));
    const error = (sigma * (cells.spread[i] as number)) / (spread * plane);
    const w = (fit.weight[i] as number) / (error * error);
    sums[3 * bin] = (sums[3 * bin] as number) + w;
    sums[3 * bin + 1] = (sums[3 * bin + 1] as number) + w * distance;
    sums[3 * bin + 2] =
      (sums[3 * bin + 2] as number) + (w * (cells.light[i] as number)) / (fit.scale * plane);
  }
  const bins: Bins = {
    n: 0,
    distance: new Float64Array(BINS),
    light: new Float64Array(BINS),
    weight: new Float64Array(BINS),
  };
  for (let b = 0; b < BINS; b++) {
    const w = sums[3 * b] as number;
    if (!(w > 0)) continue;
    bins.weight[bins.n] = w;
    bins.distance[bins.n] = (sums[3 * b + 1] as number) / w;
    bins.light[bins.n] = (sums[3 * b + 2] as number) / w;
    bins.n++;
  }
  return bins;
}

/** Start of an edge and its 68 % interval by the rise of χ² by 1; null when a smooth profile does as well. */
function fitEdge(bins: Bins): Edge | null {
  if (bins.n < 10) return null;
  const smooth = bestLinear(bins, (distance) => [1, distance ** 2, distance ** 4, distance ** 6]);
  if (!smooth) return null;
  const coarse = (LAST_START - FIRST_START) / (STARTS - 1);
  const starts = Array.from({ length: STARTS }, (_, i) => FIRST_START + coarse * i);
  const tried = starts.map((start) => ({ start, ...bestLength(bins, start) }));
  const lowest = (): (typeof tried)[number] => tried.reduce((a, b) => (b.chi2 < a.chi2 ? b : a));
  for (let fine = coarse / 3; fine > coarse / 30; fine /= 3) {
    const centre = lowest().start;
    for (let k = -2; k <= 2; k++) {
      const start = centre + k * fine;
      if (k !== 0 && start > 0) tried.push({ start, ...bestLength(bins, start) });
    }
  }
  const best = lowest();
  const farthest = Math.max(...bins.distance.subarray(0, bins.n));
  const lost = 1 - stoppedPupil(farthest, best.start, best.start + best.length);
  if (!(smooth.chi2 - best.chi2 > EDGE_GAIN) || lost < EDGE_LOSS) return null;
  // 68 % where χ² rises by 1, in units of what the best edge leaves (misfit widens it).
  const unit = Math.max(1, best.chi2 / Math.max(1, bins.n - 4));
  const error = Math.sqrt(unit / curvatureOf(tried, best));
  return {
    start: best.start,
    low: Math.max(0, best.start - error),
    high: best.start + error,
    length: best.length,
  };
}

/** Half the second derivative of χ² by the edge's start, from the tries around the lowest one. */
function curvatureOf(
  tried: readonly { start: number; chi2: number }[],
  best: { start: number; chi2: number },
): number {
  let top = 0;
  let bottom = 0;
  for (const { start, chi2 } of tried) {
    const d2 = (start - best.start) ** 2;
    if (d2 === 0 || d2 > 0.04 ** 2) continue;
    // Weighted so that a rise of a few counts as much as a large one.
    const w = 1 / (1 + (chi2 - best.chi2) ** 2);
    top += w * (chi2 - best.chi2) * d2;
    bottom += w * d2 * d2;
  }
  return Math.max(1, top / bottom);
}

/** The distance from start to darkness that fits best: golden-section search in its logarithm. */
function bestLength(bins: Bins, start: number): { length: number; chi2: number } {
  const chi2At = (logarithm: number): number => {
    const end = start + Math.exp(logarithm);
    const fitted = bestLinear(bins, (distance) => {
      const open = stoppedPupil(distance, start, end);
      return [open, open * distance ** 2];
    });
    return fitted ? fitted.chi2 : Number.POSITIVE_INFINITY;
  };
  let low = Math.log(SHORTEST);
  let high = Math.log(LONGEST);
  let a = high - GOLDEN * (high - low);
  let b = low + GOLDEN * (high - low);
  let atA = chi2At(a);
  let atB = chi2At(b);
  for (let i = 0; i < 14; i++) {
    if (atA < atB) {
      high = b;
      b = a;
      atB = atA;
      a = high - GOLDEN * (high - low);
      atA = chi2At(a);
    } else {
      low = a;
      a = b;
      atA = atB;
      b = low + GOLDEN * (high - low);
      atB = chi2At(b);
    }
  }
  return atA < atB ? { length: Math.exp(a), chi2: atA } : { length: Math.exp(b), chi2: atB };
}

function bestLinear(bins: Bins, basis: (distance: number) => number[]): { chi2: number } | null {
  const rows = Array.from({ length: bins.n }, (_, i) => basis(bins.distance[i] as number));
  const size = (rows[0] as number[]).length;
  const a = new Float64Array(size * size);
  const b = new Float64Array(size);
  for (let i = 0; i < bins.n; i++) {
    const row = rows[i] as number[];
    const w = bins.weight[i] as number;
    for (let j = 0; j < size; j++) {
      b[j] = (b[j] as number) + w * (row[j] as number) * (bins.light[i] as number);
      for (let k = 0; k <= j; k++) {
        a[j * size + k] = (a[j * size + k] as number) + w * (row[j] as number) * (row[k] as number);
      }
    }
  }
  if (!solveCholesky(a, b, size)) return null;
  let chi2 = 0;
  for (let i = 0; i < bins.n; i++) {
    const row = rows[i] as number[];
    let model = 0;
    for (let j = 0; j < size; j++) model += (b[j] as number) * (row[j] as number);
    chi2 += (bins.weight[i] as number) * ((bins.light[i] as number) - model) ** 2;
  }
  return { chi2 };
}
