/** What a search ends with: a match, or no answer and why. */
import { type Assessed, overlapArea } from './assess.js';
import type { PreparedList } from './star-list.js';
import { describeTransform, type Transform, type TransformDescription } from './transform.js';

/** Stars of both frames that are the same. */
export interface Match {
  found: true;
  transform: Transform;
  description: TransformDescription;
  /** Indices into the given lists, pair by pair, brightest of B first. */
  indexA: Int32Array;
  indexB: Int32Array;
  /** Distance of each pair from agreement, px of B. */
  residualPx: Float64Array;
  /** Root mean square of these, over both axes together. */
  residualRmsPx: number;
  /** Stars farther apart than this are no pair, px of B. */
  tolerancePx: number;
  matched: number;
  /** Stars that the sparser list has within the overlap: the most pairs there could be. */
  expected: number;
  starsOfAOnB: number;
  starsOfBOnA: number;
  /** Overlap over the area of the frame that covers less sky. */
  overlapFraction: number;
  /** log10 of an upper bound of the probability that unrelated stars match as well; 1e-300 is −300. */
  log10FalseProbability: number;
  /** True when the match came from the search near alignment alone. */
  aligned: boolean;
}

export type NoMatchReason = 'too-few-stars' | 'no-agreement' | 'not-significant' | 'ambiguous';

/** No answer, and why. */
export interface NoMatch {
  found: false;
  reason: NoMatchReason;
  /** One sentence in plain words. */
  explanation: string;
  /** The best that was found, for information; null when nothing was. */
  best: {
    matched: number;
    expected: number;
    log10FalseProbability: number;
    description: TransformDescription;
  } | null;
}

export function toMatch(a: PreparedList, b: PreparedList, best: Assessed, aligned: boolean): Match {
  const { transform, pairs, residualPx } = best;
  const description = describeTransform(transform);
  let sum = 0;
  for (const r of residualPx) sum += r * r;
  const areaA = a.width * a.height;
  const smaller = Math.min(areaA, (b.width * b.height) / description.scale ** 2);
  return {
    found: true,
    transform,
    description,
    indexA: pairs.a.map((i) => a.source[i]),
    indexB: pairs.b.map((j) => b.source[j]),
    residualPx,
    residualRmsPx: Math.sqrt(sum / pairs.n),
    tolerancePx: best.tolerancePx,
    matched: pairs.n,
    expected: best.expected,
    starsOfAOnB: best.starsOfAOnB,
    starsOfBOnA: best.starsOfBOnA,
    overlapFraction: Math.min(1, overlapArea(a, b, best) / smaller),
    log10FalseProbability: best.lnFalse / Math.LN10,
    aligned,
  };
}

export function tooFew(a: PreparedList, b: PreparedList, fewest: number): NoMatch {
  return {
    found: false,
    reason: 'too-few-stars',
    explanation: `The frames have ${a.n} and ${b.n} stars; a match takes at least ${fewest} in each.`,
    best: null,
  };
}

export function noAgreement(fewer: number): NoMatch {
  return {
    found: false,
    reason: 'no-agreement',
    explanation: `No figure of four stars in one frame has its like in the other (the frame with fewer stars has ${fewer}).`,
    best: null,
  };
}

/** A power of ten in plain digits, as long as it can be read. */
function times(log10: number): string {
  const power = Math.floor(log10 + 1e-9);
  return power > 6 ? `1e${power}` : `${10 ** power}`;
}

export function weak(best: Assessed, maxFalse: number): NoMatch {
  const chance = best.lnFalse / Math.LN10;
  const odds =
    chance > -1
      ? 'unrelated stars often do as well'
      : `unrelated stars do as well once in ${times(-chance)} times`;
  return {
    found: false,
    reason: 'not-significant',
    explanation: `At best ${best.pairs.n} of ${best.expected} stars agree, and ${odds}; a match takes less than once in ${times(-Math.log10(maxFalse))}.`,
    best: summary(best),
  };
}

export function ambiguous(best: Assessed, rival: Assessed): NoMatch {
  return {
    found: false,
    reason: 'ambiguous',
    explanation:
      `The stars agree in more than one way: ${best.pairs.n} of ${best.expected} in one position, ` +
      `${rival.pairs.n} of ${rival.expected} in another. Repeating patterns do that.`,
    best: summary(best),
  };
}

function summary(best: Assessed): NonNullable<NoMatch['best']> {
  return {
    matched: best.pairs.n,
    expected: best.expected,
    log10FalseProbability: best.lnFalse / Math.LN10,
    description: describeTransform(best.transform),
  };
}
