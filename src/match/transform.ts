/** Transforms between the pixel grids of two frames: shift, similarity, affine, and polynomials of degree 2 and 3. */
import { ParameterError } from '../errors.js';
import { factorCholesky, solveFactored } from '../stats/solve.js';

export type TransformKind = 'shift' | 'similarity' | 'affine' | 'quadratic' | 'cubic';

/**
 * Maps (x, y) of frame A to frame B, both in px. With u = (x − centreX)/lengthPx and v likewise, each output coordinate
 * is the sum of its coefficients times 1, u, v, u², uv, v², u³, u²v, uv², v³ (the first 3, 6 or 10 of them). Plain
 * numbers: it survives JSON. Beyond the stars it was fitted to, a polynomial is an extrapolation.
 */
export interface Transform {
  readonly kind: TransformKind;
  readonly centreX: number;
  readonly centreY: number;
  readonly lengthPx: number;
  /** Coefficients of B's x and y, in px of B. */
  readonly coefficientsX: readonly number[];
  readonly coefficientsY: readonly number[];
}

/** What a transform does near one place, in words of the observer. */
export interface TransformDescription {
  /** Px of B per px of A: root of the area ratio. */
  scale: number;
  /** Degrees in (−180, 180] from +x towards +y. A mirrored frame is first flipped (y → −y), then turned by this. */
  rotationDeg: number;
  mirrored: boolean;
  /** Where A's pixel (0, 0) lies on B, px. */
  shiftX: number;
  shiftY: number;
  /** Largest over smallest stretch of any direction, ≥ 1; exactly 1 for a shift or similarity. */
  stretchRatio: number;
}

/** Monomials per coordinate. */
const TERMS: Readonly<Record<TransformKind, number>> = {
  shift: 3,
  similarity: 3,
  affine: 3,
  quadratic: 6,
  cubic: 10,
};

/** Free parameters of both coordinates together. */
export const PARAMETERS: Readonly<Record<TransformKind, number>> = {
  shift: 2,
  similarity: 4,
  affine: 6,
  quadratic: 12,
  cubic: 20,
};

const MAX_TERMS = 10;
const NEWTON_STEPS = 30;

/** The transform that changes nothing but adds a shift. */
export function shiftTransform(shiftX: number, shiftY: number): Transform {
  return {
    kind: 'shift',
    centreX: 0,
    centreY: 0,
    lengthPx: 1,
    coefficientsX: [shiftX, 1, 0],
    coefficientsY: [shiftY, 0, 1],
  };
}

/** Image on B of the point (x, y) of A; `out[0]`, `out[1]` when given, else a new pair. */
export function applyTransform(
  t: Transform,
  x: number,
  y: number,
  out: Float64Array = new Float64Array(2),
): Float64Array {
  const u = (x - t.centreX) / t.lengthPx;
  const v = (y - t.centreY) / t.lengthPx;
  const cx = t.coefficientsX as number[];
  const cy = t.coefficientsY as number[];
  let X = cx[0] + cx[1] * u + cx[2] * v;
  let Y = cy[0] + cy[1] * u + cy[2] * v;
  if (cx.length > 3) {
    const uu = u * u;
    const uv = u * v;
    const vv = v * v;
    X += cx[3] * uu + cx[4] * uv + cx[5] * vv;
    Y += cy[3] * uu + cy[4] * uv + cy[5] * vv;
    if (cx.length > 6) {
      X += (cx[6] * u + cx[7] * v) * uu + (cx[8] * u + cx[9] * v) * vv;
      Y += (cy[6] * u + cy[7] * v) * uu + (cy[8] * u + cy[9] * v) * vv;
    }
  }
  out[0] = X;
  out[1] = Y;
  return out;
}

/** Derivatives dX/dx, dX/dy, dY/dx, dY/dy at (x, y) of A. */
function jacobian(
  t: Transform,
  x: number,
  y: number,
  out: Float64Array = new Float64Array(4),
): Float64Array {
  const u = (x - t.centreX) / t.lengthPx;
  const v = (y - t.centreY) / t.lengthPx;
  for (let axis = 0; axis < 2; axis++) {
    const c = (axis === 0 ? t.coefficientsX : t.coefficientsY) as number[];
    let du = c[1];
    let dv = c[2];
    if (c.length > 3) {
      du += 2 * c[3] * u + c[4] * v;
      dv += c[4] * u + 2 * c[5] * v;
    }
    if (c.length > 6) {
      du += 3 * c[6] * u * u + 2 * c[7] * u * v + c[8] * v * v;
      dv += c[7] * u * u + 2 * c[8] * u * v + 3 * c[9] * v * v;
    }
    out[2 * axis] = du / t.lengthPx;
    out[2 * axis + 1] = dv / t.lengthPx;
  }
  return out;
}

/**
 * The point of A that lands on (X, Y) of B: exact for similarity and affine, Newton's iteration for polynomials. NaN
 * where the polynomial cannot be inverted (far outside the stars it was fitted to).
 */
export function applyInverse(
  t: Transform,
  X: number,
  Y: number,
  out: Float64Array = new Float64Array(2),
): Float64Array {
  if (t.coefficientsX.length <= 3) {
    const [bx, a, b] = t.coefficientsX as [number, number, number];
    const [by, c, d] = t.coefficientsY as [number, number, number];
    const perLength = t.lengthPx / (a * d - b * c);
    out[0] = t.centreX + (d * (X - bx) - b * (Y - by)) * perLength;
    out[1] = t.centreY + (a * (Y - by) - c * (X - bx)) * perLength;
    return out;
  }
  const j = new Float64Array(4);
  let x = t.centreX;
  let y = t.centreY;
  for (let step = 0; step < NEWTON_STEPS; step++) {
    applyTransform(t, x, y, out);
    jacobian(t, x, y, j);
    const det = (j[0] as number) * (j[3] as number) - (j[1] as number) * (j[2] as number);
    const eX = X - (out[0] as number);
    const eY = Y - (out[1] as number);
    const dx = ((j[3] as number) * eX - (j[1] as number) * eY) / det;
    const dy = ((j[0] as number) * eY - (j[2] as number) * eX) / det;
    x += dx;
    y += dy;
    if (dx * dx + dy * dy < 1e-18 * t.lengthPx * t.lengthPx) {
      out[0] = x;
      out[1] = y;
      return out;
    }
  }
  out[0] = Number.NaN;
  out[1] = Number.NaN;
  return out;
}

/** Scale, rotation, parity at (x, y) of A (default: the middle of the fitted stars), and the shift. */
export function describeTransform(
  t: Transform,
  x = t.centreX,
  y = t.centreY,
): TransformDescription {
  const [a, b, c, d] = jacobian(t, x, y) as unknown as [number, number, number, number];
  const det = a * d - b * c;
  const mirrored = det < 0;
  // The nearest similarity of each parity: half sums of the Jacobian (polar decomposition of a 2 × 2 matrix).
  const plus = Math.sqrt((a + d) ** 2 + (c - b) ** 2) / 2;
  const minus = Math.sqrt((a - d) ** 2 + (c + b) ** 2) / 2;
  const angle = mirrored ? Math.atan2(c + b, a - d) : Math.atan2(c - b, a + d);
  const origin = applyTransform(t, 0, 0);
  const rotationDeg = (angle * 180) / Math.PI;
  return {
    scale: Math.sqrt(Math.abs(det)),
    rotationDeg: rotationDeg <= -180 ? 180 : rotationDeg,
    mirrored,
    shiftX: origin[0] as number,
    shiftY: origin[1] as number,
    // Singular values of a 2 × 2 matrix are plus ± minus.
    stretchRatio:
      t.kind === 'shift' || t.kind === 'similarity' ? 1 : (plus + minus) / Math.abs(plus - minus),
  };
}

/** Pairs of positions to fit: `n` of them, A's in (ax, ay), B's in (bx, by), px. */
export interface PointPairs {
  n: number;
  ax: Float64Array;
  ay: Float64Array;
  bx: Float64Array;
  by: Float64Array;
}

/**
 * Least-squares transform of a kind, every pair with the same weight. A shift keeps scale 1 and angle 0. The similarity is Umeyama's (1991, IEEE TPAMI 13,
 * 376), which in two dimensions has a closed form; it takes the better parity unless `mirrored` says which. Null when
 * the points do not determine it: too few, in one place, or (above similarity) on one line.
 * @throws ParameterError when `mirrored` is given for another kind
 */
export function fitTransform(
  kind: TransformKind,
  pairs: PointPairs,
  mirrored?: boolean,
): Transform | null {
  const { n, ax, ay, bx, by } = pairs;
  if (n * 2 < PARAMETERS[kind]) return null;
  let centreX = 0;
  let centreY = 0;
  for (let i = 0; i < n; i++) {
    centreX += ax[i] as number;
    centreY += ay[i] as number;
  }
  centreX /= n;
  centreY /= n;
  if (kind === 'shift') return fitShift(pairs, centreX, centreY);
  let spread = 0;
  for (let i = 0; i < n; i++) {
    spread += ((ax[i] as number) - centreX) ** 2 + ((ay[i] as number) - centreY) ** 2;
  }
  const lengthPx = Math.sqrt(spread / n);
  if (!(lengthPx > 0)) return null;
  if (kind === 'similarity') return fitSimilarity(pairs, centreX, centreY, lengthPx, mirrored);
  if (mirrored !== undefined) {
    throw new ParameterError('mirrored', mirrored, 'left out for kinds other than similarity');
  }

  const terms = TERMS[kind];
  const matrix = new Float64Array(terms * terms);
  const rightX = new Float64Array(terms);
  const rightY = new Float64Array(terms);
  const m = new Float64Array(MAX_TERMS);
  for (let i = 0; i < n; i++) {
    monomials(
      ((ax[i] as number) - centreX) / lengthPx,
      ((ay[i] as number) - centreY) / lengthPx,
      m,
    );
    for (let r = 0; r < terms; r++) {
      const mr = m[r] as number;
      rightX[r] += mr * (bx[i] as number);
      rightY[r] += mr * (by[i] as number);
      for (let c = 0; c <= r; c++) matrix[r * terms + c] += mr * (m[c] as number);
    }
  }
  if (!factorCholesky(matrix, terms)) return null;
  // A pivot that cancellation has eaten means that the points do not span the monomials.
  for (let r = 0; r < terms; r++) {
    if ((matrix[r * terms + r] as number) ** 2 < 1e-10 * n) return null;
  }
  solveFactored(matrix, rightX, terms);
  solveFactored(matrix, rightY, terms);
  return {
    kind,
    centreX,
    centreY,
    lengthPx,
    coefficientsX: Array.from(rightX),
    coefficientsY: Array.from(rightY),
  };
}

function monomials(u: number, v: number, out: Float64Array): void {
  out[0] = 1;
  out[1] = u;
  out[2] = v;
  out[3] = u * u;
  out[4] = u * v;
  out[5] = v * v;
  out[6] = u * u * u;
  out[7] = u * u * v;
  out[8] = u * v * v;
  out[9] = v * v * v;
}

function fitShift({ n, ax, ay, bx, by }: PointPairs, centreX: number, centreY: number): Transform {
  let shiftX = 0;
  let shiftY = 0;
  for (let i = 0; i < n; i++) {
    shiftX += bx[i] - ax[i];
    shiftY += by[i] - ay[i];
  }
  return {
    kind: 'shift',
    centreX,
    centreY,
    lengthPx: 1,
    coefficientsX: [centreX + shiftX / n, 1, 0],
    coefficientsY: [centreY + shiftY / n, 0, 1],
  };
}

function fitSimilarity(
  { n, ax, ay, bx, by }: PointPairs,
  centreX: number,
  centreY: number,
  lengthPx: number,
  mirrored: boolean | undefined,
): Transform | null {
  let meanX = 0;
  let meanY = 0;
  for (let i = 0; i < n; i++) {
    meanX += bx[i] as number;
    meanY += by[i] as number;
  }
  meanX /= n;
  meanY /= n;
  let xX = 0;
  let xY = 0;
  let yX = 0;
  let yY = 0;
  for (let i = 0; i < n; i++) {
    const u = ((ax[i] as number) - centreX) / lengthPx;
    const v = ((ay[i] as number) - centreY) / lengthPx;
    const X = (bx[i] as number) - meanX;
    const Y = (by[i] as number) - meanY;
    xX += u * X;
    xY += u * Y;
    yX += v * X;
    yY += v * Y;
  }
  // Sums of squares of u and v are n by the choice of lengthPx.
  const direct = (xX + yY) ** 2 + (xY - yX) ** 2;
  const flipped = (xX - yY) ** 2 + (xY + yX) ** 2;
  const flip = mirrored ?? flipped > direct;
  const a = (flip ? xX - yY : xX + yY) / n;
  const b = (flip ? xY + yX : xY - yX) / n;
  if (!(a * a + b * b > 0)) return null;
  return {
    kind: 'similarity',
    centreX,
    centreY,
    lengthPx,
    coefficientsX: flip ? [meanX, a, b] : [meanX, a, -b],
    coefficientsY: flip ? [meanY, b, -a] : [meanY, b, a],
  };
}
