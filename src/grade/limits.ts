/** Where a frame becomes doubtful or is dropped: from the night itself, or as the user says. */
import type { GradeOptions, ReasonCode } from './result.js';
import { type Usual, usualOf } from './usual.js';

/** The quantities that decide. 'sky' is the variance of the sky relative to the reference: it counts, not the level, which holds an unknown pedestal. */
export type Judged = 'fwhm' | 'ellipticity' | 'transparency' | 'sky' | 'stars';

/** A limit lies `sigmas` spreads beyond the centre, but no nearer than `least` and no farther than `most` (see `scaled`). */
interface Bound {
  sigmas: number;
  least: number;
  most: number;
}

interface Rule {
  code: ReasonCode;
  better: 'low' | 'high';
  /** Whether `least` and `most` are factors of the centre or steps added to it. */
  measure: 'factor' | 'step';
  /** Frames that differ by less are alike: share of the centre (factor) or absolute (step). */
  leastSpread: number;
  doubtful: Bound;
  drop: Bound;
}

/** docs/grading.md gives the reason for each number. */
export const RULES: Readonly<Record<Judged, Rule>> = {
  fwhm: {
    code: 'wide stars',
    better: 'low',
    measure: 'factor',
    leastSpread: 0.04,
    doubtful: { sigmas: 3.5, least: 1.15, most: 1.35 },
    drop: { sigmas: 5, least: 1.25, most: 1.6 },
  },
  ellipticity: {
    code: 'elongated stars',
    better: 'low',
    measure: 'step',
    leastSpread: 0.012,
    doubtful: { sigmas: 3.5, least: 0.05, most: 0.15 },
    drop: { sigmas: 5, least: 0.08, most: 0.25 },
  },
  transparency: {
    code: 'low transparency',
    better: 'high',
    measure: 'factor',
    leastSpread: 0.03,
    doubtful: { sigmas: 3.5, least: 0.87, most: 0.7 },
    drop: { sigmas: 5, least: 0.78, most: 0.5 },
  },
  sky: {
    code: 'bright sky',
    better: 'low',
    measure: 'factor',
    leastSpread: 0.05,
    doubtful: { sigmas: 4, least: 2, most: 4 },
    drop: { sigmas: 6, least: 3.5, most: 8 },
  },
  stars: {
    code: 'few stars',
    better: 'high',
    measure: 'factor',
    leastSpread: 0.06,
    doubtful: { sigmas: 3.5, least: 0.75, most: 0.55 },
    drop: { sigmas: 5, least: 0.55, most: 0.35 },
  },
};

export const JUDGED = Object.keys(RULES) as Judged[];

/** Distances from the usual are multiplied by this. */
const STRICTNESS: Readonly<Record<GradeOptions['strictness'], number>> = {
  lenient: 1.5,
  normal: 1,
  strict: 0.65,
};

/** Fewest frames from which the night's own usual is taken. */
export const FEWEST_FOR_USUAL = 5;

export interface Limits {
  usual: Usual;
  doubtful: number;
  drop: number;
}

/** Limits of one quantity from its values over a group; null with too few of them. */
export function nightLimits(
  judged: Judged,
  values: readonly number[],
  strictness: GradeOptions['strictness'],
): Limits | null {
  if (values.length < FEWEST_FOR_USUAL) return null;
  const rule = RULES[judged];
  const usual = usualOf(values, rule.better, (centre) =>
    rule.measure === 'factor' ? rule.leastSpread * Math.abs(centre) : rule.leastSpread,
  );
  if (usual === null) return null;
  const slack = STRICTNESS[strictness];
  return {
    usual,
    doubtful: limitOf(rule, rule.doubtful, usual, slack),
    drop: limitOf(rule, rule.drop, usual, slack),
  };
}

function limitOf(rule: Rule, bound: Bound, usual: Usual, slack: number): number {
  const sign = rule.better === 'low' ? 1 : -1;
  const distance = (to: number): number =>
    rule.measure === 'factor' ? Math.abs(to - 1) * Math.abs(usual.centre) : to;
  const wanted = Math.min(
    Math.max(bound.sigmas * usual.spread, distance(bound.least)),
    distance(bound.most),
  );
  // A limit on light or stars stays above nothing, however lenient.
  const moved = usual.centre + sign * slack * wanted;
  return rule.better === 'high' ? Math.max(moved, 0.1 * usual.centre) : moved;
}

/** True when `value` lies beyond `limit` on the bad side. */
export function isBeyond(judged: Judged, value: number, limit: number): boolean {
  return RULES[judged].better === 'low' ? value > limit : value < limit;
}
