/** Frames of isolated stars with a known analytic profile: the ground for accuracy benchmarks. */
import { ParameterError } from '../errors.js';
import { createRandom } from '../stats/random.js';
import {
  axisWidth,
  createProfile,
  cutRadius,
  oversampled,
  type Profile,
  pixelMean,
} from './analytic-profile.js';
import type { Band } from './bands.js';
import type { Card } from './cards.js';
import { type Detector, recordSamples } from './noise.js';
import { type ChannelTruth, measureImage } from './profile-truth.js';
import type { Scene } from './scene.js';
import type { SimulatedFrame } from './simulate.js';
import { latticesOf } from './sites.js';
import { alignUp, type SiteLattice } from './stamp.js';

/** What to draw. Widths are of the light before the pixel. */
export interface AnalyticOptions {
  profile: 'moffat' | 'gaussian';
  /** Geometric mean of the widths along both axes, px. */
  fwhmPx: number;
  /** Moffat exponent, > 1. Default 3.5. */
  beta?: number;
  /** (a − b)/(a + b), and the angle of the long axis from +x towards +y. Default 0. */
  ellipticity?: number;
  angleDeg?: number;
  /**
   * Flux over its error in the reference channel (green, or the only one) for a fit of the flux alone with known
   * shape, place and background, averaged over sub-pixel places; one number, or a range filled evenly in log.
   */
  snr: number | readonly [number, number];
  stars: number;
  /** Distance of neighbouring stars. Default 24 px or 16 FWHM, whichever is larger. */
  spacingPx?: number;
  layout: 'mono' | 'rgb' | 'cfa';
  /** Default RGGB. */
  cfa?: Scene['camera']['cfa'];
  /** Flux and width of each channel relative to the options above. Default 1. */
  channelFlux?: Partial<Record<Band, number>>;
  channelWidth?: Partial<Record<Band, number>>;
  /** Electrons per pixel. Default 100. */
  skyElectrons?: number;
  /** Default: read noise 2 e−, 1 e−/ADU, pedestal 500 ADU, 16 bits, no full well. */
  detector?: Partial<Detector>;
  /** False writes expected values as 32-bit floats. Default true. */
  noise?: boolean;
  seed?: number;
}

export interface AnalyticTruth {
  pixelOrigin: string;
  options: AnalyticOptions;
  /** Before the pixel: geometric-mean FWHM of each channel. */
  opticalFwhmPx: Partial<Record<Band, number>>;
  /** Pixel included: full widths at half maximum along the long and the short axis. */
  axisFwhmPx: Partial<Record<Band, [number, number]>>;
  /** Pixel included, as an endlessly fine grid of such pixels would record it. */
  channels: Partial<Record<Band, ChannelTruth>>;
  backgroundAdu: number;
  backgroundNoiseAdu: number;
  gainElectronsPerAdu: number;
  stars: {
    x: number;
    y: number;
    snr: number;
    fluxElectrons: Partial<Record<Band, number>>;
    fluxAdu: Partial<Record<Band, number>>;
  }[];
}

/** Star images end where they fall below this share of the noise of one pixel. */
const CUT_SIGMA = 0.002;

const DEFAULT_DETECTOR: Detector = {
  readNoiseElectrons: 2,
  fullWellElectrons: Number.POSITIVE_INFINITY,
  gainElectronsPerAdu: 1,
  pedestalAdu: 500,
  bits: 16,
};

/**
 * A square array of isolated stars at random sub-pixel places.
 * @throws ParameterError for a width, exponent, ellipticity, count or signal-to-noise out of range
 */
export function simulateAnalytic(options: AnalyticOptions): {
  frame: SimulatedFrame;
  cards: Card[];
  truth: AnalyticTruth;
} {
  checkOptions(options);
  const detector = { ...DEFAULT_DETECTOR, ...options.detector };
  const sky = options.skyElectrons ?? 100;
  const noise = Math.sqrt(sky + detector.readNoiseElectrons ** 2);
  // Odd, so that the stars of a mosaic fall on sites of every colour.
  const spacing = options.spacingPx ?? Math.max(25, 2 * Math.ceil(8 * options.fwhmPx) + 1);
  const columns = Math.ceil(Math.sqrt(options.stars));
  const rows = Math.ceil(options.stars / columns);
  const width = 2 * Math.ceil((columns * spacing) / 2);
  const height = 2 * Math.ceil((rows * spacing) / 2);
  const bands: Band[] = options.layout === 'mono' ? ['L'] : ['R', 'G', 'B'];
  const planeCount = options.layout === 'rgb' ? 3 : 1;
  const planes = Array.from({ length: planeCount }, () =>
    new Float32Array(width * height).fill(sky),
  );
  const profiles = new Map(
    bands.map((band) => [
      band,
      createProfile(
        options.profile === 'gaussian',
        options.fwhmPx * (options.channelWidth?.[band] ?? 1),
        options.beta ?? 3.5,
        options.ellipticity ?? 0,
        options.angleDeg ?? 0,
      ),
    ]),
  );
  const truth = profileTruths(profiles, options.angleDeg ?? 0);
  const reference = oversampled(profiles.get(bands.length === 1 ? 'L' : 'G') as Profile);
  const sites = options.layout === 'cfa' ? 0.5 : 1;
  const fluxOf = fluxTable(options.snr, noise * noise, reference, sites);
  const random = createRandom(options.seed ?? 1);
  const stars: AnalyticTruth['stars'] = [];
  for (let i = 0; i < options.stars; i++) {
    const x = ((i % columns) + 0.5) * spacing + random() - 0.5;
    const y = (Math.floor(i / columns) + 0.5) * spacing + random() - 0.5;
    const snr = pickSnr(options.snr, random());
    const flux = fluxOf(snr);
    const star: AnalyticTruth['stars'][number] = { x, y, snr, fluxElectrons: {}, fluxAdu: {} };
    for (const [band, profile] of profiles) {
      const electrons = flux * (options.channelFlux?.[band] ?? 1);
      star.fluxElectrons[band] = electrons;
      star.fluxAdu[band] = electrons / detector.gainElectronsPerAdu;
      const { plane, lattices } = latticesOf(options.layout, options.cfa ?? 'RGGB', band);
      const radius = cutRadius(profile, (CUT_SIGMA * noise) / electrons, spacing);
      for (const lattice of lattices)
        addAnalytic(planes[plane], width, height, lattice, profile, x, y, electrons, radius);
    }
    stars.push(star);
  }
  return {
    frame: { width, height, planes: planeCount, data: exposePlanes(planes, detector, options) },
    cards: analyticCards(options, detector),
    truth: {
      pixelOrigin: 'the centre of the first stored pixel is (0, 0)',
      options,
      ...truth,
      backgroundAdu: sky / detector.gainElectronsPerAdu + detector.pedestalAdu,
      backgroundNoiseAdu: noise / detector.gainElectronsPerAdu,
      gainElectronsPerAdu: detector.gainElectronsPerAdu,
      stars,
    },
  };
}

function checkOptions(options: AnalyticOptions): void {
  const { fwhmPx, beta = 3.5, ellipticity = 0, stars, snr } = options;
  if (!(fwhmPx >= 0.5 && fwhmPx <= 50)) throw new ParameterError('fwhmPx', fwhmPx, '0.5 to 50');
  if (!(beta > 1.2)) throw new ParameterError('beta', beta, 'above 1.2');
  if (!(ellipticity >= 0 && ellipticity < 0.8))
    throw new ParameterError('ellipticity', ellipticity, '0 to 0.8');
  if (!(Number.isInteger(stars) && stars > 0))
    throw new ParameterError('stars', stars, '1 or more');
  for (const value of typeof snr === 'number' ? [snr] : snr)
    if (!(value > 0)) throw new ParameterError('snr', value, 'above 0');
}

/** What is recorded of each channel; channels of the same width share one measurement. */
function profileTruths(
  profiles: ReadonlyMap<Band, Profile>,
  angleDeg: number,
): Pick<AnalyticTruth, 'opticalFwhmPx' | 'axisFwhmPx' | 'channels'> {
  const out: ReturnType<typeof profileTruths> = {
    opticalFwhmPx: {},
    axisFwhmPx: {},
    channels: {},
  };
  const known = new Map<number, ChannelTruth>();
  for (const [band, profile] of profiles) {
    let channel = known.get(profile.fwhmPx);
    if (!channel) {
      const { image, size, perPixel } = oversampled(profile);
      channel = measureImage(image, size, perPixel, [0, 0]);
      known.set(profile.fwhmPx, channel);
    }
    out.channels[band] = channel;
    out.opticalFwhmPx[band] = profile.fwhmPx;
    out.axisFwhmPx[band] = [axisWidth(profile, angleDeg), axisWidth(profile, angleDeg + 90)];
  }
  return out;
}

function addAnalytic(
  frame: Float32Array,
  width: number,
  height: number,
  lattice: SiteLattice,
  profile: Profile,
  x: number,
  y: number,
  flux: number,
  radius: number,
): void {
  const { x0, y0, step } = lattice;
  const firstRow = alignUp(Math.max(0, Math.ceil(y - radius)), y0, step);
  const firstColumn = alignUp(Math.max(0, Math.ceil(x - radius)), x0, step);
  const lastRow = Math.min(height - 1, y + radius);
  const lastColumn = Math.min(width - 1, x + radius);
  for (let row = firstRow; row <= lastRow; row += step) {
    const dy = row - y;
    for (let column = firstColumn; column <= lastColumn; column += step) {
      const dx = column - x;
      if (dx * dx + dy * dy > radius * radius) continue;
      frame[row * width + column] += flux * pixelMean(profile, dx, dy);
    }
  }
}

function pickSnr(snr: AnalyticOptions['snr'], share: number): number {
  return typeof snr === 'number' ? snr : snr[0] * (snr[1] / snr[0]) ** share;
}

/**
 * Flux against signal-to-noise: 1/error² = Σ P² / (noise² + F P) over the sites, with P the recorded image averaged
 * over sub-pixel places (`sites` of each pixel's area carry the channel). Solved at 41 values, between them linear in
 * the logarithms.
 */
function fluxTable(
  snr: AnalyticOptions['snr'],
  variance: number,
  { image, perPixel }: { image: Float32Array; perPixel: number },
  sites: number,
): (snr: number) => number {
  let peak = 0;
  for (const value of image) peak = Math.max(peak, value);
  // Points below a millionth of the peak carry no information.
  const points = Float64Array.from(image.filter((value) => value > 1e-6 * peak)).map(
    (value) => value * perPixel * perPixel,
  );
  const reached = (flux: number) => {
    let sum = 0;
    for (let i = 0; i < points.length; i++)
      sum += (points[i] * points[i]) / (variance + flux * points[i]);
    return flux * Math.sqrt((sum * sites) / (perPixel * perPixel));
  };
  const solve = (target: number) => {
    let low = 0;
    let high = 10 * target * (target + Math.sqrt(variance));
    while (reached(high) < target) high *= 4;
    for (let i = 0; i < 45; i++) {
      const middle = (low + high) / 2;
      if (reached(middle) < target) low = middle;
      else high = middle;
    }
    return (low + high) / 2;
  };
  if (typeof snr === 'number') {
    const flux = solve(snr);
    return () => flux;
  }
  const [first, last] = [solve(snr[0]), solve(snr[1])];
  const steps = 40;
  const logFlux: number[] = [];
  const logSnr: number[] = [];
  for (let i = 0; i <= steps; i++) {
    const flux = first * (last / first) ** (i / steps);
    logFlux.push(Math.log(flux));
    logSnr.push(Math.log(reached(flux)));
  }
  return (value) => {
    const wanted = Math.log(value);
    let i = 1;
    while (i < steps && logSnr[i] < wanted) i++;
    const share = (wanted - logSnr[i - 1]) / (logSnr[i] - logSnr[i - 1]);
    return Math.exp(logFlux[i - 1] + share * (logFlux[i] - logFlux[i - 1]));
  };
}

function exposePlanes(
  planes: readonly Float32Array[],
  detector: Detector,
  options: AnalyticOptions,
): Uint16Array | Float32Array {
  const count = planes[0].length;
  if (options.noise === false) {
    const data = new Float32Array(count * planes.length);
    planes.forEach((plane, index) => {
      for (let i = 0; i < count; i++)
        data[index * count + i] = plane[i] / detector.gainElectronsPerAdu + detector.pedestalAdu;
    });
    return data;
  }
  const data = new Uint16Array(count * planes.length);
  const random = createRandom((options.seed ?? 1) ^ 0x2545f491);
  planes.forEach((plane, index) => {
    const samples = data.subarray(index * count, (index + 1) * count);
    recordSamples(plane, detector, new Map(), random, samples);
  });
  return data;
}

function analyticCards(options: AnalyticOptions, detector: Detector): Card[] {
  const cards: Card[] = [
    { keyword: 'OBJECT', value: 'invented star array', comment: 'simulated' },
    { keyword: 'EGAIN', value: detector.gainElectronsPerAdu, comment: 'electrons per ADU' },
    { keyword: 'PEDESTAL', value: detector.pedestalAdu, comment: 'ADU added to every sample' },
  ];
  if (options.layout === 'cfa')
    cards.push({
      keyword: 'BAYERPAT',
      value: options.cfa ?? 'RGGB',
      comment: 'of the first stored rows',
    });
  return cards;
}
