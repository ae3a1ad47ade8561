/** Invented telescopes for the comparison's benchmark: star images by wave optics, computed once, laid at random skies many times. */
import type { Frame } from '../../src/frame/frame.js';
import type { Band } from '../../src/simulate/bands.js';
import { brightnessEnvelope, firstMoments } from '../../src/simulate/image-moments.js';
import { backgroundNoise, expose } from '../../src/simulate/noise.js';
import {
  cellWeights,
  OpticalTrain,
  scaleArcsecPerPx,
  sceneBands,
} from '../../src/simulate/optical-train.js';
import { type ChannelTruth, measureImage } from '../../src/simulate/profile-truth.js';
import type { ImageGrid } from '../../src/simulate/pupil.js';
import { renderMeanImages } from '../../src/simulate/render.js';
import { parseScene, type Scene, type SceneInput } from '../../src/simulate/scene.js';
import { latticesOf } from '../../src/simulate/sites.js';
import { drawSources, zeroMagnitudeElectrons } from '../../src/simulate/sky.js';
import { addStarImage } from '../../src/simulate/stamp.js';
import { memoryFrame } from '../../tests/helpers/memory-frame.js';

/** What is to be varied; all stars are of one temperature, so that one image per band serves all. */
export interface TelescopeOptions {
  apertureMm: number;
  focalLengthMm: number;
  /** Colour error as a share of the classical achromat's; 0 = none. */
  colour: number;
  seeingArcsec: number;
  pixelUm: number;
  defocusUm?: number;
  exposureSeconds?: number;
}

export interface Telescope {
  options: TelescopeOptions;
  scene: Scene;
  scaleArcsecPerPx: number;
  grid: ImageGrid;
  images: Record<string, Float32Array>;
  /** How bright each image is beyond a radius, per px² of a star of flux 1. */
  envelopes: Record<string, Float64Array>;
  channels: Partial<Record<Band, ChannelTruth>>;
}

/** How one frame is pointed and turned, and which sky and noise it gets. */
export interface Pointing {
  skySeed: number;
  noiseSeed: number;
  rotationDeg: number;
  pointingPx: readonly [number, number];
  /** Left out: that of all other frames. */
  dateObs?: string;
}

const TEMPERATURE_K = 5600;
const MARGIN_PX = 60;
/** Star images end where they fall below this share of the noise of one pixel. */
const CUT_SIGMA = 0.002;

/** Frames cover about this sky whatever the pixel; a little more for coarse pixels. */
const FIELD_ARCSEC: readonly [number, number] = [720, 560];

function sceneInput(options: TelescopeOptions): SceneInput {
  const { apertureMm, focalLengthMm, colour, seeingArcsec, pixelUm } = options;
  const scale = (206.264806 * pixelUm) / focalLengthMm;
  const even = (arcsec: number): number => 2 * Math.round(arcsec / scale / 2);
  return {
    name: 'comparison',
    exposureSeconds: options.exposureSeconds ?? 60,
    sky: {
      extentArcmin: [20, 20],
      starsPerSquareArcmin: 1.5,
      brightestMagnitude: 9,
      faintestMagnitude: 14.5,
      countSlope: 0.3,
      medianTemperatureK: TEMPERATURE_K,
      temperatureScatterDex: 0,
    },
    atmosphere: { seeingArcsec },
    guiding: { jitterArcsec: 0.5 },
    telescope: {
      apertureMm,
      focalLengthMm,
      defocusUm: options.defocusUm ?? 0,
      colour: colour === 0 ? { kind: 'none' } : { kind: 'scaled', factor: colour },
    },
    camera: {
      pixelUm,
      widthPx: even(FIELD_ARCSEC[0]),
      heightPx: even(FIELD_ARCSEC[1]),
      hotPixels: 5,
      cosmicRays: 1,
    },
    rendering: { sliceNm: 15, blurStepPx: 2.5, radiusPx: 64 },
  };
}

/** Computes the star images of a telescope: some seconds. */
export function makeTelescope(options: TelescopeOptions): Telescope {
  const scene = parseScene(sceneInput(options));
  const cells = new OpticalTrain(scene).spectralCells();
  const spectra = Object.fromEntries(
    sceneBands(scene).map((band) => [band, cellWeights(cells, band, TEMPERATURE_K)]),
  );
  const { grid, images } = renderMeanImages(scene, spectra);
  const { size, perPixel } = grid;
  const channels: Telescope['channels'] = {};
  const envelopes: Telescope['envelopes'] = {};
  for (const [band, image] of Object.entries(images)) {
    channels[band as Band] = measureImage(
      image,
      size,
      perPixel,
      firstMoments(image, size, perPixel),
    );
    envelopes[band] = brightnessEnvelope(image, size, perPixel);
  }
  const scale = scaleArcsecPerPx(scene);
  return { options, scene, scaleArcsecPerPx: scale, grid, images, envelopes, channels };
}

/** One exposure of a random sky. */
export function takeFrame(telescope: Telescope, pointing: Pointing, path: string): Frame {
  const { options, grid, images, envelopes } = telescope;
  const scene: Scene = {
    ...telescope.scene,
    seed: pointing.noiseSeed,
    sky: { ...telescope.scene.sky, seed: pointing.skySeed },
    camera: {
      ...telescope.scene.camera,
      rotationDeg: pointing.rotationDeg,
      pointingPx: [...pointing.pointingPx],
    },
  };
  const { widthPx: width, heightPx: height, layout, cfa } = scene.camera;
  const sources = drawSources(scene, MARGIN_PX);
  const light = new Float32Array(width * height);
  const noise = backgroundNoise(scene);
  for (const band of sceneBands(scene)) {
    const zero = zeroMagnitudeElectrons(scene, band, TEMPERATURE_K);
    const envelope = envelopes[band];
    for (let i = 0; i < sources.length; i++) {
      const flux = zero * 10 ** (-0.4 * sources.magnitude[i]);
      const limit = (CUT_SIGMA * (noise[band] ?? 1)) / flux;
      let radius = 2;
      while (radius < envelope.length - 1 && envelope[radius] > limit) radius++;
      for (const lattice of latticesOf(layout, cfa, band).lattices) {
        addStarImage(
          light,
          width,
          height,
          lattice,
          images[band],
          grid.size,
          grid.perPixel,
          sources.xPx[i],
          sources.yPx[i],
          flux,
          radius,
        );
      }
    }
  }
  const { data } = expose(scene, [light]);
  return memoryFrame({
    width,
    height,
    data,
    layout: 'cfa',
    cfa,
    path,
    metadata: {
      exposureSeconds: scene.exposureSeconds,
      gainElectronsPerAdu: scene.camera.gainElectronsPerAdu,
      pixelSizeUm: options.pixelUm,
      focalLengthMm: options.focalLengthMm,
      apertureMm: options.apertureMm,
      dateObs: pointing.dateObs ?? scene.dateObs,
      pedestalAdu: scene.camera.pedestalAdu,
      saturationAdu: Math.min(
        65535,
        scene.camera.fullWellElectrons / scene.camera.gainElectronsPerAdu +
          scene.camera.pedestalAdu,
      ),
    },
  });
}
