/** True radial profile, sizes and shape of a star image, from its oversampled, noise-free form. */
import { lagrangeWeights } from './interpolate.js';

/** Step of the radius grid, px. */
const RADIUS_STEP_PX = 0.1;

/** What one channel's mean star image looks like on an endlessly fine grid of the camera's pixels. */
export interface ChannelTruth {
  /** Centre of light and Gaussian-weighted centre against the nominal place, px; profiles are about the latter. */
  firstMomentPx: [number, number];
  centroidPx: [number, number];
  fwhmPx: number;
  /** (a − b)/(a + b) from moments with a matched Gaussian weight, and the angle of the long axis from +x. */
  ellipticity: number;
  elongationAngleDeg: number;
  radiusPx: number[];
  /** Azimuthal mean brightness per px² of a star of flux 1. */
  brightness: number[];
  /** Share of all light inside each radius. */
  encircledEnergy: number[];
}

/** Radii of one channel for light counted within R_max, px. */
export interface TruthSizes {
  fwhmPx: number;
  hfdPx: number;
  r50Px: number;
  r80Px: number;
  r90Px: number;
}

/**
 * Measures an oversampled image: `size` × `size`, `perPixel` points per px, nominal origin at (size/2, size/2),
 * values per point.
 */
export function measureImage(
  image: Float32Array,
  size: number,
  perPixel: number,
  firstMomentPx: [number, number],
): ChannelTruth {
  const shape = matchedMoments(image, size, perPixel, firstMomentPx);
  const last = Math.floor((size / 2 / perPixel - 3) / RADIUS_STEP_PX);
  const radiusPx: number[] = [];
  const brightness: number[] = [];
  for (let i = 0; i <= last; i++) {
    const radius = Math.round(i * RADIUS_STEP_PX * 10) / 10;
    radiusPx.push(radius);
    brightness.push(azimuthalMean(image, size, perPixel, shape.x, shape.y, radius));
  }
  return {
    firstMomentPx,
    centroidPx: [shape.x, shape.y],
    fwhmPx: 2 * halfMaximumRadius(radiusPx, brightness),
    ellipticity: shape.ellipticity,
    elongationAngleDeg: shape.angleDeg,
    radiusPx,
    brightness,
    encircledEnergy: curveOfGrowth(brightness),
  };
}

/** Share of light within `radius`, linear between grid points. @throws RangeError outside the curve */
export function encircledAt(channel: ChannelTruth, radius: number): number {
  const { radiusPx, encircledEnergy } = channel;
  const position = radius / RADIUS_STEP_PX;
  const index = Math.min(Math.floor(position), radiusPx.length - 2);
  if (radius < 0 || radius > radiusPx[radiusPx.length - 1])
    throw new RangeError(`radius ${radius} px lies outside the curve of growth`);
  const fraction = position - index;
  return encircledEnergy[index] * (1 - fraction) + encircledEnergy[index + 1] * fraction;
}

/** Radius that holds `share` of the light within `rMaxPx`. */
export function radiusOfShare(channel: ChannelTruth, share: number, rMaxPx: number): number {
  const target = share * encircledAt(channel, rMaxPx);
  const { radiusPx, encircledEnergy } = channel;
  let i = 1;
  while (i < radiusPx.length - 1 && encircledEnergy[i] < target) i++;
  const step = encircledEnergy[i] - encircledEnergy[i - 1];
  return radiusPx[i] - RADIUS_STEP_PX * ((encircledEnergy[i] - target) / step);
}

/** Sizes of one channel for a normalisation within `rMaxPx`. */
export function truthSizes(channel: ChannelTruth, rMaxPx: number): TruthSizes {
  const r50Px = radiusOfShare(channel, 0.5, rMaxPx);
  return {
    fwhmPx: channel.fwhmPx,
    hfdPx: 2 * r50Px,
    r50Px,
    r80Px: radiusOfShare(channel, 0.8, rMaxPx),
    r90Px: radiusOfShare(channel, 0.9, rMaxPx),
  };
}

const weightsX = new Float64Array(6);
const weightsY = new Float64Array(6);

/** Mean brightness per px² on a circle about (centreX, centreY) px from the nominal place. */
function azimuthalMean(
  image: Float32Array,
  size: number,
  perPixel: number,
  centreX: number,
  centreY: number,
  radius: number,
): number {
  const angles = radius === 0 ? 1 : Math.min(200, Math.max(48, 4 * Math.ceil(3 * radius)));
  let sum = 0;
  for (let k = 0; k < angles; k++) {
    // A turn by an odd angle keeps the samples off the grid's own directions.
    const angle = (2 * Math.PI * (k + 0.37)) / angles;
    const x = size / 2 + perPixel * (centreX + radius * Math.cos(angle));
    const y = size / 2 + perPixel * (centreY + radius * Math.sin(angle));
    const baseX = Math.floor(x);
    const baseY = Math.floor(y);
    lagrangeWeights(x - baseX, weightsX);
    lagrangeWeights(y - baseY, weightsY);
    for (let j = 0; j < 6; j++) {
      const row = (baseY + j - 2) * size + baseX - 2;
      let value = 0;
      for (let i = 0; i < 6; i++) value += weightsX[i] * image[row + i];
      sum += weightsY[j] * value;
    }
  }
  return (sum / angles) * perPixel * perPixel;
}

function halfMaximumRadius(radiusPx: number[], brightness: number[]): number {
  const half = brightness[0] / 2;
  let i = 1;
  while (i < brightness.length - 1 && brightness[i] > half) i++;
  const fraction = (brightness[i - 1] - half) / (brightness[i - 1] - brightness[i]);
  return radiusPx[i - 1] + RADIUS_STEP_PX * fraction;
}

/** ∫₀^r 2π s p ds with the four-point rule h/24 (−f₋₁ + 13 f₀ + 13 f₁ − f₂), exact for cubics. */
function curveOfGrowth(brightness: number[]): number[] {
  const h = RADIUS_STEP_PX;
  const count = brightness.length;
  const f = (i: number) => {
    const index = Math.min(Math.abs(i), count - 1);
    const value = 2 * Math.PI * index * h * brightness[index];
    return i < 0 ? -value : value;
  };
  const out = [0];
  for (let i = 1; i < count; i++)
    out.push(out[i - 1] + (h / 24) * (-f(i - 2) + 13 * f(i - 1) + 13 * f(i) - f(i + 1)));
  return out;
}

/**
 * Centre, ellipticity and angle from second moments under an elliptical Gaussian weight that matches the image
 * (Bernstein & Jarvis 2002, AJ 123, 583, section 3.1: the adaptive fixed point).
 */
function matchedMoments(
  image: Float32Array,
  size: number,
  perPixel: number,
  start: readonly [number, number],
): { x: number; y: number; ellipticity: number; angleDeg: number } {
  let [x, y] = start;
  let xx = 1;
  let yy = 1;
  let xy = 0;
  for (let iteration = 0; iteration < 200; iteration++) {
    const determinant = xx * yy - xy * xy;
    const reach = 5 * Math.sqrt(Math.max(xx, yy));
    let sum = 0;
    const s = { x: 0, y: 0, xx: 0, yy: 0, xy: 0 };
    const centreX = size / 2 + x * perPixel;
    const centreY = size / 2 + y * perPixel;
    const r = Math.ceil(reach * perPixel);
    for (let row = Math.round(centreY) - r; row <= Math.round(centreY) + r; row++)
      for (let column = Math.round(centreX) - r; column <= Math.round(centreX) + r; column++) {
        if (row < 0 || column < 0 || row >= size || column >= size) continue;
        const dx = (column - centreX) / perPixel;
        const dy = (row - centreY) / perPixel;
        const square = (yy * dx * dx - 2 * xy * dx * dy + xx * dy * dy) / determinant;
        const weight = Math.exp(-square / 2) * image[row * size + column];
        sum += weight;
        s.x += weight * dx;
        s.y += weight * dy;
        s.xx += weight * dx * dx;
        s.yy += weight * dy * dy;
        s.xy += weight * dx * dy;
      }
    const next = { xx: (2 * s.xx) / sum, yy: (2 * s.yy) / sum, xy: (2 * s.xy) / sum };
    const change =
      Math.abs(s.x / sum) + Math.abs(s.y / sum) + Math.abs(next.xx - xx) + Math.abs(next.yy - yy);
    x += (2 * s.x) / sum;
    y += (2 * s.y) / sum;
    ({ xx, yy, xy } = next);
    if (change < 1e-7) break;
  }
  const root = Math.sqrt((xx - yy) ** 2 + 4 * xy * xy);
  const a = Math.sqrt((xx + yy + root) / 2);
  const b = Math.sqrt(Math.max(0, (xx + yy - root) / 2));
  const angle = (Math.atan2(2 * xy, xx - yy) * 90) / Math.PI;
  return { x, y, ellipticity: (a - b) / (a + b), angleDeg: (angle + 180) % 180 };
}
