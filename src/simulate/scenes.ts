/** Built-in scenes. Every telescope and camera here is invented; so is the sky. */
import { ParameterError } from '../errors.js';
import { parseScene, type Scene, type SceneInput } from './scene.js';

/** The one sky that the demonstration lenses look at: about one star in 32 × 32 px, faint ones included. */
const DEMO_SKY = {
  seed: 2026,
  extentArcmin: [60, 45],
  starsPerSquareArcmin: 1.35,
  brightestMagnitude: 7,
  faintestMagnitude: 15.5,
  backgroundGradient: [0.08, -0.05],
} satisfies SceneInput['sky'];

/** A scene of the demonstration sky through one invented lens of 80 mm aperture and 480 mm focal length. */
function demoScene(
  name: string,
  description: string,
  seed: number,
  telescope: SceneInput['telescope'],
): SceneInput {
  return {
    name,
    description,
    seed,
    exposureSeconds: 60,
    sky: DEMO_SKY,
    atmosphere: { seeingArcsec: 2.5 },
    guiding: { jitterArcsec: 0.5 },
    telescope: { apertureMm: 80, focalLengthMm: 480, cornerIllumination: 0.85, ...telescope },
  };
}

/** The same, cut to 400 × 300 px with a denser sky: for fast tests. */
function smallScene(scene: SceneInput, name: string): SceneInput {
  return {
    ...scene,
    name,
    sky: { ...DEMO_SKY, extentArcmin: [18, 14], starsPerSquareArcmin: 1.2, brightestMagnitude: 9 },
    camera: { widthPx: 400, heightPx: 300, hotPixels: 8, cosmicRays: 1 },
    rendering: { temperatureClasses: 3, sliceNm: 20, blurStepPx: 3, radiusPx: 60 },
  };
}

const ACHROMAT = demoScene(
  'achromat',
  'Invented short achromat, 80 mm f/6, crown N-BK7 and flint F2, colour-corrected at F and C.',
  11,
  { name: 'invented achromat 80/480', colour: { kind: 'achromat' } },
);
const ED = demoScene(
  'ed',
  "Invented doublet with special-dispersion glass, 80 mm f/6: a tenth of the achromat's colour error.",
  12,
  { name: 'invented ED doublet 80/480', colour: { kind: 'scaled', factor: 0.1 } },
);
const APO = demoScene(
  'apo',
  "Invented apochromat, 80 mm f/6: a thirtieth of the achromat's colour error.",
  13,
  { name: 'invented apochromat 80/480', colour: { kind: 'scaled', factor: 0.03 } },
);
const CONTROL = demoScene(
  'control',
  'Invented lens without any colour error, 80 mm f/6: what remains is air, diffraction and pixels.',
  14,
  { name: 'invented control 80/480', colour: { kind: 'none' } },
);

/** A camera that sits crooked: focus changes from side to side. */
const TILTED = demoScene(
  'tilted',
  'Invented apochromat, 80 mm f/6, with the sensor tilted by 1.2 degrees: soft to the left and right.',
  15,
  {
    name: 'invented apochromat 80/480, tilted sensor',
    colour: { kind: 'scaled', factor: 0.03 },
    sensorTiltDeg: [1.2, 0.2],
  },
);

const SCENES: readonly SceneInput[] = [
  ACHROMAT,
  ED,
  APO,
  CONTROL,
  TILTED,
  smallScene(ACHROMAT, 'small-achromat'),
  smallScene(ED, 'small-ed'),
  smallScene(CONTROL, 'small-control'),
];

/** Names of the built-in scenes. */
export const SCENE_NAMES: readonly string[] = SCENES.map((scene) => scene.name);

/**
 * A built-in scene, complete with defaults.
 * @throws ParameterError when there is no scene of that name.
 */
export function builtInScene(name: string): Scene {
  const scene = SCENES.find((candidate) => candidate.name === name);
  if (!scene) throw new ParameterError('scene', name, SCENE_NAMES.join(', '));
  return parseScene(scene);
}
