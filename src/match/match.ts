/**
 * Matches the stars of two frames without coordinates: figures of four stars propose transforms, the stars round each
 * figure vote, the best proposals grow over the overlap, and one is accepted only when chance and every rival are ruled
 * out.
 */
import { ParameterError } from '../errors.js';
import { alignedProposals } from './aligned.js';
import { type Assessed, assess, overlapArea } from './assess.js';
import { findCandidates } from './candidates.js';
import { Pairing } from './pairing.js';
import { makeQuads, quadLevels, type Thoroughness } from './quads.js';
import { agreesWith, isSame, refine } from './refine.js';
import type { SearchSpace } from './significance.js';
import { type PreparedList, prepareList, type StarList } from './star-list.js';
import { describeTransform, type Transform, type TransformDescription } from './transform.js';
import { byVotes, LocalVote, type Proposal } from './vote.js';

/** What is known beforehand. Everything may be left out. */
export interface MatchOptions {
  /** Frames of one telescope and night: same scale, no flip, turned by less than 2°. Tried first. */
  nearlyAligned?: boolean;
  /** Largest shift along each axis for `nearlyAligned`, px. Default half the larger side of B. */
  maxShiftPx?: number;
  /** Bounds of the scale, px of B per px of A. Default 1/6.5 to 6.5. */
  minScale?: number;
  maxScale?: number;
  /** Whether B is a mirror image of A; left out = unknown. */
  mirrored?: boolean;
  /** Accepted probability that the match is chance. Default 1e-5. */
  maxFalseProbability?: number;
}

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

const DEFAULT_SCALE_LIMIT = 6.5;
const DEFAULT_MAX_FALSE = 1e-5;
/** `nearlyAligned` allows this much. */
const ALIGNED_ROTATION_DEG = 2;
const ALIGNED_SCALE = 1.02;
/** A similarity takes two stars; figures take four. */
const FEWEST_ALIGNED = 2;
const FEWEST = 4;
/** Passes, each more thorough than the one before: easy pairs end early. Few stars carry the hard cases. */
const PASSES: readonly Thoroughness[] = [
  { figures: 8000, deepest: 1200 },
  { figures: 8000, deepest: Number.POSITIVE_INFINITY },
  { figures: 90_000, deepest: 150 },
  { figures: 50_000, deepest: Number.POSITIVE_INFINITY },
];
/** With a list as short as this one more pass costs little. */
const FEW_STARS = 300;
const PASS_FOR_FEW: Thoroughness = { figures: 100_000, deepest: Number.POSITIVE_INFINITY };
/** Candidates asked per stage ; and proposals looked at again for rivals. */
const MOST_ASKED = 20_000;
const MOST_CONSIDERED = 3000;
/** Proposals grown per stage. */
const MOST_GROWN = 16;
/** A proposal about which this many stars were asked needs this score to be grown: below it all is noise. */
const ENOUGH_ASKED = 12;
const LEAST_SCORE = 4;
/** Share of the overlap beyond which a match is not grown in another way. */
const GOOD_SHARE = 0.75;
/** Once a match is beyond doubt, only proposals with this share of its score are rivals. */
const RIVAL_SCORE = 0.5;
/** ln of a probability beyond which the search stops. */
const BEYOND_DOUBT = Math.log(1e-8);
/** A rival whose share of the overlap is within this many σ of the best's makes the match ambiguous. */
const RIVAL_SIGMAS = 4;
/** ln of the false probability that makes a rival worth counting. */
const RIVAL_LN_FALSE = Math.log(1e-3);

/**
 * Finds which stars of A and B are the same. No limits on rotation, parity, shift; scale up to a factor of 6.5 unless
 * the options say otherwise. Deterministic. Time grows about linearly with the stars beyond a few hundred.
 * @throws ParameterError for lists of unequal length, frames without size, impossible options
 */
export function matchStars(
  listA: StarList,
  listB: StarList,
  options: MatchOptions = {},
): Match | NoMatch {
  const a = prepareList(listA, 'a');
  const b = prepareList(listB, 'b');
  const space = searchSpace(options);
  const maxFalse = options.maxFalseProbability ?? DEFAULT_MAX_FALSE;
  if (!(maxFalse > 0 && maxFalse <= 1)) {
    throw new ParameterError('maxFalseProbability', maxFalse, 'a number above 0, at most 1');
  }
  const accepted = Math.log(maxFalse);
  const pairing = new Pairing(a, b);

  let best: Assessed | null = null;
  if (options.nearlyAligned === true && Math.min(a.n, b.n) >= FEWEST_ALIGNED) {
    const found = searchAligned(a, b, options, pairing);
    if (found.best !== null && found.best.lnFalse <= accepted) {
      return found.rival === null
        ? toMatch(a, b, found.best, true)
        : ambiguous(found.best, found.rival);
    }
    best = found.best;
  }
  if (Math.min(a.n, b.n) < FEWEST) return best === null ? tooFew(a, b) : weak(best, maxFalse);

  const found = searchFigures(a, b, space, pairing, accepted);
  if (found.best === null) {
    return best === null ? noAgreement(Math.min(a.n, b.n)) : weak(best, maxFalse);
  }
  if (found.best.lnFalse > accepted) return weak(found.best, maxFalse);
  if (found.rival !== null) return ambiguous(found.best, found.rival);
  return toMatch(a, b, found.best, false);
}

function searchSpace(options: MatchOptions): SearchSpace {
  const minScale = options.minScale ?? 1 / DEFAULT_SCALE_LIMIT;
  const maxScale = options.maxScale ?? DEFAULT_SCALE_LIMIT;
  if (!(minScale > 0 && maxScale >= minScale && Number.isFinite(maxScale))) {
    throw new ParameterError('minScale … maxScale', `${minScale} … ${maxScale}`, '0 < min ≤ max');
  }
  return {
    minScale,
    maxScale,
    mirrored: options.mirrored ?? null,
    maxRotationDeg: 180,
    maxShiftPx: Number.POSITIVE_INFINITY,
  };
}

/** The best transform of a search, and one that differs from it and does as well. */
interface Found {
  best: Assessed | null;
  rival: Assessed | null;
}

function searchAligned(
  a: PreparedList,
  b: PreparedList,
  options: MatchOptions,
  pairing: Pairing,
): Found {
  const maxShiftPx = options.maxShiftPx ?? Math.max(b.width, b.height) / 2;
  if (!(maxShiftPx >= 0)) throw new ParameterError('maxShiftPx', maxShiftPx, 'a number from 0 up');
  const space: SearchSpace = {
    minScale: 1 / ALIGNED_SCALE,
    maxScale: ALIGNED_SCALE,
    mirrored: false,
    maxRotationDeg: ALIGNED_ROTATION_DEG,
    maxShiftPx,
  };
  const assessed: Assessed[] = [];
  for (const proposal of alignedProposals(a, b, maxShiftPx)) {
    for (const growth of ['shift-only', 'stiff'] as const) {
      const refined = refine(a, b, proposal, pairing, growth);
      if (refined === null) continue;
      const { scale, rotationDeg, mirrored } = describeTransform(refined.transform);
      if (mirrored || Math.abs(rotationDeg) > ALIGNED_ROTATION_DEG) continue;
      if (Math.abs(Math.log(scale)) > Math.log(ALIGNED_SCALE)) continue;
      const found = assess(a, b, refined, space);
      collect(assessed, { ...found, lnFalse: Math.min(0, found.lnFalse + Math.LN2) });
    }
  }
  return pickBest(assessed);
}

function searchFigures(
  a: PreparedList,
  b: PreparedList,
  space: SearchSpace,
  pairing: Pairing,
  accepted: number,
): Found {
  const vote = new LocalVote(a, b);
  const assessed: Assessed[] = [];
  const passes = Math.min(a.n, b.n) <= FEW_STARS ? [...PASSES, PASS_FOR_FEW] : PASSES;
  for (const pass of passes) {
    const quadsA = quadLevels(a, pass).map((level) => makeQuads(a, level));
    const quadsB = quadLevels(b, pass).map((level) => makeQuads(b, level));
    const candidates = findCandidates(a, quadsA, b, quadsB, space);
    const order = byVotes(candidates);
    const proposals: Proposal[] = [];
    for (let i = 0; i < Math.min(order.length, MOST_ASKED); i++) {
      const proposal = vote.propose(candidates, order[i]);
      if (proposal === null) continue;
      vote.ask(proposal, candidates, order[i]);
      proposals.push(proposal);
    }
    proposals.sort((p, q) => q.score - p.score);
    growBest(a, b, proposals, pairing, space, assessed);
    const { best } = pickBest(assessed);
    if (best !== null && best.lnFalse <= Math.min(BEYOND_DOUBT, accepted)) break;
  }
  return pickBest(assessed);
}

/** Grows the most promising proposals, each transform once. */
function growBest(
  a: PreparedList,
  b: PreparedList,
  proposals: readonly Proposal[],
  pairing: Pairing,
  space: SearchSpace,
  assessed: Assessed[],
): void {
  let grown = 0;
  let least = 0;
  for (const proposal of proposals.slice(0, MOST_CONSIDERED)) {
    if (grown === MOST_GROWN || proposal.score < least) break;
    if (proposal.asked >= ENOUGH_ASKED && proposal.score < LEAST_SCORE) break;
    if (assessed.some((other) => agreesWith(proposal, other))) continue;
    grown++;
    const found = growBothWays(a, b, proposal, pairing, space);
    if (found === null) continue;
    collect(assessed, found);
    // Beyond doubt: from here on only rivals matter, and these have the stars round them behind them too.
    if (found.lnFalse <= BEYOND_DOUBT) least = Math.max(least, RIVAL_SCORE * proposal.score);
  }
}

/** Adds a transform to the list; of two refinements of one transform the better stays. */
function collect(assessed: Assessed[], found: Assessed): void {
  const known = assessed.findIndex((other) => isSame(found, other));
  if (known < 0) assessed.push(found);
  else if (found.lnFalse < assessed[known].lnFalse) assessed[known] = found;
}

/** Grown stiffly and, where that leaves much of the overlap unmatched, flexibly: the better of the two. */
function growBothWays(
  a: PreparedList,
  b: PreparedList,
  proposal: Proposal,
  pairing: Pairing,
  space: SearchSpace,
): Assessed | null {
  const stiff = refine(a, b, proposal, pairing, 'stiff');
  const first = stiff === null ? null : assess(a, b, stiff, space);
  if (first !== null && first.share >= GOOD_SHARE) return first;
  const flexible = refine(a, b, proposal, pairing, 'flexible');
  if (flexible === null) return first;
  const second = assess(a, b, flexible, space);
  return first === null || second.lnFalse < first.lnFalse ? second : first;
}

function pickBest(assessed: readonly Assessed[]): Found {
  let best: Assessed | null = null;
  for (const one of assessed) if (best === null || one.lnFalse < best.lnFalse) best = one;
  if (best === null) return { best, rival: null };
  let rival: Assessed | null = null;
  for (const one of assessed) {
    if (one === best || one.lnFalse > RIVAL_LN_FALSE) continue;
    if (rival === null || one.share > rival.share) rival = one;
  }
  return { best, rival: rival !== null && isRival(best, rival) ? rival : null };
}

/** Whether the rival's share of its overlap is not clearly below the best's (difference of two proportions). */
function isRival(best: Assessed, rival: Assessed): boolean {
  const trials = best.expected + rival.expected;
  const pooled = Math.min(1, (best.pairs.n + rival.pairs.n) / trials);
  const sigma = Math.sqrt(pooled * (1 - pooled) * (1 / best.expected + 1 / rival.expected));
  return best.share - rival.share <= RIVAL_SIGMAS * sigma;
}

function toMatch(a: PreparedList, b: PreparedList, best: Assessed, aligned: boolean): Match {
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

function tooFew(a: PreparedList, b: PreparedList): NoMatch {
  return {
    found: false,
    reason: 'too-few-stars',
    explanation: `The frames have ${a.n} and ${b.n} stars; a match takes at least ${FEWEST} in each.`,
    best: null,
  };
}

function noAgreement(fewer: number): NoMatch {
  return {
    found: false,
    reason: 'no-agreement',
    explanation: `No figure of four stars in one frame has its like in the other (the frame with fewer stars has ${fewer}).`,
    best: null,
  };
}

function weak(best: Assessed, maxFalse: number): NoMatch {
  const chance = best.lnFalse / Math.LN10;
  const odds =
    chance > -1
      ? 'unrelated stars often do as well'
      : `chance does it once in 1e${Math.floor(-chance)}`;
  return {
    found: false,
    reason: 'not-significant',
    explanation: `At best ${best.pairs.n} of ${best.expected} stars agree, and ${odds}; ${maxFalse} is the limit.`,
    best: summary(best),
  };
}

function ambiguous(best: Assessed, rival: Assessed): NoMatch {
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
