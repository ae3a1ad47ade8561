import { describe, expect, it } from 'vitest';
import {
  applyOperator,
  brightnessOperator,
  encircledEnergyOperator,
  frequencyNodes,
  otfOperator,
} from '../../src/optics/hankel.js';
import { compositeRule, findRoot, gaussLegendre } from '../../src/optics/quadrature.js';

const grid = (step: number, count: number, first = 0): number[] =>
  Array.from({ length: count }, (_, i) => first + i * step);

/** Moffat of unit flux, and the light inside r: 1 − (1 + r²/α²)^(1−β) (integrated by hand). */
function moffat(fwhm: number, beta: number) {
  const alpha = fwhm / (2 * Math.sqrt(2 ** (1 / beta) - 1));
  return {
    brightness: (r: number): number =>
      ((beta - 1) / (Math.PI * alpha * alpha)) * (1 + (r / alpha) ** 2) ** -beta,
    energy: (r: number): number => 1 - (1 + (r / alpha) ** 2) ** (1 - beta),
  };
}

describe('quadrature', () => {
  it('two- and three-point rules as in every table', () => {
    const two = gaussLegendre(2);
    expect(two.node[1]).toBeCloseTo(1 / Math.sqrt(3), 14);
    expect(two.weight[0]).toBeCloseTo(1, 14);
    const three = gaussLegendre(3);
    expect(three.node[2]).toBeCloseTo(Math.sqrt(0.6), 14);
    expect(three.weight[1]).toBeCloseTo(8 / 9, 14);
  });
  it('integrates over panels of unequal width', () => {
    const rule = compositeRule([0, 0.1, 1, 3], 6);
    let sum = 0;
    for (let i = 0; i < rule.node.length; i++) {
      sum += (rule.weight[i] as number) * Math.exp(rule.node[i] as number);
    }
    expect(sum).toBeCloseTo(Math.exp(3) - 1, 9);
  });
  it('finds a root and refuses a bracket without one', () => {
    expect(findRoot((x) => x * x - 2, 0, 5, 1e-12)).toBeCloseTo(Math.SQRT2, 10);
    expect(findRoot((x) => x ** 9 - 1e-3, 0, 2, 1e-12)).toBeCloseTo(1e-3 ** (1 / 9), 9);
    expect(() => findRoot((x) => x * x + 1, 0, 1, 1e-9)).toThrow(RangeError);
  });
});

describe('OTF of a sampled profile', () => {
  const frequency = Float64Array.from(grid(0.05, 30));
  const sigma = 1.3;
  const gaussian = (r: number): number =>
    Math.exp(-(r * r) / (2 * sigma * sigma)) / (2 * Math.PI * sigma * sigma);
  const expected = Array.from(frequency, (f) => Math.exp(-2 * (Math.PI * sigma * f) ** 2));

  it.each([
    ['from r = 0', grid(0.25, 61)],
    ['from bin centres', grid(0.25, 60, 0.125)],
    ['on a grid that widens', Array.from({ length: 60 }, (_, i) => 15 * (i / 59) ** 1.4)],
  ])('Gaussian: exp(−2π²σ²f²), %s', (_name, radius) => {
    const operator = otfOperator(radius, 15, frequency);
    const otf = applyOperator(operator, Float64Array.from(radius, gaussian));
    for (let i = 0; i < otf.length; i++) {
      expect(Math.abs((otf[i] as number) - (expected[i] as number))).toBeLessThan(1e-4);
    }
  });

  it('OTF(0) is the light inside rMax (Moffat)', () => {
    const star = moffat(2.5, 3);
    const radius = grid(0.2, 101);
    const operator = otfOperator(radius, 20, Float64Array.of(0));
    const total = applyOperator(operator, Float64Array.from(radius, star.brightness))[0];
    expect(total).toBeCloseTo(star.energy(20), 4);
  });

  it('refuses radii that do not increase, start below 0, or leave rMax', () => {
    const f = Float64Array.of(0.1);
    expect(() => otfOperator([0, 1, 1, 2], 3, f)).toThrow(/increase/);
    expect(() => otfOperator([-1, 1, 2, 3], 3, f)).toThrow(/increase/);
    expect(() => otfOperator([0, 1, 2, 3], 2, f)).toThrow(/rMaxPx/);
    expect(() => otfOperator([0, 1, 2], 3, f)).toThrow(/4 samples/);
  });
});

describe('back to real space', () => {
  it('encircled energy of a Gaussian: 1 − exp(−r²/2σ²); 39.3 % inside σ; half at 1.1774 σ', () => {
    const sigma = 2;
    const nodes = frequencyNodes(1, 20);
    const radii = [sigma, 1.17741 * sigma, 0.3, 7, 15];
    const otf = nodes.node.map((f) => Math.exp(-2 * (Math.PI * sigma * f) ** 2));
    const energy = applyOperator(encircledEnergyOperator(nodes, radii), otf);
    expect(energy[0]).toBeCloseTo(0.393469, 6);
    expect(energy[1]).toBeCloseTo(0.5, 5);
    radii.forEach((r, i) => {
      expect(energy[i]).toBeCloseTo(1 - Math.exp(-(r * r) / 8), 6);
    });
    const brightness = applyOperator(brightnessOperator(nodes, [0, 2]), otf);
    expect(brightness[0]).toBeCloseTo(1 / (2 * Math.PI * 4), 8);
    expect((brightness[1] as number) / (brightness[0] as number)).toBeCloseTo(Math.exp(-0.5), 7);
  });

  it('there and back through samples: Moffat curve to 1e-4 of the light within rMax', () => {
    for (const [fwhm, beta, rMax] of [
      [2, 2.5, 20],
      [4, 3.5, 40],
      [2.5, 4.5, 25],
    ] as const) {
      const star = moffat(fwhm, beta);
      const radius = grid(0.2, Math.round(rMax / 0.2) + 1);
      const nodes = frequencyNodes(2, rMax);
      const otf = applyOperator(
        otfOperator(radius, rMax, nodes.node),
        Float64Array.from(radius, star.brightness),
      );
      const radii = [0.5, 1, 2, 4, 8, 16];
      const energy = applyOperator(encircledEnergyOperator(nodes, radii), otf);
      radii.forEach((r, i) => {
        expect(Math.abs((energy[i] as number) - star.energy(r))).toBeLessThan(1e-4);
      });
    }
  });
});
