/** Light fall-off against skies whose fall-off is a formula, and against the areas of overlapping circles. */
import { describe, expect, it, vi } from 'vitest';
import { planChannels } from '../../src/detect/lattice.js';
import { type IlluminationResult, measureIllumination } from '../../src/field/illumination.js';
import { circleOverlap } from '../../src/field/illumination-pupil.js';
import { knownPedestal, measureBias, type Pedestal } from '../../src/field/pedestal.js';
import { createRandom, normal } from '../../src/stats/random.js';
import { memoryFrame } from '../helpers/memory-frame.js';
import { type SkyOptions, skyFrame } from '../helpers/sky-frame.js';

vi.setConfig({ testTimeout: 30_000 });

const QUADRATIC = (depth: number) => (distance: number) => 1 - depth * distance * distance;

function measured(
  options: Partial<SkyOptions>,
  pedestal?: Pedestal | null,
  linear: boolean | null = true,
): IlluminationResult {
  const frame = skyFrame({ width: 600, height: 420, ...options });
  return measureIllumination({
    rows: frame.rows,
    plan: planChannels(frame),
    pedestal: pedestal === undefined ? knownPedestal(frame.metadata.pedestalAdu, null) : pedestal,
    gainElectronsPerAdu: frame.metadata.gainElectronsPerAdu,
    pixelSizeUm: 4,
    focalLengthMm: 400,
    linear,
    seed: 1,
  });
}

function leading(result: IlluminationResult) {
  const channel = result.channels[result.reference ?? -1];
  if (!channel) throw new Error(result.reason ?? 'nothing measured');
  return channel;
}

describe('measureIllumination', () => {
  it.each(['mono', 'cfa'] as const)(
    'finds a quadratic fall-off to 70 %% in a %s frame',
    (layout) => {
      const result = measured({ layout, fallOff: QUADRATIC(0.3) });
      expect(result.status).toBe('measured');
      const channel = leading(result);
      // 1.5 points: what cells of some thousand samples at this noise allow.
      expect(Math.abs(channel.meanCornerPercent.value - 70)).toBeLessThan(1.5);
      const half = 0.5 * Math.sqrt(600 ** 2 + 420 ** 2);
      const r90 = channel.radii.find((each) => each.illuminationPercent === 90);
      // 1 − 0.3 d² = 0.9 at d = √(1/3).
      expect(Math.abs((r90?.radiusPx?.value ?? 0) / (half * Math.sqrt(1 / 3)) - 1)).toBeLessThan(
        0.06,
      );
      expect(r90?.radiusMm?.value ?? 0).toBeCloseTo((r90?.radiusPx?.value ?? 0) * 0.004, 6);
      expect(result.fillsSensor).toBe('yes');
    },
  );

  it('is not misled by a sky that is brighter on one side, or by a small nebula', () => {
    for (const options of [
      { gradient: [0.15, -0.1] as [number, number] },
      { nebula: { x: 0.4, y: 0.1, sigma: 0.07, peak: 0.2 } },
    ]) {
      const channel = leading(measured({ fallOff: QUADRATIC(0.3), ...options }));
      expect(Math.abs(channel.meanCornerPercent.value - 70)).toBeLessThan(1.5);
    }
  });

  it('a bright nebula over a third of the frame is withheld with the reason, or does not mislead', () => {
    const result = measured({
      fallOff: QUADRATIC(0.3),
      nebula: { x: 0.4, y: 0.1, sigma: 0.12, peak: 0.4 },
    });
    if (result.status === 'measured') {
      expect(Math.abs(leading(result).meanCornerPercent.value - 70)).toBeLessThan(3);
    } else {
      expect(result).toMatchObject({ status: 'cannot tell', channels: [] });
      expect(result.reason).toContain('nebula');
    }
  });

  it('says when the lit circle does not fill the sensor', () => {
    const result = measured({ fallOff: (distance) => Math.max(0.02, 1 - 0.8 * distance ** 4) });
    expect(result.fillsSensor).toBe('no');
  });

  it('gives no percentages without a pedestal, or from data that is not linear', () => {
    const blind = measured({ fallOff: QUADRATIC(0.3) }, null);
    expect(blind).toMatchObject({ status: 'cannot tell', channels: [] });
    expect(blind.reason).toContain('--pedestal');
    // A pedestal is never negative, so the ratio of the levels is an upper bound of the corner's light.
    expect(blind.cornerAtMostPercent ?? 0).toBeGreaterThan(70);
    expect(measured({ fallOff: QUADRATIC(0.3) }, undefined, false).status).toBe('cannot tell');
  });

  it('notices that a flat field was applied', () => {
    const fallOff = QUADRATIC(0.45);
    const result = measured({ fallOff, flat: fallOff, readNoise: 1, skyElectrons: 2500 });
    expect(result).toMatchObject({ status: 'flat applied', channels: [] });
  });

  it('an even sky is even, or cannot be told from one with a flat applied; it is never called dark', () => {
    const result = measured({});
    expect(result.status === 'measured' ? leading(result).kind : result.status).not.toBe('edge');
    expect(result.fillsSensor).not.toBe('no');
  });
});

describe('measureBias', () => {
  it('gives the level within its error', () => {
    const random = createRandom(9);
    const data = Uint16Array.from({ length: 300 * 200 }, () =>
      Math.round(512 + 4 * normal(random)),
    );
    const { pedestal, noiseAdu } = measureBias(
      memoryFrame({ width: 300, height: 200, data, layout: 'mono' }),
    );
    expect(Math.abs(pedestal.adu - 512)).toBeLessThan(4 * pedestal.errorAdu + 0.05);
    // Rounding to whole ADU adds 1/12 to the variance.
    expect(Math.abs(noiseAdu / Math.sqrt(16 + 1 / 12) - 1)).toBeLessThan(0.05);
  });
});

describe('circleOverlap', () => {
  it('is the lens of two circles (elementary geometry: 2π/3 − √3/2 for unit circles one radius apart)', () => {
    expect(circleOverlap(1, 1, 1)).toBeCloseTo((2 * Math.PI) / 3 - Math.sqrt(3) / 2, 10);
    expect(circleOverlap(1, 1, 2)).toBeCloseTo(0, 12);
    expect(circleOverlap(2, 1, 0.5)).toBeCloseTo(Math.PI, 12);
  });
});
