import { describe, expect, it } from 'vitest';
import { ParameterError } from '../../src/errors.js';
import { F2, type Glass, N_BK7, SPECTRAL_LINES_NM } from '../../src/optics/glass.js';
import {
  achromatDepthsAtRatio,
  achromatShare,
  depthsOfFocusFor,
  equivalentDefocusFraction,
  focusShiftFraction,
  lensExpectation,
  lensGeometry,
} from '../../src/optics/lens-expectation.js';
import { bandResponse, blackBodyPhotons } from '../../src/simulate/bands.js';
import { doubletFocalShift } from '../../src/simulate/lens.js';

const { d, e, F, C, g, h } = SPECTRAL_LINES_NM;
const ARCSEC = 206264.806;

describe('geometry', () => {
  it('any two of aperture, length and ratio give the third', () => {
    const whole = { apertureMm: 80, focalLengthMm: 400, focalRatio: 5 };
    expect(lensGeometry({ apertureMm: 80, focalLengthMm: 400 })).toEqual(whole);
    expect(lensGeometry({ apertureMm: 80, focalRatio: 5 })).toEqual(whole);
    expect(lensGeometry({ focalLengthMm: 400, focalRatio: 5 })).toEqual(whole);
  });
  it('three that agree but for rounding are taken', () => {
    const { focalRatio } = lensGeometry({ apertureMm: 102, focalLengthMm: 714, focalRatio: 6.9 });
    expect(focalRatio).toBeCloseTo(7, 12);
  });
  it.each([
    [{ apertureMm: 80 }, /any two/],
    [{}, /any two/],
    [{ apertureMm: 5, focalRatio: 5 }, /10 to 2000/],
    [{ apertureMm: Number.NaN, focalRatio: 5 }, /10 to 2000/],
    [{ apertureMm: 80, focalRatio: 0.5 }, /1 to 60/],
    // 1500 mm from 20 mm of aperture is f/75.
    [{ apertureMm: 20, focalLengthMm: 1500 }, /1 to 60/],
    // f/5 from 20 mm of length leaves 4 mm of aperture.
    [{ focalLengthMm: 20, focalRatio: 5 }, /10 to 2000/],
    [{ apertureMm: 80, focalLengthMm: 400, focalRatio: 6 }, /5\.00/],
  ])('%j is refused with what is allowed', (given, message) => {
    expect(() => lensGeometry(given)).toThrow(ParameterError);
    expect(() => lensGeometry(given)).toThrow(message);
  });
});

describe('secondary spectrum', () => {
  it.each([
    // Recomputed below from the Sellmeier coefficients; measurement of f/2002 and so on in docs/algorithms.md.
    ['d', d, -2002],
    ['e', e, -1787],
    ['g', g, 579],
    ['h', h, 247],
  ] as const)('classical achromat at %s', (_name, nm, denominator) => {
    const index = (glass: Glass): number =>
      Math.sqrt(
        glass.b.reduce(
          (sum, b, i) => sum + (b * nm * nm) / (nm * nm - 1e6 * (glass.c[i] as number)),
          1,
        ),
      );
    // Powers of the components from V_d-like numbers for F and C: K1 = V1/(V1 − V2) with V = (n_F − 1)/(n_F − n_C).
    const at = (glass: Glass, line: number): number =>
      Math.sqrt(
        glass.b.reduce(
          (sum, b, i) => sum + (b * line * line) / (line * line - 1e6 * (glass.c[i] as number)),
          1,
        ),
      );
    const v = (glass: Glass): number => (at(glass, F) - 1) / (at(glass, F) - at(glass, C));
    const share = v(N_BK7) / (v(N_BK7) - v(F2));
    const power =
      share * ((index(N_BK7) - 1) / (at(N_BK7, F) - 1)) +
      (1 - share) * ((index(F2) - 1) / (at(F2, F) - 1));
    expect(focusShiftFraction('achromat', nm)).toBeCloseTo(1 / power - 1, 10);
    expect(Math.abs(1 / (1 / power - 1) / denominator - 1)).toBeLessThan(1e-3);
  });

  it('a pair of the same glasses is the achromat; other kinds are scaled', () => {
    const pair = { crown: N_BK7, flint: F2 };
    expect(focusShiftFraction(pair, g)).toBe(focusShiftFraction('achromat', g));
    expect(focusShiftFraction('ed', g) / focusShiftFraction('achromat', g)).toBeCloseTo(0.1, 12);
    const e80 = lensExpectation({ apertureMm: 80, focalRatio: 5 }, pair);
    expect(e80).toEqual({
      ...lensExpectation({ apertureMm: 80, focalRatio: 5 }, 'achromat'),
      lens: 'N-BK7/F2',
    });
  });

  it('the assumed factor of an ED lens stands within a factor of two of fluorite and N-BK7', () => {
    // Malitson 1963, Appl. Opt. 2, 1103 (coefficients from memory); nd = 1.43384, Vd = 95.2 of the makers' tables (memory).
    const fluorite: Glass = {
      name: 'CaF2',
      b: [0.5675888, 0.4710914, 3.8484723],
      c: [0.050263605 ** 2, 0.1003909 ** 2, 34.64904 ** 2],
      rangeNm: [230, 9700],
    };
    const { colourFactor, basis } = lensExpectation(
      { apertureMm: 80, focalRatio: 6 },
      { crown: fluorite, flint: N_BK7 },
    );
    expect(basis).toBe('glasses');
    expect(colourFactor).toBeGreaterThan(0.05);
    expect(colourFactor).toBeLessThan(0.2);
  });

  it('the blur over a band is that of the simulated camera and glass, which share no code with it', () => {
    // Mean square of focus over the simulated bands and a star of 5600 K, cut where measured profiles end: the far violet of a bright
    // blue wing lies beyond R_max. The bands there are curves with feet, here a box: agreement to 15 % is what that allows.
    const square = (band: 'G' | 'B', from: number, to: number): number => {
      let sum = 0;
      let weight = 0;
      for (let nm = from; nm <= to; nm += 5) {
        const w = bandResponse(band, nm) * blackBodyPhotons(nm, 5600);
        sum += w * (doubletFocalShift(nm) - doubletFocalShift(535)) ** 2;
        weight += w;
      }
      return sum / weight;
    };
    const simulated = Math.sqrt(square('B', 420, 520) - square('G', 480, 600));
    const ratio = equivalentDefocusFraction('achromat', 'B') / simulated;
    expect(Math.abs(ratio - 1)).toBeLessThan(0.15);
  });
});

describe('expectation of an 80 mm f/5 achromat', () => {
  const lens = lensExpectation({ apertureMm: 80, focalRatio: 5 }, 'achromat');

  it('diffraction and depth of focus', () => {
    // 1.029 × 0.535 µm × 5 = 2.7526 µm; 1.2197 × 0.535 × 5 = 3.2626 µm; over 400 mm: 1.6824"; 2 × 0.535 × 25 = 26.75 µm.
    expect(lens.airyFwhmUm).toBeCloseTo(2.7526, 3);
    expect(lens.airyFwhmArcsec).toBeCloseTo((2.7526 / 400_000) * ARCSEC, 3);
    expect(lens.airyRadiusUm).toBeCloseTo(3.2626, 3);
    expect(lens.airyRadiusArcsec).toBeCloseTo(1.6824, 3);
    // Rayleigh: 83.8 % inside the first dark ring (Born & Wolf 8.5.2).
    expect(lens.airyShare).toBeCloseTo(0.838, 3);
    expect(lens.depthOfFocusUm).toBeCloseTo(26.75, 10);
  });

  it('blur per band is one length in three units', () => {
    for (const band of lens.secondarySpectrum) {
      expect(band.blurArcsec).toBeCloseTo((band.blurUm / 400_000) * ARCSEC, 5);
      expect(band.blurAiryRadii).toBeCloseTo(band.blurUm / 3.26262, 3);
    }
    const [red, green, blue] = lens.secondarySpectrum;
    expect(green?.focusShiftUm).toBe(0);
    // f/828 and f/4615 by the Sellmeier coefficients: 400 mm / 828.5 = 482.8 µm, / 4614.9 = 86.7 µm, both longer than green.
    expect(blue?.focusShiftUm).toBeCloseTo(482.8, 1);
    expect(red?.focusShiftUm).toBeCloseTo(86.68, 2);
    // blur = 5 times smaller than the defocus; blue² = green² + (defocus over green / 5)².
    const over = Math.sqrt((blue?.blurUm ?? 0) ** 2 - (green?.blurUm ?? 0) ** 2);
    expect(lens.blueDefocus.um).toBeCloseTo(5 * over, 6);
    expect(lens.blueDefocus.depthsOfFocus).toBeCloseTo((5 * over) / 26.75, 6);
  });

  it('lies near the worst class, as common practice has it; larger and faster is worse, longer better', () => {
    // 5 / (80 / 25.4) = 1.5875: half of the lower classical limit, next to the worst class below 1.5.
    expect(lens.apertureSpeedRatio).toBeCloseTo(1.5875, 12);
    expect(lens.classicalLimits.map(({ name, ratio, reached }) => [name, ratio, reached])).toEqual([
      ['Sidgwick', 3, false],
      ['Conrady', 5, false],
    ]);
    expect(lens.expectedColour).toBe('plain');
    const classOf = (apertureMm: number, focalRatio: number) =>
      lensExpectation({ apertureMm, focalRatio }, 'achromat').expectedColour;
    expect(classOf(120, 5)).toBe('strong');
    expect(classOf(80, 4)).toBe('strong');
    expect(classOf(80, 11)).toBe('slight');
    expect(classOf(60, 15)).toBe('hard to see');
  });
});

describe('kinds of lens', () => {
  it('the classical ratios hold for the colour of an achromat, so a tenth of it stands as ten times the ratio', () => {
    const ed = lensExpectation({ apertureMm: 80, focalRatio: 5 }, 'ed');
    expect(ed.achromatRatio).toBeCloseTo(15.875, 9);
    expect(ed.basis).toBe('assumed factor');
    expect(ed.apertureSpeedRatio).toBeCloseTo(1.5875, 12);
  });
  it('depths of focus depend on the ratio alone', () => {
    const fraction = equivalentDefocusFraction('achromat', 'B');
    expect(depthsOfFocusFor(fraction, 50, 10)).toBeCloseTo(depthsOfFocusFor(fraction, 100, 20), 12);
    // Ratio 3: 25.4 mm at f/3 has it; f 76.2 mm / 617.6 = 123.4 µm over 2 × 0.535 × 9 = 9.63 µm.
    expect(achromatDepthsAtRatio(3)).toBeCloseTo((76_200 * fraction) / 9.63, 9);
  });
  it('a measured defocus as a share of the achromat', () => {
    expect(achromatShare(equivalentDefocusFraction('apochromat', 'B'))).toBeCloseTo(0.03, 12);
    expect(achromatShare(0)).toBe(0);
  });
});
