/** Causes that the model of the field shows: tilt, curvature, miscollimation, tracking, defocus. */
import { type Context, length, round2, starConfidence, type TiltVerdict } from './cause-context.js';
import { comaStrength, direction, focusStrength, withSystematics } from './cause-strengths.js';
import { ASTIG, COMA, CX, CY, KAPPA, T0, TX, TY, U1, U2, Z0 } from './laws.js';
import { drawnSigma } from './model.js';
import { fwhmOfSize } from './response.js';
import type { Cause } from './result.js';
import * as words from './words.js';

/** Moffat exponent of the whole stars from which they are blurred rather than seen through air. */
const DEFOCUSED_BETA = 8;
/** FWHM from which the exponent means something. */
const WELL_SAMPLED_PX = 2.2;
/** The same for interpolated frames: ½ px² of variance along each axis is a sixth of that of stars as wide as this. */
const INTERPOLATED_PX = 4;

export function tiltCause(context: Context, verdict: TiltVerdict): Cause {
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

export function curvatureCause(context: Context): Cause {
  const { fit, size } = context;
  const focus = context.present('curvature');
  const made = focus
    ? focusStrength(context, (p) => Math.hypot(p[KAPPA] as number, p[ASTIG] as number), 1)
    : comaStrength(context, (p) => Math.abs(p[COMA] as number));
  const alternatives = [words.CORRECTOR_OR_DESIGN];
  const defocused = focus && context.present('defocus');
  if (!defocused && focus) alternatives.push(words.REFOCUS_HELPS);
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
    nextCheck: defocused ? words.REFOCUS_FIRST : words.SPACING_SERIES,
    caution: null,
  };
}

export function miscollimationCause(context: Context, verdict: TiltVerdict): Cause {
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

export function trackingCause(context: Context): Cause {
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
    strength: withSystematics(drift(fit.p), drawnSigma(fit, drift), fit.response.systematic),
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

export function defocusCause(context: Context): Cause {
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

/**
 * True where the stars are well sampled and have no wings. A drift takes the wings too, but is seen as one. Stars of processed pictures, and
 * narrow ones of interpolated frames, have their shape from there.
 */
export function isFlatTopped({ input, fit }: Context): boolean {
  if (input.pixels === 'processed') return false;
  const least = input.pixels === 'interpolated' ? INTERPOLATED_PX : WELL_SAMPLED_PX;
  return input.beta >= DEFOCUSED_BETA && fwhmOfSize(fit.p[T0] as number) > least;
}

/** Stars without wings: blurred by a disc, not by air. Strength unknown from the field alone. */
export function flatTopCause(context: Context): Cause {
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
