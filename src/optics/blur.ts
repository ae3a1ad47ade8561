/** The extra blur of one colour over another as a defocus.
 *
 * A lens focused Δz away from where a colour focuses spreads it over a uniform disc of diameter d = |Δz|/N (geometric
 * optics; N the focal ratio). The disc's RMS radius is d/(2√2) (mean r² of a disc of radius R is R²/2), and mean squared
 * radii add under convolution, so d²/8 is what the disc adds to the mean squared radius. Mean squared radii of stars
 * hang on their faint wings; the fit of the whole encircled-energy curve used here does not.
 */
import { jinc } from './bessel.js';
import {
  applyOperator,
  encircledEnergyOperator,
  frequencyNodes,
  type Operator,
  otfOperator,
} from './hankel.js';
import { findMinimum } from './quadrature.js';

/** A recorded profile: brightness per px² at increasing radii. Any normalisation serves. */
export interface RadialProfile {
  radiusPx: ArrayLike<number>;
  brightness: ArrayLike<number>;
}

export interface EquivalentBlur {
  /** Diameter ≥ 0 of the uniform disc, px; 0 when the other profile is not wider. */
  diameterPx: number;
  /** Root mean square difference of the two encircled-energy curves at the best diameter (share of the light). */
  residual: number;
}

/** Recorded images hold next to nothing beyond: the pixel itself has its first zero at 1 cycle per px. */
const MAX_FREQUENCY = 1.5;
const FIT_RADII = 64;
/** Both profiles are compared from 0 to this share of rMaxPx; at rMaxPx itself both curves are 1 by definition. */
const FIT_REACH = 0.8;
const SCAN_STEPS = 10;

/** Transfer function of a uniform disc of diameter `diameterPx`: 2 J1(πdf)/(πdf). */
export function discOtf(frequency: number, diameterPx: number): number {
  return jinc(Math.PI * diameterPx * frequency);
}

/** Matrices that serve all profiles on one radial grid. */
interface Grid {
  toOtf: Operator;
  toEnergy: Operator;
  frequency: Float64Array;
}

function createGrid(radiusPx: ArrayLike<number>, rMaxPx: number): Grid {
  const nodes = frequencyNodes(MAX_FREQUENCY, rMaxPx);
  const radii = new Float64Array(FIT_RADII + 1);
  for (let i = 0; i < FIT_RADII; i++) radii[i] = (FIT_REACH * rMaxPx * (i + 1)) / FIT_RADII;
  radii[FIT_RADII] = rMaxPx;
  return {
    toOtf: otfOperator(radiusPx, rMaxPx, nodes.node),
    toEnergy: encircledEnergyOperator(nodes, radii),
    frequency: nodes.node,
  };
}

/**
 * Prepares the fit for profiles sampled at `radiusPx` (increasing, ≥ 4 samples) and normalised within `rMaxPx`. The
 * function returned finds the disc diameter in the least-squares sense over 64 equally spaced radii from 0 to 0.8 rMaxPx,
 * both curves divided by their value at rMaxPx after the convolution. Both curves pass through the same transforms, so
 * that their sampling errors cancel. Preparing costs some tens of ms, a fit 1–3 ms.
 * @throws RangeError when the radii do not increase or exceed rMaxPx.
 */
export function createBlurSolver(
  radiusPx: ArrayLike<number>,
  rMaxPx: number,
): (reference: ArrayLike<number>, other: ArrayLike<number>) => EquivalentBlur {
  const grid = createGrid(radiusPx, rMaxPx);
  const fit = createFit(grid, rMaxPx);
  return (reference, other) => {
    const referenceOtf = applyOperator(grid.toOtf, Float64Array.from(reference));
    const otherOtf = applyOperator(grid.toOtf, Float64Array.from(other));
    return fit(referenceOtf, otherOtf);
  };
}

/**
 * The same for one pair of profiles, which may be sampled at different radii.
 * @throws RangeError when radii do not increase or exceed rMaxPx.
 */
export function equivalentBlur(
  reference: RadialProfile,
  other: RadialProfile,
  rMaxPx: number,
): EquivalentBlur {
  const grid = createGrid(reference.radiusPx, rMaxPx);
  const otherToOtf = otfOperator(other.radiusPx, rMaxPx, grid.frequency);
  return createFit(grid, rMaxPx)(
    applyOperator(grid.toOtf, Float64Array.from(reference.brightness)),
    applyOperator(otherToOtf, Float64Array.from(other.brightness)),
  );
}

/** |Δz| in µm of the defocus whose geometric blur disc is `diameterPx` wide. */
export function defocusFromBlur(
  diameterPx: number,
  pixelSizeUm: number,
  focalRatio: number,
): number {
  return diameterPx * pixelSizeUm * focalRatio;
}

/** Least squares over the diameter: a scan brackets the lowest minimum, then Brent's method. */
function createFit(
  grid: Grid,
  rMaxPx: number,
): (referenceOtf: Float64Array, otherOtf: Float64Array) => EquivalentBlur {
  const blurred = new Float64Array(grid.frequency.length);
  const curve = new Float64Array(FIT_RADII + 1);
  return (referenceOtf, otherOtf) => {
    const target = applyOperator(grid.toEnergy, otherOtf);
    const targetTotal = target[FIT_RADII] as number;
    const meanSquare = (diameterPx: number): number => {
      for (let i = 0; i < blurred.length; i++) {
        blurred[i] = (referenceOtf[i] as number) * discOtf(grid.frequency[i] as number, diameterPx);
      }
      applyOperator(grid.toEnergy, blurred, curve);
      const total = curve[FIT_RADII] as number;
      let sum = 0;
      for (let i = 0; i < FIT_RADII; i++) {
        const difference = (curve[i] as number) / total - (target[i] as number) / targetTotal;
        sum += difference * difference;
      }
      return sum / FIT_RADII;
    };
    const diameterPx = minimise(meanSquare, 1.6 * rMaxPx);
    return { diameterPx, residual: Math.sqrt(meanSquare(diameterPx)) };
  };
}

/** Place of the lowest minimum of `f` on 0…`limit`, to 5·10⁻⁴ of it: a scan in equal steps of √d, then the bracket. */
function minimise(f: (x: number) => number, limit: number): number {
  const place = (i: number): number =>
    limit * (Math.min(SCAN_STEPS, Math.max(0, i)) / SCAN_STEPS) ** 2;
  const atZero = f(0);
  let best = 0;
  let bestValue = atZero;
  for (let i = 1; i <= SCAN_STEPS; i++) {
    const value = f(place(i));
    if (value < bestValue) {
      best = i;
      bestValue = value;
    } else if (value > 4 * bestValue && i > best + 2) break;
  }
  const low = place(best - 1);
  const high = place(best + 1);
  const x = findMinimum(f, low, high, 5e-4 * Math.max(0.1, low));
  return low === 0 && atZero <= f(x) ? 0 : x;
}
