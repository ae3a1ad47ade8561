import { describe, expect, it } from 'vitest';
import { lensLikeness } from '../../src/measure/lens-likeness.js';
import type { FrameResult } from '../../src/measure/result.js';
import { equivalentDefocusFraction, type LensKind } from '../../src/optics/lens-expectation.js';

const LENS = { focalLengthMm: 480, apertureMm: 80 };
const ACHROMAT = equivalentDefocusFraction('achromat', 'B');

/** A blue defocus of `share` of the achromat's, known to 5 % or to `low`. */
function defocus(share: number, low = 0.95 * share): FrameResult['equivalentDefocus'] {
  const range = (unit: number) => ({
    value: share * unit,
    low: low * unit,
    high: 1.05 * share * unit,
  });
  return {
    blueUm: range(ACHROMAT * 480_000),
    redUm: null,
    blueFocalLengthFraction: range(ACHROMAT),
    redFocalLengthFraction: null,
    blueBlurPx: range(1),
    redBlurPx: range(1),
  };
}

describe('kind of lens by its blue', () => {
  it.each([
    [3, 'worse than an achromat'],
    [1, 'achromat'],
    [0.6, 'achromat'],
    [0.3, 'between achromat and ED doublet'],
    [0.1, 'ED doublet'],
    [0.03, 'apochromat'],
    [0.01, 'better than a usual apochromat'],
  ])('%d of the achromat: %s', (share, like) => {
    const found = lensLikeness(defocus(share), LENS);
    expect(found).toMatchObject({ like, upperLimit: false });
    expect(found?.blueAchromatShare.value).toBeCloseTo(share, 12);
    // 2 × 0.535 × 36 = 38.52 µm.
    expect(found?.blueDepthsOfFocus.value).toBeCloseTo((share * ACHROMAT * 480_000) / 38.52, 9);
    expect(found?.achromatBlueFocalLengthFraction).toBe(ACHROMAT);
  });

  it('every kind is what its own expectation says', () => {
    const expected: [LensKind, string][] = [
      ['achromat', 'achromat'],
      ['ed', 'ED doublet'],
      ['apochromat', 'apochromat'],
    ];
    for (const [kind, like] of expected) {
      const share = equivalentDefocusFraction(kind, 'B') / ACHROMAT;
      expect(lensLikeness(defocus(share), LENS)?.like).toBe(like);
    }
  });

  it('an upper limit stands for its upper end', () => {
    expect(lensLikeness(defocus(0.04, 0), LENS)).toMatchObject({
      like: 'apochromat',
      upperLimit: true,
    });
    expect(lensLikeness(defocus(0.053, 0), LENS)).toMatchObject({
      like: 'ED doublet',
      upperLimit: true,
    });
    expect(lensLikeness(defocus(0, 0), LENS)).toMatchObject({
      like: 'better than a usual apochromat',
      upperLimit: true,
    });
  });

  it('nothing without aperture, focal length or blur', () => {
    expect(lensLikeness(null, LENS)).toBeNull();
    expect(lensLikeness(defocus(1), { ...LENS, apertureMm: null })).toBeNull();
    expect(lensLikeness(defocus(1), { ...LENS, focalLengthMm: null })).toBeNull();
  });
});
