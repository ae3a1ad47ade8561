/** Scenes for the well-corrected circle, and the simulator's frames as the estimator takes them. */
import type { Frame } from '../../src/frame/frame.js';
import { parseScene, type Scene } from '../../src/simulate/scene.js';
import { simulate } from '../../src/simulate/simulate.js';
import { memoryFrame } from '../../tests/helpers/memory-frame.js';

export type Fault = 'curvature' | 'tilt' | 'coma' | 'sound';

/** An invented telescope of 80 mm aperture without colour error; the fault's strength is drawn, so that circles of all sizes come. */
export function circleScene(fault: Fault, index: number, random: () => number): Scene {
  const sign = random() < 0.5 ? -1 : 1;
  const strength = 0.35 + 0.65 * random();
  const azimuth = 2 * Math.PI * random();
  const tiltDeg = 5 * strength;
  return parseScene({
    name: `circle ${fault}`,
    seed: 100 + index,
    sky: {
      seed: 700 + index,
      extentArcmin: [26, 20],
      starsPerSquareArcmin: 0.5 + 0.5 * random(),
      brightestMagnitude: 8.5,
      faintestMagnitude: 13.5,
      minimumSeparationArcsec: 30,
    },
    atmosphere: { seeingArcsec: 2.8 + 1.2 * random() },
    telescope: {
      name: 'invented refractor 80/480',
      apertureMm: 80,
      focalLengthMm: 480,
      colour: { kind: 'none' },
      fieldCurvatureAtCornerUm: fault === 'curvature' ? sign * 260 * strength : 0,
      astigmatismAtCornerUm: fault === 'curvature' ? sign * 80 * strength : 0,
      comaAtCornerNm: fault === 'coma' ? 550 * strength : 0,
      sensorTiltDeg:
        fault === 'tilt' ? [tiltDeg * Math.cos(azimuth), tiltDeg * Math.sin(azimuth)] : [0, 0],
    },
    camera: {
      widthPx: 800,
      heightPx: 600,
      layout: index % 8 < 4 ? 'mono' : 'cfa',
      hotPixels: 10,
      cosmicRays: 2,
    },
    rendering: {
      fieldNodes: [7, 5],
      temperatureClasses: 1,
      sliceNm: 40,
      radiusPx: 16,
    },
  });
}

export function simulatedFrame(scene: Scene): Frame {
  const { frame } = simulate(scene);
  const { telescope, camera } = scene;
  return memoryFrame({
    width: frame.width,
    height: frame.height,
    data: frame.data,
    layout: camera.layout,
    metadata: {
      gainElectronsPerAdu: camera.gainElectronsPerAdu,
      pedestalAdu: camera.pedestalAdu,
      pixelSizeUm: camera.pixelUm,
      focalLengthMm: telescope.focalLengthMm,
      apertureMm: telescope.apertureMm,
    },
  });
}
