import { describe, expect, it } from 'vitest';
import { airyEncircledEnergy, airyFwhmArcsec } from '../../src/optics/airy.js';
import { DEFAULT_BANDS_NM, type PerfectLens, perfectLens } from '../../src/optics/perfect-lens.js';
import { createRecordedFwhmTable, PIXEL_FWHM } from '../../src/optics/pixel.js';

function lens(input: Parameters<typeof perfectLens>[0]): PerfectLens {
  const result = perfectLens(input);
  if (result === null) throw new Error('expected a result');
  return result;
}

describe('what a perfect lens shows', () => {
  it('seeing only: blue is wider than red, and by the λ^(−1/5) law', () => {
    const wide = lens({ greenFwhmPx: 12, atRadiusPx: 12, rMaxPx: 96, scale: null });
    expect(wide.diffractionIncluded).toBe(false);
    expect(wide.blueMinusRedPercent).toBeGreaterThan(0);
    // At 12 px the pixel hardly matters, so EE_B(r) = EE_G(r × s_G/s_B): read the shift off the green curve.
    const { radiusPx, G } = wide.curves;
    const green = (r: number): number => {
      const i = radiusPx.findIndex((value) => value >= r);
      const t =
        (r - (radiusPx[i - 1] as number)) / ((radiusPx[i] as number) - (radiusPx[i - 1] as number));
      return (G[i - 1] as number) * (1 - t) + (G[i] as number) * t;
    };
    const blue = green(12 * (DEFAULT_BANDS_NM.B / DEFAULT_BANDS_NM.G) ** 0.2);
    const red = green(12 * (DEFAULT_BANDS_NM.R / DEFAULT_BANDS_NM.G) ** 0.2);
    // 0.15 points: linear reading of the curve, the pixel, and the different tails at rMax.
    expect(Math.abs(wide.blueMinusRedPercent - 100 * (red - blue))).toBeLessThan(0.15);
    expect(wide.blueMinusRedPercent).toBeCloseTo(
      wide.blueMinusGreenPercent - wide.redMinusGreenPercent,
      9,
    );
    // Nothing scales when the blur is guiding or focus: the range starts at 0.
    expect(Math.abs(wide.rangePercent.low)).toBeLessThan(1e-9);
    expect(wide.rangePercent.high).toBe(wide.blueMinusRedPercent);
  });

  it('the recorded green size comes out as asked: solved seeing, widened by the pixel', () => {
    const result = lens({ greenFwhmPx: 2.5, atRadiusPx: 3, rMaxPx: 20, scale: null });
    // A Kolmogorov image is close to a Moffat of exponent 4.77 (Trujillo et al. 2001, MNRAS 328, 977).
    const moffat = createRecordedFwhmTable(4.765)(result.seeingFwhmPx);
    expect(Math.abs(moffat / 2.5 - 1)).toBeLessThan(0.005);
  });

  it('diffraction only (in space): red is wider, and the curve is the Airy one', () => {
    // 20 mm of aperture, 0.2"/px: Airy FWHM 5.68" = 28.4 px; the pixel is negligible.
    const arcsecPerPx = 0.2;
    const apertureMm = 20;
    const greenFwhmPx = airyFwhmArcsec(535, apertureMm) / arcsecPerPx;
    const result = lens({
      greenFwhmPx,
      atRadiusPx: greenFwhmPx,
      rMaxPx: 8 * greenFwhmPx,
      scale: { arcsecPerPx, apertureMm },
    });
    expect(result.diffractionIncluded).toBe(true);
    expect(result.seeingFwhmPx).toBeLessThan(0.25 * greenFwhmPx);
    expect(result.blueMinusRedPercent).toBeLessThan(0);
    const energy = (wavelengthNm: number): number => {
      const unit = (wavelengthNm * 1e-6 * 206264.806) / apertureMm / arcsecPerPx;
      return (
        airyEncircledEnergy(greenFwhmPx / unit) / airyEncircledEnergy((8 * greenFwhmPx) / unit)
      );
    };
    // 0.3 points: pixel, and the little seeing that the solution needs.
    expect(result.blueMinusRedPercent).toBeCloseTo(100 * (energy(620) - energy(460)), 0);
    expect(Math.abs(result.blueMinusRedPercent - 100 * (energy(620) - energy(460)))).toBeLessThan(
      0.3,
    );
  });

  it('seeing and diffraction together lie between the two', () => {
    // 80 mm, 1.6"/px: Airy 1.42" = 0.89 px in a recorded 2.6 px.
    const input = { greenFwhmPx: 2.6, atRadiusPx: 3, rMaxPx: 21 };
    const seeing = lens({ ...input, scale: null }).blueMinusRedPercent;
    const both = lens({ ...input, scale: { arcsecPerPx: 1.6, apertureMm: 80 } });
    expect(both.diffractionIncluded).toBe(true);
    expect(both.blueMinusRedPercent).toBeLessThan(seeing);
    expect(both.rangePercent.low).toBeLessThan(both.rangePercent.high);
    expect(both.rangePercent.low).toBeLessThan(0);
    // Without an aperture a scale alone changes nothing.
    const noAperture = lens({ ...input, scale: { arcsecPerPx: 1.6, apertureMm: null } });
    expect(noAperture.blueMinusRedPercent).toBe(seeing);
    expect(noAperture.notes.join()).toMatch(/diffraction not included/);
  });

  it('one colour for all bands: no excess at all', () => {
    const grey = lens({
      greenFwhmPx: 3,
      atRadiusPx: 3,
      rMaxPx: 24,
      scale: { arcsecPerPx: 1, apertureMm: 100 },
      bandsNm: { R: 550, G: 550, B: 550 },
    });
    expect(Math.abs(grey.blueMinusRedPercent)).toBeLessThan(1e-9);
  });

  it('curves rise from 0 to 1 at rMax', () => {
    const { curves } = lens({ greenFwhmPx: 3, atRadiusPx: 3, rMaxPx: 24, scale: null });
    expect(curves.radiusPx.at(-1)).toBe(24);
    for (const band of ['R', 'G', 'B'] as const) {
      const curve = curves[band];
      expect(curve[0]).toBe(0);
      expect(curve.at(-1)).toBe(1);
      for (let i = 1; i < curve.length; i++) {
        expect(curve[i] as number).toBeGreaterThan((curve[i - 1] as number) - 1e-6);
      }
    }
  });

  it('a star as narrow as the pixel: no seeing can be told, nothing is claimed', () => {
    const result = lens({ greenFwhmPx: PIXEL_FWHM - 0.02, atRadiusPx: 1, rMaxPx: 9, scale: null });
    expect(result.seeingFwhmPx).toBe(0);
    expect(result.notes.join()).toMatch(/pixel itself/);
    expect(Math.abs(result.blueMinusRedPercent)).toBeLessThan(1e-9);
  });

  it('a green size below the diffraction limit contradicts the aperture: left out, and said', () => {
    // 30 mm at 0.5"/px: Airy 3.79" = 7.6 px, yet 4 px measured.
    const result = lens({
      greenFwhmPx: 4,
      atRadiusPx: 4,
      rMaxPx: 32,
      scale: { arcsecPerPx: 0.5, apertureMm: 30 },
    });
    expect(result.diffractionIncluded).toBe(false);
    expect(result.notes.join()).toMatch(/narrower than this aperture allows/);
  });

  it('a green size just at the limit: diffraction alone', () => {
    const scale = { arcsecPerPx: 0.5, apertureMm: 30 };
    // 2 % below the recorded limit, within the error of a size.
    const limit = Math.hypot(airyFwhmArcsec(535, 30) / 0.5, 0.7);
    const result = lens({ greenFwhmPx: 0.98 * limit, atRadiusPx: 8, rMaxPx: 60, scale });
    expect(result.diffractionIncluded).toBe(true);
    expect(result.seeingFwhmPx).toBe(0);
    expect(result.blueMinusRedPercent).toBeLessThan(0);
  });

  it('nothing usable in, null out', () => {
    const good = { greenFwhmPx: 3, atRadiusPx: 3, rMaxPx: 24, scale: null };
    expect(perfectLens({ ...good, greenFwhmPx: Number.NaN })).toBeNull();
    expect(perfectLens({ ...good, greenFwhmPx: 0 })).toBeNull();
    expect(perfectLens({ ...good, atRadiusPx: 25 })).toBeNull();
    expect(perfectLens({ ...good, rMaxPx: Number.POSITIVE_INFINITY })).toBeNull();
  });
});
