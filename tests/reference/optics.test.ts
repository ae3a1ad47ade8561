/** src/optics against numpy/scipy values frozen in fixtures/reference/optics.json (made by optics.py beside it). */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { AIRY_DARK_RINGS, AIRY_FWHM, airyEncircledEnergy } from '../../src/optics/airy.js';
import { besselJ0, besselJ1, jinc } from '../../src/optics/bessel.js';
import { discOtf } from '../../src/optics/blur.js';
import { applyOperator, encircledEnergyOperator, frequencyNodes } from '../../src/optics/hankel.js';
import {
  createOpticalFwhmTable,
  createRecordedFwhmTable,
  pixelOtf,
  recordedFwhm,
} from '../../src/optics/pixel.js';
import { SEEING_FWHM, seeingOtf } from '../../src/optics/seeing.js';

interface Reference {
  bessel: { x: number[]; j0: number[]; j1: number[] };
  pixelOtf: { frequency: number[]; value: number[] };
  recordedFwhm: { rows: [number, number | 'Infinity', number][] };
  kolmogorovFwhm: number;
  kolmogorovEnergy: { radiusOverFwhm: number[]; energy: number[] };
  airy: { fwhm: number; darkRings: number[]; energyInRings: number[] };
  discBlur: { sigma: number; diameter: number; radius: number[]; energy: number[] }[];
}

const reference: Reference = JSON.parse(
  readFileSync(new URL('../../fixtures/reference/optics.json', import.meta.url), 'utf8'),
);

/** Largest absolute difference. */
function worst(actual: ArrayLike<number>, expected: ArrayLike<number>): number {
  expect(actual.length).toBe(expected.length);
  let most = 0;
  for (let i = 0; i < expected.length; i++) {
    most = Math.max(most, Math.abs((actual[i] as number) - (expected[i] as number)));
  }
  return most;
}

describe('Bessel functions against scipy.special', () => {
  const { x, j0, j1 } = reference.bessel;
  it('J0 and J1 to 1e-9, both sides of the switch of methods', () => {
    expect(worst(x.map(besselJ0), j0)).toBeLessThan(1e-9);
    expect(worst(x.map(besselJ1), j1)).toBeLessThan(1e-9);
    expect(besselJ1(-3)).toBe(-besselJ1(3));
    expect(besselJ0(-3)).toBe(besselJ0(3));
  });
  it('2 J1(x)/x', () => {
    const positive = x.filter((value) => value > 0);
    const expected = x.flatMap((value, i) => (value > 0 ? [(2 * (j1[i] as number)) / value] : []));
    expect(worst(positive.map(jinc), expected)).toBeLessThan(1e-9);
    expect(jinc(0)).toBe(1);
  });
});

describe('pixel', () => {
  it('direction-averaged transfer function', () => {
    const { frequency, value } = reference.pixelOtf;
    expect(worst(frequency.map(pixelOtf), value)).toBeLessThan(1e-9);
    expect(pixelOtf(0)).toBe(1);
  });

  it('recorded FWHM of Moffat and Gaussian stars, 0.5–20 px: direct to 1e-5, tables to 1e-3 and back', () => {
    for (const [optical, betaText, recorded] of reference.recordedFwhm.rows) {
      const beta = betaText === 'Infinity' ? Number.POSITIVE_INFINITY : betaText;
      const label = `FWHM ${optical}, beta ${betaText}`;
      expect(Math.abs(recordedFwhm(optical, beta) / recorded - 1), label).toBeLessThan(1e-5);
      const table = createRecordedFwhmTable(beta);
      expect(Math.abs(table(optical) / recorded - 1), label).toBeLessThan(1e-3);
      // Gaussian-like stars of 0.5 px record as large as somewhat wider ones: no way back (pixel.ts).
      if (optical < 0.6 && beta > 5) continue;
      const back = createOpticalFwhmTable(beta)(table(optical));
      expect(Math.abs(back / optical - 1), label).toBeLessThan(1e-6);
    }
  });

  it('the table between its knots', () => {
    for (const beta of [1.5, 3, 10, Number.POSITIVE_INFINITY]) {
      const table = createRecordedFwhmTable(beta);
      for (let optical = 0.5; optical < 30; optical *= 1.037) {
        expect(Math.abs(table(optical) / recordedFwhm(optical, beta) - 1)).toBeLessThan(2e-4);
      }
    }
  });
});

describe('Kolmogorov seeing', () => {
  it('FWHM 0.976 λ/r0 (Fried 1966), here to the digits of scipy', () => {
    expect(Math.abs(SEEING_FWHM - reference.kolmogorovFwhm)).toBeLessThan(1e-5);
  });

  it('encircled energy from the transfer function to 1e-4', () => {
    const { radiusOverFwhm, energy } = reference.kolmogorovEnergy;
    const fwhm = 3;
    const radii = radiusOverFwhm.map((v) => v * fwhm);
    const nodes = frequencyNodes(2.25 / fwhm, 12);
    const curve = applyOperator(
      encircledEnergyOperator(nodes, radii),
      nodes.node.map((f) => seeingOtf(f, fwhm)),
    );
    expect(worst(curve, energy)).toBeLessThan(1e-4);
  });
});

describe('Airy pattern', () => {
  it('FWHM 1.029 λN, dark rings 1.220, 2.233, 3.238 λN with 83.8, 91.0, 93.8 % inside (Born & Wolf, table 8.2)', () => {
    expect(AIRY_FWHM).toBeCloseTo(1.029, 4);
    expect(Math.abs(AIRY_FWHM - reference.airy.fwhm)).toBeLessThan(1e-6);
    expect(worst(AIRY_DARK_RINGS, reference.airy.darkRings)).toBeLessThan(1e-6);
    expect(
      worst(AIRY_DARK_RINGS.map(airyEncircledEnergy), reference.airy.energyInRings),
    ).toBeLessThan(1e-6);
    expect(airyEncircledEnergy(1.22)).toBeCloseTo(0.838, 3);
  });
});

describe('Gaussian behind a uniform disc', () => {
  it('encircled energy against the noncentral chi-square integrated over the disc (scipy.stats)', () => {
    for (const { sigma, diameter, radius, energy } of reference.discBlur) {
      const nodes = frequencyNodes(1.2 / sigma, 20);
      const curve = applyOperator(
        encircledEnergyOperator(nodes, radius),
        nodes.node.map((f) => Math.exp(-2 * (Math.PI * sigma * f) ** 2) * discOtf(f, diameter)),
      );
      expect(worst(curve, energy), `sigma ${sigma}, d ${diameter}`).toBeLessThan(1e-5);
    }
  });
});
