/** Frames that are known to lie nearly on each other: only a shift is searched, by the vote of all pairs. */
import type { PreparedList } from './star-list.js';
import { shiftTransform } from './transform.js';
import type { Proposal } from './vote.js';

/** Brightest stars of each list that vote. */
const VOTERS = 400;
/** Proposals handed on. */
const MOST_PROPOSALS = 4;
/** Bins per axis at most, and their smallest width in σ of a pair's distance. */
const MOST_BINS = 512;
const BIN_SIGMAS = 4;

/**
 * Shifts that most pairs of stars agree on, best first. `maxShiftPx` bounds the shift along each axis, px. A rotation of
 * a few tenths of a degree smears the vote but does not move it; the refinement finds the rest.
 */
export function alignedProposals(a: PreparedList, b: PreparedList, maxShiftPx: number): Proposal[] {
  const sigma = Math.sqrt(a.sigmaPx ** 2 + b.sigmaPx ** 2);
  const bin = Math.max(BIN_SIGMAS * sigma, (2 * maxShiftPx) / MOST_BINS);
  // One empty bin all round, so that the 2 × 2 sums need no edge rule.
  const size = Math.ceil((2 * maxShiftPx) / bin) + 3;
  const votes = new Int32Array(size * size);
  const sumX = new Float64Array(size * size);
  const sumY = new Float64Array(size * size);
  const countA = Math.min(a.n, VOTERS);
  const countB = Math.min(b.n, VOTERS);
  for (let i = 0; i < countA; i++) {
    for (let j = 0; j < countB; j++) {
      const dx = b.x[j] - a.x[i];
      const dy = b.y[j] - a.y[i];
      if (Math.abs(dx) > maxShiftPx || Math.abs(dy) > maxShiftPx) continue;
      const at =
        (Math.floor((dy + maxShiftPx) / bin) + 1) * size + Math.floor((dx + maxShiftPx) / bin) + 1;
      votes[at]++;
      sumX[at] += dx;
      sumY[at] += dy;
    }
  }

  // The peak may straddle bins: 2 × 2 blocks vote together.
  const blocks: { at: number; count: number }[] = [];
  for (let row = 0; row + 1 < size; row++) {
    for (let column = 0; column + 1 < size; column++) {
      const at = row * size + column;
      const count = votes[at] + votes[at + 1] + votes[at + size] + votes[at + size + 1];
      if (count > 0) blocks.push({ at, count });
    }
  }
  blocks.sort((p, q) => q.count - p.count || p.at - q.at);
  const proposals: Proposal[] = [];
  const taken: { x: number; y: number }[] = [];
  for (const { at, count } of blocks) {
    if (proposals.length === MOST_PROPOSALS) break;
    const cells = [at, at + 1, at + size, at + size + 1];
    const x = cells.reduce((sum, cell) => sum + sumX[cell], 0) / count;
    const y = cells.reduce((sum, cell) => sum + sumY[cell], 0) / count;
    if (taken.some((other) => Math.abs(other.x - x) < bin && Math.abs(other.y - y) < bin)) continue;
    taken.push({ x, y });
    proposals.push({
      transform: shiftTransform(x, y),
      x: a.width / 2,
      y: a.height / 2,
      base: Math.sqrt(a.width * a.width + a.height * a.height) / 8,
      score: count,
      asked: 0,
    });
  }
  return proposals;
}
