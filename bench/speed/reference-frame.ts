/** The frame of the speed benchmark: 26 megapixels of mosaic with about 3,000 stars, made once and kept. */
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, renameSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { encodeFits } from '../../src/frame/fits/write.js';
import type { SceneInput } from '../../src/simulate/scene.js';
import { builtInScene } from '../../src/simulate/scenes.js';
import { simulate } from '../../src/simulate/simulate.js';

const WIDTH = 6248;
const HEIGHT = 4176;

/** The built-in ED lens on a sensor of this size, under a thinner sky. */
function referenceScene(): SceneInput {
  const scene = builtInScene('ed');
  return {
    ...scene,
    name: 'speed reference',
    camera: { ...scene.camera, widthPx: WIDTH, heightPx: HEIGHT, hotPixels: 600, cosmicRays: 60 },
    // 168′ × 112′ at 1.616″ per px.
    sky: {
      ...scene.sky,
      extentArcmin: [170, 114],
      starsPerSquareArcmin: 0.16,
      brightestMagnitude: 7,
      faintestMagnitude: 14.5,
    },
  };
}

/** Path of the file in a cache folder of the system's temporary directory; its name carries a hash of the scene. */
export function referenceFrame(progress: (text: string) => void): string {
  const scene = referenceScene();
  const hash = createHash('sha256').update(JSON.stringify(scene)).digest('hex').slice(0, 12);
  const folder = join(tmpdir(), 'bluerim-bench');
  const path = join(folder, `reference-${hash}.fits`);
  if (existsSync(path)) return path;
  progress('simulating the reference frame: once, about a minute');
  mkdirSync(folder, { recursive: true });
  const { frame, cards } = simulate(scene);
  // Renamed when whole: an interrupted run leaves no half frame behind.
  writeFileSync(`${path}.part`, encodeFits(frame, cards));
  renameSync(`${path}.part`, path);
  return path;
}
