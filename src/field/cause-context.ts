/** What the tests for single causes share: which components are present, how large and how sure they are; tilt against shifted optics. */
import type { ColourShift } from './colour.js';
import {
  comaElongationAtCentre,
  elongationEffect,
  namedPlaces,
  type Places,
  recordedFwhmAt,
  refocusedEffect,
  sizeEffect,
} from './effects.js';
import { COMA, CX, CY, T0, U1, U2 } from './laws.js';
import type { Component, FieldFit, FieldOptics } from './model.js';

/** Rise of the robust cost (like χ²) when a component is left out, from which it counts as present. */
const PRESENT = 16;
/** Smallest effects that matter, px of FWHM, and of elongation as a share of the size. */
const LEAST_EFFECT: Readonly<Record<Component, number>> = {
  tilt: 0.1,
  curvature: 0.1,
  coma: 0.25,
  decentre: 0.25,
  tracking: 0.04,
  defocus: 0.1,
};
const LEAST_ELONGATION = 0.035;
/** Constant coma shows as this share of its geometric radius where it hardly widens the star. */
const COMA_WEIGHT = 0.25;
/** Elongation must exceed this share of what constant coma brings with it. */
const COMA_LEAK = 0.35;
/** Cost difference from which "one shifted centre" and "tilt with centred aberrations" are told apart. */
const CLEAR_DIFFERENCE = 14;
/** Rise up to which one of the two describes the frame. */
const GOOD_RISE = 30;
/** An optical axis farther off the frame's centre than this (half diagonals) is not credible as a shift. */
const LARGEST_SHIFT = 0.55;
const ENOUGH_STARS = 50;

/** What the light fall-off found, as far as the causes need it; null = not measured. */
export interface IlluminationInput {
  /** Light at the worst corner over that at the centre, and its 1 σ. */
  worstCorner: number;
  worstCornerError: number;
  /** False when a flat was applied or the pedestal is not known. */
  trusted: boolean;
}

export interface CauseInput {
  fit: FieldFit | null;
  stars: number;
  width: number;
  height: number;
  optics: FieldOptics;
  colour: ColourShift | null;
  /** Moffat exponent of the frame's stars (Infinity = Gaussian), NaN unknown. */
  beta: number;
  illumination: IlluminationInput | null;
  /** What happened to the pixels: interpolation evens out the tops of narrow stars, processing takes wings at will. */
  pixels?: 'as recorded' | 'interpolated' | 'processed';
  /** Corners near which no star stands; nothing is known there. */
  emptyCorners?: number;
}

/** Everything the single tests share. */
export interface Context {
  input: CauseInput;
  fit: FieldFit;
  places: Places;
  size: Float64Array;
  coma: number;
  present: (component: Component) => boolean;
  effect: (component: Component) => number;
  confidence: (component: Component) => number;
}

export const length = (p: ArrayLike<number>, a: number, b: number): number =>
  Math.sqrt((p[a] as number) ** 2 + (p[b] as number) ** 2);

function effectOf(fit: FieldFit, places: Places, component: Component): number {
  const { p, response } = fit;
  switch (component) {
    case 'tracking':
      return elongationEffect(p);
    case 'decentre':
      return Math.max(sizeEffect(p, response, places, component), COMA_WEIGHT * length(p, CX, CY));
    case 'curvature':
      return Math.max(
        sizeEffect(p, response, places, component),
        refocusedEffect(p, response, places),
      );
    case 'coma':
      return Math.max(
        sizeEffect(p, response, places, component),
        COMA_WEIGHT * Math.abs(p[COMA] as number),
      );
    default:
      return sizeEffect(p, response, places, component);
  }
}

export function makeContext(input: CauseInput, fit: FieldFit): Context {
  const places = namedPlaces(input.width, input.height);
  const effects = new Map<Component, number>();
  const effect = (component: Component): number => {
    let value = effects.get(component);
    if (value === undefined) {
      value = effectOf(fit, places, component);
      effects.set(component, value);
    }
    return value;
  };
  const large = (component: Component): boolean => {
    if (component === 'decentre') return length(fit.p, CX, CY) > LEAST_EFFECT.decentre;
    if (component === 'coma') return Math.abs(fit.p[COMA] as number) > LEAST_EFFECT.coma;
    if (component === 'tracking') {
      const u = length(fit.p, U1, U2);
      return (
        u / (fit.p[T0] as number) > LEAST_ELONGATION &&
        effect('tracking') > LEAST_EFFECT.tracking &&
        u > COMA_LEAK * comaElongationAtCentre(fit)
      );
    }
    return effect(component) > LEAST_EFFECT[component];
  };
  // Few stars: a handful of odd ones, alike by chance, must not make a cause.
  const needed = PRESENT * Math.max(1, ENOUGH_STARS / input.stars);
  return {
    input,
    fit,
    places,
    size: recordedFwhmAt(fit.p, fit.response, places),
    coma: length(fit.p, CX, CY),
    effect,
    present: (component) => fit.without[component].rise > needed && large(component),
    confidence: (component) => {
      const clear = 1 - Math.exp(-(fit.without[component].rise - 8) / 25);
      return clear * starConfidence(input.stars);
    },
  };
}

export function starConfidence(stars: number): number {
  return 0.95 * Math.min(1, Math.sqrt(stars / ENOUGH_STARS));
}

export const round2 = (value: number): number => Math.round(100 * value) / 100;

/** How tilt and shifted optics compare. */
export type TiltVerdict = 'tilt' | 'shift' | 'both' | 'either' | 'none';

/**
 * A linear focus term comes from a tilted sensor or from optics whose centre lies beside the frame's. Only constant coma and the node
 * of astigmatism tell them apart, and only where coma or astigmatism themselves are seen.
 */
export function judgeTilt({ fit, present }: Context): TiltVerdict {
  if (!present('tilt')) return 'none';
  const optics = present('curvature') || present('coma');
  if (!optics) return present('decentre') ? 'both' : 'tilt';
  const shift = Math.hypot(...fit.centre);
  const difference = fit.shiftedMinusTilted;
  if (difference < -CLEAR_DIFFERENCE && fit.shiftedRise < GOOD_RISE && shift < 1.2) return 'shift';
  if (difference > CLEAR_DIFFERENCE)
    return fit.tiltedRise < GOOD_RISE || !present('decentre') ? 'tilt' : 'both';
  if (fit.tiltedRise > GOOD_RISE && fit.shiftedRise > GOOD_RISE) return 'both';
  return shift > LARGEST_SHIFT ? 'tilt' : 'either';
}
