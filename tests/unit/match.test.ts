/** Matching of star lists: invented skies with known pairs, and lists that must be refused. */
import { describe, expect, test } from 'vitest';
import { ParameterError } from '../../src/errors.js';
import { type Match, type MatchOptions, matchStars, type NoMatch } from '../../src/match/match.js';
import { PointIndex } from '../../src/match/neighbours.js';
import {
  lnHitsBound,
  lnTailBound,
  lnTransformsTried,
  orderChance,
} from '../../src/match/significance.js';
import type { StarList } from '../../src/match/star-list.js';
import {
  applyInverse,
  applyTransform,
  describeTransform,
  fitTransform,
} from '../../src/match/transform.js';
import { createRandom } from '../../src/stats/random.js';
import { expectClose } from '../expect-close.js';
import { randomPair, type StarPair, starPair, type View } from '../helpers/star-lists.js';

const PLAIN: View = {
  width: 2000,
  height: 1500,
  scale: 1,
  rotationDeg: 0,
  mirrored: false,
  centreX: 0,
  centreY: 0,
  stars: 300,
  spurious: 0.1,
  sigmaPx: 0.1,
  distortionPx: 0,
  scatterMag: 0.2,
  saturated: 0.02,
  lost: 0.02,
};

function matched(a: StarList, b: StarList, options?: MatchOptions): Match {
  const result = matchStars(a, b, options);
  if (!result.found) throw new Error(`${result.reason}: ${result.explanation}`);
  return result;
}

function refused(a: StarList, b: StarList, options?: MatchOptions): NoMatch {
  const result = matchStars(a, b, options);
  if (result.found) throw new Error(`matched ${result.matched} of ${result.expected}`);
  return result;
}

/** Pairs of a match that are true. */
function truePairs({ partner }: StarPair, match: Match): number {
  return match.indexA.reduce((sum, i, k) => sum + (partner[i] === match.indexB[k] ? 1 : 0), 0);
}

function listOf(points: readonly [number, number][], width = 1000, height = 1000): StarList {
  return {
    x: Float64Array.from(points, (p) => p[0]),
    y: Float64Array.from(points, (p) => p[1]),
    width,
    height,
  };
}

function scattered(seed: number, n: number): StarList {
  const random = createRandom(seed);
  const list = listOf(Array.from({ length: n }, () => [1000 * random(), 1000 * random()]));
  return { ...list, brightness: Float64Array.from({ length: n }, () => random()) };
}

describe('a match', () => {
  test.each([
    ['turned and enlarged', { scale: 2.5, rotationDeg: 100 }],
    ['reduced sixfold', { scale: 1 / 6, rotationDeg: -30, width: 400, height: 300 }],
    ['mirrored', { mirrored: true, rotationDeg: 179 }],
    ['a third of the sky in common', { centreX: 1300, rotationDeg: 12 }],
    ['much shallower', { stars: 40, centreX: 100 }],
  ] as const)('%s', (_, change) => {
    const pair = starPair(1, PLAIN, { ...PLAIN, ...change });
    const match = matched(pair.a, pair.b);
    const { scale = 1, rotationDeg = 0, mirrored = false } = change as Partial<View>;
    expect(match.description.mirrored).toBe(mirrored);
    // Dozens of stars, each to 0.1 px over 1000 px: 1e-4; three times that.
    expectClose(match.description.scale, scale, { rtol: 5e-4 });
    expectClose(match.description.rotationDeg, rotationDeg, { atol: 0.03 });
    expect(truePairs(pair, match)).toBeGreaterThanOrEqual(0.98 * match.matched);
    expect(match.matched).toBeGreaterThanOrEqual(0.95 * pair.common);
    expect(match.log10FalseProbability).toBeLessThan(-8);
    // Errors of 0.1 px along each axis in both frames.
    const expected = 0.1 * Math.sqrt(2) * Math.sqrt(1 + scale * scale);
    expectClose(match.residualRmsPx, expected, { rtol: 0.25 });
  });

  test('distortion is followed by a polynomial when enough stars show it', () => {
    const pair = starPair(2, PLAIN, { ...PLAIN, distortionPx: 6, rotationDeg: 20 });
    const match = matched(pair.a, pair.b);
    expect(match.transform.kind).toBe('cubic');
    expectClose(match.residualRmsPx, 0.2, { rtol: 0.25 });
    expect(match.matched).toBeGreaterThanOrEqual(0.95 * pair.common);
  });

  test('no distortion: a similarity is enough', () => {
    expect(matched(...both(starPair(3, PLAIN, { ...PLAIN, rotationDeg: 50 }))).transform.kind).toBe(
      'similarity',
    );
  });

  test('counts: matched, expected, overlap', () => {
    const quiet = { ...PLAIN, spurious: 0, lost: 0, saturated: 0, scatterMag: 0 };
    const pair = starPair(4, quiet, { ...quiet, centreX: 1000 });
    const match = matched(pair.a, pair.b);
    expectClose(match.overlapFraction, 0.5, { atol: 0.05 });
    expect(match.expected).toBeLessThanOrEqual(Math.min(match.starsOfAOnB, match.starsOfBOnA));
    expect(match.matched).toBeGreaterThan(0.8 * match.expected);
    expect(new Set(match.indexA).size).toBe(match.matched);
    expect(new Set(match.indexB).size).toBe(match.matched);
  });

  test('clustered stars', () => {
    const gather = (random: () => number): [number, number] => {
      const r = 0.15 * Math.sqrt(-Math.log(1 - random()));
      const angle = 2 * Math.PI * random();
      return random() < 0.6
        ? [0.5 + r * Math.cos(angle), 0.45 + r * Math.sin(angle)]
        : [random(), random()];
    };
    const pair = starPair(5, PLAIN, { ...PLAIN, scale: 0.7, rotationDeg: 77 }, gather);
    const match = matched(pair.a, pair.b);
    expectClose(match.description.scale, 0.7, { rtol: 1e-3 });
    expect(truePairs(pair, match)).toBeGreaterThanOrEqual(0.95 * match.matched);
  });

  test('the same list twice: every star is its own partner', () => {
    const { a } = starPair(6, PLAIN, PLAIN);
    const match = matched(a, a);
    expect(match.matched).toBe(a.x.length);
    expect(match.indexA).toEqual(match.indexB);
    expectClose(match.description.scale, 1, { rtol: 1e-9 });
    expect(match.residualRmsPx).toBeLessThan(1e-6);
  });

  test('entries twice in a list count once; places that are no numbers not at all', () => {
    const { a, b } = starPair(7, PLAIN, { ...PLAIN, rotationDeg: 33 });
    const once = matched(a, b);
    const twice = (v: Float64Array): Float64Array => Float64Array.of(...v, ...v, Number.NaN);
    const doubled: StarList = {
      ...a,
      x: twice(a.x),
      y: twice(a.y),
      brightness: twice(a.brightness as Float64Array),
    };
    const match = matched(doubled, b);
    expect(match.matched).toBe(once.matched);
    expect(new Set([...match.indexA].map((i) => i % a.x.length)).size).toBe(match.matched);
    expect(match.expected).toBe(once.expected);
  });

  test.each(['left out', 'all the same', 'all unknown'])('brightness %s', (how) => {
    const { a, b } = starPair(8, PLAIN, { ...PLAIN, rotationDeg: 200, scale: 1.3 });
    const dim = (list: StarList): StarList => {
      const { brightness, ...rest } = list;
      if (how === 'left out') return rest;
      const value = how === 'all the same' ? 5 : Number.NaN;
      return { ...rest, brightness: (brightness as Float64Array).map(() => value) };
    };
    expectClose(matched(dim(a), dim(b)).description.scale, 1.3, { rtol: 1e-3 });
  });

  test('the same input gives the same answer', () => {
    const { a, b } = randomPair(11);
    expect(matchStars(a, b)).toEqual(matchStars(a, b));
  });

  test('exchanged frames give the inverse', () => {
    const { a, b } = starPair(9, PLAIN, { ...PLAIN, scale: 1.7, rotationDeg: -65, mirrored: true });
    const there = matched(a, b);
    const back = matched(b, a);
    const point = applyTransform(back.transform, ...xy(applyTransform(there.transform, 700, 400)));
    expectClose(point, [700, 400], { atol: 0.1 });
  });
});

describe('few stars in common', () => {
  const SHALLOW = { ...PLAIN, width: 1200, height: 900, stars: 24, scatterMag: 0.3, sigmaPx: 0.3 };
  const DEEP = { ...PLAIN, width: 4000, height: 3000, stars: 3000, scatterMag: 0.3 };

  test.each([50, 51, 52, 53, 54, 55])('a shallow list against a deep one, sky %i', (seed) => {
    // Some two dozen stars of a small frame; the deep frame is fifteen times as large and holds a hundred times as many.
    const pair = starPair(seed, SHALLOW, { ...DEEP, rotationDeg: 111, scale: 0.9, mirrored: true });
    expect(pair.common).toBeLessThan(25);
    const match = matched(pair.a, pair.b);
    expectClose(match.description.scale, 0.9, { rtol: 3e-3 });
    expect(match.description.mirrored).toBe(true);
    expect(truePairs(pair, match)).toBeGreaterThanOrEqual(0.8 * match.matched);
  });

  // Pairs that earlier forms of the search refused: stars of one list scattered over a far deeper one, or clipped.
  test.each([26, 120, 198, 232])('ten to fifteen stars in common, hard pair %i', (number) => {
    const pair = randomPair(1_010_000_000 + number);
    expect(pair.common).toBeLessThanOrEqual(15);
    const match = matched(pair.a, pair.b);
    expect(truePairs(pair, match)).toBeGreaterThanOrEqual(0.8 * match.matched);
    expect(match.log10FalseProbability).toBeLessThan(-10);
  });
});

describe('hints', () => {
  test('nearly aligned: three stars are enough when the shift is known to be small', () => {
    const random = createRandom(60);
    const stars = Array.from({ length: 3 }, (): [number, number] => [
      1000 * random(),
      1000 * random(),
    ]);
    const moved = stars.map(([x, y]): [number, number] => [x + 3.1, y - 2.2]);
    const match = matched(listOf(stars), listOf(moved), { nearlyAligned: true, maxShiftPx: 10 });
    expect(match).toMatchObject({ matched: 3, aligned: true });
    expectClose([match.description.shiftX, match.description.shiftY], [3.1, -2.2], { atol: 1e-6 });
    // Two in a small frame are not: 2 stars on 200 × 200 px, 3.14 · 0.3² px² each, four couples to choose: chance 6e-5.
    const two = (points: readonly [number, number][]): StarList => listOf(points, 200, 200);
    const near: [number, number][] = [
      [20, 30],
      [150, 90],
    ];
    refused(two(near), two(near), { nearlyAligned: true });
  });

  test('nearly aligned, unrelated handfuls: no match, and chance no more often than stated', () => {
    const random = createRandom(61);
    const handful = (): StarList => {
      const n = 2 + Math.floor(7 * random());
      const list = listOf(Array.from({ length: n }, () => [400 * random(), 300 * random()]));
      return { ...list, width: 400, height: 300, brightness: list.x.map(() => random()) };
    };
    const pairs = 500;
    let accepted = 0;
    let withinTenth = 0;
    for (let i = 0; i < pairs; i++) {
      const options = { nearlyAligned: true, maxShiftPx: [5, 20, 100, 200][i % 4] };
      const result = matchStars(handful(), handful(), options);
      if (result.found) accepted++;
      else if ((result.best?.log10FalseProbability ?? 0) <= -1) withinTenth++;
    }
    expect(accepted).toBe(0);
    // Stated: at most a tenth of them. Three σ of a binomial above that would disprove the bound.
    expect(withinTenth).toBeLessThanOrEqual(0.1 * pairs + 3 * Math.sqrt(0.1 * 0.9 * pairs));
  });

  test('nearly aligned: five stars are enough', () => {
    const pair = starPair(
      20,
      { ...PLAIN, stars: 5, spurious: 0, lost: 0, saturated: 0, scatterMag: 0 },
      { ...PLAIN, stars: 5, spurious: 0, lost: 0, saturated: 0, scatterMag: 0, centreX: 8 },
    );
    const match = matched(pair.a, pair.b, { nearlyAligned: true, maxShiftPx: 20 });
    expect(match.aligned).toBe(true);
    expectClose([match.description.shiftX, match.description.shiftY], [-8, 0], { atol: 0.3 });
  });

  test('nearly aligned, but turned by half a degree and shifted', () => {
    const pair = starPair(21, PLAIN, { ...PLAIN, rotationDeg: 0.5, centreX: 30 });
    const match = matched(pair.a, pair.b, { nearlyAligned: true, maxShiftPx: 60 });
    expectClose(match.description.rotationDeg, 0.5, { atol: 0.02 });
    expect(match.matched).toBeGreaterThanOrEqual(0.95 * pair.common);
  });

  test('a wrong hint is no harm: the full search follows', () => {
    const pair = starPair(22, PLAIN, { ...PLAIN, rotationDeg: 120, scale: 2 });
    const match = matched(pair.a, pair.b, { nearlyAligned: true, maxShiftPx: 20 });
    expect(match.aligned).toBe(false);
    expectClose(match.description.scale, 2, { rtol: 1e-3 });
  });

  test('a parity or scale that is excluded is not found', () => {
    const { a, b } = starPair(23, PLAIN, { ...PLAIN, mirrored: true, scale: 2 });
    expect(matched(a, b, { mirrored: true, minScale: 1.8, maxScale: 2.2 }).found).toBe(true);
    expect(refused(a, b, { mirrored: false }).found).toBe(false);
    expect(refused(a, b, { maxScale: 1.5 }).found).toBe(false);
  });
});

describe('no match', () => {
  test.each([0, 1, 2, 3])('%i stars', (n) => {
    expect(refused(scattered(1, n), scattered(2, 50)).reason).toBe('too-few-stars');
    expect(refused(scattered(2, 50), scattered(1, n)).reason).toBe('too-few-stars');
  });

  test('3 to 19 stars of different fields', () => {
    for (let n = 3; n <= 19; n++) refused(scattered(n, n), scattered(100 + n, n));
  });

  test('4 to 19 stars of one field are found, or refused as few', () => {
    let found = 0;
    for (let n = 4; n <= 19; n++) {
      const list = scattered(n, n);
      const result = matchStars(list, list);
      if (result.found) {
        found++;
        expect(result.matched).toBe(n);
        expectClose(result.description.scale, 1, { rtol: 1e-6 });
        expect(result.log10FalseProbability).toBeLessThanOrEqual(-5);
      } else {
        expect(result.reason).toBe('not-significant');
      }
    }
    expect(found).toBeGreaterThanOrEqual(12);
  });

  test('different fields, hundreds of stars', () => {
    expect(refused(scattered(1, 400), scattered(2, 300)).reason).not.toBe('too-few-stars');
  });

  test.each([
    ['exact', 0],
    ['with errors of a tenth of a pixel', 0.1],
  ])('a uniform grid fits itself in many ways, %s', (_, sigma) => {
    const random = createRandom(5);
    const grid = (): StarList =>
      listOf(
        Array.from({ length: 100 }, (_, i): [number, number] => [
          50 + 100 * (i % 10) + sigma * (random() - 0.5),
          50 + 100 * Math.floor(i / 10) + sigma * (random() - 0.5),
        ]),
      );
    expect(refused(grid(), grid()).reason).toBe('ambiguous');
  });

  test('a ring of twelve stars fits itself at every twelfth of a turn', () => {
    const ring = listOf(
      Array.from({ length: 12 }, (_, i) => [
        500 + 300 * Math.cos((i * Math.PI) / 6),
        500 + 300 * Math.sin((i * Math.PI) / 6),
      ]),
    );
    expect(refused(ring, ring).reason).toBe('ambiguous');
  });

  test('a field that is its own mirror image: unless the parity is known', () => {
    const { x, y } = scattered(40, 15);
    const points = Array.from(x, (px, i): [number, number] => [px / 2, y[i]]);
    const twin = listOf([...points, ...points.map(([px, py]): [number, number] => [999 - px, py])]);
    expect(refused(twin, twin).reason).toBe('ambiguous');
    expect(matched(twin, twin, { mirrored: false }).matched).toBe(30);
    expect(matched(twin, twin, { mirrored: true }).description.mirrored).toBe(true);
  });

  test('a square of four stars', () => {
    const square = listOf([
      [100, 100],
      [900, 100],
      [900, 900],
      [100, 900],
    ]);
    refused(square, square);
  });

  test('stars on one line, or all in one place', () => {
    const line = listOf(Array.from({ length: 30 }, (_, i) => [10 + 33 * i, 500]));
    refused(line, line);
    const heap = listOf(Array.from({ length: 30 }, () => [500, 500]));
    expect(refused(heap, heap).reason).toBe('too-few-stars');
  });

  test('impossible arguments', () => {
    const list = scattered(1, 10);
    expect(() => matchStars({ ...list, y: new Float64Array(3) }, list)).toThrow(ParameterError);
    expect(() => matchStars({ ...list, width: 0 }, list)).toThrow(ParameterError);
    expect(() => matchStars(list, { ...list, brightness: new Float64Array(1) })).toThrow(
      ParameterError,
    );
    expect(() => matchStars(list, list, { minScale: 2, maxScale: 1 })).toThrow(ParameterError);
    expect(() => matchStars(list, list, { maxFalseProbability: 0 })).toThrow(ParameterError);
    expect(() => matchStars(list, list, { nearlyAligned: true, maxShiftPx: -1 })).toThrow(
      ParameterError,
    );
  });
});

describe('parts', () => {
  test('the bound of chance by hand', () => {
    // All of 3 at 0.01: KL = ln(1/0.01), so 0.01³ exactly.
    expectClose(lnTailBound(3, 3, 0.01), 3 * Math.log(0.01), { rtol: 1e-12 });
    // 2 of 4 at 0.1: −4 (½ ln 5 + ½ ln(5/9)) = −2.0433; the exact tail is ln 0.0523 = −2.951, below the bound.
    expectClose(lnTailBound(2, 4, 0.1), -2.0433, { atol: 1e-4 });
    expect(lnTailBound(1, 10, 0.1)).toBe(0);
    expect(lnTailBound(0, 0, 0.1)).toBe(0);
  });

  // scipy 1.10.1 (2026-11-25): binom.logsf(k − 1, n, p).
  test.each([
    [3, 3, 0.01, -13.815510557964274],
    [2, 4, 0.1, -2.9507589079112595],
    [5, 20, 0.02, -10.16249397654019],
    [12, 28, 0.05, -19.47244561506907],
    [30, 400, 0.01, -37.7754499686908],
    [200, 5000, 0.01, -132.82749053915745],
  ])('%i of %i at a chance of %f: the tail of the binomial', (k, n, p, expected) => {
    expectClose(lnHitsBound(k, n, p), expected, { rtol: 1e-8 });
    expect(lnHitsBound(k, n, p)).toBeLessThanOrEqual(lnTailBound(k, n, p) + 1e-12);
  });

  test('unequal chances never exceed the bound', () => {
    // Exact distribution of the hits by adding one trial after the other.
    const random = createRandom(62);
    for (let trial = 0; trial < 300; trial++) {
      const chances = Array.from({ length: 2 + Math.floor(9 * random()) }, () => random() ** 3);
      let hits = [1];
      for (const p of chances) {
        hits = [...hits, 0].map((stay, k) => stay * (1 - p) + (k > 0 ? hits[k - 1] * p : 0));
      }
      const mean = chances.reduce((sum, p) => sum + p, 0) / chances.length;
      for (let k = 1; k <= chances.length; k++) {
        const tail = hits.slice(k).reduce((sum, p) => sum + p, 0);
        expect(Math.log(tail)).toBeLessThanOrEqual(lnHitsBound(k, chances.length, mean) + 1e-9);
      }
    }
  });

  // scipy 1.10.1 (2026-11-25): kendalltau(…, alternative='greater', method='exact').pvalue.
  test.each([
    [[1, 2, 3], 1 / 6],
    [[2, 1, 3], 0.5],
    [[1, 3, 2, 5, 4, 7, 6, 8], 0.0027529761904761907],
    [[0, 4, 2, 3, 1, 5, 6, 9, 8, 7], 0.004574239417989418],
    [[9, 8, 7, 6, 5, 4, 3, 2, 1, 0], 1],
  ])('chance of the order %j', (ranks, expected) => {
    expectClose(orderChance(ranks), expected, { rtol: 1e-9 });
  });

  test('transforms that chance can try: what is known beforehand counts', () => {
    const a = { n: 5, width: 200, height: 100 };
    const b = { n: 8, width: 200, height: 100 };
    const any = {
      minScale: 1 / 6.5,
      maxScale: 6.5,
      mirrored: null,
      maxRotationDeg: 180,
      maxShiftPx: Number.POSITIVE_INFINITY,
    };
    // 10 pairs of stars on 8 · 7, both parities.
    expectClose(lnTransformsTried(any, a, b, 1, 0.01, false), Math.log(1120), { rtol: 1e-12 });
    const near = { minScale: 0.98, maxScale: 1.02, mirrored: false, maxRotationDeg: 2 };
    const shifted = { ...near, maxShiftPx: 10 };
    // Single stars: 40 couples, a tenth of them within the shift in x, a fifth in y.
    expectClose(lnTransformsTried(shifted, a, b, 1, 0.01, true), Math.log(0.8), { rtol: 1e-12 });
    const share = 0.1 * 0.2 * (2 / 180) * Math.log(1.02 / 0.98);
    expectClose(lnTransformsTried(shifted, a, b, 1, 0.01, false), Math.log(560 * share), {
      rtol: 1e-12,
    });
  });

  test('neighbours equal brute force', () => {
    const { x, y } = scattered(31, 500);
    const index = new PointIndex(x, y, 500);
    const random = createRandom(32);
    const found = new Int32Array(7);
    const d2 = new Float64Array(7);
    for (let trial = 0; trial < 200; trial++) {
      const px = 1200 * random() - 100;
      const py = 1200 * random() - 100;
      const order = Array.from(x.keys()).sort(
        (i, j) => (x[i] - px) ** 2 + (y[i] - py) ** 2 - (x[j] - px) ** 2 - (y[j] - py) ** 2,
      );
      expect(index.kNearest(px, py, 7, found, d2)).toBe(7);
      expect([...found]).toEqual(order.slice(0, 7));
      const radius = 60 * random();
      const near = (x[order[0]] - px) ** 2 + (y[order[0]] - py) ** 2 <= radius * radius;
      expect(index.nearest(px, py, radius)).toBe(near ? order[0] : -1);
    }
    expect(index.kNearest(0, 0, 0, found, d2)).toBe(0);
    expect(new PointIndex(x, y, 0).nearest(1, 1, 1e9)).toBe(-1);
  });

  test('description of a mirrored transform: flipped, then turned', () => {
    // (x, y) → flip → (x, −y) → 90° → (y, x), twice as large, shifted by (3, 4).
    const ax = Float64Array.of(0, 1, 0, 5);
    const ay = Float64Array.of(0, 0, 1, 2);
    const bx = ay.map((v) => 2 * v + 3);
    const by = ax.map((v) => 2 * v + 4);
    const t = fitTransform('affine', { n: 4, ax, ay, bx, by });
    if (t === null) throw new Error('not determined');
    const d = describeTransform(t);
    expect(d.mirrored).toBe(true);
    expectClose([d.scale, d.rotationDeg, d.shiftX, d.shiftY], [2, 90, 3, 4], { atol: 1e-9 });
    expectClose(applyInverse(t, 7, 14), [5, 2], { atol: 1e-9 });
  });

  test('points that do not determine a transform', () => {
    const same = new Float64Array(5).fill(3);
    const line = Float64Array.of(1, 2, 3, 4, 5);
    expect(fitTransform('similarity', { n: 5, ax: same, ay: same, bx: line, by: line })).toBe(null);
    expect(fitTransform('affine', { n: 5, ax: line, ay: line, bx: line, by: line })).toBe(null);
    expect(fitTransform('affine', { n: 2, ax: line, ay: line, bx: line, by: line })).toBe(null);
  });
});

function both({ a, b }: StarPair): [StarList, StarList] {
  return [a, b];
}

function xy(point: Float64Array): [number, number] {
  return [point[0], point[1]];
}
