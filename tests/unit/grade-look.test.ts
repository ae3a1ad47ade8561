/** What a night keeps of one frame: quick numbers against planted truth, trails, header facts. */
import { describe, expect, test } from 'vitest';
import { lookAtFrame, noiseEquivalentArea } from '../../src/grade/look.js';
import { createRandom } from '../../src/stats/random.js';
import { type PlantedSample, type PlantedStar, plantedFrame } from '../helpers/planted-frame.js';

const WIDTH = 700;
const HEIGHT = 500;

function stars(seed: number, count = 110): PlantedStar[] {
  const random = createRandom(seed);
  return Array.from({ length: count }, () => ({
    x: 10 + random() * (WIDTH - 20),
    y: 10 + random() * (HEIGHT - 20),
    flux: 3000 / (0.03 + random()),
    fwhmPx: 2.6,
  }));
}

/** A line of light with a Gaussian section of 2.6 px, `level` electrons at its middle. */
function trail(from: [number, number], to: [number, number], level: number): PlantedSample[] {
  const samples: PlantedSample[] = [];
  const length = Math.hypot(to[0] - from[0], to[1] - from[1]);
  const [ux, uy] = [(to[0] - from[0]) / length, (to[1] - from[1]) / length];
  for (let y = 0; y < HEIGHT; y++) {
    for (let x = 0; x < WIDTH; x++) {
      const along = (x - from[0]) * ux + (y - from[1]) * uy;
      const across = (x - from[0]) * uy - (y - from[1]) * ux;
      if (along < 0 || along > length || Math.abs(across) > 5) continue;
      const electrons = level * Math.exp((-across * across) / (2 * (2.6 / 2.3548) ** 2));
      samples.push({ x, y, electrons });
    }
  }
  return samples;
}

const look = ({ frame }: ReturnType<typeof plantedFrame>, halo = false) =>
  lookAtFrame(frame, { seed: 1, halo });

describe('quick numbers', () => {
  const frame = plantedFrame({ width: WIDTH, height: HEIGHT, stars: stars(3) });
  const found = look(frame);

  test('size, shape, sky and noise', () => {
    // Planted before the pixel: 2.6 px; the pixel adds about 1/12 px² of variance: √(2.6² + 5.545/12) = 2.69.
    expect(found.fwhmPx?.value).toBeGreaterThan(2.6);
    expect(found.fwhmPx?.value).toBeLessThan(2.78);
    expect(found.ellipticity?.value).toBeLessThan(0.02);
    expect(found.starsUsed).toBeGreaterThan(50);
    // Poisson noise of 100 electrons and 2 electrons of read noise, or nearly.
    expect(found.noiseAdu).toBeGreaterThan(9);
    expect(found.noiseAdu).toBeLessThan(11.5);
    expect(found.trails).toEqual([]);
  });

  test('stars for matching come brightest first, at their places', () => {
    const { x, y, fluxAdu } = found.stars;
    expect(x.length).toBe(fluxAdu.length);
    const known = fluxAdu.filter((flux): flux is number => flux !== null);
    expect([...known].sort((a, b) => b - a)).toEqual(known);
    const planted = stars(3).sort((a, b) => b.flux - a.flux)[0] as PlantedStar;
    expect(Math.abs((x[0] as number) - planted.x)).toBeLessThan(0.2);
    expect(Math.abs((y[0] as number) - planted.y)).toBeLessThan(0.2);
  });

  test('the same frame gives the same record', () => {
    expect(look(frame)).toEqual(found);
  });
});

describe('trails', () => {
  test.each([
    ['across the whole frame', [0, 60], [699, 431], 60],
    ['steep and faint', [300, 0], [345, 499], 45],
    ['ending inside', [80, 400], [420, 210], 80],
  ] as const)('%s', (_, from, to, level) => {
    const samples = trail([...from], [...to], level);
    const { trails } = look(
      plantedFrame({ width: WIDTH, height: HEIGHT, stars: stars(5), samples }),
    );
    expect(trails).toHaveLength(1);
    const { from: a, to: b, lengthPx } = trails[0] as (typeof trails)[number];
    const true_ = Math.hypot(to[0] - from[0], to[1] - from[1]);
    expect(lengthPx).toBeGreaterThan(0.85 * true_);
    expect(lengthPx).toBeLessThan(1.1 * true_);
    // Both ends lie on the planted line.
    for (const [x, y] of [a, b]) {
      const across =
        Math.abs((x - from[0]) * (to[1] - from[1]) - (y - from[1]) * (to[0] - from[0])) / true_;
      expect(across).toBeLessThan(6);
    }
  });

  test('two at once', () => {
    const samples = [...trail([0, 60], [699, 431], 60), ...trail([690, 20], [20, 300], 60)];
    const { trails } = look(
      plantedFrame({ width: WIDTH, height: HEIGHT, stars: stars(6), samples }),
    );
    expect(trails).toHaveLength(2);
  });

  test.each([11, 12, 13, 14, 15, 16])('none in a field of stars alone (seed %d)', (seed) => {
    const count = seed % 2 ? 40 : 400;
    const frame = plantedFrame({ width: WIDTH, height: HEIGHT, stars: stars(seed, count) });
    expect(look(frame).trails).toEqual([]);
  });
});

describe('header facts', () => {
  const base = { width: 64, height: 64, stars: [] };
  test.each([
    ['Light Frame', 'light'],
    ['DARK', 'dark'],
    ['Master Bias', 'bias'],
    ['flat field', 'flat'],
    [null, 'light'],
  ] as const)('%s is a %s', (imageType, expected) => {
    expect(look(plantedFrame({ ...base, metadata: { imageType } })).imageType).toBe(expected);
  });

  test.each([
    ['2026-11-25T21:14:03.5', Date.UTC(2026, 10, 25, 21, 14, 3, 500)],
    ['2026-11-25T21:14:03Z', Date.UTC(2026, 10, 25, 21, 14, 3)],
    ['2026-11-25', Date.UTC(2026, 10, 25)],
    ['yesterday', null],
    [null, null],
  ] as const)('%s starts at %s', (dateObs, expected) => {
    expect(look(plantedFrame({ ...base, metadata: { dateObs } })).startMs).toBe(expected);
  });

  test('a frame without stars is a record all the same', () => {
    const found = look(plantedFrame(base));
    expect(found).toMatchObject({ starsUsed: 0, fwhmPx: null, starAreaPx: null, trails: [] });
  });
});

describe('noise-equivalent area', () => {
  test('of a Gaussian is 4πσ²; of a Moffat it equals the integral', () => {
    const sigma = 1.3;
    expect(
      noiseEquivalentArea(2 * Math.sqrt(2 * Math.LN2) * sigma, Number.POSITIVE_INFINITY),
    ).toBeCloseTo(4 * Math.PI * sigma * sigma, 10);
    const beta = 2.5;
    const alpha = 3 / (2 * Math.sqrt(2 ** (1 / beta) - 1));
    const p = (r: number): number =>
      ((beta - 1) / (Math.PI * alpha ** 2)) * (1 + (r / alpha) ** 2) ** -beta;
    let sum = 0;
    const step = 0.001;
    for (let r = step / 2; r < 60; r += step) sum += 2 * Math.PI * r * p(r) ** 2 * step;
    expect(noiseEquivalentArea(3, beta)).toBeCloseTo(1 / sum, 3);
  });
});
