/** Which of many proposed transforms deserve a closer look: votes of the figures, then of the stars round a figure. */
import { selectInPlace } from '../stats/select.js';
import type { Candidates, FigurePairs } from './collector.js';
import { wideTolerance } from './pairing.js';
import { lnTailBound } from './significance.js';
import { indexOfBrightest, type PreparedList } from './star-list.js';
import { applyInverse, applyTransform, fitTransform, type Transform } from './transform.js';

/** Bins of the vote: as wide as the largest error of one figure. */
const LN_SCALE_BIN = 0.03;
const ANGLE_BINS = 180;
const LN_SCALE_BINS = 160;

/** Stars round a figure that are asked, and after how many a candidate without any support or with hardly any is dropped. */
const ASKED = 40;
const FIRST_ASKED = 10;
const SECOND_ASKED = 16;
const FEWEST_ASKED = 32;
/** Neighbour whose distance gives the local density. */
const DENSITY_RANK = 10;
/** Relative stretch between the figure and its surroundings: distortion. */
const STRAIN = 0.003;
/** Error of a transform fitted to four stars, per base length away from them, in σ of one position. */
const LEVER = 2.5;
const SIGMAS = 3;

/**
 * Numbers of the candidates, at most `most` of them, most likely ones first. True figures agree on parity, scale and angle; false ones have
 * scales that the depths of the lists prefer, but any angle: what a bin holds beyond the mean over all angles is the
 * vote. It is added to the odds of the codes.
 */
export function byVotes(
  { count, mirrored, lnOdds, lnScale, angle }: Candidates,
  most: number,
): Int32Array {
  const width = ANGLE_BINS;
  const rows = 2 * (LN_SCALE_BINS + 2);
  const votes = new Int32Array(rows * width);
  const perRow = new Int32Array(rows);
  const binOf = new Int32Array(count);
  for (let c = 0; c < count; c++) {
    const bin = Math.floor(lnScale[c] / LN_SCALE_BIN) + LN_SCALE_BINS / 2;
    const s = Math.max(0, Math.min(LN_SCALE_BINS - 1, bin)) + 1;
    const t = Math.floor(((angle[c] + Math.PI) / (2 * Math.PI)) * ANGLE_BINS) % ANGLE_BINS;
    const row = mirrored[c] * (LN_SCALE_BINS + 2) + s;
    binOf[c] = row * width + t;
    votes[binOf[c]]++;
    perRow[row]++;
  }
  const odds = new Float32Array(count);
  for (let c = 0; c < count; c++) {
    const t = binOf[c] % width;
    const row = (binOf[c] - t) / width;
    let sum = 0;
    for (let ds = -1; ds <= 1; ds++) {
      for (let dt = -1; dt <= 1; dt++) {
        sum += votes[(row + ds) * width + ((t + dt + width) % width)];
      }
    }
    const mean = Math.max(1, (3 * (perRow[row - 1] + perRow[row] + perRow[row + 1])) / width);
    odds[c] = lnOdds[c] + Math.log(Math.max(sum - mean, Math.sqrt(mean)) / mean);
  }
  // Only the best are wanted: sorting all of hundreds of thousands would take as long as the rest of the vote.
  const limit =
    most < count
      ? selectInPlace(odds.slice(), count - most, 0, count - 1)
      : Number.NEGATIVE_INFINITY;
  const likely = Int32Array.from(odds.keys()).filter((c) => odds[c] >= limit);
  return likely.sort((i, j) => odds[j] - odds[i] || i - j).subarray(0, most);
}

/** A proposed transform with the evidence of the stars round its figure. */
export interface Proposal {
  transform: Transform;
  /** Middle of the figure on A and its base length there, px of A. */
  x: number;
  y: number;
  base: number;
  /** −ln of the chance that the surroundings agree by accident. */
  score: number;
  /** How many stars were asked. */
  asked: number;
}

/** Asks the stars round a figure. One instance holds the scratch for many candidates. */
export class LocalVote {
  private readonly found = new Int32Array(ASKED + 4);
  private readonly d2 = new Float64Array(ASKED + 4);
  private readonly point = new Float64Array(2);
  private readonly pairs = {
    n: 4,
    ax: new Float64Array(4),
    ay: new Float64Array(4),
    bx: new Float64Array(4),
    by: new Float64Array(4),
  };
  private readonly a: PreparedList;
  private readonly b: PreparedList;

  constructor(a: PreparedList, b: PreparedList) {
    this.a = a;
    this.b = b;
  }

  /** The candidate's similarity without asking anyone; null when its stars do not determine one. */
  propose({ stars, mirrored }: FigurePairs, c: number): Proposal | null {
    const { a, b, pairs } = this;
    for (let j = 0; j < 4; j++) {
      pairs.ax[j] = a.x[stars[8 * c + j]];
      pairs.ay[j] = a.y[stars[8 * c + j]];
      pairs.bx[j] = b.x[stars[8 * c + 4 + j]];
      pairs.by[j] = b.y[stars[8 * c + 4 + j]];
    }
    const transform = fitTransform('similarity', pairs, mirrored[c] === 1);
    if (transform === null) return null;
    const dx = pairs.ax[1] - pairs.ax[0];
    const dy = pairs.ay[1] - pairs.ay[0];
    return {
      transform,
      x: transform.centreX,
      y: transform.centreY,
      base: Math.sqrt(dx * dx + dy * dy),
      score: 0,
      asked: 0,
    };
  }

  /** Fills in the score: the nearest stars of the sparser list are looked for in the denser one. */
  ask(proposal: Proposal, candidates: FigurePairs, c: number): void {
    const { a, b, found, d2, point } = this;
    const { transform, x, y, base } = proposal;
    const scale =
      Math.sqrt(transform.coefficientsX[1] ** 2 + transform.coefficientsX[2] ** 2) /
      transform.lengthPx;
    applyTransform(transform, x, y, point);
    const onBx = point[0];
    const onBy = point[1];
    const depthA = askedDepth(a, candidates.stars, 8 * c);
    const depthB = askedDepth(b, candidates.stars, 8 * c + 4);
    const indexA = indexOfBrightest(a, depthA);
    const indexB = indexOfBrightest(b, depthB);
    const rank = Math.min(DENSITY_RANK, depthA, depthB);
    indexA.kNearest(x, y, rank, found, d2);
    const reachA = Math.sqrt(d2[rank - 1]) * scale;
    indexB.kNearest(onBx, onBy, rank, found, d2);
    const reachB = Math.sqrt(d2[rank - 1]);
    // Everything below in px of the denser list's frame.
    const forward = reachA >= reachB;
    const sparse = forward ? a : b;
    const sparseIndex = forward ? indexA : indexB;
    const dense = forward ? b : a;
    const denseIndex = forward ? indexB : indexA;
    const unit = forward ? 1 : 1 / scale;
    const cx = forward ? x : onBx;
    const cy = forward ? y : onBy;
    const toDense = forward ? scale : 1 / scale;
    const density = Math.max(
      denseIndex.n / (dense.width * dense.height),
      rank / (Math.PI * (Math.min(reachA, reachB) * unit) ** 2),
    );
    const sigma = Math.sqrt(a.sigmaPx ** 2 * scale ** 2 + b.sigmaPx ** 2) * unit;
    const lever = (LEVER * sigma) / (base * scale * unit) + STRAIN;
    const widest = wideTolerance(a, b, scale) * (forward ? 1 : 1 / scale);

    const offset = 8 * c + (forward ? 0 : 4);
    const total = sparseIndex.kNearest(cx, cy, Math.min(ASKED, sparseIndex.n), found, d2);
    let asked = 0;
    let agreed = 0;
    let chance = 0;
    for (let i = 0; i < total; i++) {
      const star = found[i];
      if (isOneOf(candidates.stars, offset, star)) continue;
      if (forward) applyTransform(transform, sparse.x[star], sparse.y[star], point);
      else applyInverse(transform, sparse.x[star], sparse.y[star], point);
      const px = point[0];
      const py = point[1];
      if (px < -0.5 || py < -0.5 || px > dense.width - 0.5 || py > dense.height - 0.5) continue;
      const distance = Math.sqrt(d2[i]) * toDense;
      const tolerance = Math.min(SIGMAS * sigma + lever * distance, 2 * widest);
      asked++;
      chance += 1 - Math.exp(-Math.PI * tolerance * tolerance * density);
      if (denseIndex.nearest(px, py, tolerance) >= 0) agreed++;
      if (asked === FIRST_ASKED && agreed === 0) break;
      if (asked === SECOND_ASKED && agreed <= 1 + 2 * chance) break;
    }
    proposal.asked = asked;
    proposal.score = asked === 0 ? 0 : -lnTailBound(agreed, asked, chance / asked);
  }
}

/**
 * How deep to ask: a figure of bright stars is borne out by bright stars. Twice the rank of its faintest star, rounded up to
 * a power of two so that few indices serve all figures.
 */
function askedDepth(list: PreparedList, stars: Int32Array, offset: number): number {
  if (!list.ordered) return list.n;
  let faintest = 0;
  for (let j = offset; j < offset + 4; j++) faintest = Math.max(faintest, stars[j]);
  const depth = Math.max(FEWEST_ASKED, 2 * (faintest + 1));
  return Math.min(list.n, 2 ** Math.ceil(Math.log2(depth)));
}

function isOneOf(stars: Int32Array, offset: number, star: number): boolean {
  return (
    stars[offset] === star ||
    stars[offset + 1] === star ||
    stars[offset + 2] === star ||
    stars[offset + 3] === star
  );
}
