/** How much each component of the model shows: changes of star size and elongation, px, at the centre, edges and corners. */
import {
  ASTIG,
  CX,
  CY,
  FIELD_PARAMETERS,
  KAPPA,
  OBSERVABLES,
  predictField,
  T0,
  U1,
  U2,
  Z0,
} from './laws.js';
import { type Component, type FieldFit, PARAMETERS_OF } from './model.js';
import { fwhmOfSize, type Response, sizeOfFwhm } from './response.js';

/** Centre, four corners, left, right, low and high edge, in units of the half diagonal. */
export interface Places {
  u: Float64Array;
  v: Float64Array;
}

export const CENTRE = 0;
export const CORNERS = [1, 2, 3, 4] as const;

export function namedPlaces(width: number, height: number): Places {
  const diagonal = Math.sqrt(width * width + height * height);
  const u = width / diagonal;
  const v = height / diagonal;
  return {
    u: Float64Array.of(0, -u, u, -u, u, -u, u, 0, 0),
    v: Float64Array.of(0, -v, -v, v, v, 0, 0, -v, v),
  };
}

/** Predicted FWHM at the places, px. */
export function fwhmAt(p: ArrayLike<number>, response: Response, places: Places): Float64Array {
  const out = new Float64Array(OBSERVABLES * places.u.length);
  predictField(p, response, places.u, places.v, out);
  return Float64Array.from(places.u, (_, i) => fwhmOfSize(out[OBSERVABLES * i] as number));
}

/** The same as the recorded image has it, pixel included: what is published. */
export function recordedFwhmAt(
  p: ArrayLike<number>,
  response: Response,
  places: Places,
): Float64Array {
  return fwhmAt(p, response, places).map((fwhm) =>
    fwhmOfSize(sizeOfFwhm(fwhm) + response.recordedOffset),
  );
}

/** Parameters with one component taken away. */
function without(p: ArrayLike<number>, component: Component): Float64Array {
  const out = Float64Array.from(p);
  for (const j of PARAMETERS_OF[component]) out[j] = 0;
  return out;
}

/** Largest change of FWHM at the corners (at the centre for plain defocus) when a component is taken away, px. */
export function sizeEffect(
  p: ArrayLike<number>,
  response: Response,
  places: Places,
  component: Component,
): number {
  const full = fwhmAt(p, response, places);
  const less = fwhmAt(without(p, component), response, places);
  const list = component === 'defocus' || component === 'decentre' ? [CENTRE] : CORNERS;
  return Math.max(...list.map((k) => Math.abs((full[k] as number) - (less[k] as number))));
}

/** Focus tried between the centre's best and the corners', as shares of the curvature. */
const FOCUS_SHARES = [0, 0.25, 0.375, 0.5, 0.625, 0.75];

/**
 * What curvature and astigmatism alone leave after the best focusing: growth of the widest place, px. A frame focused half way out
 * has centre and corners alike, and taking the curvature away changes neither; yet no focus makes both sharp.
 */
export function refocusedEffect(p: ArrayLike<number>, response: Response, places: Places): number {
  const alone = new Float64Array(FIELD_PARAMETERS);
  alone[T0] = p[T0] as number;
  const sharp = fwhmAt(alone, response, places)[CENTRE] as number;
  alone[KAPPA] = p[KAPPA] as number;
  alone[ASTIG] = p[ASTIG] as number;
  const widest = FOCUS_SHARES.map((share) => {
    alone[Z0] = -share * (p[KAPPA] as number);
    return Math.max(...fwhmAt(alone, response, places));
  });
  return Math.min(...widest) - sharp;
}

/** Long minus short FWHM of the elongation that is the same everywhere, px. */
export function elongationEffect(p: ArrayLike<number>): number {
  const t = p[T0] as number;
  const u = Math.min(0.9 * t, Math.sqrt((p[U1] as number) ** 2 + (p[U2] as number) ** 2));
  return fwhmOfSize(t + u) - fwhmOfSize(t - u);
}

/** Elongation at the frame's centre that constant coma alone gives, px². */
export function comaElongationAtCentre(fit: FieldFit): number {
  const p = new Float64Array(FIELD_PARAMETERS);
  p[T0] = fit.p[T0] as number;
  p[CX] = fit.p[CX] as number;
  p[CY] = fit.p[CY] as number;
  const out = new Float64Array(OBSERVABLES);
  predictField(p, fit.response, Float64Array.of(0), Float64Array.of(0), out);
  return Math.sqrt((out[1] as number) ** 2 + (out[2] as number) ** 2);
}
