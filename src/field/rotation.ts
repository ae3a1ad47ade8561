/** Two sets with the camera turned between them: what turns with the camera is the sensor, what stays is the telescope. */
import { CX, CY, KAPPA, mirrored, T0, TX, TY, U1, U2 } from './laws.js';
import { drawnSigma, type FieldFit } from './model.js';
import type { CauseName, RotationFinding, RotationResult } from './result.js';

/** Component of the cost needed before a quantity is followed at all. */
const PRESENT = 12;
/** |Δχ²| from which one explanation is preferred (3 σ), and χ² (2 values) above which it does not fit at all. */
const DECIDED = 9;
const MISFIT = 18;
/** Share of a vector that the laws leave uncertain, and factor on bootstrap errors (as for causes). */
const SYSTEMATIC = 0.07;
const SIGMA_FACTOR = 1.4;

interface Quantity {
  quantity: RotationFinding['quantity'];
  cause: CauseName;
  a: number;
  b: number;
  /** How often it turns per turn of the camera. */
  spin: 1 | 2;
  component: 'tilt' | 'decentre' | 'tracking';
  camera: string;
  tube: string;
}

const QUANTITIES: readonly Quantity[] = [
  {
    quantity: 'tilt',
    cause: 'tilt',
    a: TX,
    b: TY,
    spin: 1,
    component: 'tilt',
    camera:
      'The slope of focus turned with the camera: the sensor, or what is screwed to it, is tilted.',
    tube: 'The slope of focus stayed with the telescope: the optics or the focuser are tilted or decentred, not the sensor.',
  },
  {
    quantity: 'coma',
    cause: 'miscollimation',
    a: CX,
    b: CY,
    spin: 1,
    component: 'decentre',
    camera:
      'The coma of the middle of the frame turned with the camera: the sensor sits off the optical axis, or glass that turns with it is decentred.',
    tube: 'The coma of the middle of the frame stayed with the telescope: its optics are out of collimation.',
  },
  {
    quantity: 'elongation',
    cause: 'tracking',
    a: U1,
    b: U2,
    spin: 2,
    component: 'tracking',
    camera:
      'The elongation of all stars turned with the camera: its cause sits in the camera (tilted glass, a vibrating shutter), not in the mount.',
    tube: 'The elongation of all stars kept its direction in the sky: mount, guiding, wind, or astigmatism of the optics.',
  },
];

type Matrix = [number, number, number];

/** Covariance (xx, xy, yy) of two parameters from the draws, with the systematic part. */
function covariance(fit: FieldFit, a: number, b: number): Matrix {
  const n = fit.draws.length;
  const ma = fit.draws.reduce((sum, p) => sum + (p[a] as number), 0) / n;
  const mb = fit.draws.reduce((sum, p) => sum + (p[b] as number), 0) / n;
  // Robust sizes, the correlation from all draws.
  const sa = drawnSigma(fit, (p) => p[a] as number) * SIGMA_FACTOR;
  const sb = drawnSigma(fit, (p) => p[b] as number) * SIGMA_FACTOR;
  let xx = 1e-12;
  let xy = 0;
  let yy = 1e-12;
  for (const p of fit.draws) {
    const x = (p[a] as number) - ma;
    const y = (p[b] as number) - mb;
    xx += x * x;
    xy += x * y;
    yy += y * y;
  }
  const correlation = Math.max(-0.95, Math.min(0.95, xy / Math.sqrt(xx * yy)));
  const floor = SYSTEMATIC ** 2 * ((fit.p[a] as number) ** 2 + (fit.p[b] as number) ** 2) + 1e-9;
  return [sa * sa + floor, correlation * sa * sb, sb * sb + floor];
}

function chiSquare([dx, dy]: readonly [number, number], [xx, xy, yy]: Matrix): number {
  const det = xx * yy - xy * xy;
  return (dx * dx * yy - 2 * dx * dy * xy + dy * dy * xx) / det;
}

function turnCovariance([xx, xy, yy]: Matrix, angle: number): Matrix {
  const c = Math.cos(angle);
  const s = Math.sin(angle);
  return [
    c * c * xx - 2 * c * s * xy + s * s * yy,
    c * s * (xx - yy) + (c * c - s * s) * xy,
    s * s * xx + 2 * c * s * xy + c * c * yy,
  ];
}

const add = (a: Matrix, b: Matrix): Matrix => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];

/** True when both fits know the sign of their focus terms against each other: curvature is seen in both. */
function signKnown(first: FieldFit, second: FieldFit): boolean {
  return [first, second].every((fit) => {
    const sigma = SIGMA_FACTOR * drawnSigma(fit, (p) => p[KAPPA] as number);
    return Math.abs(fit.p[KAPPA] as number) > 4 * sigma && fit.without.curvature.rise > 25;
  });
}

/**
 * Compares the two sets.
 * @param angleDeg turn of the stars from the first to the second set, from +x towards +y, about the frame's centre
 */
export function judgeRotation(first: FieldFit, second: FieldFit, angleDeg: number): RotationResult {
  const angle = (angleDeg * Math.PI) / 180;
  const known = signKnown(first, second);
  const sign = Math.sign(first.p[KAPPA] as number) * Math.sign(second.p[KAPPA] as number);
  const turned = known && sign < 0 ? flip(second) : second;
  const out: RotationResult = {
    angleDeg,
    followsCamera: [],
    followsTube: [],
    undecided: [],
    advice: adviceFor(angleDeg),
  };
  for (const quantity of QUANTITIES) {
    const present = [first, turned].some((fit) => fit.without[quantity.component].rise > PRESENT);
    if (!present) continue;
    judgeOne(quantity, first, turned, angle, known, out);
  }
  return out;
}

function flip(fit: FieldFit): FieldFit {
  return { ...fit, p: mirrored(fit.p), draws: fit.draws.map(mirrored) };
}

function judgeOne(
  quantity: Quantity,
  first: FieldFit,
  second: FieldFit,
  angle: number,
  known: boolean,
  out: RotationResult,
): void {
  const { a, b, spin } = quantity;
  // Elongation per size, so that other seeing in the second set does not pass for a change.
  const scaleOf = (fit: FieldFit): number => (quantity.spin === 2 ? (fit.p[T0] as number) : 1);
  const s1 = scaleOf(first);
  const s2 = scaleOf(second);
  const v1 = [(first.p[a] as number) / s1, (first.p[b] as number) / s1] as const;
  const v2 = [(second.p[a] as number) / s2, (second.p[b] as number) / s2] as const;
  const shrink = (m: Matrix, s: number): Matrix => [m[0] / s ** 2, m[1] / s ** 2, m[2] / s ** 2];
  const c1 = shrink(covariance(first, a, b), s1);
  const c2 = shrink(covariance(second, a, b), s2);
  const turn = spin * angle;
  const r1 = [
    v1[0] * Math.cos(turn) - v1[1] * Math.sin(turn),
    v1[0] * Math.sin(turn) + v1[1] * Math.cos(turn),
  ] as const;
  const signs = quantity.quantity === 'tilt' && !known ? [1, -1] : [1];
  const least = (from: readonly [number, number], matrix: Matrix): number =>
    Math.min(
      ...signs.map((sign) =>
        chiSquare([v2[0] - sign * from[0], v2[1] - sign * from[1]], add(matrix, c2)),
      ),
    );
  const camera = least(v1, c1);
  const tube = least(r1, turnCovariance(c1, turn));
  const difference = tube - camera;
  const significance = Math.round(10 * Math.sqrt(Math.abs(difference))) / 10;
  const finding = (sentence: string): RotationFinding => ({
    quantity: quantity.quantity,
    cause: quantity.cause,
    significance,
    sentence,
  });
  if (Math.min(camera, tube) > MISFIT) {
    out.undecided.push(
      finding(
        `The ${quantity.quantity} neither turned with the camera nor stayed: both have a part in it, or something changed between the sets.`,
      ),
    );
  } else if (Math.abs(difference) < DECIDED) {
    out.undecided.push(
      finding(`At this angle the ${quantity.quantity} looks alike either way, within its errors.`),
    );
  } else if (difference > 0) out.followsCamera.push(finding(quantity.camera));
  else out.followsTube.push(finding(quantity.tube));
}

function adviceFor(angleDeg: number): string {
  const turn = Math.abs(((((angleDeg + 180) % 360) + 360) % 360) - 180);
  if (turn < 20)
    return 'The camera was hardly turned: turn it by about 90 degrees for a clear answer.';
  if (turn > 150)
    return 'A turn of about 180 degrees does not change the direction of an elongation, nor an axis of tilt: those stay open. 90 degrees decides them.';
  if (turn >= 60 && turn <= 120) return 'A turn of about 90 degrees decides everything.';
  return 'Any clear turn works; 90 degrees separates best.';
}
