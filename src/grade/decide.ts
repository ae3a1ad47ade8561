/** Keep, doubtful or drop, each with its reasons in words and numbers. */
import { isBeyond, JUDGED, type Judged, type Limits, nightLimits, RULES } from './limits.js';
import type { NightFrame } from './night-frame.js';
import type { Registration } from './register.js';
import type { Decision, GradeOptions, Reason } from './result.js';
import type { WeightParts } from './weight.js';

/** What is known of one frame when it is judged. */
export interface Evidence {
  frame: NightFrame;
  registration: Registration | null;
  parts: WeightParts | null;
}

/** Value of a judged quantity; null = not measured. */
function judgedValue(judged: Judged, evidence: Evidence): number | null {
  const { frame, registration, parts } = evidence;
  switch (judged) {
    case 'fwhm':
      return frame.fwhmPx?.value ?? null;
    case 'ellipticity':
      return frame.ellipticity?.value ?? null;
    case 'transparency':
      return registration?.transparency?.value ?? null;
    case 'sky':
      return parts === null ? null : 1 / parts.sky;
    case 'stars':
      return registration?.matchedShare ?? null;
  }
}

export type NightLimits = Partial<Record<Judged, Limits>>;

/** Limits that the group's own frames give. */
export function limitsOfGroup(evidence: readonly Evidence[], options: GradeOptions): NightLimits {
  const limits: NightLimits = {};
  for (const judged of JUDGED) {
    const values = evidence
      .map((each) => judgedValue(judged, each))
      .filter((value): value is number => value !== null && Number.isFinite(value));
    const found = nightLimits(judged, values, options.strictness);
    if (found !== null) limits[judged] = found;
  }
  return limits;
}

/** Reasons against a frame, the gravest first. */
export function reasonsOf(
  evidence: Evidence,
  limits: NightLimits,
  options: GradeOptions,
  hasReference: boolean,
): Reason[] {
  const { frame } = evidence;
  if (frame.starsUsed === 0) {
    return [
      state('no stars', 'no usable star: cloud, a closed cover, or far out of focus', 'drop'),
    ];
  }
  const reasons: Reason[] = [];
  if (!hasReference) {
    const text = `only ${count(frame.starsUsed)} measured, too few to recognise the field or to hold frames against each other`;
    reasons.push(state('no match', text, 'doubtful'));
  }
  if (hasReference && evidence.registration === null) {
    const text = `its ${count(frame.starsUsed)} cannot be matched with the reference frame: cloud, another field, or a knock`;
    reasons.push(state('no match', text, 'drop'));
  }
  for (const judged of JUDGED) {
    const value = judgedValue(judged, evidence);
    const fixed = fixedReasons(judged, evidence, options);
    if (fixed !== null) {
      reasons.push(...fixed);
      continue;
    }
    const own = limits[judged];
    if (value === null || own === undefined) continue;
    if (!isBeyond(judged, value, own.doubtful)) continue;
    const severity = isBeyond(judged, value, own.drop) ? 'drop' : 'doubtful';
    reasons.push({
      code: RULES[judged].code,
      kind: 'night',
      severity,
      value,
      limit: severity === 'drop' ? own.drop : own.doubtful,
      usual: own.usual.centre,
      unit: UNITS[judged],
      text: nightText(judged, value, own, severity, frame),
    });
  }
  return reasons.sort((a, b) => graveness(b, limits) - graveness(a, limits));
}

export function decisionOf(reasons: readonly Reason[]): Decision {
  if (reasons.some(({ severity }) => severity === 'drop')) return 'drop';
  return reasons.length > 0 ? 'doubtful' : 'keep';
}

const UNITS: Readonly<Record<Judged, string>> = {
  fwhm: 'px',
  ellipticity: '',
  transparency: '',
  sky: 'of the usual variance',
  stars: '',
};

function state(code: Reason['code'], text: string, severity: Reason['severity']): Reason {
  return { code, kind: 'state', severity, value: null, limit: null, usual: null, unit: '', text };
}

/** How far beyond the limit: a state outweighs all, a drop outweighs a doubt, then spreads from the usual. */
function graveness(reason: Reason, limits: NightLimits): number {
  if (reason.kind === 'state') return reason.code === 'no stars' ? 1e9 : 1e8;
  const judged = JUDGED.find((each) => RULES[each].code === reason.code) as Judged;
  const own = limits[judged];
  const spreads =
    own === undefined || reason.value === null
      ? 0
      : Math.abs(reason.value - own.usual.centre) / own.usual.spread;
  return (reason.severity === 'drop' ? 1e6 : 0) + Math.min(1e5, spreads);
}

function count(stars: number): string {
  return `${stars} star${stars === 1 ? '' : 's'}`;
}

function percent(share: number): string {
  return `${Math.round(100 * share)} %`;
}

/** What was seen, in words: value, the usual, the limit. */
function nightText(
  judged: Judged,
  value: number,
  { usual, doubtful, drop }: Limits,
  severity: Reason['severity'],
  frame: NightFrame,
): string {
  const limit = severity === 'drop' ? drop : doubtful;
  switch (judged) {
    case 'fwhm':
      return `stars ${value.toFixed(1)} px wide, usual ${usual.centre.toFixed(1)}, limit ${limit.toFixed(1)}: focus or seeing`;
    case 'ellipticity':
      return `stars elongated by ${value.toFixed(2)}, usual ${usual.centre.toFixed(2)}, limit ${limit.toFixed(2)}: tracking, guiding or wind`;
    case 'transparency':
      return `${percent(value / usual.centre)} of the usual starlight, limit ${percent(limit / usual.centre)}: cloud, haze or dew`;
    case 'sky':
      return `sky ${(value / usual.centre).toFixed(1)} times as noisy in variance as usual, limit ${(limit / usual.centre).toFixed(1)}${frame.backgroundAdu === null ? '' : ` (${Math.round(frame.backgroundAdu)} ADU)`}: moonlight, twilight, or lit cloud`;
    case 'stars':
      return `${percent(value)} of the stars that should be there, usual ${percent(usual.centre)}, limit ${percent(limit)}`;
  }
}

/** Reasons from the user's own limits; null where the user gave none for this quantity. */
function fixedReasons(judged: Judged, evidence: Evidence, options: GradeOptions): Reason[] | null {
  const { frame, registration } = evidence;
  const bounds: {
    value: number | null;
    limit: number;
    unit: string;
    words: (value: string) => string;
    low: boolean;
  }[] = [];
  const add = (
    limit: number | null,
    value: number | null,
    unit: string,
    words: (value: string) => string,
    low = true,
  ): void => {
    if (limit !== null) bounds.push({ value, limit, unit, words, low });
  };
  if (judged === 'fwhm') {
    const px = frame.fwhmPx?.value ?? null;
    const scale = frame.scaleArcsecPerPx;
    add(options.maxFwhmPx, px, 'px', (v) => `stars ${v} px wide`);
    const arcsec = px === null || scale === null ? null : px * scale;
    // Without a scale the limit in arcsec says nothing about this frame, and the night's own limit holds.
    if (arcsec !== null)
      add(options.maxFwhmArcsec, arcsec, 'arcsec', (v) => `stars ${v} arcsec wide`);
  } else if (judged === 'ellipticity') {
    add(options.maxEllipticity, frame.ellipticity?.value ?? null, '', (v) => `ellipticity ${v}`);
  } else if (judged === 'transparency') {
    const value = registration?.transparency?.value ?? null;
    add(options.minTransparency, value, '', (v) => `transparency ${v}`, false);
  } else if (judged === 'sky') {
    add(options.maxBackgroundAdu, frame.backgroundAdu, 'ADU', (v) => `sky of ${v} ADU`);
  } else {
    add(
      options.minStars,
      frame.starsUsed,
      '',
      (v) => `${v} star${v === '1' ? '' : 's'} measured`,
      false,
    );
  }
  if (bounds.length === 0) return null;
  return bounds
    .filter(({ value, limit, low }) => value !== null && (low ? value > limit : value < limit))
    .map(({ value, limit, unit, words, low }) => ({
      code: RULES[judged].code,
      kind: 'fixed' as const,
      severity: 'drop' as const,
      value,
      limit,
      usual: null,
      unit,
      text: `${words(apart(value as number, limit))}, your limit is ${low ? 'at most' : 'at least'} ${plainNumber(limit)}`,
    }));
}

/** With as many digits as tell it from the limit. */
function apart(value: number, limit: number): string {
  for (let digits = 3; digits < 8; digits++) {
    const text = String(Number(value.toPrecision(digits)));
    if (Number(text) !== limit) return text;
  }
  return String(value);
}

function plainNumber(value: number): string {
  return String(Number(value.toPrecision(3)));
}
