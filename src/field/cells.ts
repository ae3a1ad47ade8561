/** The map: a grid of cells with sizes, elongation, skew and a mean star each. */
import { createSampleList, gatherSamples } from '../measure/samples.js';
import type { SearchedFrame } from '../measure/search-frame.js';
import { plusMinus } from '../measure/uncertain.js';
import { madSigma, medianOf } from '../stats/robust.js';
import type { ShapeColumns } from './model-data.js';
import { fwhmOfSize } from './response.js';
import type { FieldCell } from './result.js';
import type { StarShapes } from './shapes.js';

/** Stars wanted in a cell, and limits of the grid. */
const STARS_PER_CELL = 12;
const FEWEST_COLUMNS = 3;
const MOST_COLUMNS = 11;
/** A median of n values scatters by 1.2533 σ/√n (normal; Kendall & Stuart, memory). */
const MEDIAN_FACTOR = 1.2533;
const STAMP_STARS = 15;
const LARGEST_STAMP_RADIUS = 20;

/** Columns and rows: odd, so that there is a centre, near-square cells, on average at least 12 stars each where that allows 3 × 3. */
export function chooseGrid(stars: number, width: number, height: number): [number, number] {
  const cells = stars / STARS_PER_CELL;
  const fit = (value: number): number => {
    const odd = 2 * Math.floor((Math.floor(value) - 1) / 2) + 1;
    return Math.max(FEWEST_COLUMNS, Math.min(MOST_COLUMNS, odd));
  };
  return [fit(Math.sqrt((cells * width) / height)), fit(Math.sqrt((cells * height) / width))];
}

/** (a − b)/(a + b) as components, from Q/T = (a² − b²)/(a² + b²). */
export function ellipticityOf(t: number, q1: number, q2: number): [number, number] {
  const g = Math.sqrt(q1 * q1 + q2 * q2) / t;
  if (!(g > 1e-9)) return [0, 0];
  const e = g < 1 ? (1 - Math.sqrt(1 - g * g)) / g : 1;
  return [(e * q1) / (t * g), (e * q2) / (t * g)];
}

/**
 * Sorts stars into cells.
 * @param columns the stars (of one frame, or averaged over several)
 * @param colour shapes whose red and blue sizes belong to the same rows, or null
 * @param rows index of each star in `colour` and in the stamps
 * @param searched frame the stamps were cut from; null leaves out pictures
 * @param recordedOffset what T lacks of the recorded star's, px²
 */
export function makeCells(
  columns: ShapeColumns,
  colour: StarShapes,
  rows: readonly number[],
  searched: SearchedFrame | null,
  recordedOffset = 0,
): FieldCell[] {
  const { n, width, height } = columns;
  const [across, down] = chooseGrid(n, width, height);
  const members: number[][] = Array.from({ length: across * down }, () => []);
  for (let i = 0; i < n; i++) {
    const column = Math.floor((((columns.x[i] as number) + 0.5) / width) * across);
    const row = Math.floor((((columns.y[i] as number) + 0.5) / height) * down);
    const at =
      Math.min(down - 1, Math.max(0, row)) * across + Math.min(across - 1, Math.max(0, column));
    (members[at] as number[]).push(i);
  }
  const cells: FieldCell[] = [];
  members.forEach((list, at) => {
    if (list.length < 3) return;
    const column = at % across;
    const row = Math.floor(at / across);
    cells.push({
      ...summarise(columns, colour, rows, list, recordedOffset),
      left: (column * width) / across - 0.5,
      right: ((column + 1) * width) / across - 0.5,
      top: ((row + 1) * height) / down - 0.5,
      bottom: (row * height) / down - 0.5,
      stamp: searched ? stackStars(searched, colour, rows, list) : null,
    });
  });
  return cells;
}

/** Median with its error from the scatter of the members. */
function middle(values: readonly number[]): [number, number] {
  const median = medianOf(values);
  return [
    median,
    (MEDIAN_FACTOR * madSigma(Float64Array.from(values), median)) / Math.sqrt(values.length),
  ];
}

function summarise(
  columns: ShapeColumns,
  colour: StarShapes,
  rows: readonly number[],
  list: readonly number[],
  recordedOffset: number,
): Omit<FieldCell, 'left' | 'right' | 'top' | 'bottom' | 'stamp'> {
  const of = (column: Float64Array): number[] => list.map((i) => column[i] as number);
  const mean = (values: readonly number[]): number =>
    values.reduce((sum, value) => sum + value, 0) / values.length;
  const [t] = middle(of(columns.t));
  const [q1, q1Error] = middle(of(columns.q1));
  const [q2, q2Error] = middle(of(columns.q2));
  const [k1, k1Error] = middle(of(columns.k1));
  const [k2, k2Error] = middle(of(columns.k2));
  const [e1, e2] = ellipticityOf(t, q1, q2);
  const recorded = (size: number): number => fwhmOfSize(size + recordedOffset);
  const fwhm = plusMinus(...middle(of(columns.t).map(recorded)));
  const channel = (sizes: Float64Array | undefined): FieldCell['fwhmPx'] | null => {
    if (!sizes) return null;
    const known = list.map((i) => sizes[rows[i] as number] as number).filter(Number.isFinite);
    return known.length < 3 ? null : plusMinus(...middle(known.map(recorded)));
  };
  return {
    x: mean(of(columns.x)),
    y: mean(of(columns.y)),
    stars: list.length,
    fwhmPx: fwhm,
    redFwhmPx: channel(colour.red?.t),
    blueFwhmPx: channel(colour.blue?.t),
    e1,
    e2,
    ellipticityError: Math.sqrt(0.5 * (q1Error ** 2 + q2Error ** 2)) / (2 * t),
    skewX: k1,
    skewY: k2,
    skewError: Math.sqrt(0.5 * (k1Error ** 2 + k2Error ** 2)),
  };
}

/** Mean of the brightest stars of a cell on a grid of whole px about their centres, each sample shared by its four nearest grid points. */
function stackStars(
  searched: SearchedFrame,
  shapes: StarShapes,
  rows: readonly number[],
  list: readonly number[],
): FieldCell['stamp'] {
  const { stamps } = shapes;
  const radius = Math.min(LARGEST_STAMP_RADIUS, stamps.radius - 1);
  const side = 2 * radius + 1;
  const sum = new Float64Array(side * side);
  const weight = new Float64Array(side * side);
  const samples = createSampleList(stamps.side * stamps.side * stamps.planes);
  const brightest = list
    .map((i) => rows[i] as number)
    .sort((a, b) => (shapes.fluxAdu[b] as number) - (shapes.fluxAdu[a] as number) || a - b)
    .slice(0, STAMP_STARS);
  for (const i of brightest) {
    const stamp = shapes.stamp[i] as number;
    const x = (shapes.x[i] as number) - (stamps.cx[stamp] as number);
    const y = (shapes.y[i] as number) - (stamps.cy[stamp] as number);
    const flux = shapes.fluxAdu[i] as number;
    gatherSamples(stamps, stamp, searched.plan, searched.plan.reference, x, y, 0, radius, samples);
    for (let s = 0; s < samples.n; s++) {
      const dx = (samples.dx[s] as number) - x + radius;
      const dy = (samples.dy[s] as number) - y + radius;
      const column = Math.floor(dx);
      const row = Math.floor(dy);
      for (let j = 0; j < 2; j++)
        for (let k = 0; k < 2; k++) {
          if (row + j < 0 || row + j >= side || column + k < 0 || column + k >= side) continue;
          // Brighter stars count more, as their noise is smaller beside their light.
          const share = (j ? dy - row : 1 - dy + row) * (k ? dx - column : 1 - dx + column);
          const at = (row + j) * side + column + k;
          sum[at] = (sum[at] as number) + share * (samples.value[s] as number);
          weight[at] = (weight[at] as number) + share * flux;
        }
    }
  }
  let peak = 0;
  const pixels = Array.from(sum, (value, at) => {
    const mean = (weight[at] as number) > 0 ? value / (weight[at] as number) : Number.NaN;
    if (mean > peak) peak = mean;
    return mean;
  });
  if (!(peak > 0)) return null;
  return {
    side,
    pixels: pixels.map((value) =>
      Number.isFinite(value) ? Math.round((1e4 * value) / peak) / 1e4 : 0,
    ),
  };
}
