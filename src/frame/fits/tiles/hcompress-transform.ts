/** The inverse H-transform with its rounding, and the smoothing of lossy tiles, step by step as cfitsio takes them (from memory of
 * R. L. White's algorithm; checked against cfitsio's output, which it equals to the last bit).
 *
 * Each level turns a mean, two differences and a curvature into 2 × 2 values. Integers in doubles: `floor(x / 2^n)` stands for a
 * shift, and the low bits that the forward transform dropped are put back from parities.
 */

/** Smallest n with 2^n ≥ size; 0 for sizes 0 and 1. */
export function levelsOf(size: number): number {
  return size <= 1 ? 0 : 32 - Math.clz32(size - 1);
}

/**
 * Inverts the transform in place.
 * @param smoothScale scale of the quantisation when lossy tiles are to be smoothed, else 0
 */
export function inverseTransform(
  values: Float64Array,
  rows: number,
  columns: number,
  smoothScale: number,
): void {
  const levels = levelsOf(Math.max(rows, columns));
  if (levels === 0) return;
  const scratch = new Float64Array((Math.max(rows, columns) + 1) >> 1);
  let unit = 2 ** (levels - 1);
  values[0] = roundTo(values[0] as number, unit * 4, 0.25 / unit);
  let [levelRows, levelColumns] = [1, 1];
  let [restRows, restColumns] = [rows, columns];
  let size = 2 ** levels;
  for (let level = levels - 1; level >= 0; level--) {
    size /= 2;
    levelRows *= 2;
    levelColumns *= 2;
    if (restRows <= size) levelRows--;
    else restRows -= size;
    if (restColumns <= size) levelColumns--;
    else restColumns -= size;
    for (let i = 0; i < levelRows; i++) interleave(values, columns * i, levelColumns, 1, scratch);
    for (let j = 0; j < levelColumns; j++) interleave(values, j, levelRows, columns, scratch);
    const most = Math.floor(smoothScale / 2);
    if (most > 0) {
      smoothRows(values, levelRows, levelColumns, columns, most);
      smoothColumns(values, levelRows, levelColumns, columns, most);
      smoothCurvature(values, levelRows, levelColumns, columns, most);
    }
    joinLevel(values, levelRows, levelColumns, columns, unit, level === 0 ? 0.25 : 0.5);
    unit /= 2;
  }
}

/** To the nearest multiple of `step`, a power of two with reciprocal `inverse`: halves upwards for positive, downwards for negative
 * numbers.
 */
function roundTo(value: number, step: number, inverse: number): number {
  const half = Math.floor(step * 0.5);
  const offset = value >= 0 ? half : Math.max(0, half - 1);
  return Math.floor((value + offset) * inverse) * step;
}

/** The first half of a line goes to its even places, the second half to the odd ones. */
function interleave(
  values: Float64Array,
  origin: number,
  count: number,
  stride: number,
  scratch: Float64Array,
): void {
  const half = (count + 1) >> 1;
  for (let i = half; i < count; i++) scratch[i - half] = values[origin + i * stride] as number;
  for (let i = half - 1; i > 0; i--) {
    values[origin + 2 * i * stride] = values[origin + i * stride] as number;
  }
  for (let i = half; i < count; i++) {
    values[origin + (2 * (i - half) + 1) * stride] = scratch[i - half] as number;
  }
}

/** 1 when the bit of weight 1 / `inverse` is set in the two's complement of an integer, else 0. */
function bitAt(value: number, inverse: number): number {
  const shifted = Math.floor(value * inverse);
  return shifted - 2 * Math.floor(shifted * 0.5);
}

/** Turns (mean, differences, curvature) into 2 × 2 values; `unit` is the weight of the lowest bit of a curvature. */
function joinLevel(
  values: Float64Array,
  rows: number,
  columns: number,
  stride: number,
  unit: number,
  factor: number,
): void {
  const pair = unit * 2;
  const perUnit = 1 / unit;
  const perPair = 1 / pair;
  const evenRows = rows & ~1;
  const evenColumns = columns & ~1;
  for (let i = 0; i < evenRows; i += 2) {
    let upper = stride * i;
    let lower = upper + stride;
    for (let j = 0; j < evenColumns; j += 2) {
      let mean = values[upper] as number;
      let down = roundTo(values[lower] as number, pair, perPair);
      let across = roundTo(values[upper + 1] as number, pair, perPair);
      const curve = roundTo(values[lower + 1] as number, unit, perUnit);
      const low = bitAt(curve, perUnit) * unit;
      down += down >= 0 ? -low : low;
      across += across >= 0 ? -low : low;
      const odd = (bitAt(curve, perPair) + bitAt(down, perPair) + bitAt(across, perPair)) & 1;
      const low1 = odd * pair;
      if (mean >= 0) mean += low - low1;
      else mean += low === 0 ? low1 : low - low1;
      values[lower + 1] = Math.floor((mean + down + across + curve) * factor);
      values[lower] = Math.floor((mean + down - across - curve) * factor);
      values[upper + 1] = Math.floor((mean - down + across - curve) * factor);
      values[upper] = Math.floor((mean - down - across + curve) * factor);
      upper += 2;
      lower += 2;
    }
    if (evenColumns < columns) joinTwo(values, upper, lower, pair, factor);
  }
  if (evenRows === rows) return;
  let at = stride * evenRows;
  for (let j = 0; j < evenColumns; j += 2) {
    joinTwo(values, at, at + 1, pair, factor);
    at += 2;
  }
  if (evenColumns < columns) values[at] = Math.floor((values[at] as number) * factor);
}

/** At an odd edge: a mean and one difference. */
function joinTwo(
  values: Float64Array,
  first: number,
  second: number,
  pair: number,
  factor: number,
): void {
  let mean = values[first] as number;
  const difference = roundTo(values[second] as number, pair, 1 / pair);
  const low = bitAt(difference, 1 / pair) * pair;
  mean += mean >= 0 ? -low : low;
  values[second] = Math.floor((mean + difference) * factor);
  values[first] = Math.floor((mean - difference) * factor);
}

/** A correction of a difference: what the slope asks for, at most half a quantisation step. */
function limited(wanted: number, divisor: number, most: number): number {
  return Math.max(Math.min(Math.trunc(wanted / divisor), most), -most);
}

/** Vertical differences follow the slope of the means above and below, where these are monotonic. */
function smoothRows(
  values: Float64Array,
  rows: number,
  columns: number,
  stride: number,
  most: number,
): void {
  for (let i = 2; i < rows - 2; i += 2) {
    for (let j = 0; j < columns; j += 2) {
      const at = stride * i + j;
      correctSlope(values, at, 2 * stride, at + stride, most);
    }
  }
}

/** The same for horizontal differences. */
function smoothColumns(
  values: Float64Array,
  rows: number,
  columns: number,
  stride: number,
  most: number,
): void {
  for (let i = 0; i < rows; i += 2) {
    for (let j = 2; j < columns - 2; j += 2) {
      const at = stride * i + j;
      correctSlope(values, at, 2, at + 1, most);
    }
  }
}

function correctSlope(
  values: Float64Array,
  at: number,
  step: number,
  target: number,
  most: number,
): void {
  const before = values[at - step] as number;
  const here = values[at] as number;
  const after = values[at + step] as number;
  const highest = Math.max(Math.min(after - here, here - before), 0) * 4;
  const lowest = Math.min(Math.max(after - here, here - before), 0) * 4;
  if (lowest >= highest) return;
  const slope = Math.max(Math.min(after - before, highest), lowest);
  const difference = values[target] as number;
  values[target] = difference + limited(slope - difference * 8, 8, most);
}

function smoothCurvature(
  values: Float64Array,
  rows: number,
  columns: number,
  stride: number,
  most: number,
): void {
  for (let i = 2; i < rows - 2; i += 2) {
    for (let j = 2; j < columns - 2; j += 2) {
      const at = stride * i + j;
      const mm = values[at - 2 * stride - 2] as number;
      const pm = values[at + 2 * stride - 2] as number;
      const mp = values[at - 2 * stride + 2] as number;
      const pp = values[at + 2 * stride + 2] as number;
      const here = values[at] as number;
      const down = (values[at + stride] as number) * 2;
      const across = (values[at + 1] as number) * 2;
      const highest =
        Math.min(
          Math.max(pp - here, 0) - down - across,
          Math.max(here - pm, 0) + down - across,
          Math.max(here - mp, 0) - down + across,
          Math.max(mm - here, 0) + down + across,
        ) * 16;
      const lowest =
        Math.max(
          Math.min(pp - here, 0) - down - across,
          Math.min(here - pm, 0) + down - across,
          Math.min(here - mp, 0) - down + across,
          Math.min(mm - here, 0) + down + across,
        ) * 16;
      if (lowest >= highest) continue;
      const wanted = Math.max(Math.min(pp + mm - mp - pm, highest), lowest);
      const target = at + stride + 1;
      const curve = values[target] as number;
      values[target] = curve + limited(wanted - curve * 64, 64, most);
    }
  }
}
