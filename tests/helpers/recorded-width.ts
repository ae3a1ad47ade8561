/** Widths of stars with the pixel included, from the simulator's profile alone: truth for tests and benchmarks. */
import { createProfile, type Profile, pixelMean } from '../../src/simulate/analytic-profile.js';

export interface Shape {
  gaussian: boolean;
  /** Before the pixel: geometric mean of both axes, px. */
  fwhmPx: number;
  beta: number;
  ellipticity: number;
  angleDeg: number;
}

export function profileOf(shape: Shape): Profile {
  return createProfile(shape.gaussian, shape.fwhmPx, shape.beta, shape.ellipticity, shape.angleDeg);
}

/** Widths of the recorded image (pixel included) along both axes, averaged over the orientation of the pixel grid. */
export function recordedAxes(shape: Shape): [number, number] {
  const turns = 8;
  let long = 0;
  let short = 0;
  for (let k = 0; k < turns; k++) {
    const angleDeg = (90 * (k + 0.5)) / turns;
    const profile = profileOf({ ...shape, angleDeg });
    long += widthAlong(profile, angleDeg);
    short += widthAlong(profile, angleDeg + 90);
  }
  return [long / turns, short / turns];
}

/** Full width at half maximum along a direction, by bisection. */
function widthAlong(profile: Profile, angleDeg: number): number {
  const cos = Math.cos((angleDeg * Math.PI) / 180);
  const sin = Math.sin((angleDeg * Math.PI) / 180);
  const half = pixelMean(profile, 0, 0) / 2;
  let low = 0;
  let high = 3 * profile.fwhmPx + 2;
  for (let i = 0; i < 40; i++) {
    const middle = (low + high) / 2;
    if (pixelMean(profile, middle * cos, middle * sin) > half) low = middle;
    else high = middle;
  }
  return low + high;
}

/** Width before the pixel whose recorded image has the given FWHM (geometric mean of the axes). */
export function opticalWidthFor(recordedPx: number, shape: Omit<Shape, 'fwhmPx'>): number {
  let low = 0.4;
  let high = recordedPx;
  for (let i = 0; i < 30; i++) {
    const middle = (low + high) / 2;
    const [a, b] = recordedAxes({ ...shape, fwhmPx: middle });
    if (Math.sqrt(a * b) < recordedPx) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
