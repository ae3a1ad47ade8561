/** What a simulated frame really holds: the record written as truth.json. */
import { type Band, meanWavelengthNm } from './bands.js';
import { focalShiftUm } from './lens.js';
import type { Defect } from './noise.js';
import type { OpticalTrain } from './optical-train.js';
import {
  type ChannelTruth,
  encircledAt,
  radiusOfShare,
  type TruthSizes,
  truthSizes,
} from './profile-truth.js';
import type { Scene } from './scene.js';

/** One star. Positions are 0-based pixel centres of its light (first moment) in each channel. */
export interface StarTruth {
  /** Of the reference channel: green, or the only one. */
  x: number;
  y: number;
  channelX: Partial<Record<Band, number>>;
  channelY: Partial<Record<Band, number>>;
  fluxElectrons: Partial<Record<Band, number>>;
  fluxAdu: Partial<Record<Band, number>>;
  magnitude: number;
  temperatureK: number;
  /** A sample of the star clips in some channel. */
  clipped: boolean;
  /** Inside the frame; light of stars outside may still reach it. */
  inFrame: boolean;
}

/** Differences of encircled energy at r80 of green, per cent, for light counted within R_max. */
export interface HaloTruth {
  rMaxPx: number;
  /** r80 of green. */
  atRadiusPx: number;
  blueMinusRedPercent: number;
  blueMinusGreenPercent: number;
  redMinusGreenPercent: number;
}

export interface ImageTruth {
  channels: Partial<Record<Band, ChannelTruth>>;
  /** Within 8 × the green FWHM. Null for a single channel. */
  halo: HaloTruth | null;
  /** Within the same R_max. */
  sizes: Partial<Record<Band, TruthSizes>>;
}

export interface Truth extends ImageTruth {
  schema: 'bluerim/truth/1';
  pixelOrigin: string;
  note: string;
  scene: Scene;
  scaleArcsecPerPx: number;
  lens: {
    apertureMm: number;
    focalLengthMm: number;
    focalRatio: number;
    /** Focus of each wavelength against the common F–C focus, and its distance from the detector on the axis. */
    focus: { wavelengthNm: number; shiftUm: number; defocusUm: number }[];
    /** Detector against the common F–C focus. */
    detectorUm: number;
    /** Defocus that widens a band as much as its colour error does, beyond green's, in quadrature over wavelength. */
    equivalentDefocusUm: { blue: number; red: number } | null;
  };
  bands: Partial<Record<Band, { meanWavelengthNm: number }>>;
  camera: {
    gainElectronsPerAdu: number;
    readNoiseElectrons: number;
    clippingElectrons: number;
    clippingAdu: number;
    backgroundElectrons: Partial<Record<Band, number>>;
    backgroundAdu: Partial<Record<Band, number>>;
    backgroundNoiseAdu: Partial<Record<Band, number>>;
  };
  /** The same scene through a lens without colour error or aberration. */
  perfectLens: ImageTruth;
  stars: StarTruth[];
  galaxies: { x: number; y: number; magnitude: number }[];
  hotPixels: Defect[];
  cosmicRayPixels: Defect[];
  /** Brightness at the rim of the largest star image over the noise of one pixel: what the cut leaves out. */
  largestCutSigma: number;
}

/** R_max of the headline numbers, in green FWHM (docs/algorithms: default normalisation). */
const DEFAULT_RMAX_FWHM = 8;

/** Blue-minus-red and the other contrasts for any R_max up to the end of the curves. */
export function truthHalo(truth: ImageTruth, rMaxPx: number): HaloTruth | null {
  const { R, G, B } = truth.channels;
  if (!R || !G || !B) return null;
  const atRadiusPx = radiusOfShare(G, 0.8, rMaxPx);
  const share = (channel: ChannelTruth) =>
    encircledAt(channel, atRadiusPx) / encircledAt(channel, rMaxPx);
  return {
    rMaxPx,
    atRadiusPx,
    blueMinusRedPercent: 100 * (share(R) - share(B)),
    blueMinusGreenPercent: 100 * (share(G) - share(B)),
    redMinusGreenPercent: 100 * (share(G) - share(R)),
  };
}

/** Completes the channels' curves with the headline numbers within 8 × the FWHM of the reference channel. */
export function imageTruth(channels: Partial<Record<Band, ChannelTruth>>): ImageTruth {
  const reference = channels.G ?? channels.L;
  if (!reference) throw new TypeError('no reference channel');
  const end = reference.radiusPx[reference.radiusPx.length - 1];
  const rMaxPx = Math.min(DEFAULT_RMAX_FWHM * reference.fwhmPx, end);
  const sizes: Partial<Record<Band, TruthSizes>> = {};
  for (const [band, channel] of Object.entries(channels))
    sizes[band as Band] = truthSizes(channel, rMaxPx);
  const bare = { channels, halo: null, sizes };
  return { ...bare, halo: truthHalo(bare, rMaxPx) };
}

/** Lens part of the truth. `meanSquareUm` = light-weighted mean of the squared defocus of each band. */
export function lensTruth(
  train: OpticalTrain,
  meanSquareUm: Partial<Record<Band, number>>,
): Truth['lens'] {
  const { telescope } = train.scene;
  const focus = [];
  for (let wavelengthNm = 400; wavelengthNm <= 700; wavelengthNm += 10)
    focus.push({
      wavelengthNm,
      shiftUm: focalShiftUm(telescope.colour, telescope.focalLengthMm, wavelengthNm),
      defocusUm: train.axialDefocusUm(wavelengthNm),
    });
  const { R, G, B } = meanSquareUm;
  const excess = (value: number, green: number) =>
    Math.sign(value - green) * Math.sqrt(Math.abs(value - green));
  return {
    apertureMm: telescope.apertureMm,
    focalLengthMm: telescope.focalLengthMm,
    focalRatio: train.focalRatio,
    focus,
    detectorUm: train.bestFocusUm + telescope.defocusUm,
    equivalentDefocusUm:
      R !== undefined && G !== undefined && B !== undefined
        ? { blue: excess(B, G), red: excess(R, G) }
        : null,
  };
}

/** Mean wavelength of each band for the reference star. */
export function bandTruth(bands: readonly Band[]): Truth['bands'] {
  const out: Truth['bands'] = {};
  for (const band of bands) out[band] = { meanWavelengthNm: meanWavelengthNm(band, 5600) };
  return out;
}
