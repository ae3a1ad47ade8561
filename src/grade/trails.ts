/** Straight lines of light across a frame: satellites, aircraft, meteors. Found among the peaks alone: a trail is a row of peaks much denser
 * than chance, along a line that reaches far. Trails fainter than the detection limit of single peaks are not seen.
 */
import type { NightTrail } from './night-frame.js';

export interface PeakList {
  /** Px. */
  x: Float64Array;
  y: Float64Array;
  /** Peaks that are taken for good, round stars: they do not vote, so that rows of stars are not called a trail. */
  isStar: Uint8Array;
  width: number;
  height: number;
  /** Size of a star's image: width of the strip in which a trail's peaks lie, px. */
  fwhmPx: number;
}

/** Peaks that vote at most: the search over pairs grows with the square. */
const MOST_VOTERS = 900;
/** A trail reaches over this share of the frame's shorter side at least. */
const SHORTEST_SHARE = 0.4;
const FEWEST_PEAKS = 8;
/** Angles of the voting plane, and its step across, in strips. */
const ANGLES = 360;
/** ln of the accepted chance of a line like this among unrelated peaks, all lines tried counted. */
const LN_ACCEPTED = Math.log(1e-6);
const MOST_TRAILS = 5;
/** Strips on both sides of a line, from and to this many half-widths off it, tell how crowded its surroundings are. */
const BESIDE_FROM = 3;
const BESIDE_TO = 9;
/** A gap longer than this share of the trail ends it. */
const LARGEST_GAP = 0.35;

/**
 * Finds trails by votes over angle and distance from the frame's centre (Hough 1962; Duda & Hart 1972, CACM 15, 11; from memory), and
 * accepts a line when the peaks on it are more than chance allows: a Poisson tail over the strip, times the number of strips tried.
 * Deterministic.
 */
export function findTrails(peaks: PeakList): NightTrail[] {
  const { width, height } = peaks;
  const strip = Math.max(2, 0.8 * peaks.fwhmPx);
  let voters: number[] = [];
  for (let i = 0; i < peaks.x.length; i++) if (peaks.isStar[i] === 0) voters.push(i);
  // Peaks come brightest first: a trail's are alike, and the faintest of all are noise.
  voters = voters.slice(0, MOST_VOTERS);
  const found: NightTrail[] = [];
  while (found.length < MOST_TRAILS && voters.length >= FEWEST_PEAKS) {
    const line = densestLine(peaks, voters, strip);
    if (line === null) break;
    const on = voters
      .filter((i) => Math.abs(across(peaks, i, line)) <= strip)
      .sort((a, b) => along(peaks, a, line) - along(peaks, b, line));
    const run = longestRun(peaks, on, line, SHORTEST_SHARE * Math.min(width, height));
    const lnFalse = run === null ? 0 : lnChance(peaks, voters, run, line, strip);
    if (run === null || lnFalse > LN_ACCEPTED) break;
    const first = along(peaks, run[0] as number, line);
    const last = along(peaks, run[run.length - 1] as number, line);
    found.push({
      from: pointAt(peaks, line, first),
      to: pointAt(peaks, line, last),
      lengthPx: Math.round(last - first),
      log10FalseProbability: Math.max(-300, lnFalse / Math.LN10),
    });
    const gone = new Set(on);
    voters = voters.filter((i) => !gone.has(i));
  }
  return found;
}

/** A line by the direction of its normal and its distance from the frame's centre. */
interface Line {
  cos: number;
  sin: number;
  distance: number;
}

function across(
  { x, y, width, height }: PeakList,
  i: number,
  { cos, sin, distance }: Line,
): number {
  return ((x[i] as number) - width / 2) * cos + ((y[i] as number) - height / 2) * sin - distance;
}

function along({ x, y, width, height }: PeakList, i: number, { cos, sin }: Line): number {
  return -((x[i] as number) - width / 2) * sin + ((y[i] as number) - height / 2) * cos;
}

function pointAt({ width, height }: PeakList, line: Line, s: number): [number, number] {
  const x = width / 2 + line.distance * line.cos - s * line.sin;
  const y = height / 2 + line.distance * line.sin + s * line.cos;
  return [
    Math.round(Math.min(width - 1, Math.max(0, x))),
    Math.round(Math.min(height - 1, Math.max(0, y))),
  ];
}

/** The strip with most voters, its position then refined by the voters themselves. */
function densestLine(peaks: PeakList, voters: readonly number[], strip: number): Line | null {
  const { x, y, width, height } = peaks;
  const half = Math.sqrt(width * width + height * height) / 2;
  const bins = Math.ceil((2 * half) / strip) + 2;
  const votes = new Uint16Array(bins);
  let best = 0;
  let bestLine: Line | null = null;
  for (let a = 0; a < ANGLES; a++) {
    const angle = (Math.PI * a) / ANGLES;
    const cos = Math.cos(angle);
    const sin = Math.sin(angle);
    votes.fill(0);
    for (const i of voters) {
      const d = ((x[i] as number) - width / 2) * cos + ((y[i] as number) - height / 2) * sin;
      const bin = Math.floor((d + half) / strip);
      votes[bin] = (votes[bin] as number) + 1;
    }
    for (let b = 0; b + 1 < bins; b++) {
      const count = (votes[b] as number) + (votes[b + 1] as number);
      if (count > best) {
        best = count;
        bestLine = { cos, sin, distance: (b + 1) * strip - half };
      }
    }
  }
  if (bestLine === null || best < FEWEST_PEAKS / 2) return null;
  // Half a degree moves the ends of a long line by many strips: fit what lies near, then nearer.
  let line = bestLine;
  for (const reach of [4, 2, 1.2]) {
    const near = voters.filter((i) => Math.abs(across(peaks, i, line)) <= reach * strip);
    if (near.length < FEWEST_PEAKS / 2) return line;
    line = fitLine(peaks, near);
  }
  return line;
}

/** Total least squares: the main axis of the points. */
function fitLine({ x, y, width, height }: PeakList, on: readonly number[]): Line {
  let mx = 0;
  let my = 0;
  for (const i of on) {
    mx += (x[i] as number) / on.length;
    my += (y[i] as number) / on.length;
  }
  let xx = 0;
  let xy = 0;
  let yy = 0;
  for (const i of on) {
    const dx = (x[i] as number) - mx;
    const dy = (y[i] as number) - my;
    xx += dx * dx;
    xy += dx * dy;
    yy += dy * dy;
  }
  const direction = 0.5 * Math.atan2(2 * xy, xx - yy);
  const cos = -Math.sin(direction);
  const sin = Math.cos(direction);
  return { cos, sin, distance: (mx - width / 2) * cos + (my - height / 2) * sin };
}

/** The run of peaks without a large gap that reaches farthest, if it reaches `shortest`. */
function longestRun(
  peaks: PeakList,
  on: readonly number[],
  line: Line,
  shortest: number,
): number[] | null {
  let best: number[] | null = null;
  let bestLength = shortest;
  let start = 0;
  for (let k = 1; k <= on.length; k++) {
    const gap =
      k === on.length
        ? Number.POSITIVE_INFINITY
        : along(peaks, on[k] as number, line) - along(peaks, on[k - 1] as number, line);
    if (gap <= LARGEST_GAP * shortest) continue;
    const run = on.slice(start, k);
    const length =
      along(peaks, run[run.length - 1] as number, line) - along(peaks, run[0] as number, line);
    if (run.length >= FEWEST_PEAKS && length >= bestLength) {
      best = run;
      bestLength = length;
    }
    start = k;
  }
  return best;
}

/**
 * ln of the chance of so many unrelated peaks on a stretch like this, over all lines that were tried. What to expect comes from the frame
 * as a whole or from strips beside the line, whichever is more: peaks crowd in galaxies, nebulae and clusters.
 */
function lnChance(
  peaks: PeakList,
  voters: readonly number[],
  run: readonly number[],
  line: Line,
  strip: number,
): number {
  const start = along(peaks, run[0] as number, line);
  const end = along(peaks, run[run.length - 1] as number, line);
  const overall = (voters.length * 2 * strip * (end - start)) / (peaks.width * peaks.height);
  let beside = 0;
  for (const i of voters) {
    const off = Math.abs(across(peaks, i, line)) / strip;
    const s = along(peaks, i, line);
    if (off > BESIDE_FROM && off <= BESIDE_TO && s >= start && s <= end) beside++;
  }
  // The strips beside are together wider than the line's own by this factor; one peak more, so that none is not zero.
  const expected = Math.max(overall, (beside + 1) / (BESIDE_TO - BESIDE_FROM));
  const n = run.length - 2;
  if (n <= expected) return 0;
  // Chernoff bound of the Poisson tail P(N ≥ n) ≤ exp(−λ) (eλ/n)^n; two peaks define the line and prove nothing.
  const lnTail = -expected + n * (1 + Math.log(expected / n));
  const tried = (voters.length * (voters.length - 1)) / 2;
  return lnTail + Math.log(tried);
}
