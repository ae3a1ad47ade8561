/** Whole simulated frames: what is recorded agrees with what truth.json says was drawn. */
import { describe, expect, it, vi } from 'vitest';
import { encircledAt } from '../../src/simulate/profile-truth.js';
import { parseScene, type SceneInput } from '../../src/simulate/scene.js';
import { builtInScene, SCENE_NAMES } from '../../src/simulate/scenes.js';
import { type Simulation, simulate } from '../../src/simulate/simulate.js';
import { truthHalo } from '../../src/simulate/truth.js';
import { expectClose } from '../expect-close.js';

// Rendering is quick on a free machine; a busy one gets more time.
vi.setConfig({ testTimeout: 30_000 });

type CameraInput = NonNullable<SceneInput['camera']>;
type StarInput = NonNullable<NonNullable<SceneInput['sky']>['stars']>[number];

/** A frame of a few given stars, quick to render: 160 × 120 px, no defects. */
function fewStars(stars: StarInput[], camera: CameraInput = {}, rest: Partial<SceneInput> = {}) {
  return simulate({
    name: 'few stars',
    telescope: { colour: { kind: 'scaled', factor: 0.1 } },
    ...rest,
    sky: { starsPerSquareArcmin: 0, stars, ...rest.sky },
    camera: { widthPx: 160, heightPx: 120, hotPixels: 0, cosmicRays: 0, ...camera },
    // Images of 32 px radius on a grid of 256 points.
    rendering: { sliceNm: 20, temperatureClasses: 2, radiusPx: 32, ...rest.rendering },
  });
}

const star = (xArcsec: number, yArcsec: number, magnitude = 11): StarInput => ({
  xArcsec,
  yArcsec,
  magnitude,
  temperatureK: 5600,
});

/** Sum of one plane over the frame, above a flat background. */
function lightOf({ frame }: Simulation, plane: number, background: number): number {
  const count = frame.width * frame.height;
  let sum = 0;
  for (let i = 0; i < count; i++) sum += (frame.data[plane * count + i] as number) - background;
  return sum;
}

function countOf(frame: Simulation['frame'], test: (value: number) => boolean): number {
  let count = 0;
  for (const value of frame.data) if (test(value)) count++;
  return count;
}

/** Centroid under a Gaussian weight of 2 px that moves with it: plain code of its own. */
function centroidOf(
  { frame }: Simulation,
  plane: number,
  background: number,
  x: number,
  y: number,
) {
  const { width, height, data } = frame;
  let cx = x;
  let cy = y;
  for (let iteration = 0; iteration < 30; iteration++) {
    let sum = 0;
    let sx = 0;
    let sy = 0;
    for (let row = Math.round(y) - 9; row <= Math.round(y) + 9; row++)
      for (let column = Math.round(x) - 9; column <= Math.round(x) + 9; column++) {
        const value = (data[(plane * height + row) * width + column] as number) - background;
        const weight = value * Math.exp(-((column - cx) ** 2 + (row - cy) ** 2) / 8);
        sum += weight;
        sx += weight * (column - cx);
        sy += weight * (row - cy);
      }
    cx += (2 * sx) / sum;
    cy += (2 * sy) / sum;
  }
  return [cx, cy] as const;
}

describe('star light', () => {
  // 1.94″ per px: the first star lies at the frame's centre, the others at odd fractions of a pixel.
  const bare = { backgroundMagnitude: null };
  const one = fewStars([star(0, 0, 10.5)], { layout: 'rgb', noise: false }, { sky: bare });
  it.each(['R', 'G', 'B'] as const)('the frame holds the flux of the star, %s', (band) => {
    const flux = one.truth.stars[0]?.fluxAdu[band] as number;
    const channel = one.truth.channels[band];
    if (!channel) throw new Error('no channel');
    const last = channel.radiusPx[channel.radiusPx.length - 1] as number;
    const dark = one.truth.camera.backgroundAdu[band] as number;
    const sum = lightOf(one, 'RGB'.indexOf(band), dark);
    // Light beyond the largest image is missing by design; 1e-3: the image ends 1 px beyond the curve of growth.
    expectClose(sum / flux, encircledAt(channel, last), { atol: 1e-3 });
    expect(sum / flux).toBeLessThan(1);
  });
  it.each(['R', 'G', 'B'] as const)(
    'pixels within a radius hold the share the truth says, %s',
    (band) => {
      const achromat = fewStars(
        [star(0.7, -0.4, 10.5)],
        { layout: 'rgb', noise: false },
        { sky: bare, telescope: { colour: { kind: 'achromat' } }, rendering: { radiusPx: 58 } },
      );
      const { frame, truth } = achromat;
      const channel = truth.channels[band];
      const { x, y, fluxAdu } = truth.stars[0] as Simulation['truth']['stars'][number];
      if (!channel) throw new Error('no channel');
      const plane = 'RGB'.indexOf(band);
      for (const radius of [6, 10, 15, 25, 40]) {
        let sum = 0;
        for (let row = 0; row < frame.height; row++)
          for (let column = 0; column < frame.width; column++)
            if ((column - x) ** 2 + (row - y) ** 2 < radius * radius)
              sum +=
                (frame.data[(plane * frame.height + row) * frame.width + column] as number) -
                (truth.camera.backgroundAdu[band] as number);
        // 0.005: a circle of whole pixels misses or gains up to a few at its rim.
        expectClose(sum / (fluxAdu[band] as number), encircledAt(channel, radius), { atol: 0.005 });
      }
    },
  );
  it('magnitudes: five of them are a factor of 100', () => {
    const { stars } = fewStars([star(-40, 0, 8), star(40, 0, 13)], { noise: false }).truth;
    expectClose((stars[0]?.fluxAdu.G as number) / (stars[1]?.fluxAdu.G as number), 100, {
      rtol: 1e-9,
    });
  });
  it('a star of magnitude 0 gives the photons of the zero point through aperture and band', () => {
    // 1e4 photons / s cm² nm; 80 mm: 50.265 cm²; 0.9 of them pass; 60 s. The green band integrates to 61.0 nm for a
    // 5600 K black body normalised at 550 nm (trapezoidal sum by hand in steps of 10 nm: 61).
    const { stars } = fewStars([star(0, 0, 10)], { noise: false }).truth;
    expectClose(stars[0]?.fluxElectrons.G as number, 1e4 * 50.265 * 0.9 * 60 * 61 * 1e-4, {
      rtol: 0.01,
    });
  });
  it('centroids fall where the truth says, at any sub-pixel place', () => {
    const places = [star(-82.3, -61.7), star(0.4, -55.1), star(71.9, 3.3), star(-60.2, 50.8)];
    const frame = fewStars(places, { layout: 'rgb', noise: false }, { sky: bare });
    for (const { x, y, channelX, channelY } of frame.truth.stars) {
      expect(channelX.G).toBe(x);
      expect(channelY.G).toBe(y);
      for (const band of ['R', 'G', 'B'] as const) {
        const dark = frame.truth.camera.backgroundAdu[band] as number;
        const [cx, cy] = centroidOf(frame, 'RGB'.indexOf(band), dark, x, y);
        // 0.01 px: a Gaussian sum over whole pixels of an image of 1.6 px FWHM has that much phase error.
        expectClose([cx, cy], [channelX[band] as number, channelY[band] as number], { atol: 0.01 });
      }
    }
  });
});

describe('layouts', () => {
  const sky: StarInput[] = [star(-30, 10, 8), star(52, -33, 10), star(5, 41, 12)];
  const planes = fewStars(sky, { layout: 'rgb', noise: false });
  it.each(['RGGB', 'GBRG'] as const)('a %s mosaic samples the three planes', (cfa) => {
    const mosaic = fewStars(sky, { layout: 'cfa', cfa, noise: false });
    const { width, height, data } = mosaic.frame;
    const expected = new Float32Array(width * height);
    for (let y = 0; y < height; y++)
      for (let x = 0; x < width; x++) {
        const plane = 'RGB'.indexOf(cfa[(y % 2) * 2 + (x % 2)] as string);
        expected[y * width + x] = planes.frame.data[(plane * height + y) * width + x] as number;
      }
    expect(data).toEqual(expected);
    expect(mosaic.cards.find((card) => card.keyword === 'BAYERPAT')?.value).toBe(cfa);
  });
  it('a mono frame has one channel and no halo', () => {
    const mono = fewStars(sky, { layout: 'mono' });
    expect(Object.keys(mono.truth.channels)).toEqual(['L']);
    expect(mono.truth.halo).toBeNull();
    expect(mono.frame.planes).toBe(1);
  });
});

describe('noise and defects', () => {
  it('background: mean and variance are those of photons and read-out', () => {
    const { frame, truth } = fewStars([star(9000, 0, 3), star(0, 0, 15)], {
      layout: 'mono',
      readNoiseElectrons: 3,
    });
    const { backgroundAdu, backgroundNoiseAdu } = truth.camera;
    let sum = 0;
    let squares = 0;
    let count = 0;
    for (let y = 0; y < 40; y++)
      for (let x = 0; x < 160; x++) {
        const value = (frame.data[y * 160 + x] as number) - (backgroundAdu.L as number);
        sum += value;
        squares += value * value;
        count++;
      }
    const sigma = backgroundNoiseAdu.L as number;
    // 4.5 standard errors; rounding to whole ADU adds 1/12.
    expect(Math.abs(sum / count)).toBeLessThan((4.5 * sigma) / Math.sqrt(count));
    expectClose(squares / count, sigma * sigma + 1 / 12, { rtol: 4.5 * Math.sqrt(2 / count) });
  });
  it('bright stars stand on a plateau at the converter end, and are marked', () => {
    const { frame, truth } = fewStars([star(-60, 0, 4.5), star(60, 0, 10)]);
    const level = truth.camera.clippingAdu;
    expect(level).toBe(65535);
    const clipped = countOf(frame, (value) => value === level);
    expect(clipped).toBeGreaterThan(20);
    expect(countOf(frame, (value) => value > level)).toBe(0);
    expect(truth.stars.map((entry) => entry.clipped)).toEqual([true, false]);
  });
  it('or at the full well when that is smaller', () => {
    const { frame, truth } = fewStars([star(-60, 0, 4.5), star(60, 0, 11)], {
      fullWellElectrons: 20000,
      readNoiseElectrons: 1,
      gainElectronsPerAdu: 1,
    });
    expect(truth.camera.clippingAdu).toBe(20500);
    const near = countOf(frame, (value) => Math.abs(value - 20500) < 6);
    expect(near).toBeGreaterThan(20);
    expect(countOf(frame, (value) => value >= 20507)).toBe(0);
    expect(truth.stars.map((entry) => entry.clipped)).toEqual([true, false]);
  });
  it('hot pixels and cosmic rays stand where the truth says', () => {
    const { frame, truth } = fewStars([star(0, 0, 12)], { hotPixels: 12, cosmicRays: 3 });
    expect(truth.hotPixels).toHaveLength(12);
    expect(truth.cosmicRayPixels.length).toBeGreaterThan(3);
    const { gainElectronsPerAdu } = truth.camera;
    for (const { x, y, electrons } of truth.hotPixels) {
      const value = (frame.data[y * frame.width + x] as number) - 500;
      expect(value).toBeGreaterThan((0.8 * electrons) / gainElectronsPerAdu);
    }
  });
  it('nebula, gradient and fall-off shape the background', () => {
    const flat = fewStars([star(0, 0, 16)], { layout: 'rgb', noise: false });
    const shaped = fewStars(
      [star(0, 0, 16)],
      { layout: 'rgb', noise: false },
      {
        telescope: { cornerIllumination: 0.5 },
        sky: {
          backgroundGradient: [0.4, 0],
          nebulae: [
            {
              xArcsec: 0,
              yArcsec: 60,
              sigmaArcsec: [20, 10],
              peak: { R: 2, G: 0.5, B: 0 },
            },
          ],
        },
      },
    );
    const at = (simulation: Simulation, plane: number, x: number, y: number) =>
      (simulation.frame.data[(plane * 120 + y) * 160 + x] as number) - 500;
    // 60″ above the centre at 1.94″/px is row 59.5 + 30.9: red there is 3 × the sky, green 1.5 ×, blue 1 ×.
    const dimming = 1 - 0.5 * (30.9 / 100) ** 2;
    expectClose(at(shaped, 0, 80, 90) / at(flat, 0, 80, 90), 3 * dimming, { rtol: 0.01 });
    expectClose(at(shaped, 1, 80, 90) / at(flat, 1, 80, 90), 1.5 * dimming, { rtol: 0.01 });
    // Middle of the right edge: 1 + 0.4 / 2, and 79.5 px of 100 px to the corner.
    expectClose(at(shaped, 2, 159, 59) / at(flat, 2, 159, 59), 1.2 * (1 - 0.5 * 0.795 ** 2), {
      rtol: 0.01,
    });
    expectClose(at(shaped, 2, 0, 59) / at(flat, 2, 0, 59), 0.8 * (1 - 0.5 * 0.795 ** 2), {
      rtol: 0.01,
    });
  });
  it('a galaxy is wider than a star of the same light', () => {
    const { frame, truth } = fewStars(
      [star(-70, 0, 11)],
      { layout: 'mono', noise: false },
      { sky: { galaxies: [{ xArcsec: 60, yArcsec: 0, magnitude: 11, scaleArcsec: 8 }] } },
    );
    const peakNear = (x: number) => {
      let peak = 0;
      for (let y = 50; y < 70; y++)
        for (let column = Math.round(x) - 5; column <= x + 5; column++)
          peak = Math.max(peak, frame.data[y * 160 + column] as number);
      return peak - (truth.camera.backgroundAdu.L as number);
    };
    expect(truth.galaxies).toHaveLength(1);
    expectClose(truth.galaxies[0]?.magnitude as number, 11, { atol: 1e-9 });
    expect(peakNear(truth.galaxies[0]?.x as number)).toBeLessThan(
      peakNear(truth.stars[0]?.x as number) / 8,
    );
  });
});

describe('frames without a usable star', () => {
  it.each([
    ['no stars at all', []],
    ['only clipped stars', [star(-40, 0, 4), star(50, 20, 3)]],
  ] as [string, StarInput[]][])('%s: still a frame and a truth', (_, stars) => {
    const { frame, truth } = fewStars(stars);
    expect(frame.data).toHaveLength(160 * 120);
    expect(truth.stars).toHaveLength(stars.length);
    expect(truth.stars.every((entry) => entry.clipped)).toBe(true);
    expect(truth.channels.G?.fwhmPx).toBeGreaterThan(1);
    expect(truth.halo?.blueMinusRedPercent).toBeGreaterThan(0);
  });
});

describe('seeds', () => {
  it('the same scene gives the same numbers, another seed other noise on the same sky', () => {
    const stars = [star(3, 4, 9), star(-50, 20, 12)];
    const camera = { hotPixels: 3, cosmicRays: 2 };
    const first = fewStars(stars, camera);
    const again = fewStars(stars, camera);
    const other = fewStars(stars, camera, { seed: 2 });
    expect(again).toEqual(first);
    expect(other.frame.data).not.toEqual(first.frame.data);
    expect(other.truth.stars[0]?.x).toBe(first.truth.stars[0]?.x);
  });
});

describe('built-in scenes', () => {
  it('are invented, and say so', () => {
    for (const name of SCENE_NAMES) {
      const scene = builtInScene(name);
      expect(scene.description).toMatch(/^Invented/);
      expect(scene.telescope.name).toMatch(/^invented/);
      expect(scene.camera.name).toMatch(/^invented/);
    }
    expect(() => builtInScene('no such')).toThrow(/achromat/);
  });
  const small = Object.fromEntries(
    ['small-achromat', 'small-ed', 'small-control'].map((name) => [
      name,
      simulate(builtInScene(name)),
    ]),
  ) as Record<'small-achromat' | 'small-ed' | 'small-control', Simulation>;

  it('show the same stars through every lens', () => {
    const [first, second] = [small['small-achromat'].truth.stars, small['small-ed'].truth.stars];
    expect(second.length).toBe(first.length);
    expectClose(
      second.map((entry) => entry.x),
      first.map((entry) => entry.x),
      // The achromat's centre of light is measured on another grid.
      { atol: 1e-3 },
    );
    expect(second.map((entry) => entry.fluxAdu)).toEqual(first.map((entry) => entry.fluxAdu));
  });
  it('order by colour error: achromat > ED > control', () => {
    const excess = (name: keyof typeof small) =>
      small[name].truth.halo?.blueMinusRedPercent as number;
    expect(excess('small-achromat')).toBeGreaterThan(20);
    expect(excess('small-ed')).toBeGreaterThan(5);
    expect(excess('small-ed')).toBeLessThan(15);
    expect(Math.abs(excess('small-control'))).toBeLessThan(2);
  });
  it('a lens without errors is its own perfect twin', () => {
    const { truth } = small['small-control'];
    for (const rMaxPx of [10, 16, 30]) {
      const own = truthHalo(truth, rMaxPx);
      const perfect = truthHalo(truth.perfectLens, rMaxPx);
      // 1e-3 point: mean of star images against image of the mean spectrum, in 32-bit floats.
      expectClose(own?.blueMinusRedPercent as number, perfect?.blueMinusRedPercent as number, {
        atol: 1e-3,
      });
    }
    // Seen against each other, the perfect twins of all lenses on one sky agree.
    expectClose(
      small['small-achromat'].truth.perfectLens.halo?.blueMinusRedPercent as number,
      truth.perfectLens.halo?.blueMinusRedPercent as number,
      { atol: 0.02 },
    );
  });
});

describe('field', () => {
  const tilted: Partial<SceneInput> = {
    telescope: {
      colour: { kind: 'none' },
      sensorTiltDeg: [20, 0],
      lateralColourAtCornerUm: 8,
    },
    rendering: { sliceNm: 40, fieldNodes: [3, 3] },
    sky: { backgroundMagnitude: null },
  };
  const places = [star(-120, 0, 9), star(0, 0, 9), star(120, 70, 9)];
  const frame = fewStars(places, { layout: 'rgb', noise: false }, tilted);
  it('tilt blurs both sides', () => {
    const peak = (index: number) => {
      const { x, y } = frame.truth.stars[index] as { x: number; y: number };
      let sum = 0;
      for (let dy = -1; dy <= 1; dy++)
        for (let dx = -1; dx <= 1; dx++)
          sum += frame.frame.data[(120 + Math.round(y) + dy) * 160 + Math.round(x) + dx] as number;
      return sum - 9 * (frame.truth.camera.backgroundAdu.G as number);
    };
    expect(peak(0)).toBeLessThan(0.9 * peak(1));
    expect(peak(2)).toBeLessThan(0.9 * peak(1));
  });
  it('lateral colour puts blue outside and red inside, as the truth says', () => {
    for (const { x, y, channelX, channelY } of frame.truth.stars) {
      for (const band of ['R', 'G', 'B'] as const) {
        const dark = frame.truth.camera.backgroundAdu[band] as number;
        const measured = centroidOf(frame, 'RGB'.indexOf(band), dark, x, y);
        // 0.03 px: a blend of two unequal images leans a little, and the weighted centre is not the first moment.
        expectClose(measured, [channelX[band] as number, channelY[band] as number], { atol: 0.03 });
      }
    }
    const outer = frame.truth.stars[2];
    const separation = (outer?.channelX.B as number) - (outer?.channelX.R as number);
    expect(separation).toBeGreaterThan(0.5);
  });
  it('coma makes images lean, the same everywhere when an element is decentred', () => {
    const { truth } = fewStars(
      [star(0, 0, 9)],
      { layout: 'mono', noise: false },
      {
        telescope: { colour: { kind: 'none' }, decentreComaNm: [200, 0] },
        rendering: { sliceNm: 40 },
      },
    );
    const { L } = truth.channels;
    expect(
      Math.abs((L?.firstMomentPx[0] as number) - (L?.centroidPx[0] as number)),
    ).toBeGreaterThan(0.05);
    expect(Math.abs(L?.firstMomentPx[1] as number)).toBeLessThan(0.01);
  });
  it('drift draws all channels out alike, dispersion only along the zenith', () => {
    const drift = fewStars(
      [star(0, 0, 9)],
      { noise: false },
      { guiding: { driftArcsec: [0, 3] }, telescope: { colour: { kind: 'none' } } },
    ).truth.channels;
    for (const band of ['R', 'G', 'B'] as const) {
      expectClose(drift[band]?.elongationAngleDeg as number, 90, { atol: 1 });
      expect(drift[band]?.ellipticity).toBeGreaterThan(0.08);
    }
    const { stars, channels } = fewStars(
      [star(0, 0, 9)],
      { noise: false },
      {
        atmosphere: { zenithDistanceDeg: 60, zenithDirectionDeg: 0 },
        telescope: { colour: { kind: 'none' } },
      },
    ).truth;
    expect((stars[0]?.channelX.B as number) - (stars[0]?.channelX.R as number)).toBeGreaterThan(
      0.3,
    );
    expectClose(stars[0]?.channelY.B as number, stars[0]?.channelY.R as number, { atol: 1e-3 });
    expectClose(channels.B?.elongationAngleDeg as number, 0, { atol: 2 });
  });
});

describe('sky', () => {
  it('counts grow by the slope asked for, and no star is too close to a brighter one', () => {
    const { truth } = simulate({
      name: 'crowd',
      sky: {
        extentArcmin: [6, 5],
        starsPerSquareArcmin: 60,
        countSlope: 0.3,
        brightestMagnitude: 12,
        faintestMagnitude: 18,
        minimumSeparationArcsec: 4,
      },
      camera: { widthPx: 160, heightPx: 120, noise: false },
      rendering: { sliceNm: 40, temperatureClasses: 1, radiusPx: 32 },
    });
    const { stars } = truth;
    let nearest = Number.POSITIVE_INFINITY;
    stars.forEach((a, i) => {
      for (const b of stars.slice(0, i))
        nearest = Math.min(nearest, (a.x - b.x) ** 2 + (a.y - b.y) ** 2);
    });
    expect(Math.sqrt(nearest) * truth.scaleArcsecPerPx).toBeGreaterThan(3.99);
    const fainter = (limit: number) => stars.filter((entry) => entry.magnitude < limit).length;
    // Ten times more stars for 1/0.3 = 3.33 magnitudes; 4 σ of the smaller count, and some faint ones were left out.
    const ratio = fainter(17.33) / fainter(14);
    expect(ratio).toBeGreaterThan(10 * (1 - 4 / Math.sqrt(fainter(14))) * 0.8);
    expect(ratio).toBeLessThan(10 * (1 + 4 / Math.sqrt(fainter(14))));
  });
  it('a scene that is wrong is refused by the name of the entry', () => {
    expect(() => parseScene({ name: 'x', telescope: { apertureMm: -1 } })).toThrow(
      /telescope\.apertureMm/,
    );
    expect(() => parseScene({ name: 'x', colour: 1 })).toThrow(/colour/);
    expect(() => parseScene({})).toThrow(/name/);
  });
});
