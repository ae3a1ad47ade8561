/** Finds the sources of a frame and labels them: background → peaks → size of the stars → stamps → fits → flags. */
import { FLAG } from '../catalogue/flags.js';
import { type BackgroundMesh, buildBackground } from '../detect/background.js';
import type { ChannelPlan } from '../detect/lattice.js';
import { findPeaks, type Peaks } from '../detect/peaks.js';
import { findPlateau } from '../detect/saturation.js';
import { cutStamps, type Stamps } from '../detect/stamps.js';
import type { FloatReader } from '../frame/convert.js';
import { orderDescending, valuesAt } from '../stats/order.js';
import { robustQuadratic } from '../stats/regression.js';
import { medianOf } from '../stats/robust.js';
import { flagBlended, flagHotClusters, flagPattern } from './blends.js';
import { chooseExponent } from './channel-fits.js';
import { findLocus, flagSamples, flagShapes, opticalFwhm, type StarLocus } from './classify.js';
import { fitSources } from './fit-sources.js';
import { createSources, type Sources } from './sources.js';

/** Moffat exponent of the first fits, before the frame's own profile is known: typical of seeing-limited stars. */
const FIRST_BETA = 3.5;
/** Bright candidates that decide the size of the stars. */
const LOOK_COUNT = 80;
/** Relative error granted to the model while fitting: an instrument's stars are never exact Moffats. */
export const FIT_MODEL_ERROR = 0.01;
/** Memory for core stamps, samples. */
const STAMP_BUDGET = 8e6;
/** Fits made at most, as a multiple of the stars asked for: some will be rejected. */
const FIT_MARGIN = 1.2;
const LARGEST_KERNEL_PX = 40;
/** Optical FWHM below which a lone source might be a cluster of hot pixels. */
const NARROW_FWHM_PX = 1.2;

export interface Found {
  mesh: BackgroundMesh;
  peaks: Peaks;
  sources: Sources;
  /** Core stamps and the stamp of each source (−1 = none). */
  core: Stamps;
  stampOf: Int32Array;
  /** Null when no source could be fitted as a star. */
  locus: StarLocus | null;
  /** Clipping level per channel used, NaN = unknown. */
  saturation: Float64Array;
  saturationSource: 'option' | 'header' | 'frame' | 'type' | null;
  /** Index of the reference channel, and the Moffat exponent of its fits. */
  reference: number;
  beta: number;
  /** Radius of the single-star fits, px. */
  fitRadiusPx: number;
  /** True when the spots form a regular, touching pattern: no star field. */
  pattern: boolean;
  /** Sources that were fitted, brightest first. */
  fitted: number[];
}

export interface FindInput {
  read: FloatReader;
  plan: ChannelPlan;
  width: number;
  height: number;
  /** Step between integer samples, physical; 0 for floats. */
  quantum: number;
  thresholdSigma: number;
  maxStars: number;
  smallestSnr: number;
  noisePerSignal: number;
  knownSaturation: { adu: number; source: 'option' | 'header' } | null;
  typeMaximum: number | null;
}

/**
 * Runs the whole search. The matched filter is widened until it suits the stars of the frame, so that defocused or
 * oversampled stars are found as one source each.
 */
export function findSources(input: FindInput): Found {
  const { read, plan, width, height } = input;
  const mesh = buildBackground(read, plan, width, height, input.quantum);
  const reference = plan.reference;
  let kernelPx = plan.bin === 2 ? 3 : 2.5;
  let peaks: Peaks;
  let look: LookResult;
  for (;;) {
    peaks = findPeaks(read, plan, mesh, width, height, kernelPx, input.thresholdSigma);
    look = firstLook(input, mesh, peaks, kernelPx);
    const wanted = look.fwhmPx;
    if (!(wanted > 1.7 * kernelPx) || kernelPx >= LARGEST_KERNEL_PX) break;
    kernelPx = Math.min(LARGEST_KERNEL_PX, wanted);
  }
  const fwhm = Number.isNaN(look.fwhmPx) ? kernelPx : look.fwhmPx;
  const fitRadiusPx = fitRadiusFor(fwhm);
  const radius = Math.ceil(fitRadiusPx + 1.5);

  const { sources, order, peakOf } = mergePlateaus(peaks, look, plan, input);
  const stampOf = new Int32Array(sources.n).fill(-1);
  let core = look.stamps;
  if (core.radius >= radius) {
    for (let i = 0; i < sources.n; i++)
      stampOf[i] = look.stampOfPeak[peakOf[i] as number] as number;
  } else {
    const withStamp = order.slice(0, stampLimit(plan, radius));
    withStamp.forEach((i, k) => {
      stampOf[i] = k;
    });
    core = cutStamps(
      read,
      plan,
      mesh,
      valuesAt(sources.x, withStamp),
      valuesAt(sources.y, withStamp),
      radius,
    );
  }
  const edgePx = Math.max(2, fwhm);
  flagSamples(core, stampOf, plan, sources, look.saturation, edgePx, width, height);

  const fitLimit = Math.ceil(FIT_MARGIN * input.maxStars) + 100;
  const fitted: number[] = [];
  const skip = FLAG.edge | FLAG.saturated | FLAG['hot pixel'];
  for (const i of order) {
    if (((sources.flags[i] as number) & skip) !== 0) continue;
    if ((stampOf[i] as number) < 0 || fitted.length >= fitLimit) {
      sources.flags[i] =
        (sources.flags[i] as number) |
        ((sources.significance[i] as number) > 2 * input.smallestSnr
          ? FLAG['over limit']
          : FLAG.faint);
      continue;
    }
    if ((sources.significance[i] as number) < 0.6 * input.smallestSnr) {
      sources.flags[i] = (sources.flags[i] as number) | FLAG.faint;
      continue;
    }
    fitted.push(i);
  }
  const fits = sources.fits[reference];
  if (!fits) throw new RangeError('no reference channel');
  const beta = chooseExponent(
    core,
    stampOf,
    plan,
    sources,
    fitted,
    reference,
    fwhm,
    fitRadiusPx,
    FIRST_BETA,
  );
  fitSources(
    core,
    stampOf,
    plan,
    sources,
    fitted,
    {
      channel: reference,
      beta,
      startFwhmPx: fwhm,
      radiusPx: fitRadiusPx,
      noisePerSignal: input.noisePerSignal,
      modelError: FIT_MODEL_ERROR,
    },
    fits,
  );
  const locus = findLocus(sources, fits, fitted, beta, width, height, robustQuadratic);
  if (locus) {
    flagShapes(sources, fits, fitted, locus, beta, input.smallestSnr, width, height);
  } else {
    for (const i of fitted) {
      sources.flags[i] = (sources.flags[i] as number) | FLAG['poor fit'];
    }
  }
  for (const i of fitted) {
    if ((fits.x[i] as number) > 0) {
      sources.x[i] = fits.x[i] as number;
      sources.y[i] = fits.y[i] as number;
    }
  }
  let pattern = false;
  if (locus) {
    flagBlended(sources, fits, Math.sqrt(locus.fwhmPx ** 2 + 0.5));
    pattern = flagPattern(sources, Math.sqrt(locus.fwhmPx ** 2 + 0.5));
    flagHotClusters(sources, fits, beta, width * height, NARROW_FWHM_PX);
  }
  return {
    mesh,
    peaks,
    sources,
    core,
    stampOf,
    locus,
    saturation: look.saturation,
    saturationSource: look.source,
    reference,
    beta,
    fitRadiusPx,
    pattern,
    fitted,
  };
}

/** Radius of the single-star fits for an optical FWHM, px. */
function fitRadiusFor(fwhmPx: number): number {
  return Math.max(4, 2.2 * Math.sqrt(fwhmPx * fwhmPx + 1) + 0.5);
}

/** Stamps that fit the memory budget. */
function stampLimit(plan: ChannelPlan, radius: number): number {
  return Math.max(200, Math.floor(STAMP_BUDGET / (plan.planes * (2 * radius + 1) ** 2)));
}

interface LookResult {
  /** Stamps of the brightest peaks, and the stamp of each peak (−1 = none). */
  stamps: Stamps;
  stampOfPeak: Int32Array;
  /** Highest physical sample of each stamp's core per channel, stamp-major. */
  peak: Float64Array;
  /** Median optical FWHM of the bright unsaturated candidates; NaN when none can be fitted. */
  fwhmPx: number;
  saturation: Float64Array;
  source: Found['saturationSource'];
}

/** Stamps of the brightest candidates: where the frame clips, and how wide its stars are. */
function firstLook(
  input: FindInput,
  mesh: BackgroundMesh,
  peaks: Peaks,
  kernelPx: number,
): LookResult {
  const { plan } = input;
  const channels = plan.channels.length;
  // Wide enough that these stamps serve the fits as well when the stars are about as wide as the filter.
  const radius = Math.ceil(fitRadiusFor(1.2 * kernelPx) + 1.5);
  const order = orderDescending(peaks.significance).slice(0, stampLimit(plan, radius));
  const sources = createSources(
    order.length,
    valuesAt(peaks.x, order),
    valuesAt(peaks.y, order),
    valuesAt(peaks.significance, order),
    channels,
  );
  const stamps = cutStamps(input.read, plan, mesh, sources.x, sources.y, radius);
  const stampOf = Int32Array.from({ length: order.length }, (_, i) => i);
  const stampOfPeak = new Int32Array(peaks.length).fill(-1);
  order.forEach((peak, k) => {
    stampOfPeak[peak] = k;
  });
  const { level: found, peak } = findPlateau(stamps, plan);
  let source: Found['saturationSource'] = null;
  const saturation = new Float64Array(channels).fill(Number.NaN);
  for (let c = 0; c < channels; c++) {
    const plateau = found[c] as number;
    if (input.knownSaturation) {
      // A plateau clearly below the level given wins: the frame cannot lie about where it clips.
      const given = input.knownSaturation.adu;
      saturation[c] = plateau < 0.9 * given ? plateau : given;
      source = plateau < 0.9 * given ? 'frame' : input.knownSaturation.source;
    } else if (plateau === plateau) {
      saturation[c] = plateau;
      source = 'frame';
    }
  }
  if (source === null && input.typeMaximum !== null) {
    saturation.fill(input.typeMaximum);
    source = 'type';
  }
  flagSamples(stamps, stampOf, plan, sources, saturation, kernelPx, input.width, input.height);
  const list: number[] = [];
  for (let i = 0; i < Math.min(sources.n, 4 * LOOK_COUNT) && list.length < LOOK_COUNT; i++) {
    if ((sources.flags[i] as number) === 0) list.push(i);
  }
  const fits = sources.fits[plan.reference];
  if (!fits || list.length === 0) {
    return { stamps, stampOfPeak, peak, fwhmPx: Number.NaN, saturation, source };
  }
  fitSources(
    stamps,
    stampOf,
    plan,
    sources,
    list,
    {
      channel: plan.reference,
      beta: FIRST_BETA,
      startFwhmPx: kernelPx,
      radiusPx: radius,
      noisePerSignal: input.noisePerSignal,
      modelError: 0.03,
    },
    fits,
  );
  const sizes = list
    .map((i) => opticalFwhm(fits, i, FIRST_BETA))
    .filter((value) => value > 0.5 && value < 4 * radius);
  return { stamps, stampOfPeak, peak, fwhmPx: medianOf(sizes), saturation, source };
}

/**
 * Sources from peaks, with the several peaks that noise makes on one clipped plateau merged into the brightest: they are one
 * star and are not counted twice.
 */
function mergePlateaus(
  peaks: Peaks,
  look: LookResult,
  plan: ChannelPlan,
  input: FindInput,
): { sources: Sources; order: number[]; peakOf: number[] } {
  const level = Math.min(...look.saturation.filter((value) => value === value));
  let drop = new Uint8Array(peaks.length);
  if (Number.isFinite(level) && peaks.length > 1)
    drop = dropWithinPlateaus(peaks, level, look, plan, input);
  const keep: number[] = [];
  for (let i = 0; i < peaks.length; i++) if (drop[i] === 0) keep.push(i);
  const sources = createSources(
    keep.length,
    valuesAt(peaks.x, keep),
    valuesAt(peaks.y, keep),
    valuesAt(peaks.significance, keep),
    plan.channels.length,
  );
  return { sources, order: orderDescending(sources.significance), peakOf: keep };
}

/** Marks peaks joined to a brighter one by an unbroken straight run of samples at or above 0.9 × the clipping level. */
function dropWithinPlateaus(
  peaks: Peaks,
  level: number,
  look: LookResult,
  plan: ChannelPlan,
  input: FindInput,
): Uint8Array<ArrayBuffer> {
  const drop = new Uint8Array(peaks.length);
  const order = orderDescending(peaks.significance);
  const reach = 40;
  const row = new Float32Array(input.width);
  const channels = plan.channels.length;
  // Only peaks whose own core reaches the level can lie on a plateau.
  const onPlateau = order
    .filter((i) => {
      const stamp = look.stampOfPeak[i] as number;
      if (stamp < 0) return false;
      for (let c = 0; c < channels; c++) {
        if ((look.peak[stamp * channels + c] as number) >= 0.9 * level) return true;
      }
      return false;
    })
    .slice(0, 3000);
  for (let a = 0; a < onPlateau.length; a++) {
    const i = onPlateau[a] as number;
    if (drop[i] === 1) continue;
    for (let b = a + 1; b < onPlateau.length; b++) {
      const j = onPlateau[b] as number;
      if (drop[j] === 1) continue;
      const dx = (peaks.x[j] as number) - (peaks.x[i] as number);
      const dy = (peaks.y[j] as number) - (peaks.y[i] as number);
      const distance = Math.sqrt(dx * dx + dy * dy);
      if (distance > reach) continue;
      let joined = true;
      const steps = Math.ceil(distance);
      for (let s = 1; s < steps && joined; s++) {
        const x = Math.round((peaks.x[i] as number) + (dx * s) / steps);
        const y = Math.round((peaks.y[i] as number) + (dy * s) / steps);
        input.read(0, y, 1, row);
        const value = row[x] as number;
        const next = row[Math.min(input.width - 1, x + 1)] as number;
        // On a mosaic the site between may be of a darker colour: one of two neighbours is enough.
        joined = Math.max(value, plan.bin === 2 ? next : value) >= 0.9 * level;
      }
      if (joined) drop[j] = 1;
    }
  }
  return drop;
}
