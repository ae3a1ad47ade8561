/** Frames of sky behind a lens whose fall-off is a formula: photon noise, read noise, gradient, nebula, a flat field divided out. */
import type { Frame } from '../../src/frame/frame.js';
import { poisson } from '../../src/stats/poisson.js';
import { createRandom, normal } from '../../src/stats/random.js';
import { memoryFrame } from './memory-frame.js';

export interface SkyOptions {
  width: number;
  height: number;
  layout: 'mono' | 'cfa';
  /** Light at a distance from the centre of illumination, in half diagonals; 1 at 0. */
  fallOff: (distance: number) => number;
  /** Centre of illumination less the frame's, half diagonals. */
  centre: [number, number];
  skyElectrons: number;
  /** Relative change of the sky over half a diagonal. */
  gradient: [number, number];
  /** A Gaussian cloud: place and σ in half diagonals, peak against the sky. */
  nebula: { x: number; y: number; sigma: number; peak: number } | null;
  stars: number;
  /** Stars of a cluster round the frame's centre: how many, and σ of their places in half diagonals. */
  cluster: { stars: number; sigma: number } | null;
  gain: number;
  readNoise: number;
  pedestal: number;
  /** Divides light by this function of the distance after exposure; null = raw. */
  flat: ((distance: number) => number) | null;
  seed: number;
}

const EVEN_SKY: SkyOptions = {
  width: 900,
  height: 640,
  layout: 'mono',
  fallOff: () => 1,
  centre: [0, 0],
  skyElectrons: 900,
  gradient: [0, 0],
  nebula: null,
  stars: 80,
  cluster: null,
  gain: 0.8,
  readNoise: 3,
  pedestal: 400,
  flat: null,
  seed: 1,
};

/** Sky of the sites of a 2 × 2 mosaic relative to green. */
const MOSAIC = [0.55, 1, 1, 0.75];

/** Renders the frame: u16 when raw, f32 when a flat was divided out. */
export function skyFrame(options: Partial<SkyOptions>): Frame {
  const sky = { ...EVEN_SKY, ...options };
  const { width, height, gain, pedestal, flat } = sky;
  const random = createRandom(sky.seed);
  const half = 0.5 * Math.sqrt(width * width + height * height);
  const raw = new Float32Array(width * height);
  const light = new Float32Array(width * height);
  const clustered = sky.cluster?.stars ?? 0;
  for (let k = 0; k < sky.stars + clustered; k++) {
    let x0 = random() * width;
    let y0 = random() * height;
    if (sky.cluster && k >= sky.stars) {
      x0 = width / 2 + sky.cluster.sigma * half * normal(random);
      y0 = height / 2 + sky.cluster.sigma * half * normal(random);
    }
    const peak = 60 * 10 ** (2 * random());
    for (let y = Math.max(0, Math.round(y0) - 8); y < Math.min(height, y0 + 9); y++) {
      for (let x = Math.max(0, Math.round(x0) - 8); x < Math.min(width, x0 + 9); x++) {
        const q = ((x - x0) ** 2 + (y - y0) ** 2) / 4;
        light[y * width + x] = (light[y * width + x] as number) + peak / (1 + q) ** 3;
      }
    }
  }
  for (let y = 0; y < height; y++) {
    const v = (y - (height - 1) / 2) / half;
    for (let x = 0; x < width; x++) {
      const u = (x - (width - 1) / 2) / half;
      const distance = Math.sqrt((u - sky.centre[0]) ** 2 + (v - sky.centre[1]) ** 2);
      let level = 1 + sky.gradient[0] * u + sky.gradient[1] * v;
      if (sky.nebula) {
        const { x: nx, y: ny, sigma, peak } = sky.nebula;
        level += peak * Math.exp(-((u - nx) ** 2 + (v - ny) ** 2) / (2 * sigma * sigma));
      }
      const colour = sky.layout === 'cfa' ? (MOSAIC[(y & 1) * 2 + (x & 1)] as number) : 1;
      const i = y * width + x;
      const electrons =
        (colour * sky.skyElectrons * level + (light[i] as number)) * sky.fallOff(distance);
      const volts = poisson(electrons, random) + sky.readNoise * normal(random);
      raw[i] = flat ? volts / gain / flat(distance) : Math.round(volts / gain + pedestal);
    }
  }
  return memoryFrame({
    width,
    height,
    layout: sky.layout,
    data: flat ? raw : Uint16Array.from(raw, (value) => Math.max(0, Math.min(65535, value))),
    metadata: { pedestalAdu: flat ? 0 : pedestal, gainElectronsPerAdu: gain },
  });
}

/** cos⁴ law: light at a distance for a focal length, both in half diagonals. */
export function cos4(focalLength: number): (distance: number) => number {
  return (distance) => Math.cos(Math.atan(distance / focalLength)) ** 4;
}

/** Light through a round pupil whose rim a round stop begins to cover at `start`, wholly at `end`: strips summed across the pupil. */
export function coveredPupil(start: number, end: number): (distance: number) => number {
  const rate = 2 / (end - start);
  const stop = rate * start + 1;
  const strips = 400;
  return (distance) => {
    if (distance <= start) return 1;
    const shift = rate * distance;
    let area = 0;
    for (let i = 0; i < strips; i++) {
      // Strips along the shift: their ends are cut by either circle. Nodes in the sine of the angle, where chords are smooth.
      const angle = (Math.PI * (i + 0.5)) / strips - Math.PI / 2;
      const y = Math.sin(angle);
      if (Math.abs(y) >= stop) continue;
      const chord = Math.cos(angle);
      const reach = Math.sqrt(stop * stop - y * y);
      const length = Math.min(chord, shift + reach) - Math.max(-chord, shift - reach);
      area += Math.max(0, length) * chord * (Math.PI / strips);
    }
    return area / Math.PI;
  };
}

/** A fall-off on a fine table: per-pixel calls get cheap. */
export function tabulated(fallOff: (distance: number) => number): (distance: number) => number {
  const table = Float64Array.from({ length: 4001 }, (_, i) => fallOff(i / 2000));
  return (distance) => {
    const position = Math.min(3999.999, 2000 * distance);
    const i = Math.floor(position);
    const low = table[i] as number;
    return low + (position - i) * ((table[i + 1] as number) - low);
  };
}
