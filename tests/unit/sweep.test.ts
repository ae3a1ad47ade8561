/** The through-focus analysis on runs whose moments are made from the formula, and the focus curve against scipy.optimize.curve_fit. */
import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { createRandom, normal } from '../../src/stats/random.js';
import { analyseSweep } from '../../src/sweep/analyse.js';
import { apertureSizes } from '../../src/sweep/apertures.js';
import { fitFocusCurve } from '../../src/sweep/curve.js';
import { positionList, positionPattern } from '../../src/sweep/positions.js';
import type { SweepFacts, SweepRun } from '../../src/sweep/result.js';

const FACTS: SweepFacts = { stepUm: 4, pixelSizeUm: 4, focalLengthMm: 400, focalRatio: 5, seed: 1 };
const B2 = 0.01;

/** Foci: green 3, blue 18, red −4 steps; tilt 20 steps over the width towards +x. Seeing differs from frame to frame. */
function madeRun(offset = 0, positions = [-60, -45, -30, -15, 0, 15, 30, 45, 60]): SweepRun {
  const random = createRandom(7);
  const n = 40;
  const width = 600;
  const height = 400;
  const x = Float64Array.from({ length: n }, () => 20 + random() * (width - 40));
  const y = Float64Array.from({ length: n }, () => 20 + random() * (height - 40));
  const frames = positions.map((position, i) => {
    const seeing = 4 * (1 + 0.1 * normal(random));
    const of = (focus: number) => {
      const m = new Float64Array(3 * n);
      for (let s = 0; s < n; s++) {
        const tilt = (20 * ((x[s] as number) - (width - 1) / 2)) / width;
        const size = seeing + B2 * (position - focus - tilt) ** 2 + 0.02 * normal(random);
        m.set([size / 2, 0, size / 2], 3 * s);
      }
      return m;
    };
    const hfd = new Float64Array(n).fill(3);
    return {
      file: `f${i}`,
      position: position + offset,
      dateObs: null,
      temperatureC: 10,
      moments: { R: of(-4), G: of(3), B: of(18) },
      hfd: { R: hfd, G: hfd, B: hfd },
      matched: true,
    };
  });
  return { frames, channels: ['R', 'G', 'B'], reference: 'G', x, y, width, height };
}

test('colour shifts are found through changing seeing, with sign', () => {
  const { blueMinusGreen, redMinusGreen, channels, sentence } = analyseSweep(madeRun(), FACTS);
  // b² is known as well as the seeing lets it be: 5 %.
  expect(blueMinusGreen.steps?.value).toBeGreaterThan(15 * 0.95);
  expect(blueMinusGreen.steps?.value).toBeLessThan(15 * 1.05);
  expect(blueMinusGreen.um?.value).toBeCloseTo(4 * (blueMinusGreen.steps?.value ?? 0), 9);
  expect(redMinusGreen.steps?.value).toBeGreaterThan(-7 * 1.06);
  expect(redMinusGreen.steps?.value).toBeLessThan(-7 * 0.94);
  expect(channels.G?.bracketed).toBe(true);
  expect(sentence).toContain('larger positions');
});

test('tilt has size and direction', () => {
  const { tiltDeg, tiltDirectionDeg } = analyseSweep(madeRun(), FACTS);
  const wanted = (Math.atan((20 * 4) / (600 * 4)) * 180) / Math.PI;
  expect(tiltDeg?.value ?? 0).toBeGreaterThan(0.94 * wanted);
  expect(tiltDeg?.value ?? 0).toBeLessThan(1.06 * wanted);
  expect(Math.min(tiltDirectionDeg ?? 90, 360 - (tiltDirectionDeg ?? 90))).toBeLessThan(3);
});

test('the order of the files changes nothing', () => {
  const run = madeRun();
  const turned = { ...run, frames: [...run.frames].reverse() };
  expect(analyseSweep(turned, FACTS)).toEqual(analyseSweep(run, FACTS));
});

test('a shift of all positions moves the foci and nothing else', () => {
  const here = analyseSweep(madeRun(), FACTS);
  const there = analyseSweep(madeRun(5000), FACTS);
  expect(
    (there.channels.G?.bestFocus?.value ?? 0) - (here.channels.G?.bestFocus?.value ?? 0),
  ).toBeCloseTo(5000, 6);
  expect(there.blueMinusGreen.steps?.value).toBeCloseTo(here.blueMinusGreen.steps?.value ?? 0, 6);
});

test('a run on one side of focus cannot tell', () => {
  const analysis = analyseSweep(madeRun(0, [20, 30, 40, 50, 60, 70, 80]), FACTS);
  expect(analysis.channels.G?.bestFocus).toBeNull();
  expect(analysis.blueMinusGreen.steps).toBeNull();
  expect(analysis.tiltDeg).toBeNull();
  expect(analysis.warnings.map(({ code }) => code)).toContain('focus-not-bracketed');
});

test('the focus curve agrees with scipy.optimize.curve_fit', () => {
  const file = new URL('../../fixtures/reference/sweep/hyperbola.json', import.meta.url);
  const want = JSON.parse(readFileSync(file, 'utf8'));
  const got = fitFocusCurve(want.z, want.size2);
  // scipy does not weight outliers down: agreement to a part of its own error.
  expect(Math.abs((got?.z0 ?? Number.NaN) - want.z0)).toBeLessThan(0.3 * want.z0Error);
  expect((got?.b2 ?? Number.NaN) / want.b2).toBeCloseTo(1, 1);
  expect((got?.z0Error ?? Number.NaN) / want.z0Error).toBeGreaterThan(0.6);
  expect((got?.z0Error ?? Number.NaN) / want.z0Error).toBeLessThan(1.4);
});

test('a uniform disc has moments of a quarter of the radius squared and an HFD of √2 radii', () => {
  const dx: number[] = [];
  const dy: number[] = [];
  const value: number[] = [];
  for (let y = -30; y <= 30; y++) {
    for (let x = -30; x <= 30; x++) {
      dx.push(x);
      dy.push(y);
      value.push(x * x + y * y <= 400 ? 1 : 0);
    }
  }
  const sizes = apertureSizes(
    {
      n: dx.length,
      dx: Float64Array.from(dx),
      dy: Float64Array.from(dy),
      value: Float64Array.from(value),
    },
    28,
  );
  expect((sizes?.xx ?? 0) / 100).toBeCloseTo(1, 1);
  expect((sizes?.hfdPx ?? 0) / (20 * Math.SQRT2)).toBeCloseTo(1, 1);
});

test('positions from names and lists', () => {
  expect(positionPattern('focus{}')('m1_focus1200.fits')).toBe(1200);
  expect(positionPattern('f({})')('f(-12.5).fits')).toBe(-12.5);
  expect(positionPattern('focus{}')('other.fits')).toBeNull();
  expect(() => positionPattern('focus')).toThrow(/must hold/);
  expect([...positionList('name,position\na.fits,12\n# no\n"b,c.fits",-3\n', 'p.csv')]).toEqual([
    ['a.fits', 12],
    ['b,c.fits', -3],
  ]);
  expect(() => positionList('a.fits,12\nb.fits\n', 'p.csv')).toThrow(/line 2/);
});
