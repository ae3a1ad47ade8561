/** The blur of a colour as a disc: from exact encircled energies of discs, within one radius or another. */
import { describe, expect, test } from 'vitest';
import type { ProfileReadings } from '../../src/measure/bootstrap.js';
import { blurDiameter, blurIsCut } from '../../src/measure/equivalent-defocus.js';
import { blurError } from '../../src/measure/systematics.js';

const STEP = 0.05;

/** Readings of two channels whose encircled energies are given, on a fine grid out to `outTo`. */
function readings(
  outTo: number,
  green: (r: number) => number,
  blue: (r: number) => number,
): { radii: Float64Array; reading: ProfileReadings } {
  const n = Math.round(outTo / STEP) + 1;
  const radii = Float64Array.from({ length: n }, (_, i) => i * STEP);
  const enclosed = new Float64Array(2 * n);
  for (let i = 0; i < n; i++) {
    enclosed[i] = green(radii[i] as number);
    enclosed[n + i] = blue(radii[i] as number);
  }
  const none = new Float64Array(0);
  return {
    radii,
    reading: {
      fwhm: none,
      r50: none,
      r80: none,
      r90: none,
      brightness: none,
      enclosed,
      atReference: none,
    },
  };
}

/** A uniform disc of diameter d holds (2 r/d)² within r; its mean square radius is d²/8. */
const disc = (d: number) => (r: number) => Math.min(1, (2 * r) / d) ** 2;
const blur = ({ radii, reading }: ReturnType<typeof readings>, within?: number): number =>
  blurDiameter(reading, radii, 1, 0, new Float64Array(radii.length), within);

describe('diameter of the blur', () => {
  test('discs in quadrature: 5 px over 3 px is 4 px', () => {
    // Mean square radii 25/8 and 9/8: 16/8 lies between them, which is a disc of 4.
    expect(blur(readings(12, disc(3), disc(5)))).toBeCloseTo(4, 2);
  });

  test('faint light far out, wrongly given to blue, does not count within the lens’s own radius', () => {
    // 1 % of the light, spread evenly between 10 and 40 px.
    const halo = (r: number): number => Math.max(0, Math.min(1, (r * r - 100) / 1500));
    const both = readings(40, disc(3), (r) => 0.99 * disc(5)(r) + 0.01 * halo(r));
    expect(blur(both, 10)).toBeCloseTo(4, 1);
    // The mean square radius of that light is (10² + 40²)/2 = 850; a hundredth of it is 8.5: √(8 (2 + 8.5)) = 9.2.
    expect(blur(both)).toBeGreaterThan(9);
  });

  test('a radius beyond the grid changes nothing', () => {
    const both = readings(12, disc(3), disc(5));
    expect(blur(both, 50)).toBe(blur(both));
  });
});

describe('a blur cut by the radius of counting', () => {
  test('a disc that ends inside is whole; one that reaches past it is cut', () => {
    const cut = (d: number): boolean => {
      const { radii, reading } = readings(10, disc(3), (r) => disc(d)(r) / disc(d)(10));
      return blurIsCut(reading, radii, 1, 0);
    };
    expect(cut(8)).toBe(false);
    expect(cut(19)).toBe(true);
    expect(cut(30)).toBe(true);
  });

  test('its error is larger, and no error is larger than the blur where the lens explains all', () => {
    expect(blurError(10, 0, false)).toBeCloseTo(0.2, 12);
    expect(blurError(10, 0, true)).toBeCloseTo(1.2, 12);
    // 8 · 0.0025 · 5² = 0.5: d² = 0.36 is less.
    expect(blurError(0.6, 5, false)).toBeCloseTo(Math.hypot(0.6, 0.012), 12);
    expect(blurError(2, 5, false)).toBeCloseTo(Math.hypot(2 - Math.sqrt(3.5), 0.04), 12);
  });
});
