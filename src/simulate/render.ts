/** Expected star light of a scene, electrons per pixel, and the mean star image of each channel. */
import type { Band } from './bands.js';
import { brightnessEnvelope, firstMoments } from './image-moments.js';
import { cellWeights, OpticalTrain, sceneBands } from './optical-train.js';
import { PsfMaker, type PsfRequest } from './psf.js';
import type { ImageGrid } from './pupil.js';
import { fieldNodes, temperatureClasses } from './render-plan.js';
import type { Scene } from './scene.js';
import { latticesOf } from './sites.js';
import { type PointSources, zeroMagnitudeElectrons } from './sky.js';
import { addStarImage } from './stamp.js';

/** Star images end where they fall below this share of the noise of one pixel. */
const CUT_SIGMA = 0.002;

/** Light of a scene before noise. */
export interface Rendering {
  /** Electrons per pixel: one plane per channel, or one plane of mosaic sites. */
  planes: Float32Array[];
  grid: ImageGrid;
  bands: readonly Band[];
  /** Flux of each source in each band, electrons, illumination included. */
  fluxElectrons: Record<string, Float64Array>;
  /** First moments of each source's image about its nominal place, px. */
  offsetX: Record<string, Float64Array>;
  offsetY: Record<string, Float64Array>;
  /** Flux-weighted mean image of each band over the stars in the frame that do not clip, and its spectrum; without
   * any such star, the image of a star of middle temperature. */
  meanImages: Record<string, Float32Array>;
  meanCellWeights: Record<string, Float64Array>;
  /** Surface brightness at the rim of the largest star image, in units of the noise of one pixel. */
  largestCutSigma: number;
}

/**
 * Renders all sources.
 * @param noiseElectrons noise of one background pixel per band, for the extent of the star images
 * @param clipElectrons star light at which a sample clips; such stars do not count in the mean images
 */
export function renderSources(
  scene: Scene,
  sources: PointSources,
  noiseElectrons: Partial<Record<Band, number>>,
  clipElectrons: number,
): Rendering {
  const train = new OpticalTrain(scene);
  const grid = train.imageGrid();
  const maker = new PsfMaker(grid, train.focalRatio);
  const cells = train.spectralCells();
  const bands = sceneBands(scene);
  const { widthPx, heightPx, layout } = scene.camera;
  const perBand = () =>
    Object.fromEntries(bands.map((band) => [band, new Float64Array(sources.length)]));
  const out: Rendering = {
    planes: Array.from(
      { length: layout === 'rgb' ? 3 : 1 },
      () => new Float32Array(widthPx * heightPx),
    ),
    grid,
    bands,
    fluxElectrons: perBand(),
    offsetX: perBand(),
    offsetY: perBand(),
    meanImages: {},
    meanCellWeights: {},
    largestCutSigma: 0,
  };
  fillFluxes(scene, train, sources, out);
  const classes = temperatureClasses(scene, sources);
  const sets = bands.flatMap((band) =>
    classes.map((temperatureClass) => ({
      band,
      members: temperatureClass.members,
      cellWeights: cellWeights(cells, band, temperatureClass.temperatureK),
    })),
  );
  const sums = bands.map((band) => ({
    band,
    image: new Float64Array(grid.size * grid.size),
    cells: new Float64Array(cells.length),
    total: 0,
  }));
  const counted = new Uint8Array(sources.length);
  const [axisX, axisY] = scene.telescope.axisOffsetPx;
  fieldNodes(scene, sources).forEach((node, index) => {
    const dx = node.xPx - (widthPx - 1) / 2;
    const dy = node.yPx - (heightPx - 1) / 2;
    const requests: PsfRequest[] = sets.map((set) => ({
      cellWeights: set.cellWeights,
      offsetPx: train.bandLateralColourPx(set.band, dx - axisX, dy - axisY),
    }));
    const images = maker.make(cells, train.blurAt(dx, dy), requests);
    // The first node lies nearest the centre, where images are sharpest: it decides which stars clip.
    if (index === 0) markCounted(scene, sources, sets, images, clipElectrons, out, counted);
    for (let set = 0; set < images.length; set++) {
      const { band, members, cellWeights: spectrum } = sets[set];
      const image = images[set];
      const noise = noiseElectrons[band] ?? 1;
      const share = layImages(
        scene,
        train,
        sources,
        members,
        node.weights,
        band,
        image,
        noise,
        counted,
        out,
      );
      const sum = sums[bands.indexOf(band)];
      // Without a single unclipped star the mean is the image of the middle temperature at the first node.
      const middle = index === 0 && members === classes[classes.length >> 1].members;
      if (share > 0 || (middle && !counted.includes(1))) {
        const weight = share > 0 ? share : 1;
        for (let i = 0; i < image.length; i++) sum.image[i] += weight * image[i];
        for (let i = 0; i < spectrum.length; i++) sum.cells[i] += weight * spectrum[i];
        sum.total += weight;
      }
    }
  });
  for (const { band, image, cells: weights, total } of sums) {
    const mean = new Float32Array(image.length);
    for (let i = 0; i < mean.length; i++) mean[i] = image[i] / total;
    out.meanImages[band] = mean;
    out.meanCellWeights[band] = weights.map((value) => value / total);
  }
  return out;
}

/**
 * Mean star images of a scene whose optics do not vary over the field, for given spectra (`meanCellWeights` of a
 * rendering with the same bands and slices).
 */
export function renderMeanImages(
  scene: Scene,
  spectra: Readonly<Record<string, Float64Array>>,
): { grid: ImageGrid; images: Record<string, Float32Array> } {
  const train = new OpticalTrain(scene);
  const grid = train.imageGrid();
  const bands = sceneBands(scene);
  const images = new PsfMaker(grid, train.focalRatio).make(
    train.spectralCells(),
    train.blurAt(0, 0),
    bands.map((band) => ({ cellWeights: spectra[band], offsetPx: [0, 0] as const })),
  );
  return { grid, images: Object.fromEntries(bands.map((band, i) => [band, images[i]])) };
}

/** Marks the stars in the frame whose brightest sample stays below `clipElectrons` in every band. */
function markCounted(
  scene: Scene,
  sources: PointSources,
  sets: readonly { band: Band; members: Int32Array }[],
  images: readonly Float32Array[],
  clipElectrons: number,
  out: Rendering,
  counted: Uint8Array,
): void {
  const { widthPx, heightPx } = scene.camera;
  const { perPixel } = out.grid;
  for (let i = 0; i < sources.length; i++) {
    const x = sources.xPx[i];
    const y = sources.yPx[i];
    const inside = x > -0.5 && y > -0.5 && x < widthPx - 0.5 && y < heightPx - 0.5;
    counted[i] = inside && sources.galaxy[i] < 0 ? 1 : 0;
  }
  sets.forEach(({ band, members }, set) => {
    let peak = 0;
    const image = images[set];
    for (let i = 0; i < image.length; i++) if (image[i] > peak) peak = image[i];
    const limit = clipElectrons / (peak * perPixel * perPixel);
    for (const i of members) if (out.fluxElectrons[band][i] > limit) counted[i] = 0;
  });
}

function fillFluxes(
  scene: Scene,
  train: OpticalTrain,
  sources: PointSources,
  out: Rendering,
): void {
  const { widthPx, heightPx } = scene.camera;
  for (const band of out.bands) {
    const flux = out.fluxElectrons[band];
    for (let i = 0; i < sources.length; i++) {
      const dx = sources.xPx[i] - (widthPx - 1) / 2;
      const dy = sources.yPx[i] - (heightPx - 1) / 2;
      flux[i] =
        10 ** (-0.4 * sources.magnitude[i]) *
        zeroMagnitudeElectrons(scene, band, sources.temperatureK[i]) *
        train.illumination(dx, dy);
    }
  }
}

/** Adds the images of some sources at one field node; returns their flux in the mean image. */
function layImages(
  scene: Scene,
  train: OpticalTrain,
  sources: PointSources,
  members: Int32Array,
  nodeWeights: Float64Array,
  band: Band,
  image: Float32Array,
  noise: number,
  counted: Uint8Array,
  out: Rendering,
): number {
  const { widthPx, heightPx } = scene.camera;
  const { size, perPixel } = out.grid;
  const { plane, lattices } = latticesOf(scene.camera.layout, scene.camera.cfa, band);
  const frame = out.planes[plane];
  const envelope = brightnessEnvelope(image, size, perPixel);
  const [momentX, momentY] = firstMoments(image, size, perPixel);
  const flux = out.fluxElectrons[band];
  const offsetX = out.offsetX[band];
  const offsetY = out.offsetY[band];
  const [axisX, axisY] = scene.telescope.axisOffsetPx;
  let share = 0;
  for (let member = 0; member < members.length; member++) {
    const i = members[member];
    const light = flux[i] * nodeWeights[i];
    if (light === 0) continue;
    const [lateralX, lateralY] = train.bandLateralColourPx(
      band,
      sources.xPx[i] - (widthPx - 1) / 2 - axisX,
      sources.yPx[i] - (heightPx - 1) / 2 - axisY,
    );
    offsetX[i] += nodeWeights[i] * (momentX + lateralX);
    offsetY[i] += nodeWeights[i] * (momentY + lateralY);
    const x = sources.xPx[i] + lateralX;
    const y = sources.yPx[i] + lateralY;
    // The whole star, not this node's part of it, decides where the image ends.
    const limit = (CUT_SIGMA * noise) / flux[i];
    let radius = 2;
    while (radius < envelope.length - 1 && envelope[radius] > limit) radius++;
    if (radius === envelope.length - 1)
      out.largestCutSigma = Math.max(out.largestCutSigma, (flux[i] * envelope[radius]) / noise);
    for (const lattice of lattices)
      addStarImage(frame, widthPx, heightPx, lattice, image, size, perPixel, x, y, light, radius);
    if (counted[i] !== 0) share += light;
  }
  return share;
}
