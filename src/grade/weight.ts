/** How much a frame adds to a stack: the square of a faint star's signal-to-noise, relative to the reference frame. */
import type { NightFrame } from './night-frame.js';

/** The three things that a weight is made of, each relative to the reference; their product is the weight. */
export interface WeightParts {
  /** Square of the transparency. */
  light: number;
  /** Variance of the sky, reference over frame. */
  sky: number;
  /** Area of a star's image, reference over frame. */
  size: number;
}

/**
 * w = T² (σ²A)_ref / (σ²A): the signal of a faint star goes with the transparency T, its noise with the sky's σ per sample over the
 * noise-equivalent area A (King 1983, PASP 95, 163; from memory). Frames of one group have one exposure.
 * @returns null when a part is not measured
 */
export function weightParts(
  frame: NightFrame,
  reference: NightFrame,
  transparency: number | null,
): WeightParts | null {
  const { noiseAdu, starAreaPx } = frame;
  if (transparency === null || !isPositive(noiseAdu) || !isPositive(starAreaPx)) return null;
  if (!isPositive(reference.noiseAdu) || !isPositive(reference.starAreaPx)) return null;
  return {
    light: transparency * transparency,
    sky: (reference.noiseAdu / noiseAdu) ** 2,
    size: reference.starAreaPx / starAreaPx,
  };
}

function isPositive(value: number | null): value is number {
  return value !== null && value > 0 && Number.isFinite(value);
}

export function weightOf(parts: WeightParts): number {
  return parts.light * parts.sky * parts.size;
}
