/** Proposed transforms, collected within the limits of the search. */
import type { SearchSpace } from './significance.js';
import type { PreparedList } from './star-list.js';

/** Figures of A laid on figures of B. */
export interface FigurePairs {
  readonly count: number;
  /** Four stars of A and the four of B laid on them, eight numbers each. */
  readonly stars: Int32Array;
  /** 1 = mirror image. */
  readonly mirrored: Uint8Array;
}

/** Proposed transforms as a struct of arrays. */
export interface Candidates extends FigurePairs {
  /** ln of how much better true figures explain the difference of the codes than chance does, up to a constant. */
  readonly lnOdds: Float32Array;
  /** ln of px of B per px of A, and the angle of the base, radians in (−π, π]. */
  readonly lnScale: Float32Array;
  readonly angle: Float32Array;
}

/** Codes may differ by this much however exact the positions: distortion over one figure. */
export const STRAIN = 0.004;
/** Error of a code coordinate in σ of position over the base, and how many of them pass (of a 4-d normal: 97 %). */
export const CODE_ERROR = 1.3;
export const CODE_SIGMAS = 3.3;
export const MOST_CANDIDATES = 200_000;

/** Growing columns of the candidates; applies the limits of the search. */
export class Collector {
  count = 0;
  private stars = new Int32Array(8 * 1024);
  private mirrored = new Uint8Array(1024);
  private lnOdds = new Float32Array(1024);
  private lnScale = new Float32Array(1024);
  private angle = new Float32Array(1024);
  private readonly errorA: number;
  private readonly maxAngle: number;
  private readonly space: SearchSpace;
  private readonly a: PreparedList;
  private readonly b: PreparedList;

  constructor(space: SearchSpace, a: PreparedList, b: PreparedList) {
    this.space = space;
    this.a = a;
    this.b = b;
    this.errorA = CODE_SIGMAS * CODE_ERROR * a.sigmaPx;
    this.maxAngle = (space.maxRotationDeg * Math.PI) / 180;
  }

  tolerance(errorB: number, baseA: number): number {
    const errorA = this.errorA / baseA;
    return STRAIN + Math.sqrt(errorA * errorA + errorB * errorB);
  }

  add(
    starsA: Int32Array,
    e: number,
    starsB: Int32Array,
    v: number,
    scale: number,
    mirrored: boolean,
    lnOdds: number,
  ): boolean {
    const { space, a, b } = this;
    if (scale < space.minScale || scale > space.maxScale) return false;
    if (space.mirrored !== null && mirrored !== space.mirrored) return false;
    if (this.count >= MOST_CANDIDATES) return false;
    const pA = starsA[4 * e];
    const qA = starsA[4 * e + 1];
    const pB = starsB[4 * v];
    const qB = starsB[4 * v + 1];
    const directionA = Math.atan2(a.y[qA] - a.y[pA], a.x[qA] - a.x[pA]);
    const directionB = Math.atan2(b.y[qB] - b.y[pB], b.x[qB] - b.x[pB]);
    let angle = mirrored ? directionB + directionA : directionB - directionA;
    if (angle > Math.PI) angle -= 2 * Math.PI;
    else if (angle <= -Math.PI) angle += 2 * Math.PI;
    if (Math.abs(angle) > this.maxAngle) return false;
    if (this.count === this.mirrored.length) this.grow();
    const at = this.count++;
    for (let j = 0; j < 4; j++) {
      this.stars[8 * at + j] = starsA[4 * e + j];
      this.stars[8 * at + 4 + j] = starsB[4 * v + j];
    }
    this.mirrored[at] = mirrored ? 1 : 0;
    this.lnOdds[at] = lnOdds;
    this.lnScale[at] = Math.log(scale);
    this.angle[at] = angle;
    return true;
  }

  result(): Candidates {
    const { count, stars, mirrored, lnOdds, lnScale, angle } = this;
    return { count, stars, mirrored, lnOdds, lnScale, angle };
  }

  private grow(): void {
    const length = 2 * this.mirrored.length;
    const stars = new Int32Array(8 * length);
    stars.set(this.stars);
    this.stars = stars;
    const mirrored = new Uint8Array(length);
    mirrored.set(this.mirrored);
    this.mirrored = mirrored;
    const lnOdds = new Float32Array(length);
    lnOdds.set(this.lnOdds);
    this.lnOdds = lnOdds;
    const lnScale = new Float32Array(length);
    lnScale.set(this.lnScale);
    this.lnScale = lnScale;
    const angle = new Float32Array(length);
    angle.set(this.angle);
    this.angle = angle;
  }
}
