/**
 * Matches the stars of two frames without coordinates: figures of a few stars propose transforms, the stars round each
 * figure vote, the best proposals grow over the overlap, and one is accepted only when chance and every rival are ruled
 * out.
 */
import { ParameterError } from '../errors.js';
import { alignedProposals } from './aligned.js';
import { type Assessed, assess } from './assess.js';
import {
  ambiguous,
  type Match,
  type NoMatch,
  noAgreement,
  toMatch,
  tooFew,
  weak,
} from './outcome.js';
import { Pairing } from './pairing.js';
import { type Growth, refine } from './refine.js';
import { collect, type Found, pickBest, searchFigures } from './search.js';
import type { SearchSpace } from './significance.js';
import { type PreparedList, prepareList, type StarList } from './star-list.js';
import { describeTransform } from './transform.js';

export type { Match, NoMatch } from './outcome.js';

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

const DEFAULT_SCALE_LIMIT = 6.5;
const DEFAULT_MAX_FALSE = 1e-5;
/** `nearlyAligned` allows this much. */
const ALIGNED_ROTATION_DEG = 2;
const ALIGNED_SCALE = 1.02;
/** A similarity takes two stars; figures take four. */
const FEWEST_ALIGNED = 2;
/** Up to so many stars a shift alone is tried besides. */
const MOST_SHIFTED = 30;
const FEWEST = 4;

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
  if (Math.min(a.n, b.n) < FEWEST)
    return best === null ? tooFew(a, b, FEWEST) : weak(best, maxFalse);

  const found = searchFigures(a, b, space, pairing, accepted);
  if (found.best === null) {
    return best === null ? noAgreement(Math.min(a.n, b.n)) : weak(best, maxFalse);
  }
  if (found.best.lnFalse > accepted) {
    const better = best !== null && best.lnFalse < found.best.lnFalse ? best : found.best;
    return weak(better, maxFalse);
  }
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
  // A handful of stars cannot afford the freedom to turn and stretch; more stars need it.
  const few = Math.min(a.n, b.n) <= MOST_SHIFTED;
  const growths: readonly Growth[] = few ? ['shift-only', 'stiff'] : ['stiff'];
  const assessed: Assessed[] = [];
  for (const proposal of alignedProposals(a, b, maxShiftPx)) {
    for (const growth of growths) {
      const refined = refine(a, b, proposal, pairing, growth);
      if (refined === null) continue;
      const { scale, rotationDeg, mirrored } = describeTransform(refined.transform);
      if (mirrored || Math.abs(rotationDeg) > ALIGNED_ROTATION_DEG) continue;
      if (Math.abs(Math.log(scale)) > Math.log(ALIGNED_SCALE)) continue;
      const found = assess(a, b, refined, space);
      collect(assessed, {
        ...found,
        lnFalse: Math.min(0, found.lnFalse + Math.log(growths.length)),
      });
    }
  }
  return pickBest(assessed);
}
