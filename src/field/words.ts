/** The sentences of the field's causes, for readers who have never heard of them. */
import type { Uncertain } from '../measure/result.js';
import { CORNERS } from './effects.js';
import { ASTIG, COMA, CX, CY, KAPPA, TX, TY, Z0 } from './laws.js';
import type { FieldFit } from './model.js';
import type { Cause } from './result.js';

export const SENSOR_TILT = 'a tilted sensor: the same focus slope, but it turns with the camera';
export const TILTED_ELEMENT =
  'a tilted or sagging focuser or adapter, or optics whose image plane is tilted: turning the camera tells';
export const SHIFTED_CENTRE =
  'optics whose centre lies beside the middle of the sensor (a decentred lens, a shifted corrector): turning the camera tells';
export const SENSOR_OFF_AXIS =
  'a well-collimated telescope whose axis meets the sensor off its middle (sagging focuser, shifted adapter)';
export const CORRECTOR_OR_DESIGN =
  'the design of the lens without a corrector, or a corrector at the wrong distance from the sensor: stars alone do not tell which';
export const REFOCUS_HELPS = 'part of it may go when the focus is set between centre and corner';
export const WIND_OR_FLEXURE =
  'wind, bending of the mount or guide scope, a drifting polar alignment';
export const ASTIGMATISM_EVERYWHERE =
  'astigmatism of the whole lens seen out of focus (a squeezed lens): a refocused frame tells';
export const PINCHED = 'a squeezed lens or mirror (astigmatism of the whole field)';
export const SEEING = 'poor seeing: one frame does not tell seeing from focus';
export const GUIDING_BLUR = 'shaking or guiding errors equal in all directions';
export const CORRECTOR_COLOUR = 'a corrector at the wrong distance, or the design of the lens';
export const WEDGE = 'a tilted lens or a wedge in a filter';
export const WIDE_GLOW =
  'a glow or nebula as wide as the frame, brightest in the middle, or a wrong level of no light';
export const TURN_CAMERA =
  'turn the camera in the focuser by 90 degrees, take the same field again and compare: what turns with the camera is the sensor, what stays is the telescope';
export const SPACING_SERIES =
  'take a through-focus run; if a corrector is used, compare frames with its distance changed by about 1 mm';
export const REFOCUS_FIRST =
  'focus again first, between centre and corner: the sharpest place of this frame lies elsewhere; what stays at the corners is curvature. Then take a through-focus run; if a corrector is used, compare frames with its distance changed by about 1 mm';
export const SHORT_EXPOSURE =
  'compare with a very short exposure: if the stars are round there, the mount or the wind is the cause';
export const REFOCUS = 'focus again and compare, or take a through-focus run';
export const LATERAL_CHECK =
  'look at bright stars near opposite corners: blue and red edges must lie on opposite sides';
export const HIGHER_ALTITUDE = 'take a frame high in the sky: the effect must shrink there';
export const FLAT_FIELD = 'take a flat field, or a frame of an even sky, and compare the corners';
export const TILT_OR_SHIFT =
  'Tilt or miscollimation: one frame does not tell which. Turn the camera by 90 degrees and compare.';
export const SENSOR_SCREWS =
  'This is an estimate. Confirm it with a turned camera before touching a tilt adjuster, and follow its maker’s instructions.';
export const LENS_SCREWS =
  'This is an estimate. Confirm it with a second method before turning any screw of a lens cell, follow the maker’s instructions, and never point the telescope at the Sun.';

const px = (value: number): string => `${value.toFixed(2)} px`;
/** Two digits, without an exponent: 140 µm, 0.35 px. */
const amount = ({ value }: Uncertain, unit: string): string =>
  unit === 'px' ? px(value) : `${Number(value.toPrecision(2))} ${unit}`;

/** "left–right", "lower–upper" or the diagonal an angle lies along (0–180 from +x towards +y). Upper is large y, as in the pictures. */
function axisName(degrees: number): string {
  const angle = ((degrees % 180) + 180) % 180;
  if (angle < 22.5 || angle >= 157.5) return 'left–right';
  if (angle < 67.5) return 'from the lower left to the upper right corner';
  if (angle < 112.5) return 'lower–upper (along y)';
  return 'from the lower right to the upper left corner';
}

/** Where a direction points. */
function sideName(degrees: number): string {
  const names = [
    'to the right',
    'to the upper right',
    'upwards (large y)',
    'to the upper left',
    'to the left',
    'to the lower left',
    'downwards (small y)',
    'to the lower right',
  ];
  return names[Math.round(((((degrees % 360) + 360) % 360) / 45) % 8) % 8] as string;
}

const degreesOf = (x: number, y: number): number => (Math.atan2(y, x) * 180) / Math.PI;

/** Left–right and lower–upper asymmetry in words, from the model's sizes. */
function asymmetry(size: Float64Array): string {
  const [, , , , , left, right, low, high] = size as unknown as number[];
  const across = (right as number) - (left as number);
  const along = (high as number) - (low as number);
  if (Math.max(Math.abs(across), Math.abs(along)) < 0.08) {
    return `Opposite edges are about equally sharp (left ${px(left as number)}, right ${px(right as number)}; lower ${px(low as number)}, upper ${px(high as number)}).`;
  }
  return Math.abs(across) >= Math.abs(along)
    ? `Stars are ${px(Math.abs(across))} wider on the ${across > 0 ? 'right' : 'left'} than on the ${across > 0 ? 'left' : 'right'} (${px(left as number)} left, ${px(right as number)} right).`
    : `Stars are ${px(Math.abs(along))} wider at the ${along > 0 ? 'upper' : 'lower'} edge than at the ${along > 0 ? 'lower' : 'upper'} one (${px(low as number)} lower, ${px(high as number)} upper).`;
}

function centreCorner(size: Float64Array): string {
  const corners = CORNERS.map((k) => size[k] as number);
  return `Stars measure ${px(size[0] as number)} at the centre and ${corners.map((value) => value.toFixed(2)).join(', ')} px at the corners.`;
}

export function tiltEvidence(
  fit: FieldFit,
  size: Float64Array,
  strength: Uncertain,
  unit: string,
): string[] {
  const axis = degreesOf(fit.p[TX] as number, fit.p[TY] as number);
  return [
    `Focus changes evenly across the frame, ${axisName(axis)}: ${amount(strength, unit)} from one end of the diagonal’s length to the other.`,
    asymmetry(size),
    centreCorner(size),
    'Which side lies too near and which too far cannot be seen in one frame; only the axis is known.',
  ];
}

export function curvatureEvidence(
  fit: FieldFit,
  size: Float64Array,
  strength: Uncertain,
  unit: string,
  seen: { focus: boolean; coma: boolean },
): string[] {
  const lines: string[] = [];
  if (seen.focus) {
    lines.push(
      `Focus changes from the centre outwards, the same in all directions: ${amount(strength, unit)} at the corners.`,
    );
    const radial = (fit.p[ASTIG] as number) * ((fit.p[KAPPA] as number) + (fit.p[Z0] as number));
    if (Math.abs(fit.p[ASTIG] as number) > 0.25 * Math.abs(fit.p[KAPPA] as number))
      lines.push(
        `Stars near the corners are drawn out ${radial > 0 ? 'away from' : 'round'} the centre: astigmatism belongs to it.`,
      );
  }
  if (seen.coma)
    lines.push(
      `Stars have a one-sided tail that points ${(fit.p[COMA] as number) > 0 ? 'away from' : 'towards'} the centre and grows outwards: coma, as of optics that want a corrector.`,
    );
  lines.push(centreCorner(size), asymmetry(size));
  return lines;
}

export function miscollimationEvidence(
  fit: FieldFit,
  width: number,
  height: number,
  seen: { coma: boolean; shifted: boolean; strength: Uncertain; unit: string },
): string[] {
  const lines: string[] = [];
  if (seen.coma) {
    lines.push(
      `Even stars in the middle of the frame have a one-sided tail, ${sideName(degreesOf(fit.p[CX] as number, fit.p[CY] as number))}: coma of ${amount(seen.strength, seen.unit)} at the centre, where a collimated telescope has none.`,
    );
    const c1 = fit.p[COMA] as number;
    if (fit.without.coma.rise > 20 && Math.abs(c1) > 0.1) {
      const half = 0.5 * Math.sqrt(width * width + height * height);
      const x = (width - 1) / 2 - ((fit.p[CX] as number) / c1) * half;
      const y = (height - 1) / 2 - ((fit.p[CY] as number) / c1) * half;
      lines.push(`Coma vanishes at x ${x.toFixed(0)}, y ${y.toFixed(0)} instead of the centre.`);
    }
  }
  if (seen.shifted)
    lines.push(
      'The pattern of sharp and blurred stars has its centre beside the middle of the frame.',
    );
  return lines;
}

export function trackingEvidence(ellipticity: number, angle: number, drift: number): string[] {
  return [
    `All stars, from centre to corners, are drawn out in the same direction, ${angle.toFixed(0)} degrees from +x towards +y (ellipticity ${ellipticity.toFixed(3)}).`,
    `A straight drift of ${px(drift)} during the exposure would do this.`,
  ];
}

export function defocusEvidence(size: Float64Array, strength: Uncertain, unit: string): string[] {
  return [
    `The sharpest place is not the centre: the centre lies ${amount(strength, unit)} from best focus.`,
    centreCorner(size),
  ];
}

export function flatTop(fwhm: number): string {
  return `All stars are wide (${px(fwhm)}) with a flat top and hardly any wings: blurred by focus rather than by air.`;
}

export function lateralEvidence(corner: number): string[] {
  return [
    `Blue light lies ${px(Math.abs(corner))} ${corner > 0 ? 'farther out' : 'farther in'} than red at the corners and in the same place at the centre.`,
  ];
}

export function dispersionEvidence(constant: number, angle: number): string[] {
  return [
    `Blue light lies ${px(constant)} beside red everywhere in the frame, ${sideName(angle)}.`,
  ];
}

export function vignettingEvidence(corner: number, error: number): string[] {
  const digits = error < 0.005 ? 1 : 0;
  return [
    `The darkest corner gets ${(100 * corner).toFixed(digits)} ± ${(100 * error).toFixed(digits)} % of the light of the centre, measured on the sky.`,
    'The noise of the sky falls towards the corners with its level, as recorded light does: no flat field was applied.',
  ];
}

export function tooFewStars(stars: number, needed: number): string {
  return `Cannot tell: ${stars} usable stars, at least ${needed} are needed (50 or more for a sure answer).`;
}

export function suspected(causes: readonly string[]): string {
  return `Cannot tell: the stars hint at ${causes.join(' or ')}, but not clearly enough. More stars, or several frames together, will tell.`;
}

export function blind(errorPx: number): string {
  return `Cannot tell: nothing stands out, but the star sizes at the corners are known only to ${px(errorPx)}.`;
}

export function emptyCorners(n: number): string {
  const where = n === 1 ? 'one corner' : n === 4 ? 'any corner' : `${n} of the corners`;
  return `Cannot tell: no fault shows where there are stars, but none stands near ${where}.`;
}

export function sound(size: Float64Array): string {
  return `Corners sound: ${centreCorner(size).toLowerCase()}`;
}

export function summaryOf(cause: Cause): string {
  const name = {
    defocus: 'Out of focus',
    tilt: 'Tilt: focus changes evenly across the frame',
    curvature:
      'Curvature, a missing corrector or its spacing: the errors grow from the centre outwards',
    miscollimation: 'Miscollimation: the optics are not centred',
    tracking: 'Tracking, guiding or wind: all stars are drawn out alike',
    'lateral colour': 'Lateral colour: blue and red part towards the corners',
    dispersion: 'Dispersion of the air: blue and red part everywhere alike',
    vignetting: 'Vignetting: the corners get less light',
  }[cause.cause];
  return `${name} (${amount(cause.strength, cause.unit)}).`;
}
