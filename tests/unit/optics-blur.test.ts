import { describe, expect, it } from 'vitest';
import {
  createBlurSolver,
  defocusFromBlur,
  discOtf,
  equivalentBlur,
} from '../../src/optics/blur.js';
import {
  applyOperator,
  brightnessOperator,
  frequencyNodes,
  otfOperator,
} from '../../src/optics/hankel.js';
import { pixelOtf } from '../../src/optics/pixel.js';
import { createRandom, normal } from '../../src/stats/random.js';

const R_MAX = 24;
const RADII = Array.from({ length: 121 }, (_, i) => i * 0.2);

/** Recorded profile of a Gaussian plus a wider one, pixel included, behind a disc of `diameterPx`. */
function star(diameterPx: number, sigma = 1.1): Float64Array {
  const nodes = frequencyNodes(1.4, 60);
  const otf = nodes.node.map(
    (f) =>
      (0.8 * Math.exp(-2 * (Math.PI * sigma * f) ** 2) +
        0.2 * Math.exp(-2 * (Math.PI * 2.2 * sigma * f) ** 2)) *
      pixelOtf(f) *
      discOtf(f, diameterPx),
  );
  return applyOperator(brightnessOperator(nodes, RADII), otf);
}

/** Mean r² of a profile of unit light by the trapezium rule on the fine grid: ∫ 2π r³ p dr. */
function meanSquareRadius(p: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < p.length; i++) sum += (RADII[i] as number) ** 3 * (p[i] as number);
  return 2 * Math.PI * sum * 0.2;
}

describe('equivalent blur', () => {
  const solve = createBlurSolver(RADII, R_MAX);
  const reference = star(0);

  it.each([0.8, 1.5, 3, 6, 10, 16])('finds a disc of %f px again', (diameter) => {
    const found = solve(reference, star(diameter));
    // The search stops at 0.1 % of the diameter; sampling at 0.2 px adds as much for small discs.
    expect(Math.abs(found.diameterPx / diameter - 1)).toBeLessThan(0.005);
    expect(found.residual).toBeLessThan(2e-4);
  });

  it('adds d²/8 to the mean squared radius (docs/algorithms.md): d/(2√2) is the RMS radius of a disc', () => {
    for (const diameter of [1.5, 3, 6, 10]) {
      const added = meanSquareRadius(star(diameter)) - meanSquareRadius(reference);
      expect(Math.abs(added / (diameter ** 2 / 8) - 1)).toBeLessThan(1e-3);
      const found = solve(reference, star(diameter)).diameterPx;
      expect(Math.abs(found ** 2 / 8 / added - 1)).toBeLessThan(0.01);
    }
    // By hand: mean r² over a disc of radius R is ∫r³/∫r = R²/2 = d²/8, the curvature of its OTF at f = 0:
    // OTF = 1 − π² f² ⟨r²⟩ + …
    const f = 1e-3;
    expect((1 - discOtf(f, 4)) / (Math.PI * f) ** 2).toBeCloseTo(2, 4);
  });

  it('same profile: 0; narrower profile: 0 with the mismatch in the residual', () => {
    const same = solve(reference, reference);
    expect(same.diameterPx).toBe(0);
    expect(same.residual).toBeLessThan(1e-9);
    const narrower = solve(star(4), reference);
    expect(narrower.diameterPx).toBe(0);
    expect(narrower.residual).toBeGreaterThan(0.01);
  });

  it('does not depend on the normalisation of either profile', () => {
    const other = star(5);
    const scaled = solve(
      reference.map((p) => 7 * p),
      other.map((p) => 0.01 * p),
    );
    expect(scaled.diameterPx).toBeCloseTo(solve(reference, other).diameterPx, 9);
  });

  it('two different grids', () => {
    const other = star(5);
    const sparse = RADII.filter((_, i) => i % 2 === 0);
    const found = equivalentBlur(
      { radiusPx: RADII, brightness: reference },
      { radiusPx: sparse, brightness: other.filter((_, i) => i % 2 === 0) },
      R_MAX,
    );
    expect(Math.abs(found.diameterPx / 5 - 1)).toBeLessThan(0.01);
  });

  it('bears noise: 1 % of the peak in every sample moves 5 px by a few per cent at most', () => {
    const random = createRandom(11);
    const other = star(5);
    const noise = 0.01 * (other[0] as number);
    // Noise per annulus falls with its area, as it does in a measured profile.
    const noisy = other.map(
      (p, i) => p + (noise * normal(random)) / Math.sqrt(1 + 5 * (RADII[i] as number)) / 5,
    );
    expect(Math.abs(solve(reference, noisy).diameterPx / 5 - 1)).toBeLessThan(0.06);
  });

  it('defocus from blur: d × pixel × N', () => {
    // 2 px of 3.76 µm at f/6: 45.12 µm.
    expect(defocusFromBlur(2, 3.76, 6)).toBeCloseTo(45.12, 10);
  });

  it('the operator is exact on its own transform pair', () => {
    const nodes = frequencyNodes(1, 10);
    const otf = applyOperator(otfOperator(RADII, R_MAX, nodes.node), reference);
    nodes.node.forEach((f, i) => {
      const expected =
        (0.8 * Math.exp(-2 * (Math.PI * 1.1 * f) ** 2) +
          0.2 * Math.exp(-2 * (Math.PI * 2.42 * f) ** 2)) *
        pixelOtf(f);
      expect(Math.abs((otf[i] as number) - expected)).toBeLessThan(1e-4);
    });
  });
});
