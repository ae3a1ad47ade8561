/** Numbers as people read them: rounded to what their uncertainty supports, never further. */
import type { Uncertain } from '../measure/result.js';

/** Shown where nothing was measured. */
export const NOT_MEASURED = '–';

/** Above this ratio of the two sides of an interval they are printed apart. */
const ASYMMETRY = 1.5;

/**
 * Decimal places (negative: tens, hundreds …) supported by an uncertainty, by the rounding rule of the Particle Data
 * Group (Review of Particle Physics, Introduction, section 5.3; from memory): of the three leading digits of the
 * uncertainty, 100–354 keep two digits, 355–949 keep one, 950–999 round up to 1000 and keep two.
 *
 * @returns null when the uncertainty is zero, negative or not finite.
 */
export function decimalsFor(uncertainty: number): number | null {
  if (!(uncertainty > 0) || !Number.isFinite(uncertainty)) return null;
  const exponent = Math.floor(Math.log10(uncertainty));
  const leading = Math.round((uncertainty / 10 ** exponent) * 100);
  if (leading < 355) return 1 - exponent;
  if (leading < 950) return -exponent;
  return -exponent;
}

/** `value` to `decimals` places; negative places round to tens, hundreds …. Minus is U+2212; never "−0". */
export function fixed(value: number, decimals: number): string {
  if (!Number.isFinite(value)) return NOT_MEASURED;
  const places = Math.max(0, Math.min(decimals, 6));
  const unit = decimals < 0 ? 10 ** -decimals : 1;
  const rounded = decimals < 0 ? Math.round(value / unit) * unit : value;
  const text = Math.abs(rounded).toFixed(places);
  return rounded < 0 && Number(text) !== 0 ? `−${text}` : text;
}

/** `value` to `digits` significant digits, without exponent notation, for numbers that carry no uncertainty. */
export function significant(value: number, digits = 3): string {
  if (!Number.isFinite(value)) return NOT_MEASURED;
  if (value === 0) return '0';
  return fixed(value, digits - 1 - Math.floor(Math.log10(Math.abs(value))));
}

/** The same without zeros at the end, for nominal values: `80`, `f/7.5`. */
export function nominal(value: number, digits = 3): string {
  return Number.isFinite(value)
    ? String(Number(value.toPrecision(digits))).replace('-', '−')
    : NOT_MEASURED;
}

/** Half-widths of the interval, or null where it is unknown. */
function sides(u: Uncertain): { minus: number; plus: number } | null {
  const minus = u.value - u.low;
  const plus = u.high - u.value;
  return Number.isFinite(minus) && Number.isFinite(plus) && minus >= 0 && plus >= 0
    ? { minus, plus }
    : null;
}

/** Places for the value and its errors: from the smaller side, so that neither side is rounded away. */
function places(u: Uncertain, most: number): number | null {
  const s = sides(u);
  if (s === null) return null;
  const narrow =
    Math.min(s.minus, s.plus) > 0 ? Math.min(s.minus, s.plus) : Math.max(s.minus, s.plus);
  const decimals = decimalsFor(narrow);
  return decimals === null ? null : Math.min(decimals, most);
}

/**
 * `3.42 ± 0.03`, `3.42 +0.09 −0.03` where the interval is lopsided, `3.42 (3.45…3.51)` where the value lies outside it,
 * `3.42` where there is none, `–` for null.
 */
export function withUncertainty(u: Uncertain | null, mostDecimals = 3): string {
  if (u === null || !Number.isFinite(u.value)) return NOT_MEASURED;
  const s = sides(u);
  if (s === null && u.low <= u.high) {
    const digits = Math.min(decimalsFor(Math.abs(u.high - u.low) / 2) ?? 2, mostDecimals);
    return `${fixed(u.value, digits)} (${fixed(u.low, digits)}…${fixed(u.high, digits)})`;
  }
  const decimals = places(u, mostDecimals);
  if (s === null || decimals === null) return significant(u.value);
  const error = (side: number): string => {
    const text = fixed(side, decimals);
    return Number(text) === 0 && side > 0 ? fixed(10 ** -decimals, decimals) : text;
  };
  const lopsided = Math.max(s.minus, s.plus) > ASYMMETRY * Math.min(s.minus, s.plus);
  const value = fixed(u.value, decimals);
  return lopsided && error(s.plus) !== error(s.minus)
    ? `${value} +${error(s.plus)} −${error(s.minus)}`
    : `${value} ± ${error((s.minus + s.plus) / 2)}`;
}

/** The value alone, rounded as its uncertainty allows. */
export function valueOnly(u: Uncertain | null, mostDecimals = 3): string {
  if (u === null || !Number.isFinite(u.value)) return NOT_MEASURED;
  const decimals = places(u, mostDecimals);
  return decimals === null ? significant(u.value) : fixed(u.value, decimals);
}

/** The same with an explicit plus sign, for differences. */
export function signed(text: string): string {
  return /^\d/.test(text) && !/^0(\.0+)?($| )/.test(text) ? `+${text}` : text;
}

/** Thousands apart by a narrow gap only where there are five digits or more: `12 345`. */
export function count(n: number): string {
  const text = String(Math.round(n));
  return text.length < 5 ? text : text.replace(/\B(?=(\d{3})+(?!\d))/g, ' ');
}
