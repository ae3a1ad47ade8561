/** First half of a measurement: the stars of one frame, with what is doubtful about the frame as warnings. */
import { type ChannelPlan, planChannels } from '../detect/lattice.js';
import { createFloatReader } from '../frame/convert.js';
import type { Frame } from '../frame/frame.js';
import { createRecordedFwhmTable } from '../optics/pixel.js';
import { lookAtWidth } from './channel-fits.js';
import { checkPhotonNoise } from './checks.js';
import type { ProfileSettings } from './effective-profiles.js';
import { FIT_MODEL_ERROR, type Found, findSources } from './find.js';
import { fitSources } from './fit-sources.js';
import type { MeasureOptions } from './options.js';
import type { Elongation } from './profile-equations.js';

/** Signal-to-noise from which a star's shape is measured, and from which it is preferred for profiles. */
const SMALLEST_SNR = 10;
/** Fits in red and blue: enough for lateral colour and a median; further stars have green fits only. */
const OTHER_CHANNEL_FITS = 200;
/** Share of empty samples, and correlation of neighbouring noise, from which the frame is doubtful. */
const MANY_EMPTY = 0.2;
const CORRELATED = 1.5;

export type Warn = (code: string, message: string) => void;

/** A frame with its sources found, fitted in the reference channel and labelled. */
export interface SearchedFrame {
  frame: Frame;
  plan: ChannelPlan;
  found: Found;
  /** 1/gain where the gain is known, else 0: variance in ADU² per ADU of light. */
  noisePerSignal: number;
}

/**
 * Finds the sources.
 * @throws FrameReadError when rows cannot be read
 */
export function searchFrame(frame: Frame, options: MeasureOptions, warn: Warn): SearchedFrame {
  const { rows, metadata } = frame;
  const plan = planChannels(frame);
  const isFloat = rows.sampleType === 'f32' || rows.sampleType === 'f64';
  const gain = metadata.gainElectronsPerAdu;
  const noisePerSignal = gain !== null && gain > 0 ? 1 / gain : 0;
  const found = findSources({
    read: createFloatReader(rows),
    plan,
    width: rows.width,
    height: rows.height,
    quantum: isFloat ? 0 : Math.abs(rows.scale),
    thresholdSigma: options.thresholdSigma,
    maxStars: options.maxStars,
    smallestSnr: SMALLEST_SNR,
    noisePerSignal,
    knownSaturation:
      metadata.saturationAdu !== null
        ? { adu: metadata.saturationAdu, source: frame.saturationGiven ? 'option' : 'header' }
        : null,
    typeMaximum: frame.typeMaximumAdu,
  });
  if (found.peaks.overflow) {
    warn(
      'too-many-sources',
      'more than 400,000 sources: the list was cut; measure a part of the frame',
    );
  }
  checkPhotonNoise(frame, found, warn);
  if (found.pattern) {
    warn(
      'spot-pattern',
      'the spots touch each other in a regular pattern: a grossly defocused image or a wavefront sensor, not a star field',
    );
  }
  if (found.mesh.emptyShare > MANY_EMPTY) {
    warn(
      'empty-samples',
      `${(100 * found.mesh.emptyShare).toFixed(0)} % of the samples hold no value; numbers come from the rest`,
    );
  }
  if (found.peaks.noiseCorrelation > CORRELATED && found.locus !== null) {
    warn(
      'correlated-noise',
      'neighbouring samples share their noise (interpolated, stacked or very crowded frame): signal-to-noise is lower than single samples suggest',
    );
  }
  return { frame, plan, found, noisePerSignal };
}

/** Fits the stars in the channels beside the reference: own width, own radius, own centroid. */
export function fitOtherChannels(searched: SearchedFrame, stars: readonly number[]): void {
  const { plan, found, noisePerSignal } = searched;
  const { sources, core, stampOf, locus, beta } = found;
  if (!locus) return;
  for (let c = 0; c < plan.channels.length; c++) {
    const fits = sources.fits[c];
    if (c === plan.reference || !fits) continue;
    const width = locus.fwhmPx;
    const look = lookAtWidth(core, stampOf, plan, sources, stars, c, width, beta, noisePerSignal);
    const start = Number.isNaN(look) ? width : look;
    fitSources(
      core,
      stampOf,
      plan,
      sources,
      stars.slice(0, OTHER_CHANNEL_FITS),
      {
        channel: c,
        beta,
        startFwhmPx: start,
        radiusPx: Math.min(
          core.radius,
          Math.max(found.fitRadiusPx, 2.2 * Math.sqrt(start * start + 1) + 0.5),
        ),
        noisePerSignal,
        modelError: FIT_MODEL_ERROR,
      },
      fits,
    );
  }
}

/**
 * What the profiles of a frame start from.
 * @param rMaxPx fixed R_max in px of this frame, or null
 */
export function profileSettings(
  searched: SearchedFrame,
  options: MeasureOptions,
  rMaxPx: number | null,
): ProfileSettings {
  const { frame, plan, found, noisePerSignal } = searched;
  const recorded =
    Number.isFinite(found.beta) || found.beta === Number.POSITIVE_INFINITY
      ? createRecordedFwhmTable(found.beta)
      : null;
  return {
    read: createFloatReader(frame.rows),
    plan,
    mesh: found.mesh,
    width: frame.rows.width,
    height: frame.rows.height,
    noisePerSignal,
    seed: options.seed,
    draws: options.bootstrapDraws,
    rMaxPx,
    fwhmPx: found.locus && recorded ? recorded(found.locus.fwhmPx) : Number.NaN,
    elongation: elongationOf(found),
    beta: Math.max(2, Math.min(4, found.beta)),
  };
}

/** Mean shape of the stars from the locus: e = (a − b)/(a + b), so a/b = (1 + e)/(1 − e). */
function elongationOf(found: Found): Elongation {
  const e1 = found.locus?.e1 ?? 0;
  const e2 = found.locus?.e2 ?? 0;
  const e = Math.min(0.8, Math.sqrt(e1 * e1 + e2 * e2));
  const angle = 0.5 * Math.atan2(e2, e1);
  return { axisRatio: (1 + e) / (1 - e), cos: Math.cos(angle), sin: Math.sin(angle) };
}
