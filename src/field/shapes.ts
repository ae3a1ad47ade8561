/** Shape of every usable star of a frame: size, elongation and skew on native green (or mono) samples, sizes and places in red
 * and blue. docs/field.md defines the quantities.
 */
import KDBush from 'kdbush';
import { cutStamps, type Stamps } from '../detect/stamps.js';
import { createFloatReader } from '../frame/convert.js';
import { createSampleList, gatherSamples, type SampleList } from '../measure/samples.js';
import type { SearchedFrame } from '../measure/search-frame.js';
import { madSigma, medianOf } from '../stats/robust.js';
import { chooseCandidates, localFwhm, wideFwhm } from './candidates.js';
import { fwhmOfSize } from './response.js';
import {
  createSkewScratch,
  fitSkewStar,
  SFLUX,
  SG1,
  SG2,
  SK1,
  SK2,
  SKEW_PARAMETERS,
  type SkewScratch,
  type SkewSettings,
  SLNALPHA,
  SX,
  SY,
} from './skew-fit.js';

/** Signal-to-noise below which a star's shape says too little. */
const SMALLEST_SNR = 8;
/** Errors that more light does not lessen, as shares of T, T and √T: sampling, pixel phase (scatter of bright simulated stars). */
const FLOOR_T = 0.012;
const FLOOR_Q = 0.009;
const FLOOR_K = 0.008;
const MODEL_ERROR = 0.02;
/** A star whose shape differs from that of its neighbours by more than this many robust deviations is no single star. */
const OUTLIER_SIGMA = 6;
const CONSISTENCY_NEIGHBOURS = 12;
/** How much farther than a star itself its red and blue may lie from where the fit starts. */
const COLOUR_WANDER_FWHM = 3;
/** Fits in red and blue. */
const COLOUR_FITS = 400;
/** Struct of arrays; px and px². NaN where a channel was not fitted. */
export interface StarShapes {
  n: number;
  width: number;
  height: number;
  /** Index of the source in the searched frame. */
  source: Int32Array;
  /** Index of the star's stamp in `stamps`. */
  stamp: Int32Array;
  x: Float64Array;
  y: Float64Array;
  fluxAdu: Float64Array;
  snr: Float64Array;
  /** Size T: trace of the fitted covariance, px²; errors include the floors. */
  t: Float64Array;
  tError: Float64Array;
  /** Elongation Q: difference and cross term of the covariance, px². */
  q1: Float64Array;
  q2: Float64Array;
  qError: Float64Array;
  /** Skew K: how far the outer light lies from the core, px. */
  k1: Float64Array;
  k2: Float64Array;
  kError: Float64Array;
  /** Size T and place relative to green, of red and blue. */
  red: ColourShapes | null;
  blue: ColourShapes | null;
  /** Stars left out, by reason. */
  left: Record<'bright' | 'neighbour' | 'faint' | 'failed' | 'odd', number>;
  /** Background-subtracted stamps. */
  stamps: Stamps;
}

export interface ColourShapes {
  t: Float64Array;
  tError: Float64Array;
  dx: Float64Array;
  dy: Float64Array;
  /** 1 σ of either coordinate. */
  positionError: Float64Array;
}

interface Fit {
  source: number;
  stamp: number;
  p: Float64Array;
  errors: Float64Array;
}

/**
 * Measures the shapes. Cost: about 0.5 ms a star.
 * @throws FrameReadError when rows cannot be read
 */
export function measureShapes(searched: SearchedFrame): StarShapes {
  const { frame, plan, found } = searched;
  const { sources } = found;
  const { kept, bright, neighbour } = chooseCandidates(searched);
  const wide = wideFwhm(searched, kept);
  const radius = Math.ceil(2.2 * wide + 3);
  const read = createFloatReader(frame.rows);
  const positions = (list: readonly number[], column: Float64Array): number[] =>
    list.map((i) => column[i] as number);
  const stamps = cutStamps(
    read,
    plan,
    found.mesh,
    positions(kept, sources.x),
    positions(kept, sources.y),
    radius,
  );
  const left = { bright, neighbour, faint: 0, failed: 0, odd: 0 };
  const capacity = stamps.side * stamps.side * stamps.planes;
  const scratch = { samples: createSampleList(capacity), fit: createSkewScratch(capacity) };
  const good: Fit[] = [];
  kept.forEach((source, stamp) => {
    const fit = fitOne(searched, stamps, stamp, source, plan.reference, null, scratch);
    if (!fit) left.failed++;
    else if ((fit.p[SFLUX] as number) < SMALLEST_SNR * (fit.errors[SFLUX] as number)) left.faint++;
    else good.push(fit);
  });
  const fits = dropOdd(good, stamps, frame.rows.width * frame.rows.height);
  left.odd = good.length - fits.length;
  return collect(searched, fits, stamps, scratch, left);
}

interface Scratch {
  samples: SampleList;
  fit: SkewScratch;
}

/** Fits one channel of one star; null when the fit fails or wanders off. */
function fitOne(
  searched: SearchedFrame,
  stamps: Stamps,
  stamp: number,
  source: number,
  channel: number,
  start: Float64Array | null,
  scratch: Scratch,
): Fit | null {
  const { plan, found, noisePerSignal } = searched;
  const { samples } = scratch;
  const fwhm = start
    ? fwhmOfSize(0.5 * Math.exp(2 * (start[SLNALPHA] as number)))
    : localFwhm(searched, source);
  const radius = Math.min(stamps.radius, 2.2 * fwhm + 2);
  const x = start
    ? (start[SX] as number)
    : (found.sources.x[source] as number) - (stamps.cx[stamp] as number);
  const y = start
    ? (start[SY] as number)
    : (found.sources.y[source] as number) - (stamps.cy[stamp] as number);
  gatherSamples(stamps, stamp, plan, channel, x, y, 0, radius, samples);
  const lattices = plan.lattices.length;
  const skyVariance = new Float64Array(lattices);
  for (let l = 0; l < lattices; l++) {
    skyVariance[l] = Math.max(1e-12, (stamps.noise[stamp * lattices + l] as number) ** 2);
  }
  let sum = 0;
  let peak = 0;
  const near = (0.9 * fwhm) ** 2;
  for (let s = 0; s < samples.n; s++) {
    const dx = (samples.dx[s] as number) - x;
    const dy = (samples.dy[s] as number) - y;
    if (dx * dx + dy * dy > near) continue;
    sum += samples.value[s] as number;
    peak = Math.max(peak, samples.value[s] as number);
  }
  const sites = plan.bin === 2 ? (plan.ofChannel[channel] as number[]).length / 4 : 1;
  const settings: SkewSettings = {
    skyVariance,
    noisePerSignal,
    modelSigma: MODEL_ERROR * peak,
    integrateWithinPx: Math.max(4, 1.5 * fwhm),
    skew: channel === plan.reference,
  };
  const p = new Float64Array(SKEW_PARAMETERS);
  p[SX] = x;
  p[SY] = y;
  p[SFLUX] = Math.max((1.3 * sum) / sites, 1e-6);
  p[SLNALPHA] = start ? (start[SLNALPHA] as number) : Math.log(fwhm / 0.87);
  if (start) {
    p[SG1] = start[SG1] as number;
    p[SG2] = start[SG2] as number;
  }
  const errors = new Float64Array(SKEW_PARAMETERS);
  const chi2 = fitSkewStar(samples, p, settings, scratch.fit, errors);
  const wander = Math.abs((p[SX] as number) - x) + Math.abs((p[SY] as number) - y);
  const alpha = Math.exp(p[SLNALPHA] as number);
  const good =
    chi2 === chi2 &&
    (p[SFLUX] as number) > 0 &&
    // Red and blue may lie some px beside green: dispersion low in the sky.
    wander < (start ? COLOUR_WANDER_FWHM : 1) * Math.max(1.5, fwhm) &&
    alpha > 0.35 &&
    alpha < 2.5 * stamps.radius &&
    (errors[SLNALPHA] as number) < 0.3;
  return good ? { source, stamp, p, errors } : null;
}

const sizeOf = (p: Float64Array): number => 0.5 * Math.exp(2 * (p[SLNALPHA] as number));

/** Leaves out fits that differ from the median of their nearest neighbours: doubles, galaxies, cosmic rays, knots of a nebula. */
function dropOdd(fits: readonly Fit[], stamps: Stamps, area: number): Fit[] {
  if (fits.length < 10) return [...fits];
  const tree = new KDBush(fits.length);
  const x = fits.map((fit) => (fit.p[SX] as number) + (stamps.cx[fit.stamp] as number));
  const y = fits.map((fit) => (fit.p[SY] as number) + (stamps.cy[fit.stamp] as number));
  fits.forEach((_, k) => {
    tree.add(x[k] as number, y[k] as number);
  });
  tree.finish();
  const reach = Math.sqrt((CONSISTENCY_NEIGHBOURS * area) / (Math.PI * fits.length));
  const columns = [
    fits.map((fit) => Math.log(sizeOf(fit.p))),
    fits.map((fit) => fit.p[SG1] as number),
    fits.map((fit) => fit.p[SG2] as number),
  ];
  const errors = [
    fits.map((fit) => 2 * (fit.errors[SLNALPHA] as number)),
    fits.map((fit) => fit.errors[SG1] as number),
    fits.map((fit) => fit.errors[SG2] as number),
  ];
  // Residuals from the local median, scaled by their own robust scatter over the frame.
  const residuals = columns.map((column) =>
    column.map((value, k) => {
      let near = tree.within(x[k] as number, y[k] as number, reach).filter((j) => j !== k);
      if (near.length < 4)
        near = tree.within(x[k] as number, y[k] as number, 2 * reach).filter((j) => j !== k);
      return near.length < 4 ? 0 : value - medianOf(near.map((j) => column[j] as number));
    }),
  );
  const scatter = residuals.map((list) => Math.max(0.03, madSigma(list, 0)));
  return fits.filter((_, k) =>
    residuals.every((list, c) => {
      const sigma = Math.sqrt((scatter[c] as number) ** 2 + (errors[c]?.[k] as number) ** 2);
      return Math.abs(list[k] as number) < OUTLIER_SIGMA * sigma;
    }),
  );
}

function collect(
  searched: SearchedFrame,
  fits: readonly Fit[],
  stamps: Stamps,
  scratch: Scratch,
  left: StarShapes['left'],
): StarShapes {
  const { frame, plan } = searched;
  const n = fits.length;
  const column = (value: (fit: Fit) => number): Float64Array => Float64Array.from(fits, value);
  const t = column((fit) => sizeOf(fit.p));
  const qError = new Float64Array(n);
  const kError = new Float64Array(n);
  fits.forEach(({ errors }, i) => {
    const size = t[i] as number;
    const g = Math.sqrt(0.5 * ((errors[SG1] as number) ** 2 + (errors[SG2] as number) ** 2));
    const k = Math.sqrt(0.5 * ((errors[SK1] as number) ** 2 + (errors[SK2] as number) ** 2));
    qError[i] = Math.sqrt((size * g) ** 2 + (FLOOR_Q * size) ** 2);
    kError[i] = Math.sqrt(k * k + FLOOR_K * FLOOR_K * size);
  });
  const colour = (channel: number): ColourShapes | null =>
    plan.channels.length === 3 ? fitColour(searched, fits, stamps, channel, scratch) : null;
  return {
    n,
    width: frame.rows.width,
    height: frame.rows.height,
    source: Int32Array.from(fits, (fit) => fit.source),
    stamp: Int32Array.from(fits, (fit) => fit.stamp),
    x: column((fit) => (fit.p[SX] as number) + (stamps.cx[fit.stamp] as number)),
    y: column((fit) => (fit.p[SY] as number) + (stamps.cy[fit.stamp] as number)),
    fluxAdu: column((fit) => fit.p[SFLUX] as number),
    snr: column((fit) => (fit.p[SFLUX] as number) / (fit.errors[SFLUX] as number)),
    t,
    tError: column(({ p, errors }) =>
      Math.sqrt((2 * sizeOf(p) * (errors[SLNALPHA] as number)) ** 2 + (FLOOR_T * sizeOf(p)) ** 2),
    ),
    q1: column(({ p }) => sizeOf(p) * (p[SG1] as number)),
    q2: column(({ p }) => sizeOf(p) * (p[SG2] as number)),
    qError,
    k1: column(({ p }) => p[SK1] as number),
    k2: column(({ p }) => p[SK2] as number),
    kError,
    red: colour(0),
    blue: colour(2),
    left,
    stamps,
  };
}

/** Fits red or blue from the green solution on; skew stays zero there. */
function fitColour(
  searched: SearchedFrame,
  fits: readonly Fit[],
  stamps: Stamps,
  channel: number,
  scratch: Scratch,
): ColourShapes {
  const empty = (): Float64Array => new Float64Array(fits.length).fill(Number.NaN);
  const out: ColourShapes = {
    t: empty(),
    tError: empty(),
    dx: empty(),
    dy: empty(),
    positionError: empty(),
  };
  fits.slice(0, COLOUR_FITS).forEach((green, i) => {
    const fit = fitOne(searched, stamps, green.stamp, green.source, channel, green.p, scratch);
    if (!fit || (fit.p[SFLUX] as number) < SMALLEST_SNR * (fit.errors[SFLUX] as number)) return;
    const size = sizeOf(fit.p);
    out.t[i] = size;
    out.tError[i] = size * Math.sqrt((2 * (fit.errors[SLNALPHA] as number)) ** 2 + FLOOR_T ** 2);
    out.dx[i] = (fit.p[SX] as number) - (green.p[SX] as number);
    out.dy[i] = (fit.p[SY] as number) - (green.p[SY] as number);
    out.positionError[i] = Math.sqrt(
      0.5 * ((fit.errors[SX] as number) ** 2 + (fit.errors[SY] as number) ** 2) +
        0.5 * ((green.errors[SX] as number) ** 2 + (green.errors[SY] as number) ** 2),
    );
  });
  return out;
}
