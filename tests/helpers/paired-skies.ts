/** One invented sky through invented telescopes: Moffat stars with their own width in every colour, and truth by direct summation. */

import { searchOptions } from '../../src/compare/compare.js';
import type { LabelInput } from '../../src/compare/label.js';
import { DEFAULT_COMPARE_OPTIONS } from '../../src/compare/options.js';
import type { Frame, FrameMetadata } from '../../src/frame/frame.js';
import type { SearchedFrame } from '../../src/measure/search-frame.js';
import { searchFrame } from '../../src/measure/search-frame.js';
import { createRandom, normal } from '../../src/stats/random.js';
import { memoryFrame } from './memory-frame.js';

export interface SkyStar {
  xArcsec: number;
  yArcsec: number;
  /** Electrons that a telescope of `light` 1 collects from it. */
  flux: number;
}

export interface TelescopeOptions {
  /** Default 2 arcsec per px, 420 × 320 px, mosaic. */
  scale?: number;
  width?: number;
  height?: number;
  layout?: 'cfa' | 'rgb' | 'mono';
  rotationDeg?: number;
  mirrored?: boolean;
  /** Where the sky's origin falls beside the frame's centre, px. */
  pointing?: [number, number];
  /** FWHM of the light before the pixel, arcsec; default 5 in every colour. L of a mono frame takes green's. */
  fwhm?: { R?: number; G?: number; B?: number };
  /** Share of blue light in a wide skirt, and its FWHM in arcsec. */
  skirt?: { share: number; fwhm: number };
  /** Growth of the FWHM at the frame's corner, as a share; with the square of the distance. */
  cornerGrowth?: number;
  /** Electrons of a star of flux 1. Default 1. */
  light?: number;
  skyElectrons?: number;
  saturationAdu?: number;
  seed?: number;
  /** False: header without focal length and pixel size. */
  scaleKnown?: boolean;
  metadata?: Partial<FrameMetadata>;
  path?: string;
}

const BETA = 3.5;
const PEDESTAL = 500;
const READ_NOISE = 2;
/** Halves of the side of a star's image, px: beyond it hardly a photon is left. */
const REACH_FWHM = 7;
/** Points per pixel and axis of the integration over a pixel: two, at ± 1/(2√3) px (Gauss–Legendre), exact for cubics. */
const POINTS = 2;
const GAUSS = 0.5 / Math.sqrt(3);

/** Stars at random places of a square, magnitudes steep enough that few are bright. */
export function randomSky(
  seed: number,
  stars: number,
  sideArcsec: number,
  least = 3000,
): SkyStar[] {
  const random = createRandom(seed);
  return Array.from({ length: stars }, () => ({
    xArcsec: (random() - 0.5) * sideArcsec,
    yArcsec: (random() - 0.5) * sideArcsec,
    flux: Math.min(least / (1 - random()), 60 * least),
  }));
}

function moffat(r2: number, fwhm: number): number {
  const a2 = fwhm ** 2 / (4 * (2 ** (1 / BETA) - 1));
  return ((BETA - 1) / (Math.PI * a2)) * (1 + r2 / a2) ** -BETA;
}

/** Brightness per px² at squared distance r2 (px²), of light 1 in one colour. */
function brightness(
  r2: number,
  colour: 'R' | 'G' | 'B',
  { fwhm = {}, skirt, scale = 2 }: TelescopeOptions,
  growth = 1,
): number {
  const core = moffat(r2, (growth * (fwhm[colour] ?? 5)) / scale);
  if (colour !== 'B' || skirt === undefined) return core;
  return (1 - skirt.share) * core + skirt.share * moffat(r2, skirt.fwhm / scale);
}

/** A frame of the sky. */
export function exposure(sky: readonly SkyStar[], options: TelescopeOptions): Frame {
  const {
    scale = 2,
    width = 420,
    height = 320,
    layout = 'cfa',
    rotationDeg = 0,
    mirrored = false,
    pointing = [0, 0],
    light = 1,
    skyElectrons = 120,
    seed = 1,
    cornerGrowth = 0,
  } = options;
  const random = createRandom(seed * 7919 + 13);
  const planes = layout === 'rgb' ? 3 : 1;
  const size = width * height;
  const electrons = new Float64Array(planes * size).fill(skyElectrons);
  const cos = Math.cos((rotationDeg * Math.PI) / 180) / scale;
  const sin = Math.sin((rotationDeg * Math.PI) / 180) / scale;
  const colourAt = (plane: number, x: number, y: number): 'R' | 'G' | 'B' => {
    if (layout === 'mono') return 'G';
    if (layout === 'rgb') return (['R', 'G', 'B'] as const)[plane] as 'R';
    if ((x & 1) !== (y & 1)) return 'G';
    return (x & 1) === 0 ? 'R' : 'B';
  };
  const widest = Math.max(
    options.fwhm?.R ?? 5,
    options.fwhm?.G ?? 5,
    options.fwhm?.B ?? 5,
    0.6 * (options.skirt?.fwhm ?? 0),
  );
  const reach = Math.ceil((REACH_FWHM * widest) / scale);
  const half = 0.5 * Math.sqrt(width * width + height * height);
  for (const star of sky) {
    const u = star.xArcsec;
    const v = mirrored ? -star.yArcsec : star.yArcsec;
    const x0 = (width - 1) / 2 + pointing[0] + cos * u - sin * v;
    const y0 = (height - 1) / 2 + pointing[1] + sin * u + cos * v;
    const distance = Math.hypot(x0 - (width - 1) / 2, y0 - (height - 1) / 2) / half;
    const growth = 1 + cornerGrowth * distance * distance;
    for (let plane = 0; plane < planes; plane++) {
      const fromY = Math.max(0, Math.round(y0) - reach);
      const toY = Math.min(height - 1, Math.round(y0) + reach);
      const fromX = Math.max(0, Math.round(x0) - reach);
      const toX = Math.min(width - 1, Math.round(x0) + reach);
      for (let y = fromY; y <= toY; y++) {
        for (let x = fromX; x <= toX; x++) {
          const colour = colourAt(plane, x, y);
          let sum = 0;
          for (let j = 0; j < POINTS; j++) {
            for (let i = 0; i < POINTS; i++) {
              const dx = x + (i === 0 ? -GAUSS : GAUSS) - x0;
              const dy = y + (j === 0 ? -GAUSS : GAUSS) - y0;
              sum += brightness(dx * dx + dy * dy, colour, options, growth);
            }
          }
          const at = plane * size + y * width + x;
          electrons[at] = (electrons[at] as number) + (star.flux * light * sum) / (POINTS * POINTS);
        }
      }
    }
  }
  const clip = options.saturationAdu ?? 65535;
  const data = Uint16Array.from(electrons, (e) =>
    Math.min(
      clip,
      Math.max(0, Math.round(PEDESTAL + e + Math.sqrt(e + READ_NOISE ** 2) * normal(random))),
    ),
  );
  return memoryFrame({
    path: options.path ?? `frame-${seed}.fits`,
    width,
    height,
    data,
    layout,
    metadata: {
      gainElectronsPerAdu: 1,
      pedestalAdu: PEDESTAL,
      exposureSeconds: 60,
      apertureMm: 80,
      // 206.265 × pixel / focal length is the scale.
      ...(options.scaleKnown === false
        ? {}
        : { focalLengthMm: 400, pixelSizeUm: (400 * scale) / 206.265 }),
      ...options.metadata,
    },
  });
}

/** Searched as a comparison wants it. */
export function searched(frame: Frame): SearchedFrame {
  return searchFrame(frame, searchOptions(DEFAULT_COMPARE_OPTIONS), () => {});
}

/** A label of exposures that differ in their seeds, or as each entry says. */
export function telescope(
  label: string,
  sky: readonly SkyStar[],
  ...exposures: readonly TelescopeOptions[]
): LabelInput {
  return {
    label,
    frames: exposures.map((options, f) =>
      searched(exposure(sky, { path: `${label}-${f}.fits`, ...options })),
    ),
    failed: [],
    seeingArcsec: null,
  };
}

export interface ProfileTruth {
  /** Arcsec, pixel included. */
  fwhm: number;
  r80: number;
  /** Share of the light within a radius in arcsec, 1 at rMax. */
  enclosed: (r: number) => number;
}

/** Truth by summing a star on a grid of 1/9 px, averaged over the pixel, light counted within rMax arcsec. */
export function truthOf(
  options: TelescopeOptions,
  colour: 'R' | 'G' | 'B',
  rMaxArcsec: number,
): ProfileTruth {
  const { scale = 2 } = options;
  const fine = 9;
  const rMax = rMaxArcsec / scale;
  const half = Math.ceil((rMax + 1) * fine);
  const side = 2 * half + 1;
  const light = new Float64Array(side * side);
  for (let j = 0; j < side; j++) {
    for (let i = 0; i < side; i++) {
      light[j * side + i] = brightness(
        ((i - half) ** 2 + (j - half) ** 2) / fine ** 2,
        colour,
        options,
      );
    }
  }
  const box = smooth(smooth(light, side, fine, 1), side, fine, side);
  const bins = Math.ceil(rMax * 40);
  const sum = new Float64Array(bins + 1);
  const ring = new Float64Array(bins + 1);
  const count = new Float64Array(bins + 1);
  for (let j = 0; j < side; j++) {
    for (let i = 0; i < side; i++) {
      const r = Math.sqrt((i - half) ** 2 + (j - half) ** 2) / fine;
      if (r > rMax) continue;
      const bin = Math.floor((r / rMax) * bins);
      sum[bin] = (sum[bin] as number) + (box[j * side + i] as number);
      ring[bin] = (ring[bin] as number) + (box[j * side + i] as number);
      count[bin] = (count[bin] as number) + 1;
    }
  }
  const total = sum.reduce((a, b) => a + b, 0);
  let before = 0;
  const enclosedAt = Float64Array.from(sum, (value) => {
    before += value;
    return before / total;
  });
  const enclosed = (r: number): number => {
    const at = (r / rMaxArcsec) * bins;
    const k = Math.min(bins, Math.max(0, Math.floor(at)));
    const low = k === 0 ? 0 : (enclosedAt[k - 1] as number);
    return low + (at - k) * ((enclosedAt[k] as number) - low);
  };
  const invert = (test: (r: number) => boolean): number => {
    let low = 0;
    let high = rMaxArcsec;
    for (let step = 0; step < 60; step++) {
      const middle = 0.5 * (low + high);
      if (test(middle)) low = middle;
      else high = middle;
    }
    return low;
  };
  const peak = box[half * side + half] as number;
  let width = 0;
  while ((box[half * side + half + width] as number) > 0.5 * peak) width++;
  const [p, q] = [box[half * side + half + width - 1], box[half * side + half + width]] as [
    number,
    number,
  ];
  const at = width - 1 + (p - 0.5 * peak) / (p - q);
  return { fwhm: (2 * at * scale) / fine, r80: invert((r) => enclosed(r) < 0.8), enclosed };
}

/** Running mean of `length` samples (odd) along one axis. */
function smooth(values: Float64Array, side: number, length: number, step: number): Float64Array {
  const out = new Float64Array(values.length);
  const half = (length - 1) / 2;
  for (let i = 0; i < values.length; i++) {
    const position = step === 1 ? i % side : Math.floor(i / side);
    let sum = 0;
    for (let d = -half; d <= half; d++) {
      if (position + d < 0 || position + d >= side) continue;
      sum += values[i + d * step] as number;
    }
    out[i] = sum / length;
  }
  return out;
}
