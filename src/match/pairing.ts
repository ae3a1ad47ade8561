/** Stars of A laid on B by a transform, and paired with what stands there. */
import type { PreparedList } from './star-list.js';
import { applyInverse, applyTransform, type PointPairs, type Transform } from './transform.js';

/** Share of the mean distance between stars within which a pair is looked for while the transform is uncertain. */
const WIDE_SPACING = 0.06;
/** What distortion may leave at the rim, as a share of the smaller frame's diagonal. */
const WIDE_DIAGONAL = 0.002;
const SIGMAS = 3;

/** Error of the distance between two paired stars along one axis, px of B. */
export function pairSigma(a: PreparedList, b: PreparedList, scale: number): number {
  return Math.sqrt(a.sigmaPx * a.sigmaPx * scale * scale + b.sigmaPx * b.sigmaPx);
}

/**
 * Largest distance at which two stars may be paired, px of B: small against the spacing of the denser list, no wider
 * than distortion asks and no narrower than the errors do.
 */
export function wideTolerance(a: PreparedList, b: PreparedList, scale: number): number {
  const density = Math.max(a.density / (scale * scale), b.density);
  const diagonal = Math.min(
    Math.sqrt(a.width * a.width + a.height * a.height) * scale,
    Math.sqrt(b.width * b.width + b.height * b.height),
  );
  return Math.max(
    Math.min(WIDE_SPACING / Math.sqrt(density), WIDE_DIAGONAL * diagonal),
    SIGMAS * pairSigma(a, b, scale),
  );
}

/** Pairs of stars by their numbers in the two lists, with positions copied for fitting. */
export interface Pairs extends PointPairs {
  a: Int32Array;
  b: Int32Array;
}

/** Finds pairs again and again for one couple of lists; holds the scratch. */
export class Pairing {
  /** Overwritten by every search. */
  readonly pairs: Pairs;
  /** Stars of A in the last search whose images fell on B's frame. */
  asked = 0;
  private readonly a: PreparedList;
  private readonly b: PreparedList;
  /** For each star of B the nearest claim so far: squared distance and A's star. */
  private readonly claim2: Float64Array;
  private readonly claimant: Int32Array;
  private readonly point = new Float64Array(2);

  constructor(a: PreparedList, b: PreparedList) {
    this.a = a;
    this.b = b;
    this.claim2 = new Float64Array(b.n);
    this.claimant = new Int32Array(b.n);
    const most = Math.min(a.n, b.n);
    this.pairs = {
      n: 0,
      a: new Int32Array(most),
      b: new Int32Array(most),
      ax: new Float64Array(most),
      ay: new Float64Array(most),
      bx: new Float64Array(most),
      by: new Float64Array(most),
    };
  }

  /**
   * One-to-one pairs within `tolerance` (px of B) among the stars of A within `radius` (px of A) of (x, y): each star of
   * A asks for its nearest on B, each star of B keeps its nearest claimant. In the order of B's brightness.
   */
  search(t: Transform, tolerance: number, x: number, y: number, radius: number): Pairs {
    const { a, b, claim2, claimant, point, pairs } = this;
    claimant.fill(-1);
    const radius2 = radius * radius;
    let asked = 0;
    for (let i = 0; i < a.n; i++) {
      const dx = a.x[i] - x;
      const dy = a.y[i] - y;
      if (dx * dx + dy * dy > radius2) continue;
      applyTransform(t, a.x[i], a.y[i], point);
      if (!onFrame(point, b)) continue;
      asked++;
      const j = b.index.nearest(point[0], point[1], tolerance);
      if (j < 0) continue;
      const d2 = b.index.distance2;
      if (claimant[j] >= 0 && claim2[j] <= d2) continue;
      claimant[j] = i;
      claim2[j] = d2;
    }
    this.asked = asked;
    let n = 0;
    for (let j = 0; j < b.n; j++) {
      const i = claimant[j];
      if (i < 0) continue;
      pairs.a[n] = i;
      pairs.b[n] = j;
      pairs.ax[n] = a.x[i];
      pairs.ay[n] = a.y[i];
      pairs.bx[n] = b.x[j];
      pairs.by[n] = b.y[j];
      n++;
    }
    pairs.n = n;
    return pairs;
  }
}

/** Distance of every pair from agreement, px of B. */
export function residuals(t: Transform, pairs: PointPairs): Float64Array {
  const out = new Float64Array(pairs.n);
  const point = new Float64Array(2);
  for (let i = 0; i < pairs.n; i++) {
    applyTransform(t, pairs.ax[i], pairs.ay[i], point);
    const dx = pairs.bx[i] - point[0];
    const dy = pairs.by[i] - point[1];
    out[i] = Math.sqrt(dx * dx + dy * dy);
  }
  return out;
}

/** Numbers of the stars of A whose images fall on B's frame. */
export function starsOnB(a: PreparedList, b: PreparedList, t: Transform): Int32Array {
  const inside = new Int32Array(a.n);
  const point = new Float64Array(2);
  let count = 0;
  for (let i = 0; i < a.n; i++) {
    applyTransform(t, a.x[i], a.y[i], point);
    if (onFrame(point, b)) inside[count++] = i;
  }
  return inside.slice(0, count);
}

/** Numbers of the stars of B that fall on A's frame. */
export function starsOnA(a: PreparedList, b: PreparedList, t: Transform): Int32Array {
  const inside = new Int32Array(b.n);
  const point = new Float64Array(2);
  let count = 0;
  for (let j = 0; j < b.n; j++) {
    applyInverse(t, b.x[j], b.y[j], point);
    if (onFrame(point, a)) inside[count++] = j;
  }
  return inside.slice(0, count);
}

function onFrame(point: Float64Array, { width, height }: PreparedList): boolean {
  return (
    point[0] >= -0.5 && point[1] >= -0.5 && point[0] <= width - 0.5 && point[1] <= height - 0.5
  );
}
