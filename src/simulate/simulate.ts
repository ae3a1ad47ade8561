/** A scene in, a frame with its header cards and its truth out. Pure: the same scene gives the same numbers. */
import type { Band } from './bands.js';
import { type Card, sceneCards } from './cards.js';
import { firstMoments } from './image-moments.js';
import {
  backgroundNoise,
  clippingAdu,
  clippingElectrons,
  type ExposedFrame,
  expose,
} from './noise.js';
import {
  cellWeights,
  OpticalTrain,
  perfectTwin,
  referenceBand,
  sceneBands,
} from './optical-train.js';
import { type ChannelTruth, measureImage } from './profile-truth.js';
import type { ImageGrid } from './pupil.js';
import { type Rendering, renderMeanImages, renderSources } from './render.js';
import { parseScene, type Scene, type SceneInput } from './scene.js';
import { drawSources, type PointSources, skyElectrons } from './sky.js';
import { bandTruth, imageTruth, lensTruth, type StarTruth, type Truth } from './truth.js';

/** Samples of a frame: planes one after the other, row-major; ADU. */
export interface SimulatedFrame {
  width: number;
  height: number;
  planes: number;
  data: Uint16Array | Float32Array;
}

export interface Simulation {
  frame: SimulatedFrame;
  cards: Card[];
  truth: Truth;
}

/** Stars this far outside the frame still send light into it. */
const MARGIN_PX = 60;

/**
 * Simulates one exposure.
 * @throws ParameterError when the scene is not valid.
 */
export function simulate(input: SceneInput | Scene): Simulation {
  const scene = parseScene(input);
  const sources = drawSources(scene, MARGIN_PX);
  const rendering = renderSources(scene, sources, backgroundNoise(scene), clippingElectrons(scene));
  const perfect = renderMeanImages(perfectTwin(scene), rendering.meanCellWeights);
  const exposed = expose(scene, rendering.planes);
  return {
    frame: {
      width: exposed.width,
      height: exposed.height,
      planes: exposed.planes,
      data: exposed.data,
    },
    cards: sceneCards(scene),
    truth: collectTruth(
      scene,
      sources,
      rendering,
      exposed,
      measureImages(perfect.images, perfect.grid),
    ),
  };
}

function measureImages(
  images: Readonly<Record<string, Float32Array>>,
  { size, perPixel }: ImageGrid,
): Partial<Record<Band, ChannelTruth>> {
  const out: Partial<Record<Band, ChannelTruth>> = {};
  for (const [band, image] of Object.entries(images))
    out[band as Band] = measureImage(image, size, perPixel, firstMoments(image, size, perPixel));
  return out;
}

function collectTruth(
  scene: Scene,
  sources: PointSources,
  rendering: Rendering,
  exposed: ExposedFrame,
  perfectChannels: Partial<Record<Band, ChannelTruth>>,
): Truth {
  const train = new OpticalTrain(scene);
  const { camera } = scene;
  const sky = skyElectrons(scene);
  const dark = camera.darkElectronsPerSecond * scene.exposureSeconds;
  const toAdu = (electrons: number) => electrons / camera.gainElectronsPerAdu;
  const noise = backgroundNoise(scene);
  const perBand = (value: (band: Band) => number) =>
    Object.fromEntries(rendering.bands.map((band) => [band, value(band)]));
  return {
    schema: 'bluerim/truth/1',
    pixelOrigin: 'the centre of the first stored pixel is (0, 0); x along NAXIS1, y along NAXIS2',
    note: 'Simulated frame of an invented telescope. Sizes are of the recorded image, pixel included.',
    scene,
    scaleArcsecPerPx: train.scale,
    lens: lensTruth(train, meanSquareDefocus(train, sceneBands(scene))),
    bands: bandTruth(rendering.bands),
    camera: {
      gainElectronsPerAdu: camera.gainElectronsPerAdu,
      readNoiseElectrons: camera.readNoiseElectrons,
      clippingElectrons: clippingElectrons(scene),
      clippingAdu: clippingAdu(scene),
      backgroundElectrons: perBand((band) => (sky[band] ?? 0) + dark),
      backgroundAdu: perBand((band) => toAdu((sky[band] ?? 0) + dark) + camera.pedestalAdu),
      backgroundNoiseAdu: perBand((band) => toAdu(noise[band] ?? 0)),
    },
    ...imageTruth(measureImages(rendering.meanImages, rendering.grid)),
    perfectLens: imageTruth(perfectChannels),
    stars: starTruths(scene, sources, rendering, exposed),
    galaxies: galaxyTruths(sources),
    hotPixels: exposed.hotPixels,
    cosmicRayPixels: exposed.cosmicRayPixels,
    largestCutSigma: rendering.largestCutSigma,
  };
}

/** Light-weighted mean of the squared axial defocus of each band, µm². */
function meanSquareDefocus(
  train: OpticalTrain,
  bands: readonly Band[],
): Partial<Record<Band, number>> {
  const cells = train.spectralCells();
  const out: Partial<Record<Band, number>> = {};
  for (const band of bands) {
    const weights = cellWeights(cells, band, 5600);
    let sum = 0;
    for (let i = 0; i < cells.length; i++) {
      let square = 0;
      let total = 0;
      for (const { wavelengthNm, weight } of cells[i].nodes) {
        square += weight * train.axialDefocusUm(wavelengthNm) ** 2;
        total += weight;
      }
      sum += (weights[i] * square) / total;
    }
    out[band] = sum;
  }
  return out;
}

function starTruths(
  scene: Scene,
  sources: PointSources,
  rendering: Rendering,
  exposed: ExposedFrame,
): StarTruth[] {
  const reference = referenceBand(scene);
  const { widthPx, heightPx, gainElectronsPerAdu } = scene.camera;
  const stars: StarTruth[] = [];
  for (let i = 0; i < sources.length; i++) {
    if (sources.galaxy[i] >= 0) continue;
    const star: StarTruth = {
      x: sources.xPx[i] + rendering.offsetX[reference][i],
      y: sources.yPx[i] + rendering.offsetY[reference][i],
      channelX: {},
      channelY: {},
      fluxElectrons: {},
      fluxAdu: {},
      magnitude: sources.magnitude[i],
      temperatureK: sources.temperatureK[i],
      clipped: false,
      inFrame: false,
    };
    for (const band of rendering.bands) {
      star.channelX[band] = sources.xPx[i] + rendering.offsetX[band][i];
      star.channelY[band] = sources.yPx[i] + rendering.offsetY[band][i];
      star.fluxElectrons[band] = rendering.fluxElectrons[band][i];
      star.fluxAdu[band] = rendering.fluxElectrons[band][i] / gainElectronsPerAdu;
    }
    star.inFrame =
      star.x > -0.5 && star.y > -0.5 && star.x < widthPx - 0.5 && star.y < heightPx - 0.5;
    star.clipped = star.inFrame && clips(scene, exposed, star.x, star.y);
    stars.push(star);
  }
  return stars;
}

/** True when a sample within 2 px of (x, y) stands at the clipping level in any plane. */
function clips(scene: Scene, exposed: ExposedFrame, x: number, y: number): boolean {
  // A full well still carries read noise: 4 σ below the level counts as clipped.
  const { readNoiseElectrons, gainElectronsPerAdu, bits } = scene.camera;
  const level = clippingAdu(scene);
  const limit =
    level >= 2 ** bits - 1 ? level : level - (4 * readNoiseElectrons) / gainElectronsPerAdu - 1;
  const { width, height, planes, data } = exposed;
  for (let plane = 0; plane < planes; plane++)
    for (let row = Math.round(y) - 2; row <= Math.round(y) + 2; row++)
      for (let column = Math.round(x) - 2; column <= Math.round(x) + 2; column++) {
        if (row < 0 || column < 0 || row >= height || column >= width) continue;
        if (data[(plane * height + row) * width + column] >= limit) return true;
      }
  return false;
}

function galaxyTruths(sources: PointSources): Truth['galaxies'] {
  const sums: { x: number; y: number; count: number; magnitude: number }[] = [];
  for (let i = 0; i < sources.length; i++) {
    const index = sources.galaxy[i];
    if (index < 0) continue;
    sums[index] ??= { x: 0, y: 0, count: 0, magnitude: 0 };
    const sum = sums[index];
    sum.x += sources.xPx[i];
    sum.y += sources.yPx[i];
    sum.count++;
    sum.magnitude = sources.magnitude[i];
  }
  return sums
    .filter((sum) => sum !== undefined)
    .map((sum) => ({
      x: sum.x / sum.count,
      y: sum.y / sum.count,
      magnitude: sum.magnitude - 2.5 * Math.log10(sum.count),
    }));
}
