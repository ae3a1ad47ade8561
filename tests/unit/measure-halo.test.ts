/** The halo of small simulated lenses against the truth of their recorded images. The simulator shares no code with the measurement. */
import { describe, expect, test } from 'vitest';
import { haloLevel } from '../../src/measure/halo.js';
import { cautious } from '../../src/measure/halo-result.js';
import { measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import type { FrameResult } from '../../src/measure/result.js';
import { encircledAt, radiusOfShare, truthSizes } from '../../src/simulate/profile-truth.js';
import { builtInScene } from '../../src/simulate/scenes.js';
import { simulate } from '../../src/simulate/simulate.js';
import { type Truth, truthHalo } from '../../src/simulate/truth.js';
import { memoryFrame } from '../helpers/memory-frame.js';

interface Seen {
  result: FrameResult;
  truth: Truth;
}

function see(name: string): Seen {
  const { frame, truth } = simulate(builtInScene(name));
  const { camera, telescope } = truth.scene;
  const measured = measureFrame(
    memoryFrame({
      ...frame,
      layout: camera.layout,
      cfa: camera.cfa,
      metadata: {
        gainElectronsPerAdu: camera.gainElectronsPerAdu,
        pixelSizeUm: camera.pixelUm,
        focalLengthMm: telescope.focalLengthMm,
        apertureMm: telescope.apertureMm,
      },
    }),
    DEFAULT_MEASURE_OPTIONS,
  );
  return { result: measured.result, truth };
}

const LENSES = ['small-achromat', 'small-ed', 'small-control'] as const;
const seen = Object.fromEntries(LENSES.map((name) => [name, see(name)])) as Record<
  (typeof LENSES)[number],
  Seen
>;

function halo({ result }: Seen): NonNullable<FrameResult['halo']> {
  if (!result.halo) throw new Error('no halo');
  return result.halo;
}

describe.each(LENSES)('%s', (name) => {
  const lens = seen[name];
  const measured = halo(lens);
  const rMax = measured.blueMinusRed.normalisedWithinPx;
  const known = truthHalo(lens.truth, rMax);
  if (!known) throw new Error('no truth');

  test.each(['blueMinusRed', 'blueMinusGreen', 'redMinusGreen'] as const)(
    '%s lies within two points of the truth, and within four half-intervals',
    (pair) => {
      const { value, low, high } = measured[pair].excessPercent;
      const expected = known[`${pair}Percent`];
      // docs/algorithms.md; the achromat's 400 × 300 px hold some 90 stars.
      expect(Math.abs(value - expected)).toBeLessThan(2);
      expect(Math.abs(value - expected)).toBeLessThan(4 * ((high - low) / 2));
    },
  );

  test('encircled-energy radii lie within 5 %, the FWHM of green within 3 %', () => {
    for (const channel of ['R', 'G', 'B'] as const) {
      const image = lens.truth.channels[channel];
      const result = lens.result.channels[channel];
      if (!image || !result) throw new Error(`no ${channel}`);
      const sizes = truthSizes(image, rMax);
      for (const size of ['r50Px', 'r80Px', 'r90Px'] as const) {
        const error = Math.abs((result[size]?.value ?? 0) / sizes[size] - 1);
        expect(error, `${channel} ${size}`).toBeLessThan(0.05);
      }
      // A narrow core on a wide skirt has its half maximum where few samples lie: green alone is held to the target here.
      if (channel === 'G')
        expect(Math.abs((result.fwhmPx?.value ?? 0) / sizes.fwhmPx - 1)).toBeLessThan(0.03);
    }
  });

  test('tints of core and rim are those of the true images', () => {
    const { R, G, B } = lens.truth.channels;
    if (!R || !G || !B) throw new Error('no truth');
    const share = (image: typeof R, radius: number) =>
      encircledAt(image, radius) / encircledAt(image, rMax);
    const [r50, r80, r95] = [0.5, 0.8, 0.95].map((part) => radiusOfShare(G, part, rMax));
    const colour = (blue: number, red: number) => -2.5 * Math.log10(blue / red);
    const core = colour(share(B, r50), share(R, r50));
    const rim = colour(share(B, r95) - share(B, r80), share(R, r95) - share(R, r80));
    for (const [tint, expected] of [
      [measured.coreTintMag, core],
      [measured.rimTintMag, rim],
    ] as const) {
      if (!tint) throw new Error('no tint');
      // 0.05 mag are 5 % of a core's light; the interval of a rim, which holds little light, may be wider.
      const limit = 0.05 + 3 * ((tint.high - tint.low) / 2);
      expect(Math.abs(tint.value - expected)).toBeLessThan(limit);
    }
  });

  test('curves start at zero, end at zero, and meet the headline at r80 of green', () => {
    const { curve, excessPercent, atRadiusPx } = measured.blueMinusRed;
    expect(curve.excessPercent[0]).toBe(0);
    // All light of either channel lies within R_max by definition; the table behind the curve ends up to 1/32 px beyond it.
    expect(Math.abs(curve.excessPercent[curve.excessPercent.length - 1])).toBeLessThan(0.02);
    const after = curve.radiusPx.findIndex((radius) => radius > atRadiusPx);
    const share =
      (atRadiusPx - curve.radiusPx[after - 1]) /
      (curve.radiusPx[after] - curve.radiusPx[after - 1]);
    const between =
      curve.excessPercent[after - 1] * (1 - share) + curve.excessPercent[after] * share;
    // Straight lines between 97 points of a smooth curve.
    expect(Math.abs(between - excessPercent.value)).toBeLessThan(0.3);
  });

  test('the contrasts add up', () => {
    const { blueMinusRed, blueMinusGreen, redMinusGreen } = measured;
    // EE_R − EE_B = (EE_G − EE_B) − (EE_G − EE_R), all at the same radius.
    expect(blueMinusGreen.excessPercent.value - redMinusGreen.excessPercent.value).toBeCloseTo(
      blueMinusRed.excessPercent.value,
      9,
    );
  });
});

describe('lenses compared', () => {
  test('the control agrees with the perfect lens within half a point, and no rim is seen', () => {
    const control = halo(seen['small-control']);
    const { excessPercent, perfectLensPercent } = control.blueMinusRed;
    expect(Math.abs(excessPercent.value - (perfectLensPercent ?? Number.NaN))).toBeLessThan(0.5);
    expect(control.level).toBe('none seen');
  });

  test('the perfect lens is that of the simulator within half a point', () => {
    for (const name of LENSES) {
      const { blueMinusRed } = halo(seen[name]);
      const expected = truthHalo(seen[name].truth.perfectLens, blueMinusRed.normalisedWithinPx);
      // The measurement knows the size of green only, which the lens itself has widened.
      expect(
        Math.abs((blueMinusRed.perfectLensPercent ?? 0) - (expected?.blueMinusRedPercent ?? 99)),
        name,
      ).toBeLessThan(0.7);
    }
  });

  test('levels and core tints tell them apart', () => {
    expect(halo(seen['small-achromat']).level).toBe('dominant');
    expect(halo(seen['small-ed']).level).toBe('plain');
    const core = (name: (typeof LENSES)[number]) => halo(seen[name]).coreTintMag?.value ?? 0;
    // Blue light spread into a rim leaves the core yellowish: positive.
    expect(core('small-achromat')).toBeGreaterThan(core('small-ed'));
    expect(core('small-ed')).toBeGreaterThan(core('small-control'));
    const reach = halo(seen['small-achromat']).blueMinusRed.reachPx ?? 0;
    expect(reach).toBeGreaterThan(8);
  });

  test('equivalent defocus of the achromat’s blue has the right size', () => {
    const { result, truth } = seen['small-achromat'];
    const blue = result.equivalentDefocus?.blueUm;
    const expected = truth.lens.equivalentDefocusUm?.blue ?? Number.NaN;
    if (!blue) throw new Error('no equivalent defocus');
    // Light beyond R_max is missing from the measured square radius: a fifth at most, and never more than the truth by a fifth.
    expect(blue.value / expected).toBeGreaterThan(0.6);
    expect(blue.value / expected).toBeLessThan(1.2);
  });
});

describe('plain words', () => {
  const at = (value: number, half: number) =>
    haloLevel({ value, low: value - half, high: value + half });
  test.each([
    [1.9, 0.1, 'none seen'],
    [2, 0.1, 'trace'],
    [4.9, 0.5, 'trace'],
    [5, 0.5, 'plain'],
    [15, 1, 'strong'],
    [29.9, 1, 'strong'],
    [30, 1, 'dominant'],
    // Below two half-intervals nothing is seen, whatever the value; where even a plain rim could hide, nothing can be told.
    [4, 2.5, 'none seen'],
    [-3, 1, 'none seen'],
    [10, 8, 'cannot tell'],
    [0, 12, 'cannot tell'],
  ] as const)('%f ± %f: %s', (value, half, level) => {
    expect(at(value, half)).toBe(level);
  });
});

test('stars narrower than the grid get no word for their halo', () => {
  const { halo: seenHalo } = seen['small-achromat'].result;
  expect(cautious(seenHalo, true)?.level).toBe('cannot tell');
  expect(cautious(seenHalo, false)).toBe(seenHalo);
  expect(cautious(null, true)).toBeNull();
});
