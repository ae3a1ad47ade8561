import { describe, expect, it } from 'vitest';
import {
  AIRY_DARK_RINGS,
  AIRY_FWHM,
  airyBrightness,
  airyEncircledEnergy,
  airyFwhmArcsec,
  airyFwhmUm,
  diffractionOtf,
} from '../../src/optics/airy.js';
import { depthOfFocusUm, focalLengthFraction } from '../../src/optics/depth-of-focus.js';
import {
  abbeNumber,
  F2,
  N_BK7,
  refractiveIndex,
  SPECTRAL_LINES_NM,
} from '../../src/optics/glass.js';
import { doubletFocusShift } from '../../src/optics/secondary-spectrum.js';
import { seeingFwhmArcsec, seeingFwhmAt } from '../../src/optics/seeing.js';

const { C, d, e, F, g, h } = SPECTRAL_LINES_NM;

describe('Airy pattern', () => {
  it('is 1 at the centre, 1/2 at half the FWHM, 0 in the dark rings', () => {
    expect(airyBrightness(0)).toBe(1);
    expect(airyBrightness(AIRY_FWHM / 2)).toBeCloseTo(0.5, 6);
    for (const ring of AIRY_DARK_RINGS) expect(airyBrightness(ring)).toBeLessThan(1e-12);
  });
  it('holds no light at 0 and nearly all far out: 1 − EE → 2/(π² v)', () => {
    // Asymptote of J0² + J1² = 2/(πx) with x = πv.
    expect(airyEncircledEnergy(0)).toBe(0);
    expect((1 - airyEncircledEnergy(200)) * 200 * Math.PI ** 2).toBeCloseTo(2, 2);
  });
  it('in µm and arcsec', () => {
    // 1.029 × 0.55 µm × 6 = 3.396 µm; 1.029 × 550 nm / 100 mm = 5.660e-6 rad = 1.167".
    expect(airyFwhmUm(550, 6)).toBeCloseTo(3.3957, 3);
    expect(airyFwhmArcsec(550, 100)).toBeCloseTo(1.1674, 3);
  });
  it('transfer function: 1 at 0, 0.391 at half the cut-off, 0 at and past it', () => {
    // (2/π)(acos ½ − ½ √¾) = (2/π)(1.047198 − 0.433013) = 0.391002.
    expect(diffractionOtf(0)).toBe(1);
    expect(diffractionOtf(0.5)).toBeCloseTo(0.391002, 6);
    expect(diffractionOtf(-0.5)).toBe(diffractionOtf(0.5));
    expect(diffractionOtf(1)).toBe(0);
    expect(diffractionOtf(1.5)).toBe(0);
  });
});

describe('glass', () => {
  it('index and Abbe number as in the data sheets (N-BK7 517642, F2 620364)', () => {
    expect(refractiveIndex(N_BK7, d)).toBeCloseTo(1.5168, 5);
    expect(refractiveIndex(F2, d)).toBeCloseTo(1.62004, 5);
    expect(abbeNumber(N_BK7)).toBeCloseTo(64.17, 2);
    expect(abbeNumber(F2)).toBeCloseTo(36.37, 2);
  });
  it('other lines as in the data sheets (values from memory: N-BK7 nF 1.52238, nC 1.51432, ng 1.52668)', () => {
    expect(refractiveIndex(N_BK7, F)).toBeCloseTo(1.52238, 5);
    expect(refractiveIndex(N_BK7, C)).toBeCloseTo(1.51432, 5);
    expect(refractiveIndex(N_BK7, g)).toBeCloseTo(1.52668, 5);
  });
  it('refuses wavelengths without data', () => {
    expect(() => refractiveIndex(N_BK7, 200)).toThrow(/N-BK7/);
    expect(() => refractiveIndex(F2, Number.NaN)).toThrow(RangeError);
  });
});

describe('secondary spectrum of the classical N-BK7/F2 doublet', () => {
  // Recomputed here from the Sellmeier coefficients through a power sum of two real thin lenses of f = 1.
  const index = (b: readonly number[], c: readonly number[], nm: number): number =>
    Math.sqrt(
      1 +
        b.reduce(
          (sum, value, i) => sum + (value * nm * nm) / (nm * nm - (c[i] as number) * 1e6),
          0,
        ),
    );
  const crown = (nm: number): number => index(N_BK7.b, N_BK7.c, nm);
  const flint = (nm: number): number => index(F2.b, F2.c, nm);
  const crownSpread = crown(F) - crown(C);
  const flintSpread = flint(F) - flint(C);
  // K1 (n1 − 1) + K2 (n2 − 1) = 1 at F, with K2 = −K1 Δn1/Δn2.
  const k1 = 1 / (crown(F) - 1 - (crownSpread / flintSpread) * (flint(F) - 1));
  const k2 = (-k1 * crownSpread) / flintSpread;
  const focus = (nm: number): number => 1 / (k1 * (crown(nm) - 1) + k2 * (flint(nm) - 1));

  it.each([
    // docs/algorithms.md, after f/2000, the rule of thumb of the handbooks.
    ['d', d, -2002],
    ['e', e, -1787],
    ['g', g, 579],
    ['h', h, 247],
  ] as const)('%s', (_name, wavelength, denominator) => {
    const shift = doubletFocusShift(wavelength);
    expect(shift).toBeCloseTo(focus(wavelength) - 1, 10);
    // 0.1 %: the lines rounded to 0.1 nm give 2001.2, 1786.7, 579.8, 247.1; to 0.0001 nm 2002.6, 1788.1, 579.6, 247.0.
    expect(Math.abs(1 / shift / denominator - 1)).toBeLessThan(1e-3);
  });

  it('vanishes at the corrected colours', () => {
    expect(doubletFocusShift(F)).toBe(0);
    expect(Math.abs(doubletFocusShift(C))).toBeLessThan(1e-12);
    expect(Math.abs(doubletFocusShift(g, N_BK7, F2, [g, e]))).toBeLessThan(1e-12);
  });
});

describe('seeing', () => {
  it('shrinks as λ^(−1/5) (Fried 1966)', () => {
    expect(seeingFwhmAt(2, 550, 550)).toBe(2);
    // (1/2)^(−1/5) = 2^0.2 = 1.148698.
    expect(seeingFwhmAt(1, 800, 400)).toBeCloseTo(1.148698, 6);
    const exponent = Math.log(seeingFwhmAt(1, 460, 620)) / Math.log(620 / 460);
    expect(exponent).toBeCloseTo(-0.2, 12);
  });
  it('r0 = 100 mm at 500 nm is about 1 arcsec', () => {
    // 0.976 × 500e-9/0.1 rad = 4.88e-6 rad = 1.0065".
    expect(seeingFwhmArcsec(100, 500)).toBeCloseTo(1.006, 2);
  });
});

describe('depth of focus', () => {
  it('± 2 λ N²', () => {
    // 2 × 0.55 µm × 36 = 39.6 µm.
    expect(depthOfFocusUm(550, 6)).toBeCloseTo(39.6, 10);
  });
  it('as a fraction of the focal length', () => {
    // 0.2 mm of 400 mm = f/2000.
    expect(1 / focalLengthFraction(200, 400)).toBeCloseTo(2000, 9);
  });
  it('is the defocus of a quarter wave at the rim', () => {
    // Rim sag of a defocus Δz: Δz/(8 N²); with Δz = 2 λ N² that is λ/4.
    const rimErrorUm = depthOfFocusUm(550, 7) / (8 * 49);
    expect(rimErrorUm).toBeCloseTo(0.55 / 4, 12);
  });
});
