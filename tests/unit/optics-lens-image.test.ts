import { describe, expect, it } from 'vitest';
import { airyEncircledEnergy, diffractionOtf } from '../../src/optics/airy.js';
import { bandLight, WAVELENGTHS_NM } from '../../src/optics/colour-bands.js';
import { defocusedOtf, defocusWaves } from '../../src/optics/defocused-pupil.js';
import { depthOfFocusUm } from '../../src/optics/depth-of-focus.js';
import {
  applyOperator,
  brightnessOperator,
  encircledEnergyOperator,
  frequencyNodes,
} from '../../src/optics/hankel.js';
import {
  enclosedInBand,
  lensImage,
  radiusOfShare,
  shareWithin,
} from '../../src/optics/lens-image.js';
import { DEFAULT_BANDS_NM } from '../../src/optics/perfect-lens.js';

describe('the defocused pupil', () => {
  it('in focus it is the Airy pattern', () => {
    for (const s of [0, 0.1, 0.5, 0.9, 1, 1.2]) {
      expect(defocusedOtf(s, 0)).toBeCloseTo(diffractionOtf(s), 12);
      // Just above the shortcut for no defocus.
      expect(defocusedOtf(s, 1.1e-4)).toBeCloseTo(diffractionOtf(s), 6);
    }
  });

  it.each([
    // Intensity on the axis: (sin(u/4)/(u/4))², u/4 = π × waves at the rim (Born & Wolf 8.8.2, eq. 26): a quarter of a wave leaves 0.8106.
    [0.25, 0.810569],
    [0.5, 0.405285],
    [1, 0],
    [1.5, 0.0450316],
    [8.5, 1 / (Math.PI * 8.5) ** 2],
  ])('%d waves leave %d of the central brightness', (waves, share) => {
    const nodes = frequencyNodes(1, 40);
    const centre = brightnessOperator(nodes, [0]);
    const at = (w: number) =>
      applyOperator(
        centre,
        nodes.node.map((s) => defocusedOtf(s, w)),
      )[0] as number;
    expect(at(waves) / at(0)).toBeCloseTo(share, 5);
  });

  it('half the depth of focus is a quarter of a wave at the rim (Rayleigh; 2 λN²)', () => {
    expect(defocusWaves(depthOfFocusUm(535, 7), 535, 7)).toBeCloseTo(0.25, 12);
  });

  it('far from focus it is the disc of geometry: half its radius holds a quarter of the light', () => {
    // Δz = 8 N² λ w, so the disc Δz/N has the radius 4 w in units of λN. Diffraction rings leave a few per cent.
    const waves = 20;
    const nodes = frequencyNodes(1, 200);
    const radii = [0.25, 0.5, 0.75].map((share) => 4 * waves * share);
    const energy = applyOperator(
      encircledEnergyOperator(nodes, radii),
      nodes.node.map((s) => defocusedOtf(s, waves)),
    );
    [0.0625, 0.25, 0.5625].forEach((share, i) => {
      expect(Math.abs((energy[i] as number) / share - 1)).toBeLessThan(0.03);
    });
  });
});

describe('the bands', () => {
  it.each(['mosaic', 'separate'] as const)('shares of %s filters add up to 1', (kind) => {
    const light = bandLight(kind);
    for (const band of ['R', 'G', 'B'] as const) {
      expect(light[band].reduce((a, b) => a + b)).toBeCloseTo(1, 12);
      expect(Math.min(...light[band])).toBeGreaterThanOrEqual(0);
    }
    expect(light.blueLost).toBe(0);
  });

  it('half of the light of dyed filters lies on either side of the effective wavelengths used elsewhere, to 8 nm', () => {
    const light = bandLight('mosaic');
    for (const band of ['R', 'G', 'B'] as const) {
      let sum = 0;
      let median = Number.NaN;
      light[band].forEach((share, i) => {
        if (sum < 0.5 && sum + share >= 0.5) median = WAVELENGTHS_NM[i] as number;
        sum += share;
      });
      expect(Math.abs(median - DEFAULT_BANDS_NM[band])).toBeLessThanOrEqual(8);
    }
  });

  it('a filter takes what lies below its edge', () => {
    const cut = bandLight('mosaic', undefined, 450);
    const below = cut.B.filter((_, i) => (WAVELENGTHS_NM[i] as number) < 445);
    expect(Math.max(...below)).toBe(0);
    const whole = bandLight('mosaic').B.reduce(
      (sum, share, i) => ((WAVELENGTHS_NM[i] as number) < 450 ? sum + share : sum),
      0,
    );
    expect(Math.abs(cut.blueLost - whole)).toBeLessThan(0.02);
  });

  it('nothing is seen beyond the cut filter', () => {
    const light = bandLight('mosaic');
    WAVELENGTHS_NM.forEach((nm, i) => {
      if (nm > 395 && nm < 695) return;
      for (const band of ['R', 'G', 'B'] as const) expect(light[band][i]).toBe(0);
    });
  });

  it('a table is followed between its entries, and stars shine as black bodies', () => {
    const light = bandLight({ wavelengthNm: [500, 600], R: [0, 1], G: [1, 1], B: [1, 0] });
    const [a, b] = [WAVELENGTHS_NM.indexOf(522.5), WAVELENGTHS_NM.indexOf(577.5)];
    // Photons ∝ λ⁻⁴/(exp(hc/λkT) − 1) at 5600 K: 14387769/(522.5 × 5600) = 4.9172, 14387769/(577.5 × 5600) = 4.4489.
    const photons = (577.5 / 522.5) ** -4 * (Math.expm1(4.9172) / Math.expm1(4.4489));
    expect((light.G[b] as number) / (light.G[a] as number)).toBeCloseTo(photons, 3);
    expect((light.R[b] as number) / (light.R[a] as number)).toBeCloseTo(
      (photons * 0.775) / 0.225,
      3,
    );
    expect((light.B[b] as number) / (light.B[a] as number)).toBeCloseTo(
      (photons * 0.225) / 0.775,
      3,
    );
    expect(light.R[WAVELENGTHS_NM.indexOf(497.5)]).toBe(0);
    expect(light.R[WAVELENGTHS_NM.indexOf(602.5)]).toBe(0);
  });
});

describe('the image', () => {
  const base = {
    apertureMm: 80,
    focalRatio: 6,
    light: bandLight('mosaic'),
    pixelArcsec: null,
    rMaxArcsec: null,
  };

  it('without colour error and with hardly any air it is the Airy pattern of each wavelength', () => {
    const narrow = { wavelengthNm: [532, 543], R: [1, 1], G: [1, 1], B: [1, 1] };
    const light = bandLight(narrow);
    const image = lensImage({
      ...base,
      light,
      focusUm: () => 7,
      seeingArcsec: 0.02,
      rMaxArcsec: 20,
    });
    expect(image.bestFocusUm).toBe(7);
    // 1.029 λ/D at 537.5 nm: 1.029 × 0.5375e-6 / 0.08 rad = 1.426″.
    expect(Math.abs(image.greenFwhmArcsec / 1.426 - 1)).toBeLessThan(0.003);
    const k = WAVELENGTHS_NM.indexOf(537.5);
    const dark = (1.2197 * 537.5e-9 * 206264.806) / 0.08;
    const within = shareWithin(image, image.enclosed[k] as Float64Array, dark);
    expect(Math.abs(within - airyEncircledEnergy(1.2197))).toBeLessThan(0.005);
  });

  it('the focus is where green is brightest', () => {
    const focusUm = (nm: number): number => 0.02 * (nm - 535) ** 2;
    const image = lensImage({ ...base, focusUm, seeingArcsec: 2 });
    const low = focusUm(535);
    expect(image.bestFocusUm).toBeGreaterThan(low);
    expect(image.bestFocusUm).toBeLessThan(focusUm(585));
  });

  it('curves rise to 1 at R_max, and radius and share are inverse', () => {
    const image = lensImage({ ...base, focusUm: (nm) => nm - 535, seeingArcsec: 2 });
    const green = enclosedInBand(image, base.light, 'G');
    for (let i = 1; i < green.length; i++) {
      expect(green[i] as number).toBeGreaterThanOrEqual((green[i - 1] as number) - 1e-6);
    }
    expect(green.at(-1)).toBeCloseTo(1, 12);
    const r80 = radiusOfShare(image, green, 0.8);
    expect(shareWithin(image, green, r80)).toBeCloseTo(0.8, 12);
    expect(image.rMaxArcsec).toBeCloseTo(8 * image.greenFwhmArcsec, 12);
  });
});
