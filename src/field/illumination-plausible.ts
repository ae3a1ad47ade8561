/** Can a lens make this profile? A galaxy, a cluster or a nebula in the middle of the frame brightens the sky like a fall-off does, but
 * levels out towards the outside, where the fall-off of a lens gets steeper.
 *
 * cos⁴: the slope grows to 24° from the axis (69 % of the light) and is still 0.88 of its largest where half is left. A stop before the pupil
 * takes a share of it whose rate is the common chord of the two circles: it grows until half the pupil is covered where the stop is large,
 * and is 0.9 of its largest there where both are equal. Nearer to darkness every slope flattens.
 */
import { profileAt, type RadialBasis } from './illumination-basis.js';

/** Length over which slopes are taken, and step of the places compared, half diagonals. */
const LENGTH = 0.2;
const STEP = 0.05;
/** No rule nearer to darkness than this share of the centre's light. */
const LEAST_LIGHT = 0.1;

/** Share of the steepest slope farther in that a lens keeps at least while `light` of the centre's is left; below what either law gives. */
function leastShare(light: number): number {
  return Math.min(0.85, 0.3 + 1.1 * light);
}

/** Contradiction that counts, in σ, and as a change of light over `LENGTH`. */
const CLEAR_SIGMA = 3.5;
const LEAST_CHANGE = 0.004;

/** What is asked of a fit: see `RadialFit`. */
interface Profile {
  basis: RadialBasis;
  p: Float64Array;
  factor: Float64Array;
}

/** Whether the slope keeps growing outwards as far as a lens demands, within the fit's errors. `reach`: distance of the farthest cell. */
export function lensCanMake(fit: Profile, reach: number): boolean {
  const { basis, p } = fit;
  const full = p[0] as number;
  const size = p.length;
  const weights = new Float64Array(size);
  const places: number[] = [];
  for (let r = 0; r + LENGTH <= reach + 1e-9; r += STEP) places.push(r);
  const falls = places.map((r) => profileAt(basis, p, r) - profileAt(basis, p, r + LENGTH));
  for (let j = 0; j < places.length; j++) {
    const outer = places[j] as number;
    const light = profileAt(basis, p, outer + LENGTH) / full;
    if (light < LEAST_LIGHT) continue;
    const share = leastShare(light);
    for (let i = -1; i < j; i++) {
      // Against no slope at all first: a lens never brightens outwards.
      const inner = i < 0 ? null : (places[i] as number);
      if (inner !== null && inner + LENGTH > outer + 1e-9) break;
      const lack = (inner === null ? 0 : share * (falls[i] as number)) - (falls[j] as number);
      if (lack < LEAST_CHANGE * full) continue;
      weights.fill(0);
      addFall(basis, outer, -1, weights);
      if (inner !== null) addFall(basis, inner, share, weights);
      if (lack > CLEAR_SIGMA * errorOf(fit.factor, weights, size)) return false;
    }
  }
  return true;
}

/** Adds `times` × (profile at `r` less profile farther out by `LENGTH`) as weights of the coefficients. */
function addFall(basis: RadialBasis, r: number, times: number, weights: Float64Array): void {
  const unit = new Float64Array(basis.size + 1);
  for (let k = 1; k <= basis.size; k++) {
    unit[k] = 1;
    weights[k] =
      (weights[k] as number) +
      times * (profileAt(basis, unit, r) - profileAt(basis, unit, r + LENGTH));
    unit[k] = 0;
  }
}

/** σ of a weighted sum of the parameters whose inverse covariance is L Lᵀ: the length of L⁻¹ w. */
function errorOf(factor: Float64Array, weights: Float64Array, size: number): number {
  const solved = new Float64Array(size);
  let square = 0;
  for (let i = 0; i < size; i++) {
    let sum = weights[i] as number;
    for (let j = 0; j < i; j++) sum -= (factor[i * size + j] as number) * (solved[j] as number);
    const value = sum / (factor[i * size + i] as number);
    solved[i] = value;
    square += value * value;
  }
  return Math.sqrt(square);
}
