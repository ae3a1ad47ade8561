/** The star fit of the field map against moments by photutils and scikit-image (fixtures/reference/field-shapes.json, field.py). */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { fwhmOfSize } from '../../src/field/response.js';
import {
  createSkewScratch,
  fitSkewStar,
  SG1,
  SG2,
  SK1,
  SK2,
  SLNALPHA,
} from '../../src/field/skew-fit.js';
import { createSampleList } from '../../src/measure/samples.js';
import { expectClose } from '../expect-close.js';
import { fixture } from '../helpers/data-files.js';

interface Reference {
  side: number;
  elongated: {
    major: number;
    minor: number;
    degrees: number;
    x: number;
    y: number;
    photutilsEllipticity: number;
    photutilsAngleDeg: number;
  }[];
  skewed: {
    shift: number;
    degrees: number;
    x: number;
    y: number;
    skimageThird: [number, number];
    skimageAngleDeg: number;
  }[];
}

const reference: Reference = JSON.parse(
  readFileSync(fixture('reference/field-shapes.json'), 'utf8'),
);

/** Elliptical Gaussian over each pixel by a 5 × 5 mean: independent of the fit's own integration. */
function gaussian(dx: number, dy: number, major: number, minor: number, degrees: number): number {
  const t = (degrees * Math.PI) / 180;
  let sum = 0;
  for (let j = -2; j <= 2; j++)
    for (let i = -2; i <= 2; i++) {
      const x = dx + i / 5;
      const y = dy + j / 5;
      const u = x * Math.cos(t) + y * Math.sin(t);
      const v = -x * Math.sin(t) + y * Math.cos(t);
      sum += Math.exp(-0.5 * ((u / major) ** 2 + (v / minor) ** 2));
    }
  return sum / 25 / (2 * Math.PI * major * minor);
}

/** Fits an image given as a function of the place; native samples of a mosaic's green sites when `mosaic`. */
function fit(image: (x: number, y: number) => number, mosaic: boolean): Float64Array {
  const radius = 9;
  const samples = createSampleList((2 * radius + 1) ** 2);
  let peak = 0;
  for (let y = -radius; y <= radius; y++)
    for (let x = -radius; x <= radius; x++) {
      if (x * x + y * y > radius * radius || (mosaic && (x + y) % 2 !== 0)) continue;
      samples.dx[samples.n] = x;
      samples.dy[samples.n] = y;
      samples.value[samples.n] = 1e5 * image(x, y);
      peak = Math.max(peak, samples.value[samples.n]);
      samples.n++;
    }
  const p = Float64Array.of(0, 0, 1e5, 0, Math.log(3), 0, 0, 0, 0);
  const settings = {
    skyVariance: Float64Array.of(100),
    noisePerSignal: 1,
    modelSigma: 0.02 * peak,
    integrateWithinPx: 20,
    skew: true,
  };
  fitSkewStar(samples, p, settings, createSkewScratch(samples.n), new Float64Array(9));
  return p;
}

describe.each([
  ['every sample', false],
  ['green sites of a mosaic', true],
])('%s', (_, mosaic) => {
  it.each(reference.elongated)('ellipticity of photutils: $major × $minor at $degrees°', (star) => {
    const p = fit(
      (x, y) => gaussian(x - 0.3, y + 0.2, star.major, star.minor, star.degrees),
      mosaic,
    );
    const g = Math.hypot(p[SG1], p[SG2]);
    const e = (1 - Math.sqrt(1 - g * g)) / g;
    // The product asks for 0.01; a Moffat on a noise-free Gaussian keeps its axes' ratio far better.
    expectClose(e, star.photutilsEllipticity, { atol: 0.002 });
    const angle = ((Math.atan2(p[SG2], p[SG1]) * 90) / Math.PI + 180) % 180;
    const off = ((angle - star.photutilsAngleDeg + 270) % 180) - 90;
    // A nearly round star (e = 0.017) has the least certain angle.
    expectClose(off, 0, { atol: 1.5 });
  });

  it.each(reference.skewed)(
    'direction of scikit-image’s third moments: $shift px at $degrees°',
    (star) => {
      const t = (star.degrees * Math.PI) / 180;
      const p = fit(
        (x, y) =>
          0.7 * gaussian(x - 0.2, y - 0.4, 1.7, 1.7, 0) +
          0.3 *
            gaussian(
              x - 0.2 - star.shift * Math.cos(t),
              y - 0.4 - star.shift * Math.sin(t),
              3,
              3,
              0,
            ),
        mosaic,
      );
      const angle = (Math.atan2(p[SK2], p[SK1]) * 180) / Math.PI;
      const off = ((angle - star.skimageAngleDeg + 540 + 360) % 360) - 180;
      expectClose(off, 0, { atol: 2 });
    },
  );

  it('skew grows with scikit-image’s third moment', () => {
    const rows = reference.skewed.map((star) => {
      const t = (star.degrees * Math.PI) / 180;
      const p = fit(
        (x, y) =>
          0.7 * gaussian(x - 0.2, y - 0.4, 1.7, 1.7, 0) +
          0.3 *
            gaussian(
              x - 0.2 - star.shift * Math.cos(t),
              y - 0.4 - star.shift * Math.sin(t),
              3,
              3,
              0,
            ),
        mosaic,
      );
      return { third: Math.hypot(...star.skimageThird), skew: Math.hypot(p[SK1], p[SK2]) };
    });
    rows.sort((a, b) => a.third - b.third);
    // Shifts 0.4, 0.8, 0.8, 1.6: third moment and skew are both odd in the shift, so nearly linear in each other.
    const [small, middle, , large] = rows;
    expectClose(middle.skew / small.skew, middle.third / small.third, { rtol: 0.1 });
    expect(large.skew).toBeGreaterThan(1.5 * middle.skew);
    expect(large.skew).toBeLessThan(2.2 * middle.skew);
  });
});

it('the size of a Gaussian star gives back its width', () => {
  const p = fit((x, y) => gaussian(x, y, 2.2, 2.2, 0), false);
  // FWHM = 2.3548 σ. A Moffat of exponent 4 on a Gaussian reads some per cent low, the same for every star of a frame.
  expectClose(fwhmOfSize(0.5 * Math.exp(2 * p[SLNALPHA])), 2.3548 * 2.2, { rtol: 0.08 });
});
