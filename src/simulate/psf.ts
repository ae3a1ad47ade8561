/** Polychromatic point-spread functions: pupil images at many wavelengths, blurred by air, guiding and the pixel. */
import { Fft2d } from './fft2d.js';
import { type ImageGrid, PupilImager, type Wavefront } from './pupil.js';

/** One narrow slice of the spectrum: its pupil images are summed, seeing and displacement are those of its middle. */
export interface SpectralCell {
  middleNm: number;
  widthNm: number;
  nodes: readonly { wavelengthNm: number; weight: number }[];
}

/** Everything that blurs the light at one point of the field. */
export interface Blur {
  wavefront(wavelengthNm: number): Wavefront;
  /** Displacement of the light, px. */
  displacementPx(wavelengthNm: number): readonly [number, number];
  /** Full width at half maximum of the long-exposure seeing, px; 0 = none. */
  seeingFwhmPx(wavelengthNm: number): number;
  /** Standard deviation of the guiding error along each axis, px. */
  jitterPx: number;
  /** Straight drift during the exposure, px. */
  driftPx: readonly [number, number];
  /** False leaves out the camera pixel (for tests of the optics alone). */
  pixelIncluded: boolean;
}

/** One polychromatic image wanted: the share of each spectral cell, and a displacement to be taken off, px. */
export interface PsfRequest {
  cellWeights: ArrayLike<number>;
  offsetPx: readonly [number, number];
}

/**
 * Kolmogorov long-exposure transfer function exp(−3.44 (λf/r₀)^{5/3}) (Fried 1966, JOSA 56, 1372) has
 * FWHM = 0.976 λ/r₀, so it is exp(−KOLMOGOROV (f · FWHM)^{5/3}) with f in cycles per unit of FWHM.
 */
const KOLMOGOROV = 3.44 / 0.9759 ** (5 / 3);

/** Frequencies whose transfer lies below this in every cell are left out. */
const NEGLIGIBLE_TRANSFER = 1e-7;

/** Makes point-spread functions on one grid; keeps its scratch between calls. */
export class PsfMaker {
  readonly grid: ImageGrid;
  readonly focalRatio: number;
  private readonly imager: PupilImager;
  private readonly fft: Fft2d;
  private readonly first: Float64Array;
  private readonly second: Float64Array;
  private readonly spectrum: Float64Array;

  constructor(grid: ImageGrid, focalRatio: number) {
    const points = grid.size * grid.size;
    this.grid = grid;
    this.focalRatio = focalRatio;
    this.imager = new PupilImager(grid, focalRatio);
    this.fft = new Fft2d(grid.size);
    this.first = new Float64Array(points);
    this.second = new Float64Array(points);
    this.spectrum = new Float64Array(2 * points);
  }

  /**
   * The images asked for: size × size, a star's nominal place at element (size/2, size/2). Each point holds what a
   * camera pixel centred there would record of a star of flux 1, divided by perPixel²; the sum falls short of 1 by
   * the light diffracted beyond the grid.
   */
  make(
    cells: readonly SpectralCell[],
    blur: Blur,
    requests: readonly PsfRequest[],
  ): Float32Array[] {
    const active = this.activeFrequencies(cells, blur);
    const sums = requests.map(() => new Float32Array(2 * active.count));
    const re = new Float64Array(active.count);
    const im = new Float64Array(active.count);
    for (let cell = 0; cell < cells.length; cell += 2) {
      this.sumPupilImages(cells[cell], blur, this.first);
      const pair = cell + 1 < cells.length;
      if (pair) this.sumPupilImages(cells[cell + 1], blur, this.second);
      else this.second.fill(0);
      interleave(this.first, this.second, this.spectrum);
      // Two real images share one complex transform; Hermitian symmetry separates them again.
      this.fft.transform(this.spectrum, false);
      for (let part = 0; part < (pair ? 2 : 1); part++) {
        this.extractTransfer(active, part, re, im);
        blurTransfer(active, cells[cell + part].middleNm, blur, re, im);
        for (let set = 0; set < requests.length; set++) {
          const weight = requests[set].cellWeights[cell + part];
          if (weight !== 0) addScaled(sums[set], re, im, weight);
        }
      }
    }
    return this.invert(active, blur, requests, sums);
  }

  private sumPupilImages(cell: SpectralCell, blur: Blur, out: Float64Array): void {
    out.fill(0);
    let total = 0;
    for (const node of cell.nodes) total += node.weight;
    for (const { wavelengthNm, weight } of cell.nodes)
      this.imager.addImage(wavelengthNm, blur.wavefront(wavelengthNm), weight / total, out);
  }

  /** Half-plane list of the frequencies that matter. */
  private activeFrequencies(cells: readonly SpectralCell[], blur: Blur): ActiveFrequencies {
    const { size, perPixel, pixelUm } = this.grid;
    const perCycle = perPixel / size;
    let shortest = Number.POSITIVE_INFINITY;
    let leastSeeing = Number.POSITIVE_INFINITY;
    for (const cell of cells) {
      for (const node of cell.nodes) shortest = Math.min(shortest, node.wavelengthNm);
      leastSeeing = Math.min(leastSeeing, blur.seeingFwhmPx(cell.middleNm));
    }
    const cutoff = pixelUm / ((shortest / 1000) * this.focalRatio);
    const seeingLimit =
      leastSeeing > 0
        ? (Math.log(1 / NEGLIGIBLE_TRANSFER) / KOLMOGOROV) ** 0.6 / leastSeeing
        : Number.POSITIVE_INFINITY;
    const limit = Math.min(cutoff, seeingLimit, perPixel / 2 - perCycle) / perCycle;
    const columns: number[] = [];
    const rows: number[] = [];
    const reach = Math.floor(limit);
    for (let row = -reach; row <= reach; row++)
      for (let column = 0; column <= reach; column++) {
        if (column === 0 && row < 0) continue;
        if (row * row + column * column <= limit * limit) {
          columns.push(column);
          rows.push(row);
        }
      }
    const count = columns.length;
    const radius53 = new Float64Array(count);
    for (let i = 0; i < count; i++)
      radius53[i] = (Math.sqrt(columns[i] ** 2 + rows[i] ** 2) * perCycle) ** (5 / 3);
    return {
      count,
      size,
      reach,
      perCycle,
      columns: Int16Array.from(columns),
      rows: Int16Array.from(rows),
      radius53,
    };
  }

  private extractTransfer(
    active: ActiveFrequencies,
    part: number,
    re: Float64Array,
    im: Float64Array,
  ): void {
    const { count, size, columns, rows } = active;
    const { spectrum } = this;
    const scale = 0.5;
    for (let i = 0; i < count; i++) {
      const column = columns[i];
      const row = rows[i];
      const at = 2 * ((row < 0 ? row + size : row) * size + column);
      const mirror =
        2 * ((row > 0 ? size - row : -row) * size + (column === 0 ? 0 : size - column));
      if (part === 0) {
        re[i] = scale * (spectrum[at] + spectrum[mirror]);
        im[i] = scale * (spectrum[at + 1] - spectrum[mirror + 1]);
      } else {
        re[i] = scale * (spectrum[at + 1] + spectrum[mirror + 1]);
        im[i] = scale * (spectrum[mirror] - spectrum[at]);
      }
    }
  }

  /** Applies pixel, jitter, drift and offsets, and transforms back, two images at a time. */
  private invert(
    active: ActiveFrequencies,
    blur: Blur,
    requests: readonly PsfRequest[],
    sums: readonly Float32Array[],
  ): Float32Array[] {
    const { size } = this.grid;
    const common = commonTransfer(active, blur);
    const images: Float32Array[] = [];
    for (let set = 0; set < sums.length; set += 2) {
      this.spectrum.fill(0);
      const pair = set + 1 < sums.length;
      for (let part = 0; part < (pair ? 2 : 1); part++) {
        const [x, y] = requests[set + part].offsetPx;
        placeTransfer(active, sums[set + part], common, [-x, -y], part, this.spectrum);
      }
      this.fft.transform(this.spectrum, true);
      for (let part = 0; part < (pair ? 2 : 1); part++)
        images.push(centredImage(this.spectrum, size, part));
    }
    return images;
  }
}

interface ActiveFrequencies {
  count: number;
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

function interleave(first: Float64Array, second: Float64Array, out: Float64Array): void {
  for (let i = 0; i < first.length; i++) {
    out[2 * i] = first[i];
    out[2 * i + 1] = second[i];
  }
}

function addScaled(sum: Float32Array, re: Float64Array, im: Float64Array, weight: number): void {
  for (let i = 0; i < re.length; i++) {
    sum[2 * i] += weight * re[i];
    sum[2 * i + 1] += weight * im[i];
  }
}

/** cos and sin of −2π f d for the frequencies −reach … reach. */
function phaseTable(active: ActiveFrequencies, distancePx: number): [Float64Array, Float64Array] {
  const { reach, perCycle } = active;
  const cos = new Float64Array(2 * reach + 1);
  const sin = new Float64Array(2 * reach + 1);
  for (let k = -reach; k <= reach; k++) {
    const angle = -2 * Math.PI * k * perCycle * distancePx;
    cos[k + reach] = Math.cos(angle);
    sin[k + reach] = Math.sin(angle);
  }
  return [cos, sin];
}

/** Multiplies the transfer of one cell by its seeing and its displacement. */
function blurTransfer(
  active: ActiveFrequencies,
  middleNm: number,
  blur: Blur,
  re: Float64Array,
  im: Float64Array,
): void {
  const { count, radius53, columns, rows, reach } = active;
  const rate = KOLMOGOROV * blur.seeingFwhmPx(middleNm) ** (5 / 3);
  if (rate > 0)
    for (let i = 0; i < count; i++) {
      const factor = Math.exp(-rate * radius53[i]);
      re[i] *= factor;
      im[i] *= factor;
    }
  const [x, y] = blur.displacementPx(middleNm);
  if (x === 0 && y === 0) return;
  const [cosX, sinX] = phaseTable(active, x);
  const [cosY, sinY] = phaseTable(active, y);
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
function commonTransfer(active: ActiveFrequencies, blur: Blur): Float64Array {
  const { count, columns, rows, perCycle } = active;
  const [driftX, driftY] = blur.driftPx;
  const jitter = 2 * Math.PI * Math.PI * blur.jitterPx * blur.jitterPx;
  const out = new Float64Array(count);
  for (let i = 0; i < count; i++) {
    const x = columns[i] * perCycle;
    const y = rows[i] * perCycle;
    const pixel = blur.pixelIncluded ? sinc(x) * sinc(y) : 1;
    out[i] = pixel * Math.exp(-jitter * (x * x + y * y)) * sinc(x * driftX + y * driftY);
  }
  return out;
}

function sinc(x: number): number {
  const argument = Math.PI * x;
  return Math.abs(argument) < 1e-8 ? 1 : Math.sin(argument) / argument;
}

/** Writes transfer × common × displacement into both half planes of `spectrum`, as its real (part 0) or imaginary image. */
function placeTransfer(
  active: ActiveFrequencies,
  transfer: Float32Array,
  common: Float64Array,
  displacementPx: readonly [number, number],
  part: number,
  spectrum: Float64Array,
): void {
  const { count, size, columns, rows, reach } = active;
  const [cosX, sinX] = phaseTable(active, displacementPx[0]);
  const [cosY, sinY] = phaseTable(active, displacementPx[1]);
  for (let i = 0; i < count; i++) {
    const column = columns[i];
    const row = rows[i];
    const cos = cosX[column + reach] * cosY[row + reach] - sinX[column + reach] * sinY[row + reach];
    const sin = sinX[column + reach] * cosY[row + reach] + cosX[column + reach] * sinY[row + reach];
    const a = transfer[2 * i] * common[i];
    const b = transfer[2 * i + 1] * common[i];
    const re = a * cos - b * sin;
    const im = a * sin + b * cos;
    const at = 2 * ((row < 0 ? row + size : row) * size + column);
    const mirror = 2 * ((row > 0 ? size - row : -row) * size + (column === 0 ? 0 : size - column));
    if (part === 0) {
      spectrum[at] += re;
      spectrum[at + 1] += im;
      if (mirror === at) continue;
      spectrum[mirror] += re;
      spectrum[mirror + 1] -= im;
    } else {
      spectrum[at] -= im;
      spectrum[at + 1] += re;
      if (mirror === at) continue;
      spectrum[mirror] += im;
      spectrum[mirror + 1] += re;
    }
  }
}

/** Real or imaginary part as Float32, moved so that the origin lies at (size/2, size/2). */
function centredImage(spectrum: Float64Array, size: number, part: number): Float32Array {
  const out = new Float32Array(size * size);
  const half = size / 2;
  for (let y = 0; y < size; y++) {
    const from = ((y + half) % size) * size;
    for (let x = 0; x < size; x++)
      out[y * size + x] = spectrum[2 * (from + ((x + half) % size)) + part];
  }
  return out;
}
