/** How likely a match is to be chance. */

/**
 * Upper bound of ln P(at least k of n), for n independent trials with mean chance p: −n · KL(k/n ‖ p), Hoeffding (1963,
 * J. Am. Stat. Assoc. 58, 13, theorem 1). It holds for unequal chances too, p being their mean. 0 (no evidence) when k
 * is not above expectation. k and n need not be whole.
 */
export function lnTailBound(k: number, n: number, p: number): number {
  if (!(n > 0 && k > 0) || !(k / n > p)) return 0;
  const q = Math.min(1, k / n);
  const chance = Math.max(p, Number.MIN_VALUE);
  const hits = q * Math.log(q / chance);
  const misses = q < 1 ? (1 - q) * Math.log((1 - q) / (1 - chance)) : 0;
  return -n * (hits + misses);
}

/** What the search was free to try. Scales are px of B per px of A. */
export interface SearchSpace {
  minScale: number;
  maxScale: number;
  /** Whether B is a mirror image of A; null = both are tried. */
  mirrored: boolean | null;
  /** Largest rotation either way, degrees; 180 = any. */
  maxRotationDeg: number;
  /** Largest shift along each axis, px of B; Infinity = any. */
  maxShiftPx: number;
}

/**
 * ln of the number of different transforms that a search of this space can tell apart: the smaller of two counts. (1)
 * Two stars of A laid on two stars of B fix a similarity, so nA (nA − 1)/2 × nB (nB − 1) per parity. (2) The space's
 * volume in steps of the tolerance at the rim of the smaller frame: shifts × angles × ln scale. With
 * `shiftOnly` one star laid on one star fixes the transform, and only shifts are counted.
 */
export function lnTransformsTried(
  space: SearchSpace,
  a: { n: number; width: number; height: number },
  b: { n: number; width: number; height: number },
  scale: number,
  tolerancePx: number,
  shiftOnly: boolean,
): number {
  const parities = space.mirrored === null ? 2 : 1;
  const pairs = shiftOnly ? a.n * b.n : ((a.n * (a.n - 1)) / 2) * b.n * (b.n - 1) * parities;
  const reachX = Math.min(2 * space.maxShiftPx, b.width + a.width * scale);
  const reachY = Math.min(2 * space.maxShiftPx, b.height + a.height * scale);
  const rim =
    0.5 *
    Math.min(
      Math.sqrt(a.width * a.width + a.height * a.height) * scale,
      Math.sqrt(b.width * b.width + b.height * b.height),
    );
  const shifts = Math.max(1, reachX / tolerancePx) * Math.max(1, reachY / tolerancePx);
  if (shiftOnly) return Math.log(Math.max(1, Math.min(pairs, shifts)));
  const angle = (2 * Math.PI * space.maxRotationDeg) / 180;
  const stretch = Math.log(space.maxScale / space.minScale);
  const steps =
    shifts *
    Math.max(1, (angle * rim) / tolerancePx) *
    Math.max(1, (stretch * rim) / tolerancePx) *
    parities;
  return Math.log(Math.max(1, Math.min(pairs, steps)));
}
