/** What changed through the night: sudden steps and steady runs. */
import { madSigma, medianOf } from '../stats/robust.js';
import { spearman, theilSenSlope } from '../stats/student.js';
import type { ChangePoint, Correlation, GradedFrame, TrendQuantity } from './result.js';

/** Frames on either side that a step is read from. */
const WINDOW = 4;
const FEWEST_BESIDE = 2;
/** A step counts from so many of its standard errors. */
const STEP_SIGMA = 6;
/** Share of a step that must happen between two neighbouring frames: a slow run is none. */
const AT_ONCE = 0.6;
const FEWEST_CORRELATED = 8;
const LARGEST_P = 1e-3;
const SMALLEST_RHO = 0.6;
const HOUR_MS = 3.6e6;

/** Steps too small to matter, in the unit of the quantity or as a share of its level. */
const LEAST_STEP: Readonly<Record<TrendQuantity, { share: number; absolute: number }>> = {
  fwhmPx: { share: 0.12, absolute: 0 },
  ellipticity: { share: 0, absolute: 0.05 },
  backgroundAdu: { share: 0.1, absolute: 0 },
  transparency: { share: 0.1, absolute: 0 },
  offsetXPx: { share: 0, absolute: 8 },
  offsetYPx: { share: 0, absolute: 8 },
};

/** A steady run counts when it comes to this share of a step that matters. */
const LEAST_RUN = 0.5;

function leastStep(quantity: TrendQuantity, level: number): number {
  const { share, absolute } = LEAST_STEP[quantity];
  return Math.max(absolute, share * Math.abs(level));
}

const TREND_QUANTITIES = Object.keys(LEAST_STEP) as TrendQuantity[];

/** Value of a followed quantity; null = not measured. */
function trendValue(quantity: TrendQuantity, frame: GradedFrame): number | null {
  switch (quantity) {
    case 'fwhmPx':
      return frame.fwhmPx?.value ?? null;
    case 'ellipticity':
      return frame.ellipticity?.value ?? null;
    case 'backgroundAdu':
      return frame.backgroundAdu;
    case 'transparency':
      return frame.transparency?.value ?? null;
    // Across the meridian the field turns: offsets before and after are no series.
    case 'offsetXPx':
      return frame.meridianTurned === true ? null : (frame.offsetPx?.[0] ?? null);
    case 'offsetYPx':
      return frame.meridianTurned === true ? null : (frame.offsetPx?.[1] ?? null);
  }
}

/**
 * Places where a series changes its level at once. At every gap the medians of up to four values on either side are compared; the noise
 * is that of neighbouring differences, which slow runs hardly touch. Of neighbouring candidates the strongest stays.
 *
 * @param values finite, in time order
 * @param least smallest step that matters
 * @returns index of the first value after each change, with levels and strength
 */
export function findSteps(
  values: readonly number[],
  least: (level: number) => number,
): { index: number; before: number; after: number; sigma: number }[] {
  const n = values.length;
  if (n < 2 * FEWEST_BESIDE + 1) return [];
  const differences = values.slice(1).map((value, i) => value - (values[i] as number));
  // √2 for the difference of two; the centre of the differences is a steady run.
  const noise = madSigma(differences) / Math.SQRT2;
  const candidates = [];
  for (let i = FEWEST_BESIDE; i <= n - FEWEST_BESIDE; i++) {
    const left = values.slice(Math.max(0, i - WINDOW), i);
    const right = values.slice(i, i + WINDOW);
    const before = medianOf(left);
    const after = medianOf(right);
    const step = after - before;
    // A median of n normal values scatters by 1.25 σ/√n.
    const error = 1.2533 * noise * Math.sqrt(1 / left.length + 1 / right.length);
    const sigma = error > 0 ? Math.abs(step) / error : Math.abs(step) > 0 ? 1e3 : 0;
    const jump = (values[i] as number) - (values[i - 1] as number);
    if (sigma < STEP_SIGMA || Math.abs(step) < least(before)) continue;
    if (Math.sign(jump) !== Math.sign(step) || Math.abs(jump) < AT_ONCE * Math.abs(step)) continue;
    candidates.push({ index: i, before, after, sigma: Math.min(sigma, 1e3), jump: Math.abs(jump) });
  }
  candidates.sort((a, b) => b.jump - a.jump || a.index - b.index);
  const kept: typeof candidates = [];
  for (const each of candidates) {
    if (kept.every((other) => Math.abs(other.index - each.index) >= FEWEST_BESIDE)) kept.push(each);
  }
  return kept
    .sort((a, b) => a.index - b.index)
    .map(({ index, before, after, sigma }) => ({ index, before, after, sigma }));
}

/** Sudden changes of one group's frames, given in time order. Frames without a time say nothing. */
export function changePoints(frames: readonly GradedFrame[]): ChangePoint[] {
  const found: ChangePoint[] = [];
  for (const quantity of TREND_QUANTITIES) {
    const known = frames.filter(
      (frame) => frame.startMs !== null && trendValue(quantity, frame) !== null,
    );
    const values = known.map((frame) => trendValue(quantity, frame) as number);
    const steps = findSteps(values, (level) => leastStep(quantity, level));
    for (const { index, before, after, sigma } of steps) {
      const frame = known[index] as GradedFrame;
      const earlier = known[index - 1] as GradedFrame;
      found.push({
        quantity,
        file: frame.file,
        atMs: ((earlier.startMs as number) + (frame.startMs as number)) / 2,
        before,
        after,
        sigma,
      });
    }
  }
  return found.sort((a, b) => a.atMs - b.atMs || compare(a.quantity, b.quantity));
}

function compare(a: string, b: string): number {
  return a < b ? -1 : a > b ? 1 : 0;
}

const PARTNERS: readonly {
  name: Correlation['with'];
  value: (frame: GradedFrame) => number | null;
}[] = [
  { name: 'time', value: (frame) => (frame.startMs === null ? null : frame.startMs / HOUR_MS) },
  { name: 'temperature', value: (frame) => frame.ambientTemperatureC },
  { name: 'focus position', value: (frame) => frame.focusPosition },
  { name: 'air mass', value: (frame) => frame.airmass },
];

/** Quantities that run steadily with time, temperature, focus or air mass: |ρ| ≥ 0.6 at p < 0.001, over at least eight frames. */
export function correlations(frames: readonly GradedFrame[]): Correlation[] {
  const found: Correlation[] = [];
  for (const quantity of TREND_QUANTITIES) {
    for (const partner of PARTNERS) {
      const x: number[] = [];
      const y: number[] = [];
      for (const frame of frames) {
        const a = partner.value(frame);
        const b = trendValue(quantity, frame);
        if (a === null || b === null) continue;
        x.push(a);
        y.push(b);
      }
      if (x.length < FEWEST_CORRELATED) continue;
      const { rho, pValue } = spearman(x, y);
      if (!(pValue < LARGEST_P) || Math.abs(rho) < SMALLEST_RHO) continue;
      const slope = theilSenSlope(x, y);
      const change = Math.abs(slope) * (Math.max(...x) - Math.min(...x));
      if (change < LEAST_RUN * leastStep(quantity, medianOf(y))) continue;
      found.push({ quantity, with: partner.name, frames: x.length, rho, pValue, slope });
    }
  }
  return found;
}
