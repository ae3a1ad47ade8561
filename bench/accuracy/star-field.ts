/** A frame that holds isolated stars of several brightnesses, as a real one does, with the truth of every star. */
import type { Frame } from '../../src/frame/frame.js';
import {
  type AnalyticOptions,
  type AnalyticTruth,
  simulateAnalytic,
} from '../../src/simulate/analytic.js';
import type { Band } from '../../src/simulate/bands.js';
import { recordSamples } from '../../src/simulate/noise.js';
import { createRandom } from '../../src/stats/random.js';
import { memoryFrame } from '../../tests/helpers/memory-frame.js';
import type { Shape } from '../../tests/helpers/recorded-width.js';

export const SKY_ELECTRONS = 100;
export const READ_NOISE_ELECTRONS = 2;
/** Electrons per ADU: keeps stars of signal-to-noise 300 below the end of 16 bits at the smallest width. */
export const GAIN = 2.5;
export const PIXEL_VARIANCE = SKY_ELECTRONS + READ_NOISE_ELECTRONS ** 2;
const PEDESTAL_ADU = 500;

export interface FieldOptions {
  shape: Shape;
  layout: AnalyticOptions['layout'];
  /** One group of `each` stars per entry. */
  snrs: AnalyticOptions['snr'][];
  each: number;
  seed: number;
  spacingPx: number;
  channelWidth?: Partial<Record<Band, number>>;
}

export interface FieldStar {
  x: number;
  y: number;
  /** Index into `snrs`. */
  group: number;
  fluxAdu: Partial<Record<Band, number>>;
}

export interface Field {
  frame: Frame;
  stars: FieldStar[];
  truth: AnalyticTruth;
}

/** Draws each group without noise, lays the groups one below the other, then exposes the whole. */
export function starField(options: FieldOptions): Field {
  const { shape, layout, snrs, each, seed } = options;
  // An odd distance: with an even one every star would lie within half a pixel of the same site of a mosaic.
  const spacingPx = options.spacingPx | 1;
  const detector = {
    readNoiseElectrons: READ_NOISE_ELECTRONS,
    fullWellElectrons: Number.POSITIVE_INFINITY,
    gainElectronsPerAdu: GAIN,
    pedestalAdu: PEDESTAL_ADU,
    bits: 16,
  };
  const parts = snrs.map((snr, group) =>
    simulateAnalytic({
      profile: shape.gaussian ? 'gaussian' : 'moffat',
      fwhmPx: shape.fwhmPx,
      beta: shape.gaussian ? 3.5 : shape.beta,
      ellipticity: shape.ellipticity,
      angleDeg: shape.angleDeg,
      snr,
      stars: each,
      spacingPx,
      layout,
      channelWidth: options.channelWidth ?? {},
      skyElectrons: SKY_ELECTRONS,
      detector,
      noise: false,
      seed: seed * 16 + group,
    }),
  );
  const { width, planes } = parts[0].frame;
  const height = parts.reduce((sum, part) => sum + part.frame.height, 0);
  const count = width * height;
  const data = new Uint16Array(count * planes);
  const random = createRandom(seed);
  const electrons = new Float32Array(count);
  for (let plane = 0; plane < planes; plane++) {
    let at = 0;
    for (const { frame } of parts) {
      const size = frame.width * frame.height;
      for (let i = 0; i < size; i++)
        electrons[at + i] = (frame.data[plane * size + i] - PEDESTAL_ADU) * GAIN;
      at += size;
    }
    const out = data.subarray(plane * count, (plane + 1) * count);
    recordSamples(electrons, detector, new Map(), random, out);
  }
  const stars: FieldStar[] = [];
  let top = 0;
  parts.forEach((part, group) => {
    for (const star of part.truth.stars)
      stars.push({ x: star.x, y: star.y + top, group, fluxAdu: star.fluxAdu });
    top += part.frame.height;
  });
  return {
    frame: memoryFrame({
      width,
      height,
      data,
      layout,
      metadata: { gainElectronsPerAdu: GAIN, pedestalAdu: PEDESTAL_ADU },
    }),
    stars,
    truth: parts[0].truth,
  };
}

/** Row of the nearest catalogue entry within `radiusPx` of each star, −1 where there is none. */
export function matchStars(
  stars: readonly { x: number; y: number }[],
  x: Float64Array,
  y: Float64Array,
  radiusPx: number,
): Int32Array {
  return Int32Array.from(stars, (star) => {
    let best = -1;
    let least = radiusPx * radiusPx;
    for (let i = 0; i < x.length; i++) {
      const square = (x[i] - star.x) ** 2 + (y[i] - star.y) ** 2;
      if (square <= least) {
        least = square;
        best = i;
      }
    }
    return best;
  });
}
