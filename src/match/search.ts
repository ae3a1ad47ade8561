/** The search without any hint: figures propose, the stars round them vote, the best proposals grow. */
import { type Assessed, assess } from './assess.js';
import { findCandidates } from './candidates.js';
import type { FigurePairs } from './collector.js';
import type { Pairing } from './pairing.js';
import { makeQuads, quadLevels, type Thoroughness } from './quads.js';
import { agreesWith, isSame, refine } from './refine.js';
import type { SearchSpace } from './significance.js';
import type { PreparedList } from './star-list.js';
import { trianglePairs } from './triangles.js';
import { byVotes, LocalVote, type Proposal } from './vote.js';

/** Passes, each more thorough than the one before: easy pairs end early. */
const PASSES: readonly Thoroughness[] = [
  { figures: 8000, deepest: 1200 },
  { figures: 20_000, deepest: Number.POSITIVE_INFINITY },
];
/** Few stars carry the hard cases, and cost little: up to this many, further passes. */
const FEW_STARS = 500;
const PASSES_FOR_FEW: readonly Thoroughness[] = [
  { figures: 90_000, deepest: 150 },
  { figures: 50_000, deepest: Number.POSITIVE_INFINITY },
];
/** Triangles are tried, after the first pass, when a list is as short as this. */
const FEW_FOR_TRIANGLES = 100;
/** Candidates asked per pass: the true ones nearly always are among the first thousand. */
const MOST_ASKED = 3000;
/** Proposals grown per pass. */
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

/** The best transform of a search, and one that differs from it and does as well. */
export interface Found {
  best: Assessed | null;
  rival: Assessed | null;
}

export function searchFigures(
  a: PreparedList,
  b: PreparedList,
  space: SearchSpace,
  pairing: Pairing,
  accepted: number,
): Found {
  const vote = new LocalVote(a, b);
  const assessed: Assessed[] = [];
  for (const pass of passesFor(Math.min(a.n, b.n))) {
    const { figures, order } =
      pass === 'triangles' ? triangles(a, b, space) : quads(a, b, space, pass);
    const proposals: Proposal[] = [];
    for (let i = 0; i < Math.min(order.length, MOST_ASKED); i++) {
      const proposal = vote.propose(figures, order[i]);
      if (proposal === null) continue;
      vote.ask(proposal, figures, order[i]);
      proposals.push(proposal);
    }
    proposals.sort((p, q) => q.score - p.score);
    growBest(a, b, proposals, pairing, space, assessed);
    const { best } = pickBest(assessed);
    if (best !== null && best.lnFalse <= Math.min(BEYOND_DOUBT, accepted)) break;
  }
  return pickBest(assessed);
}

function passesFor(fewer: number): (Thoroughness | 'triangles')[] {
  const [first, ...rest] = PASSES;
  const triangles = fewer <= FEW_FOR_TRIANGLES ? (['triangles'] as const) : [];
  return [first, ...triangles, ...rest, ...(fewer <= FEW_STARS ? PASSES_FOR_FEW : [])];
}

interface Figures {
  figures: FigurePairs;
  /** Numbers of the pairs, most likely ones first. */
  order: ArrayLike<number>;
}

function quads(a: PreparedList, b: PreparedList, space: SearchSpace, pass: Thoroughness): Figures {
  const quadsA = quadLevels(a, pass).map((level) => makeQuads(a, level));
  const quadsB = quadLevels(b, pass).map((level) => makeQuads(b, level));
  const figures = findCandidates(a, quadsA, b, quadsB, space);
  return { figures, order: byVotes(figures, MOST_ASKED) };
}

function triangles(a: PreparedList, b: PreparedList, space: SearchSpace): Figures {
  const figures = trianglePairs(a, b, space);
  return { figures, order: Array.from({ length: figures.count }, (_, i) => i) };
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
  // What a pass before grew from a poor figure may grow well from a better one.
  const known = assessed.filter(({ lnFalse }) => lnFalse <= RIVAL_LN_FALSE);
  let grown = 0;
  let least = 0;
  for (const proposal of proposals) {
    if (grown === MOST_GROWN || proposal.score < least) break;
    if (proposal.asked >= ENOUGH_ASKED && proposal.score < LEAST_SCORE) break;
    if (known.some((other) => agreesWith(proposal, other))) continue;
    grown++;
    const found = growBothWays(a, b, proposal, pairing, space);
    if (found === null) continue;
    collect(assessed, found);
    known.push(found);
    // Beyond doubt: from here on only rivals matter, and these have the stars round them behind them too.
    if (found.lnFalse <= BEYOND_DOUBT) least = Math.max(least, RIVAL_SCORE * proposal.score);
  }
}

/** Adds a transform to the list; of two refinements of one transform the better stays. */
export function collect(assessed: Assessed[], found: Assessed): void {
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

export function pickBest(assessed: readonly Assessed[]): Found {
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
