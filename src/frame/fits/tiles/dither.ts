/** Quantised floats: integers × scale + zero, with the random offsets that were added before rounding taken off again
 * (FITS Standard 4.0, §10.2 and Appendix I, from memory; checked against cfitsio).
 */

/** How a float image was quantised: without offsets; with; with, but exact zeros kept apart. */
export type Dither = 'none' | 'subtractive-1' | 'subtractive-2';

const RANDOM_COUNT = 10_000;
/** Stored for an exact zero under SUBTRACTIVE_DITHER_2. */
const ZERO_VALUE = -2147483646;
/** Park and Miller's generator: seed ← 16807 × seed mod (2^31 − 1), from seed 1. */
const MULTIPLIER = 16807;
const MODULUS = 2147483647;

let table: Float32Array | null = null;

/** The standard's 10,000 random numbers as 32-bit floats, and the seed after the last: 1043618065, as it must be. */
export function ditherSequence(): { values: Float32Array; lastSeed: number } {
  const values = new Float32Array(RANDOM_COUNT);
  let seed = 1;
  for (let i = 0; i < RANDOM_COUNT; i++) {
    // Below 2^46: exact in a double.
    seed = (MULTIPLIER * seed) % MODULUS;
    values[i] = seed / MODULUS;
  }
  return { values, lastSeed: seed };
}

/** How one tile was quantised. */
export interface Quantisation {
  scale: number;
  zero: number;
  /** Stored integer that means NaN, or null. */
  blank: number | null;
  dither: Dither;
  /** Row of the tile in the table, from 0, plus ZDITHER0 − 1. */
  seed: number;
}

/** Writes the physical values of `stored` into `out`, computed in double precision and rounded once. */
export function unquantise(
  stored: Int32Array,
  length: number,
  { scale, zero, blank, dither, seed }: Quantisation,
  out: Float32Array | Float64Array,
): void {
  if (dither === 'none') {
    for (let i = 0; i < length; i++) out[i] = (stored[i] as number) * scale + zero;
  } else {
    table ??= ditherSequence().values;
    undither(stored, length, scale, zero, table, seed % RANDOM_COUNT, out);
    if (dither === 'subtractive-2') {
      for (let i = 0; i < length; i++) if (stored[i] === ZERO_VALUE) out[i] = 0;
    }
  }
  if (blank === null) return;
  for (let i = 0; i < length; i++) if (stored[i] === blank) out[i] = Number.NaN;
}

function undither(
  stored: Int32Array,
  length: number,
  scale: number,
  zero: number,
  random: Float32Array,
  start: number,
  out: Float32Array | Float64Array,
): void {
  let first = start;
  let next = Math.floor((random[first] as number) * 500);
  for (let i = 0; i < length; i++) {
    out[i] = ((stored[i] as number) - (random[next] as number) + 0.5) * scale + zero;
    if (++next === RANDOM_COUNT) {
      first = first + 1 === RANDOM_COUNT ? 0 : first + 1;
      next = Math.floor((random[first] as number) * 500);
    }
  }
}
