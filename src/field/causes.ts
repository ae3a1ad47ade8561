/** From the fitted model to named causes: what is there, how much, how sure, what else it could be, what to do next. */
import {
  type CauseInput,
  type Context,
  judgeTilt,
  makeContext,
  type TiltVerdict,
} from './cause-context.js';
import { colourCauses, vignettingCause } from './causes-light.js';
import {
  curvatureCause,
  defocusCause,
  flatTopCause,
  isFlatTopped,
  miscollimationCause,
  tiltCause,
  trackingCause,
} from './causes-optics.js';
import { CENTRE, CORNERS, fwhmAt, refocusedEffect } from './effects.js';
import { T0 } from './laws.js';
import { type Component, drawnSigma, FEWEST_STARS } from './model.js';
import { fwhmOfSize } from './response.js';
import type { Cause, CauseName, FieldSet } from './result.js';
import * as words from './words.js';

/** A rise from which a component with a large effect is suspected: too little for a finding, too much for "sound". */
const SUSPECTED = 8;
const SUSPECTED_EFFECT_PX = 0.3;
/** Uncertainty of the corner sizes up to which "nothing found" means "sound". */
const SOUND_LIMIT_PX = 0.35;
/** A leading cause below this confidence is a suspicion. */
const LEAST_CONFIDENCE = 0.35;

export type CauseFindings = Pick<FieldSet, 'causes' | 'leading' | 'between' | 'summary'>;

/** Causes that flatten stars themselves, or show that they are sharp somewhere. */
const SHARPENED: readonly CauseName[] = ['tilt', 'curvature', 'tracking'];

/** Share of its effect that plain defocus ranks with beside tilt or curvature: it goes with the next focusing, they stay. */
const DEFOCUS_RANK = 0.5;
/** Share of the star's width below which a cause cannot have taken the wings of all stars. */
const TOO_SMALL_TO_FLATTEN = 0.1;

/**
 * What the causes are ordered by: the effect, but that of defocus halved beside what focusing does not mend. Far from focus a slight
 * curvature shows much; defocus leads there when half of it is more than what curvature leaves after focusing.
 */
function rankOf(cause: Cause, causes: readonly Cause[], { fit, places }: Context): number {
  if (cause.cause !== 'defocus') return cause.effectPx;
  const halved = DEFOCUS_RANK * cause.effectPx;
  if (causes.some((other) => other.cause === 'tilt')) return halved;
  if (!causes.some((other) => other.cause === 'curvature')) return cause.effectPx;
  return halved > refocusedEffect(fit.p, fit.response, places) ? cause.effectPx : halved;
}

/** Names the causes, the one to mend first: largest effect, with what `rankOf` says of defocus. */
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
  else if (isFlatTopped(context) && !causes.some((cause) => flattens(context, cause)))
    causes.push(flatTopCause(context));
  causes.sort((a, b) => rankOf(b, causes, context) - rankOf(a, causes, context));
  return decide(context, causes, verdict);
}

/** True where a cause can have taken the stars' wings, or shows that they are sharp somewhere. */
function flattens({ fit }: Context, { cause, effectPx }: Cause): boolean {
  const width = fwhmOfSize((fit.p[T0] as number) + fit.response.recordedOffset);
  return SHARPENED.includes(cause) && effectPx > TOO_SMALL_TO_FLATTEN * width;
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
  const empty = input.emptyCorners ?? 0;
  if (empty > 0)
    return { causes, leading: 'cannot tell', between: [], summary: words.emptyCorners(empty) };
  return { causes, leading: 'none', between: [], summary: words.sound(context.size) };
}
