/** Levels of the four lattices of a frame (sites with even or odd x and y), compared on many small tiles.
 *
 * A tile has an odd side and starts on an even site, so that its four lattices have the same centroid: a linear gradient of the sky
 * cancels exactly. Level = midmean (mean of the middle half): robust against stars, yet not stuck to the steps of the
 * converter as a median is. Over the tiles the differences are combined by their median, and its error from their scatter.
 */
import { createFloatReader } from './convert.js';
import type { RowSource } from './frame.js';

/** Side of a tile in pixels: odd. */
const TILE_SIDE = 17;
/** Tiles across and down: enough to find a difference of a thirtieth of the pixel noise. */
const TILES_PER_SIDE = 12;
/** Fewer tiles than this say nothing about their scatter. */
const MIN_TILES = 9;
const MAD_TO_SIGMA = 1.4826;
/** Error of a median over that of a mean, for a normal distribution: √(π/2). */
const MEDIAN_ERROR = 1.2533;

/** Differences below this many errors are chance. */
const SIGNIFICANT = 6;
/** Greens agree when they differ by less than this part of the wrong diagonal; real sensors reach 0.12 (Gr against Gb in a flat). */
const GREEN_AGREEMENT = 0.35;
/**
 * Smallest difference of the wrong diagonal, in units of the pixel noise, that counts as colour. Mono frames stay below 0.07 and
 * an unlit mosaic (dark, bias) below 0.16; a moderately lit mosaic shows 2 to 4.
 */
const LEAST_COLOUR = 0.25;

/** A difference with its 1 σ error, ADU. */
interface Difference {
  value: number;
  error: number;
}

/** Differences between the lattices; (row, column) parity: 00 is the lattice of the first stored sample. */
export interface LatticeDifferences {
  tiles: number;
  /** 00 − 11. */
  main: Difference;
  /** 01 − 10. */
  anti: Difference;
  /** Mean of 00 and 11 minus mean of 01 and 10. */
  cross: Difference;
  /** Median over tiles of the scatter of the samples inside one lattice, 1 σ, ADU. */
  noise: number;
}

/** Measures the differences on plane 0; null when the frame is too small or too empty. Reads at most 12 × 17 rows. */
export function measureLattices(rows: RowSource): LatticeDifferences | null {
  const { width, height } = rows;
  const xStarts = tileStarts(width);
  const yStarts = tileStarts(height);
  if (xStarts.length * yStarts.length < MIN_TILES) return null;

  const read = createFloatReader(rows);
  const band = new Float32Array(TILE_SIDE * width);
  const scratch = new Float64Array(((TILE_SIDE + 1) / 2) ** 2);
  const capacity = xStarts.length * yStarts.length;
  const main = new Float64Array(capacity);
  const anti = new Float64Array(capacity);
  const cross = new Float64Array(capacity);
  const noise = new Float64Array(capacity);
  let tiles = 0;
  for (const y of yStarts) {
    read(0, y, TILE_SIDE, band);
    for (const x of xStarts) {
      const m00 = latticeLevel(band, width, x, 0, scratch);
      const spread = midspread;
      const m01 = latticeLevel(band, width, x + 1, 0, scratch);
      const m10 = latticeLevel(band, width, x, 1, scratch);
      const m11 = latticeLevel(band, width, x + 1, 1, scratch);
      if (Number.isNaN(m00 + m01 + m10 + m11)) continue;
      main[tiles] = m00 - m11;
      anti[tiles] = m01 - m10;
      cross[tiles] = (m00 + m11 - m01 - m10) / 2;
      noise[tiles] = spread;
      tiles++;
    }
  }
  if (tiles < MIN_TILES) return null;
  return {
    tiles,
    main: combine(main.subarray(0, tiles)),
    anti: combine(anti.subarray(0, tiles)),
    cross: combine(cross.subarray(0, tiles)),
    noise: median(noise.subarray(0, tiles)),
  };
}

/** What the pixels say: the diagonal on which green lies, a checkerboard that leaves it open, or nothing. */
export type LatticeVerdict = 'green-main' | 'green-anti' | 'checkerboard' | 'none';

/**
 * The two green sites of a cell lie on one diagonal and agree; red and blue on the other differ, because neither sky nor sensor is
 * equally bright in both. Where both diagonals agree but differ from each other, green cannot be named.
 */
export function judgeLattices(differences: LatticeDifferences): LatticeVerdict {
  const { main, anti, cross, noise } = differences;
  if (showsColour(anti, noise) && agrees(main, anti)) return 'green-main';
  if (showsColour(main, noise) && agrees(anti, main)) return 'green-anti';
  const even = !showsColour(anti, noise) && !showsColour(main, noise);
  return even && showsColour(cross, noise) ? 'checkerboard' : 'none';
}

function showsColour({ value, error }: Difference, noise: number): boolean {
  const size = Math.abs(value);
  return size > SIGNIFICANT * error && size > LEAST_COLOUR * noise && size > 0;
}

function agrees(green: Difference, wrong: Difference): boolean {
  const limit = GREEN_AGREEMENT * Math.abs(wrong.value);
  return Math.abs(green.value) < limit && SIGNIFICANT * green.error < Math.abs(wrong.value);
}

/** Even positions of tiles, spread evenly; adjoining when there is no room for more. */
function tileStarts(length: number): number[] {
  const room = Math.floor(length / (TILE_SIDE + 1));
  const count = Math.min(TILES_PER_SIDE, room);
  const starts: number[] = [];
  for (let i = 0; i < count; i++) {
    starts.push(2 * Math.floor(((i + 0.5) * length) / count / 2 - TILE_SIDE / 4));
  }
  return starts;
}

/** Scatter of the last lattice looked at: half the midspread in units of σ (a second result without an object per call). */
let midspread = Number.NaN;

/** Midmean of every second sample of every second row of the tile; NaN when more than half have no value. */
function latticeLevel(
  band: Float32Array,
  width: number,
  x0: number,
  row0: number,
  scratch: Float64Array,
): number {
  const columns = x0 % 2 === 0 ? (TILE_SIDE + 1) / 2 : (TILE_SIDE - 1) / 2;
  let count = 0;
  for (let row = row0; row < TILE_SIDE; row += 2) {
    const base = row * width + x0;
    for (let i = 0; i < columns; i++) {
      const value = band[base + 2 * i] as number;
      if (Number.isFinite(value)) scratch[count++] = value;
    }
  }
  if (count < columns * 4) return Number.NaN;
  const sorted = scratch.subarray(0, count).sort();
  const low = count >> 2;
  const high = count - low;
  let sum = 0;
  for (let i = low; i < high; i++) sum += sorted[i] as number;
  // The midspread of a normal distribution is 1.349 σ.
  midspread = ((sorted[high - 1] as number) - (sorted[low] as number)) / 1.349;
  return sum / (high - low);
}

function combine(values: Float64Array): Difference {
  const value = median(values);
  const deviations = values.map((v) => Math.abs(v - value));
  const sigma = MAD_TO_SIGMA * median(deviations);
  return { value, error: (MEDIAN_ERROR * sigma) / Math.sqrt(values.length) };
}

function median(values: Float64Array): number {
  const sorted = values.slice().sort();
  const half = sorted.length >> 1;
  return sorted.length % 2 === 1
    ? (sorted[half] as number)
    : ((sorted[half - 1] as number) + (sorted[half] as number)) / 2;
}
