/** Several simulated frames of one field through one tilted sensor: seeing and drift average out; places are those of the sensor. */
import { describe, expect, it, vi } from 'vitest';
import { analyseField } from '../../src/field/field.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { type SearchedFrame, searchFrame } from '../../src/measure/search-frame.js';
import { simulate } from '../../src/simulate/simulate.js';
import { memoryFrame } from '../helpers/memory-frame.js';

vi.setConfig({ testTimeout: 120_000 });

const WIDTH = 480;
const HEIGHT = 360;
const PIXEL_UM = 3.76;
const TILT_DEG = 2.8;

interface Exposure {
  seed: number;
  seeingArcsec: number;
  driftArcsec?: [number, number];
  pointingPx?: [number, number];
  rotationDeg?: number;
  skySeed?: number;
}

function exposure(name: string, options: Exposure): SearchedFrame {
  const { frame } = simulate({
    name,
    seed: options.seed,
    sky: {
      seed: options.skySeed ?? 9,
      extentArcmin: [20, 15],
      starsPerSquareArcmin: 0.9,
      brightestMagnitude: 9,
      faintestMagnitude: 13.5,
      minimumSeparationArcsec: 25,
    },
    atmosphere: { seeingArcsec: options.seeingArcsec },
    guiding: { driftArcsec: options.driftArcsec ?? [0, 0] },
    telescope: {
      apertureMm: 80,
      focalLengthMm: 480,
      colour: { kind: 'none' },
      sensorTiltDeg: [TILT_DEG, 0],
    },
    camera: {
      widthPx: WIDTH,
      heightPx: HEIGHT,
      pixelUm: PIXEL_UM,
      layout: 'mono',
      pointingPx: options.pointingPx ?? [0, 0],
      rotationDeg: options.rotationDeg ?? 0,
      hotPixels: 3,
      cosmicRays: 1,
    },
    rendering: { fieldNodes: [5, 3], temperatureClasses: 1, sliceNm: 40, radiusPx: 14 },
  });
  const memory = memoryFrame({
    width: WIDTH,
    height: HEIGHT,
    data: frame.data,
    layout: 'mono',
    path: name,
    metadata: {
      gainElectronsPerAdu: 0.8,
      pedestalAdu: 500,
      pixelSizeUm: PIXEL_UM,
      focalLengthMm: 480,
      apertureMm: 80,
    },
  });
  return searchFrame(memory, { ...DEFAULT_MEASURE_OPTIONS, maxStars: 1500 }, () => {});
}

const analyse = (frames: SearchedFrame[]) => {
  const { sets, warnings } = analyseField([{ frames }], { seed: 1, draws: 40, stamps: false });
  const [set] = sets;
  if (!set?.model) throw new Error('no model');
  return { set, model: set.model, warnings };
};

describe('several frames of one set', () => {
  const still = exposure('still', { seed: 1, seeingArcsec: 2.6 });
  const drifted = exposure('drifted', {
    seed: 2,
    seeingArcsec: 3.2,
    driftArcsec: [0.2, 1.8],
    pointingPx: [7, -5],
  });
  const turned = exposure('turned', {
    seed: 3,
    seeingArcsec: 2.9,
    pointingPx: [-9, 4],
    rotationDeg: 1,
  });

  it('are one field whose tilt is right, while the drift of one frame fades', () => {
    const alone = analyse([drifted]);
    const together = analyse([still, drifted, turned]);
    expect(together.warnings).toEqual([]);
    expect(together.set.frames).toBe(3);
    expect(together.set.leading).toBe('tilt');
    // Focus across the diagonal: tan(tilt) × its length, 600 px. 10 %: what the model is held to.
    const truth = Math.tan((TILT_DEG * Math.PI) / 180) * 600 * PIXEL_UM;
    expect(Math.abs((together.model.tiltUm?.value ?? 0) / truth - 1)).toBeLessThan(0.1);
    // One frame of three drifted: a third of its elongation is left; half leaves room for noise.
    expect(together.model.uniformEllipticity.value).toBeLessThan(
      0.5 * alone.model.uniformEllipticity.value,
    );
  });

  it('leave out, and name, frames that are flipped or of another field', () => {
    const flipped = exposure('flipped', { seed: 4, seeingArcsec: 2.8, rotationDeg: 180 });
    const other = exposure('other', { seed: 5, seeingArcsec: 2.8, skySeed: 77 });
    const { set, warnings } = analyse([still, flipped, other]);
    expect(set.frames).toBe(1);
    expect(warnings.map(({ code, file }) => [code, file])).toEqual([
      ['field-frame-unmatched', 'flipped'],
      ['field-frame-unmatched', 'other'],
    ]);
    expect(warnings[0]?.message).toContain('other places of the sensor');
    expect(warnings[1]?.message).toContain('could not be matched');
  });
});
