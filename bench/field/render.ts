/** Frames of star fields with known aberrations, by wave optics: in green (or mono) every star at its own place, without interpolation
 * over the field; in red and blue at the nearest of 7 × 5 places.
 *
 * One wavelength per band. Uses the simulator's Fourier transform and noise; shares nothing with the estimators.
 */
import type { Frame } from '../../src/frame/frame.js';
import type { Band } from '../../src/simulate/bands.js';
import { Fft2d } from '../../src/simulate/fft2d.js';
import { recordSamples } from '../../src/simulate/noise.js';
import { PupilImager, type Wavefront } from '../../src/simulate/pupil.js';
import { latticesOf } from '../../src/simulate/sites.js';
import { addStarImage } from '../../src/simulate/stamp.js';
import { seeingTransfer } from '../../src/simulate/transfer.js';
import { createRandom } from '../../src/stats/random.js';
import { memoryFrame } from '../../tests/helpers/memory-frame.js';

/** Lengths in µm on the sensor side, angles in degrees, field places in units of the half diagonal. */
export interface FieldScene {
  seed: number;
  layout: 'mono' | 'cfa';
  width: number;
  height: number;
  pixelUm: number;
  focalRatio: number;
  focalLengthMm: number;
  stars: number;
  /** Signal-to-noise of the faintest and the brightest star, roughly. */
  snr: [number, number];
  seeingPx: number;
  jitterPx: number;
  driftPx: [number, number];
  defocusUm: number;
  /** Focus change from the centre to the corner's distance along x and y. */
  tiltUm: [number, number];
  curvatureUm: number;
  /** Common centre of curvature, astigmatism and linear coma. */
  centre: [number, number];
  /** Half distance of the two foci at distance 1. */
  astigmatismUm: number;
  comaCornerNm: number;
  comaConstantNm: [number, number];
  sphericalNm: number;
  /** Blue minus green at distance 1, px; red gets minus half of it. */
  lateralPx: number;
  /** Blue minus green everywhere, px; red gets minus half of it. */
  dispersionPx: [number, number];
  /** Focus of blue and red against green. */
  blueFocusUm: number;
  redFocusUm: number;
  /** Sky electrons; change from left to right; a cloud. */
  sky: number;
  gradient: number;
  nebula: number;
  /** Share of the stars gathered in an off-centre cluster. */
  clustered: number;
  /** Turn of the camera against the tube: the tube's errors turn by minus this angle in the frame. */
  cameraDeg: number;
}

export const SOUND: FieldScene = {
  seed: 1,
  layout: 'mono',
  width: 1000,
  height: 750,
  pixelUm: 3.76,
  focalRatio: 5.5,
  focalLengthMm: 440,
  stars: 180,
  snr: [20, 600],
  seeingPx: 2,
  jitterPx: 0.25,
  driftPx: [0, 0],
  defocusUm: 0,
  tiltUm: [0, 0],
  curvatureUm: 0,
  centre: [0, 0],
  astigmatismUm: 0,
  comaCornerNm: 0,
  comaConstantNm: [0, 0],
  sphericalNm: 0,
  lateralPx: 0,
  dispersionPx: [0, 0],
  blueFocusUm: 0,
  redFocusUm: 0,
  sky: 120,
  gradient: 0,
  nebula: 0,
  clustered: 0,
  cameraDeg: 0,
};

const BANDS = {
  mono: [{ band: 'L', nm: 550 }],
  cfa: [
    { band: 'R', nm: 620 },
    { band: 'G', nm: 540 },
    { band: 'B', nm: 465 },
  ],
} as const;
const PER_PIXEL = 4;
const DETECTOR = {
  readNoiseElectrons: 2,
  fullWellElectrons: 90000,
  gainElectronsPerAdu: 1.5,
  pedestalAdu: 500,
  bits: 16,
};

/** Rotates a vector of the tube into the frame. */
function turned([x, y]: readonly [number, number], degrees: number): [number, number] {
  const angle = (-degrees * Math.PI) / 180;
  return [x * Math.cos(angle) - y * Math.sin(angle), x * Math.sin(angle) + y * Math.cos(angle)];
}

/** The wavefront of a star at (u, v), units of the half diagonal. */
function wavefrontAt(scene: FieldScene, u: number, v: number, nm: number): Wavefront {
  const [x0, y0] = turned(scene.centre, scene.cameraDeg);
  const x = u - x0;
  const y = v - y0;
  const r2 = x * x + y * y;
  const constant = turned(scene.comaConstantNm, scene.cameraDeg);
  const colourFocus = nm < 500 ? scene.blueFocusUm : nm > 600 ? scene.redFocusUm : 0;
  return {
    defocusUm:
      scene.defocusUm +
      scene.tiltUm[0] * u +
      scene.tiltUm[1] * v +
      scene.curvatureUm * r2 +
      colourFocus,
    astigmatismUm: Math.abs(scene.astigmatismUm) * r2,
    astigmatismAngle: Math.atan2(y, x) + (scene.astigmatismUm < 0 ? Math.PI / 2 : 0),
    sphericalNm: scene.sphericalNm,
    comaXNm: scene.comaCornerNm * x + constant[0],
    comaYNm: scene.comaCornerNm * y + constant[1],
  };
}

/** Displacement of a band's light by lateral colour and dispersion, px. */
function displacementAt(scene: FieldScene, u: number, v: number, band: string): [number, number] {
  const share = band === 'B' ? 1 : band === 'R' ? -0.5 : 0;
  return [
    share * (scene.lateralPx * u + scene.dispersionPx[0]),
    share * (scene.lateralPx * v + scene.dispersionPx[1]),
  ];
}

const sinc = (x: number): number => (x === 0 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x));

/** What all stars share: seeing, pixel, jitter, drift, as a real transfer function on the grid. */
function commonTransfer(scene: FieldScene, size: number): Float64Array {
  const out = new Float64Array(size * size);
  for (let row = 0; row < size; row++)
    for (let column = 0; column < size; column++) {
      const x = ((column < size / 2 ? column : column - size) * PER_PIXEL) / size;
      const y = ((row < size / 2 ? row : row - size) * PER_PIXEL) / size;
      const square = x * x + y * y;
      const [driftX, driftY] = turned(scene.driftPx, scene.cameraDeg);
      out[row * size + column] =
        seeingTransfer(Math.sqrt(square), scene.seeingPx) *
        sinc(x) *
        sinc(y) *
        Math.exp(-2 * Math.PI * Math.PI * scene.jitterPx ** 2 * square) *
        sinc(x * driftX + y * driftY);
    }
  return out;
}

/** Makes star images of a scene. */
function createImager(scene: FieldScene) {
  let widest = 0;
  for (const u of [-1, 0, 1])
    for (const v of [-1, 0, 1]) {
      const s = Math.SQRT1_2;
      const w = wavefrontAt(scene, u * s, v * s, 465);
      const coma = (2 * scene.focalRatio * 8.5 * Math.hypot(w.comaXNm, w.comaYNm)) / 1000;
      const disc = (Math.abs(w.defocusUm) + w.astigmatismUm) / scene.focalRatio + coma;
      widest = Math.max(widest, disc / scene.pixelUm);
    }
  const size = widest / 2 + 3.2 * scene.seeingPx > 16 ? 256 : 128;
  const pupil = new PupilImager(
    { size, perPixel: PER_PIXEL, pixelUm: scene.pixelUm },
    scene.focalRatio,
  );
  const fft = new Fft2d(size);
  const transfer = commonTransfer(scene, size);
  const spectrum = new Float64Array(2 * size * size);
  const intensity = [new Float64Array(size * size), new Float64Array(size * size)];
  /** Images at two places of the field, origin at (size/2, size/2); one transform blurs both. */
  const pair = (places: readonly (readonly [number, number])[], nm: number): Float32Array[] => {
    intensity.forEach((image, k) => {
      image.fill(0);
      const place = places[k];
      if (place) pupil.addImage(nm, wavefrontAt(scene, place[0], place[1], nm), 1, image);
    });
    for (let i = 0; i < size * size; i++) {
      spectrum[2 * i] = intensity[0][i];
      spectrum[2 * i + 1] = intensity[1][i];
    }
    fft.transform(spectrum, false);
    for (let i = 0; i < size * size; i++) {
      spectrum[2 * i] *= transfer[i];
      spectrum[2 * i + 1] *= transfer[i];
    }
    fft.transform(spectrum, true);
    return places.map((_, k) => {
      const out = new Float32Array(size * size);
      for (let y = 0; y < size; y++)
        for (let x = 0; x < size; x++) {
          const at = ((y + size / 2) % size) * size + ((x + size / 2) % size);
          out[y * size + x] = spectrum[2 * at + k];
        }
      return out;
    });
  };
  return { size, pair };
}

/** Places at which red and blue images are made. */
const NODES_X = 7;
const NODES_Y = 5;

interface RenderedField {
  frame: Frame;
  /** Places of the stars, frame px, and in sky coordinates (camera turned back). */
  x: Float64Array;
  y: Float64Array;
}

/** Renders and exposes. */
export function renderField(scene: FieldScene): RenderedField {
  const { width, height, layout } = scene;
  const random = createRandom(scene.seed);
  const electrons = new Float32Array(width * height);
  addSky(scene, electrons);
  const { x, y, flux } = drawStars(scene, random);
  const imager = createImager(scene);
  const half = 0.5 * Math.hypot(width, height);
  const placeOf = (px: number, py: number): [number, number] => [
    (px - (width - 1) / 2) / half,
    (py - (height - 1) / 2) / half,
  ];
  const lay = (i: number, band: Band, image: Float32Array): void => {
    const [u, v] = placeOf(x[i], y[i]);
    const [dx, dy] = displacementAt(scene, u, v, band);
    const light = flux[i] * (band === 'B' ? 0.8 : band === 'R' ? 0.9 : 1);
    const reach = imager.size / PER_PIXEL / 2 - 3;
    for (const lattice of latticesOf(layout, 'RGGB', band).lattices)
      addStarImage(
        electrons,
        width,
        height,
        lattice,
        image,
        imager.size,
        PER_PIXEL,
        x[i] + dx,
        y[i] + dy,
        light,
        reach,
      );
  };
  for (const { band, nm } of BANDS[layout]) {
    if (band === 'R' || band === 'B') {
      const groups = new Map<string, number[]>();
      for (let i = 0; i < scene.stars; i++) {
        const key = `${Math.floor((x[i] / width) * NODES_X)},${Math.floor((y[i] / height) * NODES_Y)}`;
        groups.set(key, [...(groups.get(key) ?? []), i]);
      }
      const entries = [...groups];
      for (let k = 0; k < entries.length; k += 2) {
        const two = entries.slice(k, k + 2);
        const places = two.map(([key]) => {
          const [column, row] = key.split(',').map(Number);
          return placeOf(((column + 0.5) / NODES_X) * width, ((row + 0.5) / NODES_Y) * height);
        });
        const images = imager.pair(places, nm);
        two.forEach(([, members], m) => {
          for (const i of members) lay(i, band, images[m]);
        });
      }
    } else {
      for (let i = 0; i < scene.stars; i += 2) {
        const two = i + 1 < scene.stars ? [i, i + 1] : [i];
        const images = imager.pair(
          two.map((star) => placeOf(x[star], y[star])),
          nm,
        );
        two.forEach((star, m) => {
          lay(star, band, images[m]);
        });
      }
    }
  }
  const data = new Uint16Array(width * height);
  recordSamples(electrons, DETECTOR, new Map(), random, data);
  const frame = memoryFrame({
    width,
    height,
    data,
    layout,
    metadata: {
      gainElectronsPerAdu: DETECTOR.gainElectronsPerAdu,
      pedestalAdu: DETECTOR.pedestalAdu,
      pixelSizeUm: scene.pixelUm,
      focalLengthMm: scene.focalLengthMm,
      apertureMm: scene.focalLengthMm / scene.focalRatio,
    },
  });
  return { frame, x, y };
}

/** Places, frame px, and fluxes, electrons in green. Counts fall as flux⁻¹ (cumulative) between the limits. */
function drawStars(scene: FieldScene, random: () => number) {
  const { width, height, stars } = scene;
  const noise = Math.sqrt(scene.sky + 4);
  const area = 2.3 * (scene.seeingPx ** 2 + 1.5) * (scene.layout === 'cfa' ? 2 : 1);
  const x = new Float64Array(stars);
  const y = new Float64Array(stars);
  const flux = new Float64Array(stars);
  const [faint, bright] = scene.snr;
  for (let i = 0; i < stars; i++) {
    x[i] = random() * (width - 1);
    y[i] = random() * (height - 1);
    if (random() < scene.clustered) {
      x[i] = Math.min(width - 1, (0.25 + 0.13 * (random() + random() - 1)) * width);
      y[i] = Math.min(height - 1, (0.65 + 0.17 * (random() + random() - 1)) * height);
    }
    const low = faint / bright;
    const snr = faint / (low + random() * (1 - low));
    flux[i] = 0.5 * (snr * snr + Math.sqrt(snr ** 4 + 4 * snr * snr * area * noise * noise));
  }
  return { x, y, flux };
}

function addSky(scene: FieldScene, electrons: Float32Array): void {
  const { width, height, sky, gradient, nebula } = scene;
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const u = x / width;
      const v = y / height;
      const cloud = nebula * Math.exp(-((u - 0.62) ** 2 + (v - 0.4) ** 2) / 0.03);
      electrons[y * width + x] = sky * Math.max(0.03, 1 + gradient * (u - 0.5) + cloud);
    }
}

/** What the corners of a scene really look like: measured on the images, not computed from the laws. */
interface CornerTruth {
  centreFwhmPx: number;
  worstCornerFwhmPx: number;
  /** Largest ellipticity (a − b)/(a + b) at the corners and the centre, from moments under a Gaussian weight. */
  ellipticity: number;
}

export function cornerTruth(scene: FieldScene): CornerTruth {
  const imager = createImager(scene);
  const nm = scene.layout === 'cfa' ? 540 : 550;
  const half = Math.hypot(scene.width, scene.height);
  const u = scene.width / half;
  const v = scene.height / half;
  const both = (a: [number, number], b: [number, number]) =>
    imager.pair([a, b], nm).map((image) => shapeOf(image, imager.size));
  const [centre] = both([0, 0], [0, 0]);
  const corners = [...both([-u, -v], [u, -v]), ...both([-u, v], [u, v])];
  return {
    centreFwhmPx: centre.fwhm,
    worstCornerFwhmPx: Math.max(...corners.map((corner) => corner.fwhm)),
    ellipticity: Math.max(centre.ellipticity, ...corners.map((corner) => corner.ellipticity)),
  };
}

/** FWHM as the diameter of the area above half of the peak, and ellipticity from iterated Gaussian-weighted moments. */
function shapeOf(image: Float32Array, size: number): { fwhm: number; ellipticity: number } {
  let peak = 0;
  for (const value of image) if (value > peak) peak = value;
  let above = 0;
  for (const value of image) above += Math.min(1, Math.max(0, (value / peak - 0.48) / 0.04));
  const fwhm = (2 * Math.sqrt(above / Math.PI)) / PER_PIXEL;
  let cx = size / 2;
  let cy = size / 2;
  const sigma = (1.2 * fwhm * PER_PIXEL) / 2.3548;
  let e = 0;
  for (let round = 0; round < 6; round++) {
    let sum = 0;
    let sx = 0;
    let sy = 0;
    let xx = 0;
    let xy = 0;
    let yy = 0;
    for (let y = 0; y < size; y++)
      for (let x = 0; x < size; x++) {
        const dx = x - cx;
        const dy = y - cy;
        const w = image[y * size + x] * Math.exp(-(dx * dx + dy * dy) / (2 * sigma * sigma));
        sum += w;
        sx += w * dx;
        sy += w * dy;
        xx += w * dx * dx;
        xy += w * dx * dy;
        yy += w * dy * dy;
      }
    cx += sx / sum;
    cy += sy / sum;
    // Undo the round weight: 1/σ² = 1/σ_measured² − 1/σ_weight² along each axis of the ellipse.
    const mean = (xx + yy) / 2 / sum;
    const spread = Math.hypot((xx - yy) / 2, xy) / sum;
    const undo = (m: number) => 1 / (1 / m - 1 / (sigma * sigma));
    const a = Math.sqrt(undo(mean + spread));
    const b = Math.sqrt(undo(mean - spread));
    e = (a - b) / (a + b);
  }
  return { fwhm, ellipticity: Number.isFinite(e) ? e : 1 };
}
