/** Frames with sources planted one by one: stars of any shape, single bright samples, lines, clipping. */
import type { CfaPattern, Frame, FrameMetadata, Layout } from '../../src/frame/frame.js';
import { createProfile, pixelMean } from '../../src/simulate/analytic-profile.js';
import { recordSamples } from '../../src/simulate/noise.js';
import { createRandom } from '../../src/stats/random.js';
import { memoryFrame } from './memory-frame.js';

/** One star, px and electrons; Moffat β 3.5 unless another exponent is given (Infinity = Gaussian). */
export interface PlantedStar {
  x: number;
  y: number;
  flux: number;
  /** Before the pixel. */
  fwhmPx: number;
  beta?: number;
  ellipticity?: number;
  angleDeg?: number;
  /** Width factor of red and blue. */
  widen?: { R?: number; B?: number };
}

/** Electrons added to one sample. */
export interface PlantedSample {
  x: number;
  y: number;
  electrons: number;
  plane?: number;
}

export interface PlantedOptions {
  width: number;
  height: number;
  layout?: Layout;
  cfa?: CfaPattern;
  stars?: readonly PlantedStar[];
  samples?: readonly PlantedSample[];
  /** Electrons per sample. Default 100. */
  sky?: number;
  fullWell?: number;
  /** Electrons per ADU. Default 1. */
  gain?: number;
  seed?: number;
  metadata?: Partial<FrameMetadata>;
}

export interface Planted {
  frame: Frame;
  /** The recorded samples, plane after plane. */
  data: Uint16Array;
}

export const PLANTED_READ_NOISE = 2;
const PLANTED_PEDESTAL = 500;
/** Light beyond this many FWHM is left out. */
const REACH_FWHM = 12;

type Letter = 'R' | 'G' | 'B' | 'L';

function addStar(
  electrons: Float32Array,
  width: number,
  height: number,
  star: PlantedStar,
  letterAt: (x: number, y: number) => Letter,
): void {
  const profileOf = (factor: number) =>
    createProfile(
      star.beta === Number.POSITIVE_INFINITY,
      star.fwhmPx * factor,
      star.beta ?? 3.5,
      star.ellipticity ?? 0,
      star.angleDeg ?? 0,
    );
  const green = profileOf(1);
  const red = profileOf(star.widen?.R ?? 1);
  const blue = profileOf(star.widen?.B ?? 1);
  const reach = REACH_FWHM * star.fwhmPx;
  for (let y = Math.max(0, Math.ceil(star.y - reach)); y < Math.min(height, star.y + reach); y++) {
    for (let x = Math.max(0, Math.ceil(star.x - reach)); x < Math.min(width, star.x + reach); x++) {
      const letter = letterAt(x, y);
      const profile = letter === 'R' ? red : letter === 'B' ? blue : green;
      electrons[y * width + x] += star.flux * pixelMean(profile, x - star.x, y - star.y);
    }
  }
}

/** Draws, exposes and wraps a frame. */
export function plantedFrame(options: PlantedOptions): Planted {
  const { width, height, layout = 'mono', cfa = 'RGGB', sky = 100, gain = 1, seed = 1 } = options;
  const planes = layout === 'rgb' ? 3 : 1;
  const count = width * height;
  const data = new Uint16Array(count * planes);
  const random = createRandom(seed);
  const detector = {
    readNoiseElectrons: PLANTED_READ_NOISE,
    fullWellElectrons: options.fullWell ?? Number.POSITIVE_INFINITY,
    gainElectronsPerAdu: gain,
    pedestalAdu: PLANTED_PEDESTAL,
    bits: 16,
  };
  for (let plane = 0; plane < planes; plane++) {
    const electrons = new Float32Array(count).fill(sky);
    const letterAt = (x: number, y: number): Letter => {
      if (layout === 'mono') return 'L';
      if (layout === 'rgb') return 'RGB'[plane] as Letter;
      return cfa[(y & 1) * 2 + (x & 1)] as Letter;
    };
    for (const star of options.stars ?? []) addStar(electrons, width, height, star, letterAt);
    for (const sample of options.samples ?? []) {
      if ((sample.plane ?? 0) === plane) electrons[sample.y * width + sample.x] += sample.electrons;
    }
    const out = data.subarray(plane * count, (plane + 1) * count);
    recordSamples(electrons, detector, new Map(), random, out);
  }
  const frame = memoryFrame({
    width,
    height,
    data,
    layout,
    cfa,
    metadata: { gainElectronsPerAdu: gain, ...options.metadata },
  });
  return { frame, data };
}

/**
 * Stars on a grid of odd distance, each moved by up to half a pixel at random, with fluxes evenly spread in the logarithm. The odd
 * distance takes them to all sites of a mosaic alike.
 */
export function starGrid(options: {
  columns: number;
  rows: number;
  spacingPx: number;
  flux: readonly [number, number];
  fwhmPx: number;
  seed: number;
  beta?: number;
  ellipticity?: number;
  angleDeg?: number;
  widen?: NonNullable<PlantedStar['widen']>;
}): PlantedStar[] {
  const { columns, rows, spacingPx, flux, seed, ...shape } = options;
  if (spacingPx % 2 !== 1) throw new RangeError('the distance must be odd');
  const random = createRandom(seed);
  const stars: PlantedStar[] = [];
  for (let row = 0; row < rows; row++) {
    for (let column = 0; column < columns; column++) {
      stars.push({
        x: Math.floor((column + 0.5) * spacingPx) + random() - 0.5,
        y: Math.floor((row + 0.5) * spacingPx) + random() - 0.5,
        flux: flux[0] * (flux[1] / flux[0]) ** random(),
        ...shape,
      });
    }
  }
  return stars;
}

/** Index of the catalogue row nearest to (x, y) within `radiusPx`, or −1. */
export function rowAt(
  columns: Readonly<Record<string, Float64Array>>,
  x: number,
  y: number,
  radiusPx: number,
): number {
  let best = -1;
  let least = radiusPx;
  for (let i = 0; i < columns.x.length; i++) {
    const distance = Math.hypot(columns.x[i] - x, columns.y[i] - y);
    if (distance <= least) {
      least = distance;
      best = i;
    }
  }
  return best;
}
