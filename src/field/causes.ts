/** From the fitted model to named causes: what is there, how much, how sure, what else it could be, what to do next. */
import type { Uncertain } from '../measure/result.js';
import type { ColourShift } from './colour.js';
import {
  CENTRE,
  CORNERS,
  comaElongationAtCentre,
  elongationEffect,
  fwhmAt,
  namedPlaces,
  type Places,
  recordedFwhmAt,
  sizeEffect,
} from './effects.js';
import { ASTIG, COMA, CX, CY, KAPPA, T0, TX, TY, U1, U2, Z0 } from './laws.js';
import {
  type Component,
  drawnSigma,
  FEWEST_STARS,
  type FieldFit,
  type FieldOptics,
} from './model.js';
import { comaNm, defocusUm, fwhmOfSize } from './response.js';
import type { Cause, CauseName, FieldSet } from './result.js';
import * as words from './words.js';

/** Rise of the robust cost (like χ²) when a component is left out, from which it counts as present. */
const PRESENT = 16;
/** A rise from which a component with a large effect is suspected: too little for a finding, too much for "sound". */
const SUSPECTED = 8;
const SUSPECTED_EFFECT_PX = 0.3;
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
const LEAST_SHIFT_PX = 0.2;
const COLOUR_SIGMA = 4;
const COLOUR_WEIGHT = 0.5;
/** Moffat exponent of the whole stars from which they are blurred rather than seen through air. */
const DEFOCUSED_BETA = 8;
/** FWHM from which the exponent means something. */
const WELL_SAMPLED_PX = 2.2;
/** Uncertainty of the corner sizes up to which "nothing found" means "sound". */
const SOUND_LIMIT_PX = 0.35;
/** A leading cause below this confidence is a suspicion. */
const LEAST_CONFIDENCE = 0.35;
const ENOUGH_STARS = 50;
/** Bootstrap misses what the laws leave out: factor on its errors, and a share of each amplitude (from the benchmark's coverage). */
const SIGMA_FACTOR = 1.1;
const SYSTEMATIC_SHARE = 0.015;

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
}

export type CauseFindings = Pick<FieldSet, 'causes' | 'leading' | 'between' | 'summary'>;

/** value ± σ with the systematic part. */
export function withSystematics(value: number, sigma: number): Uncertain {
  const error = Math.sqrt((SIGMA_FACTOR * sigma) ** 2 + (SYSTEMATIC_SHARE * value) ** 2);
  return { value, low: value - error, high: value + error };
}

/** Everything the single tests share. */
interface Context {
  input: CauseInput;
  fit: FieldFit;
  places: Places;
  size: Float64Array;
  coma: number;
  present: (component: Component) => boolean;
  effect: (component: Component) => number;
  confidence: (component: Component) => number;
}

const length = (p: ArrayLike<number>, a: number, b: number): number =>
  Math.sqrt((p[a] as number) ** 2 + (p[b] as number) ** 2);

function effectOf(fit: FieldFit, places: Places, component: Component): number {
  const { p, response } = fit;
  switch (component) {
    case 'tracking':
      return elongationEffect(p);
    case 'decentre':
      return Math.max(sizeEffect(p, response, places, component), COMA_WEIGHT * length(p, CX, CY));
    case 'coma':
      return Math.max(
        sizeEffect(p, response, places, component),
        COMA_WEIGHT * Math.abs(p[COMA] as number),
      );
    default:
      return sizeEffect(p, response, places, component);
  }
}

function makeContext(input: CauseInput, fit: FieldFit): Context {
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

function starConfidence(stars: number): number {
  return 0.95 * Math.min(1, Math.sqrt(stars / ENOUGH_STARS));
}

const round2 = (value: number): number => Math.round(100 * value) / 100;

/** How tilt and shifted optics compare. */
type TiltVerdict = 'tilt' | 'shift' | 'both' | 'either' | 'none';

/**
 * A linear focus term comes from a tilted sensor or from optics whose centre lies beside the frame's. Only constant coma and the node
 * of astigmatism tell them apart, and only where coma or astigmatism themselves are seen.
 */
function judgeTilt({ fit, present }: Context): TiltVerdict {
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

function focusStrength(
  context: Context,
  px: (p: Float64Array) => number,
  factor: number,
): { strength: Uncertain; unit: 'µm' | 'px' } {
  const { fit, input } = context;
  const { focalRatio, pixelSizeUm } = input.optics;
  const value = px(fit.p);
  const sigma = drawnSigma(fit, px);
  if (focalRatio === null || pixelSizeUm === null) {
    return { strength: withSystematics(factor * value, factor * sigma), unit: 'px' };
  }
  const um = defocusUm(factor, focalRatio, pixelSizeUm);
  return { strength: withSystematics(um * value, um * sigma), unit: 'µm' };
}

function comaStrength(
  context: Context,
  px: (p: Float64Array) => number,
): { strength: Uncertain; unit: 'nm' | 'px' } {
  const { fit, input } = context;
  const { focalRatio, pixelSizeUm } = input.optics;
  const value = px(fit.p);
  const sigma = drawnSigma(fit, px);
  if (focalRatio === null || pixelSizeUm === null) {
    return { strength: withSystematics(value, sigma), unit: 'px' };
  }
  const nm = comaNm(1, focalRatio, pixelSizeUm);
  return { strength: withSystematics(nm * value, nm * sigma), unit: 'nm' };
}

/** Direction of a vector in degrees with its error; `period` 360 for arrows, 180 for axes. */
export function direction(fit: FieldFit, a: number, b: number, period: 180 | 360): Uncertain {
  const angle = (Math.atan2(fit.p[b] as number, fit.p[a] as number) * 180) / Math.PI;
  const value = ((angle % period) + period) % period;
  const across = drawnSigma(fit, (p) => {
    const r = (Math.atan2(p[b] as number, p[a] as number) * 180) / Math.PI - angle;
    return r - 360 * Math.round(r / 360);
  });
  const error = Math.sqrt((SIGMA_FACTOR * across) ** 2 + 1);
  return { value, low: value - error, high: value + error };
}

function tiltCause(context: Context, verdict: TiltVerdict): Cause {
  const { fit, size } = context;
  const { strength, unit } = focusStrength(context, (p) => length(p, TX, TY), 2);
  const sure = context.confidence('tilt');
  const alternatives =
    verdict === 'tilt' ? [words.TILTED_ELEMENT] : [words.SHIFTED_CENTRE, words.TILTED_ELEMENT];
  return {
    cause: 'tilt',
    strength,
    unit,
    confidence: round2(sure * (verdict === 'either' ? 0.5 : verdict === 'both' ? 0.75 : 0.95)),
    effectPx: context.effect('tilt'),
    directionDeg: direction(fit, TX, TY, 180),
    evidence: words.tiltEvidence(fit, size, strength, unit),
    alternatives,
    nextCheck: words.TURN_CAMERA,
    caution: words.SENSOR_SCREWS,
  };
}

function curvatureCause(context: Context): Cause {
  const { fit, size } = context;
  const focus = context.present('curvature');
  const made = focus
    ? focusStrength(context, (p) => Math.hypot(p[KAPPA] as number, p[ASTIG] as number), 1)
    : comaStrength(context, (p) => Math.abs(p[COMA] as number));
  const alternatives = [words.CORRECTOR_OR_DESIGN];
  if (!context.present('defocus') && focus) alternatives.push(words.REFOCUS_HELPS);
  return {
    cause: 'curvature',
    strength: made.strength,
    unit: made.unit,
    confidence: round2(
      Math.max(
        focus ? context.confidence('curvature') : 0,
        context.present('coma') ? context.confidence('coma') : 0,
      ),
    ),
    effectPx: Math.max(
      focus ? context.effect('curvature') : 0,
      context.present('coma') ? context.effect('coma') : 0,
    ),
    directionDeg: null,
    evidence: words.curvatureEvidence(fit, size, made.strength, made.unit, {
      focus,
      coma: context.present('coma'),
    }),
    alternatives,
    nextCheck: words.SPACING_SERIES,
    caution: null,
  };
}

function miscollimationCause(context: Context, verdict: TiltVerdict): Cause {
  const { fit, input } = context;
  const coma = context.present('decentre');
  const shifted = verdict === 'shift' || verdict === 'either';
  const made = coma
    ? comaStrength(context, (p) => length(p, CX, CY))
    : focusStrength(context, (p) => length(p, TX, TY), 2);
  const confidence = coma
    ? context.confidence('decentre') *
      (context.present('coma') && verdict !== 'shift' ? 0.85 : 0.95)
    : context.confidence('tilt') * (verdict === 'shift' ? 0.85 : 0.5);
  const effectPx = Math.max(
    coma ? context.effect('decentre') : 0,
    shifted ? context.effect('tilt') : 0,
  );
  return {
    cause: 'miscollimation',
    strength: made.strength,
    unit: made.unit,
    confidence: round2(confidence),
    effectPx,
    directionDeg: coma ? direction(fit, CX, CY, 360) : direction(fit, TX, TY, 180),
    evidence: words.miscollimationEvidence(fit, input.width, input.height, {
      coma,
      shifted,
      strength: made.strength,
      unit: made.unit,
    }),
    alternatives:
      verdict === 'either' ? [words.SENSOR_TILT, words.SENSOR_OFF_AXIS] : [words.SENSOR_OFF_AXIS],
    nextCheck: words.TURN_CAMERA,
    caution: words.LENS_SCREWS,
  };
}

function trackingCause(context: Context): Cause {
  const { fit } = context;
  const share = (p: Float64Array): number => {
    const t = p[T0] as number;
    const u = Math.min(0.95 * t, length(p, U1, U2));
    const a = Math.sqrt(t + u);
    const b = Math.sqrt(t - u);
    return (a - b) / (a + b);
  };
  // A straight drift of length L adds L²/12 along it.
  const drift = (p: Float64Array): number =>
    Math.sqrt((12 * length(p, U1, U2)) / fit.response.drift);
  const angle = direction(fit, U1, U2, 360);
  const half = (value: number): number => value / 2;
  return {
    cause: 'tracking',
    strength: withSystematics(drift(fit.p), drawnSigma(fit, drift)),
    unit: 'px',
    confidence: round2(context.confidence('tracking') * (context.present('defocus') ? 0.7 : 0.95)),
    effectPx: context.effect('tracking'),
    directionDeg: { value: half(angle.value), low: half(angle.low), high: half(angle.high) },
    evidence: words.trackingEvidence(share(fit.p), half(angle.value), drift(fit.p)),
    alternatives: context.present('defocus')
      ? [words.WIND_OR_FLEXURE, words.ASTIGMATISM_EVERYWHERE]
      : [words.WIND_OR_FLEXURE, words.PINCHED],
    nextCheck: words.SHORT_EXPOSURE,
    caution: null,
  };
}

function defocusCause(context: Context): Cause {
  const made = focusStrength(context, (p) => Math.abs(p[Z0] as number), 1);
  return {
    cause: 'defocus',
    strength: made.strength,
    unit: made.unit,
    confidence: round2(context.confidence('defocus') * 0.85),
    effectPx: context.effect('defocus'),
    directionDeg: null,
    evidence: words.defocusEvidence(context.size, made.strength, made.unit),
    alternatives: [words.SEEING],
    nextCheck: words.REFOCUS,
    caution: null,
  };
}

/** Causes that flatten stars themselves, or show that they are sharp somewhere. */
const SHARPENED: readonly CauseName[] = ['tilt', 'curvature', 'tracking'];

/** True where the stars are well sampled and have no wings. A drift takes the wings too, but is seen as one. */
function isFlatTopped({ input, fit }: Context): boolean {
  return input.beta >= DEFOCUSED_BETA && fwhmOfSize(fit.p[T0] as number) > WELL_SAMPLED_PX;
}

/** Stars without wings: blurred by a disc, not by air. Strength unknown from the field alone. */
function flatTopCause(context: Context): Cause {
  const { fit, input } = context;
  const fwhm = fwhmOfSize((fit.p[T0] as number) + fit.response.recordedOffset);
  return {
    cause: 'defocus',
    strength: { value: fwhm, low: 0, high: fwhm },
    unit: 'px',
    confidence: round2(0.6 * starConfidence(input.stars)),
    effectPx: 0.5 * fwhm,
    directionDeg: null,
    evidence: [words.flatTop(fwhm)],
    alternatives: [words.SEEING, words.GUIDING_BLUR],
    nextCheck: words.REFOCUS,
    caution: null,
  };
}

function colourCauses(input: CauseInput): Cause[] {
  const { colour, stars } = input;
  if (!colour) return [];
  const causes: Cause[] = [];
  const sure = (value: number, sigma: number): number =>
    round2(starConfidence(stars) * (1 - Math.exp(-(value / sigma / COLOUR_SIGMA))));
  const corner = Math.abs(colour.cornerPx);
  if (corner > LEAST_SHIFT_PX && corner > COLOUR_SIGMA * colour.cornerSigma) {
    causes.push({
      cause: 'lateral colour',
      strength: withSystematics(corner, colour.cornerSigma),
      unit: 'px',
      confidence: sure(corner, colour.cornerSigma),
      effectPx: COLOUR_WEIGHT * corner,
      directionDeg: null,
      evidence: words.lateralEvidence(colour.cornerPx),
      alternatives: [words.CORRECTOR_COLOUR],
      nextCheck: words.LATERAL_CHECK,
      caution: null,
    });
  }
  const constant = Math.hypot(...colour.constantPx);
  if (constant > LEAST_SHIFT_PX && constant > COLOUR_SIGMA * colour.constantSigma) {
    const angle = (Math.atan2(colour.constantPx[1], colour.constantPx[0]) * 180) / Math.PI;
    const error = ((colour.constantSigma / constant) * 180) / Math.PI;
    causes.push({
      cause: 'dispersion',
      strength: withSystematics(constant, colour.constantSigma),
      unit: 'px',
      confidence: round2(0.9 * sure(constant, colour.constantSigma)),
      effectPx: COLOUR_WEIGHT * constant,
      directionDeg: {
        value: (angle + 360) % 360,
        low: ((angle + 360) % 360) - error,
        high: ((angle + 360) % 360) + error,
      },
      evidence: words.dispersionEvidence(constant, angle),
      alternatives: [words.WEDGE],
      nextCheck: words.HIGHER_ALTITUDE,
      caution: null,
    });
  }
  return causes;
}

/** Light at the corners below which fall-off is named. */
const LEAST_LIGHT = 0.6;

function vignettingCause(input: CauseInput): Cause[] {
  const { illumination, stars } = input;
  if (!illumination || illumination.worstCorner > LEAST_LIGHT) return [];
  const lost = 100 * (1 - illumination.worstCorner);
  const error = 100 * illumination.worstCornerError;
  return [
    {
      cause: 'vignetting',
      strength: { value: lost, low: lost - error, high: lost + error },
      unit: '%',
      confidence: round2(starConfidence(stars) * (illumination.trusted ? 0.9 : 0.4)),
      effectPx: 0,
      directionDeg: null,
      evidence: words.vignettingEvidence(illumination.worstCorner),
      alternatives: [words.SKY_GRADIENT],
      nextCheck: words.FLAT_FIELD,
      caution: null,
    },
  ];
}

/** Names the causes, largest effect first. */
export function findCauses(input: CauseInput): CauseFindings {
  const { fit } = input;
  if (!fit) {
    return {
      causes: [],
      leading: 'cannot tell',
      between: [],
      summary: words.tooFewStars(input.stars, FEWEST_STARS),
    };
  }
  const context = makeContext(input, fit);
  const verdict = judgeTilt(context);
  const causes: Cause[] = [...colourCauses(input), ...vignettingCause(input)];
  if (verdict === 'tilt' || verdict === 'both' || verdict === 'either')
    causes.push(tiltCause(context, verdict));
  if (context.present('curvature') || context.present('coma')) causes.push(curvatureCause(context));
  const decentred = context.present('decentre');
  if (decentred || verdict === 'shift' || verdict === 'either')
    causes.push(miscollimationCause(context, verdict));
  if (context.present('tracking')) causes.push(trackingCause(context));
  if (context.present('defocus') && (verdict !== 'none' || context.present('curvature')))
    causes.push(defocusCause(context));
  else if (isFlatTopped(context) && !causes.some(({ cause }) => SHARPENED.includes(cause)))
    causes.push(flatTopCause(context));
  causes.sort((a, b) => b.effectPx - a.effectPx);
  return decide(context, causes, verdict);
}

const SUSPECTS: readonly (readonly [Component, CauseName])[] = [
  ['tilt', 'tilt'],
  ['curvature', 'curvature'],
  ['coma', 'curvature'],
  ['decentre', 'miscollimation'],
  ['tracking', 'tracking'],
];

function decide(context: Context, causes: Cause[], verdict: TiltVerdict): CauseFindings {
  const { fit, input } = context;
  const first = causes.find((cause) => cause.effectPx > 0) ?? causes[0];
  const undecided: CauseName[] =
    verdict === 'either' && first && (first.cause === 'tilt' || first.cause === 'miscollimation')
      ? ['tilt', 'miscollimation']
      : [];
  if (first && undecided.length === 0 && first.confidence < LEAST_CONFIDENCE)
    return {
      causes,
      leading: 'cannot tell',
      between: [first.cause],
      summary: words.suspected([first.cause]),
    };
  if (first && undecided.length === 0)
    return { causes, leading: first.cause, between: [], summary: words.summaryOf(first) };
  if (first)
    return { causes, leading: 'cannot tell', between: undecided, summary: words.TILT_OR_SHIFT };
  // Nothing found: sound only where a fault would have shown.
  const blind = Math.max(
    ...CORNERS.map((k) =>
      drawnSigma(fit, (p) => fwhmAt(p, fit.response, context.places)[k] as number),
    ),
    drawnSigma(fit, (p) => fwhmAt(p, fit.response, context.places)[CENTRE] as number),
  );
  const suspects = SUSPECTS.filter(
    ([component]) =>
      fit.without[component].rise > SUSPECTED && context.effect(component) > SUSPECTED_EFFECT_PX,
  ).map(([, cause]) => cause);
  if (suspects.length > 0) {
    const between = [...new Set(suspects)];
    return { causes, leading: 'cannot tell', between, summary: words.suspected(between) };
  }
  if (blind > SOUND_LIMIT_PX || input.stars < FEWEST_STARS)
    return { causes, leading: 'cannot tell', between: [], summary: words.blind(blind) };
  return { causes, leading: 'none', between: [], summary: words.sound(context.size) };
}
