/** Glass, lens, air and bands of the simulation against published values. */
import { describe, expect, it } from 'vitest';
import {
  type Band,
  bandIntegral,
  bandResponse,
  blackBodyPhotons,
  meanWavelengthNm,
} from '../../src/simulate/bands.js';
import {
  airRefractivity,
  type GlassName,
  glassIndex,
  SPECTRAL_LINES_NM,
} from '../../src/simulate/glass.js';
import {
  atmosphericDispersionArcsec,
  doubletFocalShift,
  focalShiftUm,
  lateralColourShape,
  sharpestFocusUm,
} from '../../src/simulate/lens.js';

const { h, g, F, e, d, C } = SPECTRAL_LINES_NM;

describe('glass', () => {
  // Catalogue values of n_d and the Abbe number (SCHOTT data sheets).
  it.each([
    ['N-BK7', 1.5168, 64.17],
    ['F2', 1.62004, 36.37],
    ['N-FK51A', 1.48656, 84.47],
  ] as [GlassName, number, number][])('%s: n_d and ν_d', (glass, index, abbe) => {
    expect(glassIndex(glass, d)).toBeCloseTo(index, 5);
    const dispersion = glassIndex(glass, F) - glassIndex(glass, C);
    expect((glassIndex(glass, d) - 1) / dispersion).toBeCloseTo(abbe, 2);
  });
  it('refuses wavelengths outside the fit', () => {
    expect(() => glassIndex('F2', 300)).toThrow(/365 to 2300/);
  });
});

describe('doublet of N-BK7 and F2, corrected at F and C', () => {
  // docs/algorithms.md: d f/2002 and e f/1787 short of the F–C focus, g f/579 and h f/247 long; the last digit
  // depends on whether the shift is divided by f(F) or f(λ).
  it.each([
    ['d', d, -2002],
    ['e', e, -1787],
    ['g', g, 579],
    ['h', h, 247],
  ] as const)('secondary spectrum at %s', (_, wavelengthNm, fraction) => {
    expect(Math.abs(1 / doubletFocalShift(wavelengthNm) - fraction)).toBeLessThan(1.2);
  });
  it('has one focus at F and C', () => {
    expect(doubletFocalShift(F)).toBeCloseTo(0, 12);
    expect(doubletFocalShift(C)).toBeCloseTo(0, 12);
  });
  it('scales: ED and apochromat by their factor, the control not at all', () => {
    const full = focalShiftUm({ kind: 'achromat' }, 480, 430);
    expect(focalShiftUm({ kind: 'scaled', factor: 0.1 }, 480, 430)).toBeCloseTo(full / 10, 9);
    expect(focalShiftUm({ kind: 'none' }, 480, 430)).toBe(0);
  });
});

describe('focus', () => {
  it('lies in the middle of a symmetric band, and at the crowded end of a skew one', () => {
    expect(sharpestFocusUm([-10, 0, 10], [1, 1, 1], 3, 6)).toBeCloseTo(0, 1);
    const skew = sharpestFocusUm([0, 2, 4, 300, 600], [1, 1, 1, 1, 1], 3, 6);
    expect(skew).toBeGreaterThan(0);
    expect(skew).toBeLessThan(20);
  });
});

describe('air', () => {
  it('refractivity of standard air at 589.3 nm is 2.771e-4', () => {
    // n − 1 = 0.0002771 at 15 °C, 760 mmHg (Kaye & Laby, Tables of Physical and Chemical Constants; memory: 1.000277).
    expect(airRefractivity(589.3)).toBeCloseTo(2.771e-4, 7);
  });
  it('spreads 400–700 nm over about 1.4 arcsec at 45° zenith distance, blue towards the zenith', () => {
    const spread =
      atmosphericDispersionArcsec(400, 45, 1) - atmosphericDispersionArcsec(700, 45, 1);
    // 206265″ × (2.8276e-4 − 2.7577e-4) = 1.44″ (refractivities from memory, Allen's Astrophysical Quantities).
    expect(Math.abs(spread - 1.44)).toBeLessThan(0.05);
    expect(atmosphericDispersionArcsec(400, 0, 1)).toBe(0);
  });
  it('lateral colour: unit separation between 450 and 630 nm', () => {
    expect(lateralColourShape(450) - lateralColourShape(630)).toBeCloseTo(1, 12);
    expect(lateralColourShape(535)).toBe(0);
  });
});

describe('bands', () => {
  it.each(['R', 'G', 'B'] as Band[])('%s lies where its name says', (band) => {
    const limits: Record<string, [number, number]> = {
      R: [600, 640],
      G: [520, 560],
      B: [450, 485],
    };
    const [low, high] = limits[band] as [number, number];
    expect(meanWavelengthNm(band, 5600)).toBeGreaterThan(low);
    expect(meanWavelengthNm(band, 5600)).toBeLessThan(high);
    expect(bandResponse(band, 380)).toBe(0);
    expect(bandResponse(band, 720)).toBe(0);
  });
  it('black body: photons peak at λT = 3669.7 µm K', () => {
    // Wien's law for photon number per wavelength: x = 3.9207, λT = 14387.77 / 3.9207 µm K.
    const at = (nm: number) => blackBodyPhotons(nm, 6000);
    const peak = 3669.7e3 / 6000;
    expect(at(peak)).toBeGreaterThan(at(peak - 3));
    expect(at(peak)).toBeGreaterThan(at(peak + 3));
  });
  it('hot stars are bluer', () => {
    const colour = (kelvin: number) => bandIntegral('B', kelvin) / bandIntegral('R', kelvin);
    expect(colour(10000)).toBeGreaterThan(2 * colour(4000));
  });
});
