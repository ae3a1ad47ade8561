/** Skies that look like fall-off and are none, and fall-off beside what disturbs it: never a wrong number without a wide interval. */
import { describe, expect, it, vi } from 'vitest';
import { planChannels } from '../../src/detect/lattice.js';
import { type IlluminationResult, measureIllumination } from '../../src/field/illumination.js';
import { crowdedMiddle } from '../../src/field/illumination-crowd.js';
import { stoppedPupil } from '../../src/field/illumination-pupil.js';
import { knownPedestal } from '../../src/field/pedestal.js';
import type { Uncertain } from '../../src/measure/result.js';
import { createRandom, normal } from '../../src/stats/random.js';
import { cos4, coveredPupil, type SkyOptions, skyFrame, tabulated } from '../helpers/sky-frame.js';

vi.setConfig({ testTimeout: 30_000 });

/** Small frames: 37 × 25 cells. */
const SMALL = { width: 600, height: 400, stars: 40, skyElectrons: 600, gain: 1 };

function measured(options: Partial<SkyOptions>): IlluminationResult {
  const frame = skyFrame({ ...SMALL, ...options });
  return measureIllumination({
    rows: frame.rows,
    plan: planChannels(frame),
    pedestal: knownPedestal(frame.metadata.pedestalAdu, null),
    gainElectronsPerAdu: frame.metadata.gainElectronsPerAdu,
    pixelSizeUm: null,
    focalLengthMm: null,
    linear: null,
    seed: 1,
  });
}

function leading(result: IlluminationResult) {
  const channel = result.channels[result.reference ?? -1];
  if (!channel) throw new Error(result.reason ?? 'nothing measured');
  return channel;
}

/** Distance of the truth in units of the interval's half on its side. */
function sigmas(truth: number, { value, low, high }: Uncertain): number {
  return truth > value ? (truth - value) / (high - value) : (value - truth) / (value - low);
}

const lens = (distance: number): number => 1 - 0.36 * distance * distance;

describe('skies that are brighter in the middle for another reason', () => {
  it.each([
    ['a cluster over the frame', { x: 0, y: 0, sigma: 0.3, peak: 0.8 }, 600],
    ['a cluster behind a lens that is even', { x: 0, y: 0, sigma: 0.35, peak: 1 }, 0],
  ])('%s is not called fall-off', (_, nebula, stars) => {
    const fallOff = stars > 0 ? (d: number) => 1 - 0.1 * d * d : () => 1;
    const result = measured({ fallOff, nebula, cluster: { stars, sigma: 0.25 } });
    expect(result).toMatchObject({
      status: 'cannot tell',
      channels: [],
      fillsSensor: 'cannot tell',
    });
    expect(result.reason).toMatch(/galaxy, cluster or nebula|confined/);
  });

  it('a galaxy on a dark sky is not called a small lit circle', () => {
    const result = measured({
      nebula: { x: 0, y: 0, sigma: 0.15, peak: 30 },
      skyElectrons: 40,
      readNoise: 1.5,
    });
    expect(result.status).toBe('cannot tell');
  });
});

describe('fall-off beside what disturbs it', () => {
  it.each([
    ['a small galaxy in the middle', { x: 0.02, y: -0.03, sigma: 0.07, peak: 0.6 }],
    ['a nebula on one side', { x: -0.45, y: 0.2, sigma: 0.15, peak: 0.3 }],
    ['a wide nebula in a corner', { x: 0.6, y: 0.35, sigma: 0.25, peak: 0.15 }],
  ])('%s: the truth lies within three times the interval, or nothing is given', (_, nebula) => {
    const result = measured({ fallOff: lens, nebula });
    if (result.status !== 'measured') {
      expect(result).toMatchObject({ status: 'cannot tell', channels: [] });
      return;
    }
    const channel = leading(result);
    expect(sigmas(64, channel.meanCornerPercent)).toBeLessThan(3);
    for (const corner of channel.cornersPercent) expect(sigmas(64, corner)).toBeLessThan(3);
  });

  it('a sky that is twice as bright on one side', () => {
    const channel = leading(measured({ fallOff: lens, gradient: [0.35, -0.15] }));
    expect(Math.abs(channel.meanCornerPercent.value - 64)).toBeLessThan(1.5);
    expect(sigmas(64, channel.meanCornerPercent)).toBeLessThan(3);
  });
});

describe('laws of fall-off', () => {
  it('cos⁴ of the field angle', () => {
    const channel = leading(measured({ fallOff: cos4(2) }));
    // cos⁴(atan(1/2)) = (1 + 1/4)⁻² = 0.64.
    expect(Math.abs(channel.meanCornerPercent.value - 64)).toBeLessThan(1.5);
    expect(channel.kind).toBe('gradual');
  });

  it('a pupil covered by a stop: corners, radii and where the edge begins', () => {
    const covered = tabulated(coveredPupil(0.6, 1.1));
    const result = measured({ fallOff: covered, skyElectrons: 1500 });
    const channel = leading(result);
    expect(channel.kind).toBe('edge');
    expect(result.fillsSensor).toBe('no');
    expect(Math.abs(channel.meanCornerPercent.value - 100 * covered(1))).toBeLessThan(1.5);
    const half = 0.5 * Math.sqrt(600 ** 2 + 400 ** 2);
    const r50 = channel.radii.find((each) => each.illuminationPercent === 50)?.radiusPx.value;
    expect(Math.abs(100 * covered((r50 ?? 0) / half) - 50)).toBeLessThan(1.5);
    expect(Math.abs((channel.edgeStartPx?.value ?? 0) / half - 0.6)).toBeLessThan(0.03);
  });

  it('the share of a covered pupil is that of strips summed across it', () => {
    const strips = coveredPupil(0.5, 0.9);
    for (const distance of [0.4, 0.5, 0.55, 0.7, 0.85, 0.9, 1]) {
      expect(stoppedPupil(distance, 0.5, 0.9)).toBeCloseTo(strips(distance), 3);
    }
  });
});

describe('stars that crowd in the middle', () => {
  /** Stars of a Gaussian cluster, and evenly spread ones of which the outer are lost by `loss`. */
  function stars(clustered: number, spread: number, loss: number) {
    const random = createRandom(3);
    const places: [number, number][] = [];
    for (let i = 0; i < clustered; i++) {
      places.push([300 + 70 * normal(random), 200 + 70 * normal(random)]);
    }
    for (let i = 0; i < spread; i++) {
      const [x, y] = [600 * random(), 400 * random()];
      const r2 = ((x - 300) ** 2 + (y - 200) ** 2) / (300 ** 2 + 200 ** 2);
      if (random() > loss * r2) places.push([x, y]);
    }
    return crowdedMiddle(
      places.map(([x]) => x),
      places.map(([, y]) => y),
      places.length,
      600,
      400,
    );
  }

  it('are seen, and neither even stars nor those behind a dark corner are taken for them', () => {
    expect(stars(200, 100, 0)).toBe(true);
    expect(stars(0, 400, 0)).toBe(false);
    expect(stars(0, 400, 0.7)).toBe(false);
    expect(stars(12, 0, 0)).toBe(false);
  });

  it('make the answer "cannot tell"', () => {
    const frame = skyFrame({ ...SMALL, fallOff: lens });
    const result = measureIllumination({
      rows: frame.rows,
      plan: planChannels(frame),
      pedestal: knownPedestal(400, null),
      gainElectronsPerAdu: 1,
      pixelSizeUm: null,
      focalLengthMm: null,
      linear: null,
      crowdedMiddle: true,
      seed: 1,
    });
    expect(result).toMatchObject({ status: 'cannot tell', channels: [] });
    expect(result.reason).toContain('cluster');
  });
});

describe('when nothing can be said', () => {
  it('a frame below 6 × 6 cells is refused, with the reason', () => {
    const result = measured({ width: 90, height: 80, fallOff: lens });
    expect(result.status).toBe('cannot tell');
    expect(result.reason).toContain('too small');
    expect(result.reason).toContain('6 × 6');
  });

  it('an even raw sky is not told from one with a flat applied, and a flat is seen in either layout', () => {
    const even = measured({ fallOff: () => 1 });
    expect(even).toMatchObject({ status: 'cannot tell', channels: [] });
    for (const layout of ['mono', 'cfa'] as const) {
      const flat = measured({ layout, fallOff: lens, flat: lens, skyElectrons: 2500 });
      expect(flat).toMatchObject({ status: 'flat applied', channels: [] });
    }
  });
});
