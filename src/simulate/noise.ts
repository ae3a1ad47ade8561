/** From expected light to recorded numbers: background, photon noise, defects, clipping, conversion. */
import { poisson } from '../stats/poisson.js';
import { createRandom, normal } from '../stats/random.js';
import type { Band } from './bands.js';
import { OpticalTrain, scaleArcsecPerPx } from './optical-train.js';
import type { Scene } from './scene.js';
import { skyElectrons } from './sky.js';

/** A defect that was put in: the sample and its extra electrons. */
export interface Defect {
  x: number;
  y: number;
  plane: number;
  electrons: number;
}

/** A recorded frame: planes one after the other, row-major. */
export interface ExposedFrame {
  width: number;
  height: number;
  planes: number;
  /** Uint16Array of ADU; Float32Array of expected ADU when the scene is noise-free. */
  data: Uint16Array | Float32Array;
  hotPixels: Defect[];
  cosmicRayPixels: Defect[];
}

/** The electrons at which a sample clips: full well or the converter's end, whichever comes first. */
export function clippingElectrons(scene: Scene): number {
  const { fullWellElectrons, bits, gainElectronsPerAdu, pedestalAdu } = scene.camera;
  return Math.min(fullWellElectrons, (2 ** bits - 1 - pedestalAdu) * gainElectronsPerAdu);
}

/** Recorded level of a clipped sample, ADU. */
export function clippingAdu(scene: Scene): number {
  const { bits, gainElectronsPerAdu, pedestalAdu } = scene.camera;
  return Math.min(2 ** bits - 1, clippingElectrons(scene) / gainElectronsPerAdu + pedestalAdu);
}

/** Noise of one background pixel per band, electrons. */
export function backgroundNoise(scene: Scene): Partial<Record<Band, number>> {
  const { readNoiseElectrons, darkElectronsPerSecond } = scene.camera;
  const dark = darkElectronsPerSecond * scene.exposureSeconds;
  const out: Partial<Record<Band, number>> = {};
  for (const [band, sky] of Object.entries(skyElectrons(scene)))
    out[band as Band] = Math.sqrt(sky + dark + readNoiseElectrons ** 2 + 1e-3);
  return out;
}

/** The band recorded at a sample. */
function bandAt(scene: Scene, plane: number, x: number, y: number): Band {
  const { layout, cfa } = scene.camera;
  if (layout === 'mono') return 'L';
  if (layout === 'rgb') return 'RGB'[plane] as Band;
  return cfa[(y & 1) * 2 + (x & 1)] as Band;
}

/** Adds the background to `starLight` (electrons, changed in place), then exposes it. */
export function expose(scene: Scene, starLight: readonly Float32Array[]): ExposedFrame {
  const { widthPx: width, heightPx: height, noise } = scene.camera;
  const planes = starLight.length;
  for (let plane = 0; plane < planes; plane++) addBackground(scene, plane, starLight[plane]);
  const { gainElectronsPerAdu: gain, pedestalAdu: pedestal } = scene.camera;
  const count = width * height;
  if (!noise) {
    const data = new Float32Array(count * planes);
    for (let plane = 0; plane < planes; plane++)
      for (let i = 0; i < count; i++)
        data[plane * count + i] = starLight[plane][i] / gain + pedestal;
    return { width, height, planes, data, hotPixels: [], cosmicRayPixels: [] };
  }
  // Separate streams: the number of defects does not change the noise of the other pixels.
  const defects = createRandom(scene.seed ^ 0x5bd1e995);
  const hotPixels = drawHotPixels(scene, planes, defects);
  for (const { x, y, plane, electrons } of hotPixels) starLight[plane][y * width + x] += electrons;
  const cosmicRayPixels = drawCosmicRays(scene, planes, defects);
  const data = new Uint16Array(count * planes);
  const random = createRandom(scene.seed);
  for (let plane = 0; plane < planes; plane++) {
    const struck = new Map<number, number>();
    for (const defect of cosmicRayPixels)
      if (defect.plane === plane) struck.set(defect.y * width + defect.x, defect.electrons);
    const samples = data.subarray(plane * count, (plane + 1) * count);
    recordSamples(starLight[plane], scene.camera, struck, random, samples);
  }
  return { width, height, planes, data, hotPixels, cosmicRayPixels };
}

/** How a sensor turns electrons into numbers. */
export type Detector = Pick<
  Scene['camera'],
  'readNoiseElectrons' | 'fullWellElectrons' | 'gainElectronsPerAdu' | 'pedestalAdu' | 'bits'
>;

/**
 * Photon noise, full well, read noise, conversion, rounding, converter's end.
 * @param extra electrons added to single samples after the photon noise, by index
 */
export function recordSamples(
  electrons: Float32Array,
  detector: Detector,
  extra: ReadonlyMap<number, number>,
  random: () => number,
  out: Uint16Array,
): void {
  const { readNoiseElectrons, fullWellElectrons, gainElectronsPerAdu, pedestalAdu, bits } =
    detector;
  const top = 2 ** bits - 1;
  for (let i = 0; i < electrons.length; i++) {
    let charge = poisson(electrons[i], random);
    if (extra.size > 0) charge += extra.get(i) ?? 0;
    if (charge > fullWellElectrons) charge = fullWellElectrons;
    const volts = charge + readNoiseElectrons * normal(random);
    const adu = Math.round(volts / gainElectronsPerAdu + pedestalAdu);
    out[i] = Math.max(0, Math.min(adu, top));
  }
}

/** Sky with its gradient and nebulae, dimmed like the stars towards the corners, and dark current. */
function addBackground(scene: Scene, plane: number, light: Float32Array): void {
  const { widthPx: width, heightPx: height } = scene.camera;
  const { backgroundGradient } = scene.sky;
  const train = new OpticalTrain(scene);
  const sky = skyElectrons(scene);
  const dark = scene.camera.darkElectronsPerSecond * scene.exposureSeconds;
  const clouds = projectNebulae(scene);
  for (let y = 0; y < height; y++) {
    const dy = y - (height - 1) / 2;
    const levels = [bandAt(scene, plane, 0, y), bandAt(scene, plane, 1, y)];
    for (let x = 0; x < width; x++) {
      const dx = x - (width - 1) / 2;
      const band = levels[x & 1];
      let brightness =
        1 + backgroundGradient[0] * (dx / width) + backgroundGradient[1] * (dy / height);
      for (let k = 0; k < clouds.length; k++) {
        const cloud = clouds[k];
        const u = cloud.a * (x - cloud.x) + cloud.b * (y - cloud.y);
        const v = cloud.c * (x - cloud.x) + cloud.d * (y - cloud.y);
        const square = u * u + v * v;
        if (square < 60) brightness += cloud.peak[band] * Math.exp(-square / 2);
      }
      light[y * width + x] +=
        dark + (sky[band] ?? 0) * Math.max(0, brightness) * train.illumination(dx, dy);
    }
  }
}

interface Cloud {
  x: number;
  y: number;
  /** (a b; c d) maps px offsets to units of the two standard deviations. */
  a: number;
  b: number;
  c: number;
  d: number;
  peak: Record<Band, number>;
}

function projectNebulae(scene: Scene): Cloud[] {
  const { widthPx, heightPx, rotationDeg, pointingPx } = scene.camera;
  const scale = scaleArcsecPerPx(scene);
  const turn = (rotationDeg * Math.PI) / 180;
  return scene.sky.nebulae.map((nebula) => {
    const angle = turn + (nebula.angleDeg * Math.PI) / 180;
    const [major, minor] = [nebula.sigmaArcsec[0] / scale, nebula.sigmaArcsec[1] / scale];
    const cos = Math.cos(turn) / scale;
    const sin = Math.sin(turn) / scale;
    return {
      x: (widthPx - 1) / 2 + pointingPx[0] + cos * nebula.xArcsec - sin * nebula.yArcsec,
      y: (heightPx - 1) / 2 + pointingPx[1] + sin * nebula.xArcsec + cos * nebula.yArcsec,
      a: Math.cos(angle) / major,
      b: Math.sin(angle) / major,
      c: -Math.sin(angle) / minor,
      d: Math.cos(angle) / minor,
      peak: { ...nebula.peak, L: (nebula.peak.R + nebula.peak.G + nebula.peak.B) / 3 },
    };
  });
}

/** Extra electrons of a hot pixel: evenly spread in the logarithm between these. */
const HOT_PIXEL_ELECTRONS: readonly [number, number] = [300, 30000];

function drawHotPixels(scene: Scene, planes: number, random: () => number): Defect[] {
  const { widthPx, heightPx, hotPixels } = scene.camera;
  const [low, high] = HOT_PIXEL_ELECTRONS;
  const list: Defect[] = [];
  for (let i = 0; i < hotPixels; i++)
    list.push({
      x: Math.floor(random() * widthPx),
      y: Math.floor(random() * heightPx),
      plane: Math.floor(random() * planes),
      electrons: low * (high / low) ** random(),
    });
  return list;
}

/** Straight tracks of 1–15 px with 100–1000 electrons per px of path. */
function drawCosmicRays(scene: Scene, planes: number, random: () => number): Defect[] {
  const { widthPx, heightPx, cosmicRays } = scene.camera;
  const charges = new Map<string, Defect>();
  for (let i = 0; i < cosmicRays; i++) {
    const plane = Math.floor(random() * planes);
    const x0 = random() * widthPx;
    const y0 = random() * heightPx;
    const angle = 2 * Math.PI * random();
    const length = 1 + 14 * random() ** 3;
    const perPx = 100 * 10 ** random();
    const steps = Math.ceil(length * 10);
    for (let step = 0; step < steps; step++) {
      const x = Math.floor(x0 + (Math.cos(angle) * step) / 10);
      const y = Math.floor(y0 + (Math.sin(angle) * step) / 10);
      if (x < 0 || y < 0 || x >= widthPx || y >= heightPx) continue;
      const key = `${plane},${x},${y}`;
      const charge = (perPx * length) / steps;
      const known = charges.get(key);
      if (known) known.electrons += charge;
      else charges.set(key, { x, y, plane, electrons: charge });
    }
  }
  return [...charges.values()].map((defect) => ({
    ...defect,
    electrons: Math.round(defect.electrons),
  }));
}
