/** Polychromatic point-spread functions: pupil images at many wavelengths, blurred by air, guiding and the pixel. */
import { Fft2d } from './fft2d.js';
import { type ImageGrid, PupilImager, type Wavefront } from './pupil.js';
import { isAxisymmetric, RadialPupil, TRANSFER_OVERSAMPLING } from './radial-pupil.js';
import {
  applyDisplacement,
  applySeeing,
  commonTransfer,
  extractTransfer,
  type Frequencies,
  frequenciesWithin,
  placeTransfer,
  radialSamples,
  seeingLimit,
  seeingTransfer,
  spreadRadial,
} from './transfer.js';

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

/** Transfer functions of the requests, before what all wavelengths share. */
interface Transfers {
  re: Float64Array[];
  im: Float64Array[];
}

/** Makes point-spread functions on one grid; keeps its scratch between calls. */
export class PsfMaker {
  readonly grid: ImageGrid;
  readonly focalRatio: number;
  private readonly fft: Fft2d;
  private readonly spectrum: Float64Array;
  private imager: PupilImager | null = null;
  private radial: RadialPupil | null = null;

  constructor(grid: ImageGrid, focalRatio: number) {
    this.grid = grid;
    this.focalRatio = focalRatio;
    this.fft = new Fft2d(grid.size);
    this.spectrum = new Float64Array(2 * grid.size * grid.size);
  }

  /**
   * The images asked for: size × size, a star's nominal place at element (size/2, size/2). Each point holds what a
   * camera pixel centred there would record of a star of flux 1, divided by perPixel²; the sum falls short of 1 by
   * the light diffracted beyond the grid.
   *
   * @param method 'fourier' forces the two-dimensional transform of the pupil where the faster radial one would do
   */
  make(
    cells: readonly SpectralCell[],
    blur: Blur,
    requests: readonly PsfRequest[],
    method: 'auto' | 'fourier' = 'auto',
  ): Float32Array[] {
    const frequencies = this.frequencies(cells, blur);
    const axisymmetric = cells.every((cell) =>
      cell.nodes.every((node) => isAxisymmetric(blur.wavefront(node.wavelengthNm))),
    );
    const transfers =
      axisymmetric && method === 'auto'
        ? this.radialTransfers(cells, blur, requests, frequencies)
        : this.fourierTransfers(cells, blur, requests, frequencies);
    return this.invert(frequencies, blur, requests, transfers);
  }

  private frequencies(cells: readonly SpectralCell[], blur: Blur): Frequencies {
    const { size, perPixel, pixelUm } = this.grid;
    let shortest = Number.POSITIVE_INFINITY;
    let least = Number.POSITIVE_INFINITY;
    for (const cell of cells) {
      for (const node of cell.nodes) shortest = Math.min(shortest, node.wavelengthNm);
      least = Math.min(least, blur.seeingFwhmPx(cell.middleNm));
    }
    const cutoff = pixelUm / ((shortest / 1000) * this.focalRatio);
    return frequenciesWithin(size, perPixel, Math.min(cutoff, seeingLimit(least)));
  }

  /** Two-dimensional transforms of the pupil: any wavefront. */
  private fourierTransfers(
    cells: readonly SpectralCell[],
    blur: Blur,
    requests: readonly PsfRequest[],
    frequencies: Frequencies,
  ): Transfers {
    this.imager ??= new PupilImager(this.grid, this.focalRatio);
    const points = this.grid.size * this.grid.size;
    const images = [new Float64Array(points), new Float64Array(points)];
    const sums = emptyTransfers(requests.length, frequencies.count);
    const re = new Float64Array(frequencies.count);
    const im = new Float64Array(frequencies.count);
    for (let first = 0; first < cells.length; first += 2) {
      const pair = cells.slice(first, first + 2);
      images[1].fill(0);
      pair.forEach((cell, part) => {
        images[part].fill(0);
        const total = totalWeight(cell);
        for (const { wavelengthNm, weight } of cell.nodes)
          this.imager?.addImage(
            wavelengthNm,
            blur.wavefront(wavelengthNm),
            weight / total,
            images[part],
          );
      });
      // Two real images share one complex transform; Hermitian symmetry separates them again.
      interleave(images[0], images[1], this.spectrum);
      this.fft.transform(this.spectrum, false);
      pair.forEach((cell, part) => {
        extractTransfer(this.spectrum, frequencies, part, re, im);
        applySeeing(frequencies, blur.seeingFwhmPx(cell.middleNm), re, im);
        applyDisplacement(frequencies, ...blur.displacementPx(cell.middleNm), re, im);
        addToRequests(requests, first + part, re, im, sums);
      });
    }
    return sums;
  }

  /** Hankel transforms: wavefronts that depend on the radius alone. */
  private radialTransfers(
    cells: readonly SpectralCell[],
    blur: Blur,
    requests: readonly PsfRequest[],
    frequencies: Frequencies,
  ): Transfers {
    this.radial ??= new RadialPupil(this.grid, this.focalRatio);
    const samples = radialSamples(frequencies);
    const perSample = frequencies.perCycle / TRANSFER_OVERSAMPLING;
    const sums = emptyTransfers(requests.length, frequencies.count);
    const radialSums = requests.map(() => new Float64Array(samples));
    const re = new Float64Array(frequencies.count);
    const im = new Float64Array(frequencies.count);
    cells.forEach((cell, index) => {
      const radial = this.radialTransfer(cell, blur, samples);
      const seeing = blur.seeingFwhmPx(cell.middleNm);
      if (seeing > 0)
        for (let k = 0; k < samples; k++) radial[k] *= seeingTransfer(k * perSample, seeing);
      const [x, y] = blur.displacementPx(cell.middleNm);
      if (x === 0 && y === 0) {
        requests.forEach(({ cellWeights }, set) => {
          const sum = radialSums[set];
          for (let k = 0; k < samples; k++) sum[k] += cellWeights[index] * radial[k];
        });
        return;
      }
      spreadRadial(radial, frequencies, re);
      im.fill(0);
      applyDisplacement(frequencies, x, y, re, im);
      addToRequests(requests, index, re, im, sums);
    });
    radialSums.forEach((radial, set) => {
      spreadRadial(radial, frequencies, re);
      for (let i = 0; i < frequencies.count; i++) sums.re[set][i] += re[i];
    });
    return sums;
  }

  private radialTransfer(cell: SpectralCell, blur: Blur, samples: number): Float64Array {
    const radial = this.radial as RadialPupil;
    radial.clear();
    const total = totalWeight(cell);
    for (const { wavelengthNm, weight } of cell.nodes)
      radial.addImage(wavelengthNm, blur.wavefront(wavelengthNm), weight / total);
    return radial.transfer(samples);
  }

  /** Applies pixel, jitter, drift and offsets, and transforms back, two images at a time. */
  private invert(
    frequencies: Frequencies,
    blur: Blur,
    requests: readonly PsfRequest[],
    { re, im }: Transfers,
  ): Float32Array[] {
    const { size } = this.grid;
    const common = commonTransfer(frequencies, blur.pixelIncluded, blur.jitterPx, blur.driftPx);
    const images: Float32Array[] = [];
    for (let first = 0; first < requests.length; first += 2) {
      this.spectrum.fill(0);
      const parts = Math.min(2, requests.length - first);
      for (let part = 0; part < parts; part++) {
        const set = first + part;
        const [x, y] = requests[set].offsetPx;
        for (let i = 0; i < frequencies.count; i++) {
          re[set][i] *= common[i];
          im[set][i] *= common[i];
        }
        applyDisplacement(frequencies, -x, -y, re[set], im[set]);
        placeTransfer(frequencies, re[set], im[set], part, this.spectrum);
      }
      this.fft.transform(this.spectrum, true);
      for (let part = 0; part < parts; part++) images.push(centredImage(this.spectrum, size, part));
    }
    return images;
  }
}

function totalWeight(cell: SpectralCell): number {
  let total = 0;
  for (const node of cell.nodes) total += node.weight;
  return total;
}

function emptyTransfers(sets: number, count: number): Transfers {
  const arrays = () => Array.from({ length: sets }, () => new Float64Array(count));
  return { re: arrays(), im: arrays() };
}

function addToRequests(
  requests: readonly PsfRequest[],
  cell: number,
  re: Float64Array,
  im: Float64Array,
  sums: Transfers,
): void {
  for (let set = 0; set < requests.length; set++) {
    const weight = requests[set].cellWeights[cell];
    if (weight === 0) continue;
    const sumRe = sums.re[set];
    const sumIm = sums.im[set];
    for (let i = 0; i < re.length; i++) {
      sumRe[i] += weight * re[i];
      sumIm[i] += weight * im[i];
    }
  }
}

function interleave(first: Float64Array, second: Float64Array, out: Float64Array): void {
  for (let i = 0; i < first.length; i++) {
    out[2 * i] = first[i];
    out[2 * i + 1] = second[i];
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
