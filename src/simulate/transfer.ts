/** Transfer functions on the half plane of frequencies that matter: seeing, displacement, pixel, guiding. */
import { lagrangeWeights } from './interpolate.js';
import { TRANSFER_OVERSAMPLING } from './radial-pupil.js';

/**
 * Kolmogorov long-exposure transfer function exp(−3.44 (λf/r₀)^{5/3}) (Fried 1966, JOSA 56, 1372) has
 * FWHM = 0.976 λ/r₀, so it is exp(−KOLMOGOROV (f · FWHM)^{5/3}) with f in cycles per unit of FWHM.
 */
const KOLMOGOROV = 3.44 / 0.9759 ** (5 / 3);

/** Frequencies whose transfer lies below this are left out. */
const NEGLIGIBLE_TRANSFER = 1e-7;

/** A half plane of the grid's frequencies; the other half follows from the images being real. */
export interface Frequencies {
  count: number;
  /** Points along each axis of the grid. */
  size: number;
  /** Largest |row| and column. */
  reach: number;
  /** Cycles per px of one frequency step. */
  perCycle: number;
  columns: Int16Array;
  rows: Int16Array;
  /** |f|^{5/3}, f in cycles per px. */
  radius53: Float64Array;
}

/** Frequency (cycles per px) beyond which seeing of this FWHM (px) leaves nothing. */
export function seeingLimit(fwhmPx: number): number {
  return fwhmPx > 0
    ? (Math.log(1 / NEGLIGIBLE_TRANSFER) / KOLMOGOROV) ** 0.6 / fwhmPx
    : Number.POSITIVE_INFINITY;
}

/** exp(−KOLMOGOROV (f · FWHM)^{5/3}) for f in cycles per px. */
export function seeingTransfer(frequency: number, fwhmPx: number): number {
  return Math.exp(-KOLMOGOROV * (frequency * fwhmPx) ** (5 / 3));
}

/** All frequencies of a grid up to `limit` cycles per px. */
export function frequenciesWithin(size: number, perPixel: number, limit: number): Frequencies {
  const perCycle = perPixel / size;
  const radius = Math.min(limit, perPixel / 2 - perCycle) / perCycle;
  const reach = Math.floor(radius);
  const columns: number[] = [];
  const rows: number[] = [];
  for (let row = -reach; row <= reach; row++)
    for (let column = 0; column <= reach; column++) {
      if (column === 0 && row < 0) continue;
      if (row * row + column * column > radius * radius) continue;
      columns.push(column);
      rows.push(row);
    }
  const radius53 = new Float64Array(columns.length);
  for (let i = 0; i < columns.length; i++)
    radius53[i] = (Math.sqrt(columns[i] ** 2 + rows[i] ** 2) * perCycle) ** (5 / 3);
  return {
    count: columns.length,
    size,
    reach,
    perCycle,
    columns: Int16Array.from(columns),
    rows: Int16Array.from(rows),
    radius53,
  };
}

/** Samples of a radial transfer function that cover all frequencies, with room for the interpolation. */
export function radialSamples(frequencies: Frequencies): number {
  return (frequencies.reach + 2) * TRANSFER_OVERSAMPLING + 4;
}

/** Spreads a radial transfer function over the half plane; even about f = 0. */
export function spreadRadial(
  radial: Float64Array,
  frequencies: Frequencies,
  out: Float64Array,
): void {
  const { count, columns, rows } = frequencies;
  const weights = new Float64Array(6);
  for (let i = 0; i < count; i++) {
    const position = Math.sqrt(columns[i] * columns[i] + rows[i] * rows[i]) * TRANSFER_OVERSAMPLING;
    const base = Math.floor(position);
    lagrangeWeights(position - base, weights);
    let value = 0;
    for (let k = 0; k < 6; k++) value += weights[k] * radial[Math.abs(base + k - 2)];
    out[i] = value;
  }
}

/** Reads one of two real images' transfer (part 0: real, part 1: imaginary image) out of their joint spectrum. */
export function extractTransfer(
  spectrum: Float64Array,
  frequencies: Frequencies,
  part: number,
  re: Float64Array,
  im: Float64Array,
): void {
  const { count, size, columns, rows } = frequencies;
  for (let i = 0; i < count; i++) {
    const column = columns[i];
    const row = rows[i];
    const at = 2 * ((row < 0 ? row + size : row) * size + column);
    const mirror = 2 * ((row > 0 ? size - row : -row) * size + (column === 0 ? 0 : size - column));
    if (part === 0) {
      re[i] = 0.5 * (spectrum[at] + spectrum[mirror]);
      im[i] = 0.5 * (spectrum[at + 1] - spectrum[mirror + 1]);
    } else {
      re[i] = 0.5 * (spectrum[at + 1] + spectrum[mirror + 1]);
      im[i] = 0.5 * (spectrum[mirror] - spectrum[at]);
    }
  }
}

/** Multiplies a transfer by seeing of `fwhmPx`. */
export function applySeeing(
  frequencies: Frequencies,
  fwhmPx: number,
  re: Float64Array,
  im: Float64Array,
): void {
  const rate = KOLMOGOROV * fwhmPx ** (5 / 3);
  if (rate === 0) return;
  const { count, radius53 } = frequencies;
  for (let i = 0; i < count; i++) {
    const factor = Math.exp(-rate * radius53[i]);
    re[i] *= factor;
    im[i] *= factor;
  }
}

/** Multiplies a transfer by exp(−2πi f·d): the image moves by (x, y) px. */
export function applyDisplacement(
  frequencies: Frequencies,
  x: number,
  y: number,
  re: Float64Array,
  im: Float64Array,
): void {
  if (x === 0 && y === 0) return;
  const { count, columns, rows, reach } = frequencies;
  const [cosX, sinX] = phaseTable(frequencies, x);
  const [cosY, sinY] = phaseTable(frequencies, y);
  for (let i = 0; i < count; i++) {
    const column = columns[i] + reach;
    const row = rows[i] + reach;
    const cos = cosX[column] * cosY[row] - sinX[column] * sinY[row];
    const sin = sinX[column] * cosY[row] + cosX[column] * sinY[row];
    const value = re[i];
    re[i] = value * cos - im[i] * sin;
    im[i] = value * sin + im[i] * cos;
  }
}

/** The transfer that all wavelengths share: pixel box, Gaussian jitter, uniform drift. */
export function commonTransfer(
  frequencies: Frequencies,
  pixelIncluded: boolean,
  jitterPx: number,
  driftPx: readonly [number, number],
): Float64Array {
  const { count, columns, rows, perCycle } = frequencies;
  const rate = 2 * Math.PI * Math.PI * jitterPx * jitterPx;
  const out = new Float64Array(count);
  for (let i = 0; i < count; i++) {
    const x = columns[i] * perCycle;
    const y = rows[i] * perCycle;
    const pixel = pixelIncluded ? sinc(x) * sinc(y) : 1;
    out[i] = pixel * Math.exp(-rate * (x * x + y * y)) * sinc(x * driftPx[0] + y * driftPx[1]);
  }
  return out;
}

/** Adds a transfer and its mirror half plane to a full spectrum, as that of its real (part 0) or imaginary image. */
export function placeTransfer(
  frequencies: Frequencies,
  re: Float64Array,
  im: Float64Array,
  part: number,
  spectrum: Float64Array,
): void {
  const { count, size, columns, rows } = frequencies;
  for (let i = 0; i < count; i++) {
    const column = columns[i];
    const row = rows[i];
    const at = 2 * ((row < 0 ? row + size : row) * size + column);
    const mirror = 2 * ((row > 0 ? size - row : -row) * size + (column === 0 ? 0 : size - column));
    if (part === 0) {
      spectrum[at] += re[i];
      spectrum[at + 1] += im[i];
      if (mirror === at) continue;
      spectrum[mirror] += re[i];
      spectrum[mirror + 1] -= im[i];
    } else {
      spectrum[at] -= im[i];
      spectrum[at + 1] += re[i];
      if (mirror === at) continue;
      spectrum[mirror] += im[i];
      spectrum[mirror + 1] += re[i];
    }
  }
}

/** cos and sin of −2π f d for the frequencies −reach … reach. */
function phaseTable(frequencies: Frequencies, distancePx: number): [Float64Array, Float64Array] {
  const { reach, perCycle } = frequencies;
  const cos = new Float64Array(2 * reach + 1);
  const sin = new Float64Array(2 * reach + 1);
  for (let k = -reach; k <= reach; k++) {
    const angle = -2 * Math.PI * k * perCycle * distancePx;
    cos[k + reach] = Math.cos(angle);
    sin[k + reach] = Math.sin(angle);
  }
  return [cos, sin];
}

function sinc(x: number): number {
  const argument = Math.PI * x;
  return Math.abs(argument) < 1e-8 ? 1 : Math.sin(argument) / argument;
}
