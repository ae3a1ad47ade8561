/** Causes that other measurements show: blue against red places, and the fall-off of light. */
import { type CauseInput, round2, starConfidence } from './cause-context.js';
import { withSystematics } from './cause-strengths.js';
import type { Cause } from './result.js';
import * as words from './words.js';

const LEAST_SHIFT_PX = 0.2;
const COLOUR_SIGMA = 4;
const COLOUR_WEIGHT = 0.5;
/** Share of a shift that places of stars leave uncertain. */
const SHIFT_SHARE = 0.015;

export function colourCauses(input: CauseInput): Cause[] {
  const { colour, stars } = input;
  if (!colour) return [];
  const causes: Cause[] = [];
  const sure = (value: number, sigma: number): number =>
    round2(starConfidence(stars) * (1 - Math.exp(-(value / sigma / COLOUR_SIGMA))));
  const corner = Math.abs(colour.cornerPx);
  if (corner > LEAST_SHIFT_PX && corner > COLOUR_SIGMA * colour.cornerSigma) {
    causes.push({
      cause: 'lateral colour',
      strength: withSystematics(corner, colour.cornerSigma, SHIFT_SHARE),
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
      strength: withSystematics(constant, colour.constantSigma, SHIFT_SHARE),
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

export function vignettingCause(input: CauseInput): Cause[] {
  const { illumination } = input;
  if (!illumination?.trusted || illumination.worstCorner > LEAST_LIGHT) return [];
  const lost = 100 * (1 - illumination.worstCorner);
  const error = 100 * illumination.worstCornerError;
  return [
    {
      cause: 'vignetting',
      strength: { value: lost, low: lost - error, high: lost + error },
      unit: '%',
      // The sky tells it, not the stars: their number plays no part.
      confidence:
        illumination.worstCorner + 2 * illumination.worstCornerError < LEAST_LIGHT ? 0.9 : 0.6,
      effectPx: 0,
      directionDeg: null,
      evidence: words.vignettingEvidence(illumination.worstCorner, illumination.worstCornerError),
      alternatives: [words.WIDE_GLOW],
      nextCheck: words.FLAT_FIELD,
      caution: null,
    },
  ];
}
