import { describe, expect, it } from 'vitest';
import {
  createOpticalFwhmTable,
  createRecordedFwhmTable,
  PIXEL_FWHM,
  recordedFwhm,
} from '../../src/optics/pixel.js';

describe('recorded size', () => {
  it('large stars: a pixel adds its variance, 1/12 px² per axis (Gaussian: FWHM² + 8 ln 2/12)', () => {
    for (const fwhm of [5, 10, 20]) {
      expect(recordedFwhm(fwhm, Number.POSITIVE_INFINITY) ** 2 - fwhm ** 2).toBeCloseTo(
        (8 * Math.LN2) / 12,
        2,
      );
    }
  });

  it('tiny stars: what is left is the pixel itself, averaged over direction', () => {
    // Half of a circle of radius ρ lies inside the unit square when acos(1/(2ρ)) = π/8.
    expect(PIXEL_FWHM).toBeCloseTo(1.0824, 4);
    const table = createRecordedFwhmTable(Number.POSITIVE_INFINITY);
    expect(Math.abs(table(0.01) / PIXEL_FWHM - 1)).toBeLessThan(0.02);
  });

  it('a large exponent is a Gaussian', () => {
    expect(recordedFwhm(2, 500)).toBeCloseTo(recordedFwhm(2, Number.POSITIVE_INFINITY), 3);
  });

  it('grows with the optical size above 0.6 px, and is never below 1.05 px', () => {
    for (const beta of [1.2, 1.5, 3, 10, Number.POSITIVE_INFINITY]) {
      const table = createRecordedFwhmTable(beta);
      let before = 0;
      for (let fwhm = 0.1; fwhm < 80; fwhm *= 1.05) {
        const recorded = table(fwhm);
        expect(recorded).toBeGreaterThan(Math.max(1.05, fwhm));
        if (fwhm > 0.6) expect(recorded).toBeGreaterThan(before);
        before = recorded;
      }
    }
  });

  it('the way back: the larger of two optical sizes, NaN where there is none', () => {
    const table = createRecordedFwhmTable(10);
    const optical = createOpticalFwhmTable(10);
    expect(optical(table(0.9))).toBeCloseTo(0.9, 6);
    // 0.3 px records 1.0856 px (see fixtures/reference/optics.py for the method), and so does about 0.64 px.
    const twin = optical(table(0.3));
    expect(twin).toBeGreaterThan(0.6);
    expect(table(twin)).toBeCloseTo(table(0.3), 6);
    expect(optical(1.05)).toBeNaN();
    expect(optical(Number.NaN)).toBeNaN();
    expect(optical(40)).toBeLessThan(40);
  });

  it('NaN stays NaN, impossible parameters are refused', () => {
    expect(createRecordedFwhmTable(3)(Number.NaN)).toBeNaN();
    expect(() => recordedFwhm(2, 1)).toThrow(/beta/);
    expect(() => recordedFwhm(0.1, 3)).toThrow(/fwhmOptical/);
  });
});
