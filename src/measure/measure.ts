/** Measures one frame: frame → background → sources → fits → profiles → halo → record. Pure but for reading rows. */
import { createCatalogue, type StarCatalogue } from '../catalogue/catalogue.js';
import { FLAG } from '../catalogue/flags.js';
import { planChannels } from '../detect/lattice.js';
import { createFloatReader } from '../frame/convert.js';
import type { Frame } from '../frame/frame.js';
import { createRecordedFwhmTable } from '../optics/pixel.js';
import type { Warning } from '../warnings.js';
import { type BootstrapResult, bootstrapProfiles } from './bootstrap.js';
import { lookAtWidth } from './channel-fits.js';
import { channelResult } from './channel-result.js';
import { checkPhotonNoise, litChannels, skyEvidence } from './checks.js';
import { buildProfiles, CROWDED, type EffectiveProfiles } from './effective-profiles.js';
import { equivalentDefocus } from './equivalent-defocus.js';
import { fillCatalogue } from './fill-catalogue.js';
import { FIT_MODEL_ERROR, type Found, findSources } from './find.js';
import { fitSources } from './fit-sources.js';
import { haloResult, lateralResult } from './halo-result.js';
import { judgeLinearity } from './linearity.js';
import type { MeasureOptions } from './options.js';
import type { Elongation } from './profile-rounds.js';
import type { ChannelName, ChannelResult, FrameResult } from './result.js';
import { countRejected, selectStars } from './select-stars.js';
import { UNDERSAMPLED_PX } from './systematics.js';
import { plainSentence } from './verdict.js';

/** Signal-to-noise from which a star's shape is measured, and from which it is preferred for profiles. */
const SMALLEST_SNR = 10;
/** Fewest stars for profiles with intervals. */
const FEWEST_PROFILE_STARS = 3;
/** Fits in red and blue: enough for lateral colour and a median; further stars have green fits only. */
const OTHER_CHANNEL_FITS = 200;

export interface Measurement {
  result: FrameResult;
  catalogue: StarCatalogue;
}

/**
 * Measures an opened frame.
 *
 * Deterministic: the same frame and options give the same record to the last digit.
 * @throws FrameReadError when rows cannot be read
 */
export function measureFrame(frame: Frame, options: MeasureOptions): Measurement {
  const warnings: Warning[] = frame.warnings.map((warning) => ({ ...warning }));
  const warn = (code: string, message: string): void => {
    warnings.push({ code, message, file: frame.path });
  };
  const { rows, metadata } = frame;
  const { width, height } = rows;
  const plan = planChannels(frame);
  const quantum = rows.sampleType === 'f32' || rows.sampleType === 'f64' ? 0 : Math.abs(rows.scale);
  const gain = metadata.gainElectronsPerAdu;
  const noisePerSignal = gain !== null && gain > 0 ? 1 / gain : 0;
  const found = findSources({
    read: createFloatReader(rows),
    plan,
    width,
    height,
    quantum,
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
  const { sources, mesh } = found;
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
  if (mesh.emptyShare > 0.2) {
    warn(
      'empty-samples',
      `${(100 * mesh.emptyShare).toFixed(0)} % of the samples hold no value; numbers come from the rest`,
    );
  }
  if (found.peaks.noiseCorrelation > 1.5 && found.locus !== null) {
    warn(
      'correlated-noise',
      'neighbouring samples share their noise (interpolated, stacked or very crowded frame): signal-to-noise is lower than single samples suggest',
    );
  }

  const reference = plan.reference;
  const referenceFits = sources.fits[reference];
  if (!referenceFits) throw new RangeError('no reference channel');
  const stars = selectStars(found, options, width, height);

  // Red and blue: own width, own radius, own centroid.
  const betas = plan.channels.map(() => found.beta);
  const fwhmOptical = found.locus?.fwhmPx ?? Number.NaN;
  if (found.locus) {
    for (let c = 0; c < plan.channels.length; c++) {
      const fits = sources.fits[c];
      if (c === reference || !fits) continue;
      const look = lookAtWidth(
        found.core,
        found.stampOf,
        plan,
        sources,
        stars,
        c,
        fwhmOptical,
        found.beta,
        noisePerSignal,
      );
      const start = Number.isNaN(look) ? fwhmOptical : look;
      fitSources(
        found.core,
        found.stampOf,
        plan,
        sources,
        stars.slice(0, OTHER_CHANNEL_FITS),
        {
          channel: c,
          beta: found.beta,
          startFwhmPx: start,
          radiusPx: Math.min(
            found.core.radius,
            Math.max(found.fitRadiusPx, 2.2 * Math.sqrt(start * start + 1) + 0.5),
          ),
          noisePerSignal,
          modelError: FIT_MODEL_ERROR,
        },
        fits,
      );
    }
  }

  let effective: EffectiveProfiles | null = null;
  let bootstrap: BootstrapResult | null = null;
  // A channel without light (a dead colour, a narrow filter before a mosaic) has no sizes and makes no halo.
  let lit: boolean[] = plan.channels.map(() => false);
  const recorded =
    Number.isFinite(found.beta) || found.beta === Number.POSITIVE_INFINITY
      ? createRecordedFwhmTable(found.beta)
      : null;
  const fwhmFirst = found.locus && recorded ? recorded(fwhmOptical) : Number.NaN;
  if (found.locus && stars.length >= FEWEST_PROFILE_STARS) {
    effective = buildProfiles(found, stars, {
      read: createFloatReader(rows),
      plan,
      mesh,
      width,
      height,
      noisePerSignal,
      seed: options.seed,
      draws: options.bootstrapDraws,
      rMaxPx: options.rMaxPx,
      fwhmPx: fwhmFirst,
      elongation: elongationOf(found),
      beta: Math.max(2, Math.min(4, found.beta)),
    });
    if (effective) {
      lit = litChannels(effective);
      bootstrap = bootstrapProfiles(
        effective.profiles,
        effective.stars.length,
        effective.rMax,
        reference,
        options.seed,
        options.bootstrapDraws,
        lit,
      );
      if (effective.lowered || effective.crowding > CROWDED) {
        warn(
          'crowded',
          `crowded field: light is counted only within ${effective.rMax.toFixed(1)} px, and wings may hold light of unresolved neighbours`,
        );
      }
    } else {
      warn('no-profile', 'the stars do not determine a profile: sizes come from none');
    }
  } else if (found.locus) {
    warn(
      'few-stars',
      `${stars.length} usable star${stars.length === 1 ? '' : 's'}: at least ${FEWEST_PROFILE_STARS} are needed for sizes with error bars`,
    );
  }

  const arcsecPerPx = scaleOf(frame);
  if (arcsecPerPx === null) {
    const missing = [
      metadata.pixelSizeUm === null ? 'pixel size (--pixel-size)' : null,
      metadata.focalLengthMm === null ? 'focal length (--focal-length)' : null,
    ].filter((item) => item !== null);
    warn('no-scale', `sizes stay in pixels: the header gives no ${missing.join(' and no ')}`);
  }
  const undersampled =
    bootstrap !== null && (bootstrap.best.fwhm[reference] as number) < UNDERSAMPLED_PX;
  if (bootstrap && undersampled) {
    warn(
      'undersampled',
      `stars are only ${(bootstrap.best.fwhm[reference] as number).toFixed(1)} px wide: too narrow for trustworthy sizes and halos`,
    );
  }

  const colour = plan.channels.length === 3;
  const namedChannels = frame.cfa !== null && !frame.cfa.redBlueKnown ? ['G'] : plan.channels;
  if (effective) {
    const dark = plan.channels.filter((name, c) => namedChannels.includes(name) && !lit[c]);
    if (dark.length > 0) {
      warn(
        'channel-without-light',
        `no star light in ${dark.join(' and ')}: no sizes there, and no comparison of colours`,
      );
    }
  }
  const channels: Partial<Record<ChannelName, ChannelResult>> = {};
  for (let c = 0; c < plan.channels.length; c++) {
    const name = plan.channels[c] as ChannelName;
    if (!namedChannels.includes(name)) continue;
    channels[name] = channelResult(
      found,
      plan.ofChannel[c] as number[],
      effective,
      lit[c] ? bootstrap : null,
      c,
      stars,
      betas[c] as number,
      arcsecPerPx,
      options.seed,
    );
  }

  const greenFwhm = stars.map((i) => fwhmColumn(found, i));
  const linearity = found.locus
    ? judgeLinearity({
        fwhmPx: greenFwhm,
        flux: stars.map((i) => referenceFits.flux[i] as number),
        probablyProcessed: frame.probablyProcessed,
        undersampled,
        ...skyEvidence(found, plan.ofChannel[reference] as number[]),
      })
    : null;
  const stretched = linearity?.verdict === 'stretched' || frame.probablyProcessed;
  if (linearity?.verdict === 'stretched') {
    warn('stretched', `the data is not linear: ${linearity.reasons.join('; ')}`);
  }
  const haloFound =
    colour && bootstrap && effective && namedChannels.length === 3 && lit.every((seen) => seen)
      ? haloResult(
          frame,
          plan,
          found,
          effective,
          bootstrap,
          arcsecPerPx,
          noisePerSignal,
          options,
          warn,
        )
      : null;
  const halo = haloFound?.halo ?? null;
  const withheld = halo !== null && stretched && !options.haloAnyway;
  if (halo && stretched) {
    warn(
      withheld ? 'halo-withheld' : 'halo-from-stretched-data',
      withheld
        ? 'halo numbers are withheld because the data is not linear; --halo-anyway shows them all the same'
        : 'halo numbers come from data that is not linear: they describe the picture, not the lens',
    );
  }
  const lateral =
    effective && namedChannels.length === 3 && lit.every((seen) => seen)
      ? lateralResult(frame, effective, arcsecPerPx)
      : null;
  const defocus =
    haloFound && bootstrap && !withheld
      ? equivalentDefocus(
          bootstrap,
          plan.channels.indexOf('R'),
          reference,
          plan.channels.indexOf('B'),
          haloFound.perfect,
          metadata,
        )
      : null;

  const used = effective ? effective.stars : stars;
  const usedSet = new Set(used);
  for (const i of stars) {
    if (!usedSet.has(i)) sources.flags[i] = (sources.flags[i] as number) | FLAG['over limit'];
  }
  const rejected = countRejected(sources.flags);
  const referenceName = plan.channels[reference] as ChannelName;
  const referenceResult = channels[referenceName];
  const result: FrameResult = {
    file: frame.path,
    status: 'ok',
    width,
    height,
    layout: frame.layout,
    ...(frame.cfa ? { cfaPattern: frame.cfa.pattern, cfaSource: frame.cfa.source } : {}),
    scaleArcsecPerPx: arcsecPerPx,
    metadata,
    stars: {
      found: sources.n,
      used: used.length,
      rejected,
      saturationAdu: lowest(found.saturation),
      saturationSource: found.saturationSource,
      zone: options.zone,
    },
    channels,
    halo: withheld ? null : halo,
    lateralColour: lateral,
    equivalentDefocus: defocus,
    linearity,
    sentence: plainSentence({
      used: used.length,
      found: sources.n,
      halo: withheld ? null : halo,
      linearity,
      channel: referenceName,
      fwhmPx: referenceResult?.fwhmPx ?? null,
      fwhmArcsec: referenceResult?.fwhmArcsec ?? null,
      ellipticity: referenceResult?.ellipticity ?? null,
      rejected,
      colour,
      dark: lit.some((seen) => !seen) && effective !== null,
      haloWithheld: withheld,
    }),
    warnings,
  };
  const catalogue = createCatalogue(
    sources.n,
    plan.channels.filter((name) => namedChannels.includes(name)),
  );
  fillCatalogue(catalogue, plan, found, betas);
  return { result, catalogue };
}

function lowest(values: Float64Array): number | null {
  let low = Number.POSITIVE_INFINITY;
  for (const value of values) if (value < low) low = value;
  return Number.isFinite(low) ? low : null;
}

const ARCSEC_PER_UM_MM = 206.265;

/** 206.265 × pixel in µm / focal length in mm, or null. */
function scaleOf(frame: Frame): number | null {
  const { pixelSizeUm, focalLengthMm } = frame.metadata;
  if (pixelSizeUm === null || focalLengthMm === null) return null;
  return (ARCSEC_PER_UM_MM * pixelSizeUm) / focalLengthMm;
}

function fwhmColumn(found: Found, i: number): number {
  const fits = found.sources.fits[found.reference];
  if (!fits) return Number.NaN;
  const g2 = (fits.g1[i] as number) ** 2 + (fits.g2[i] as number) ** 2;
  return (fits.alpha[i] as number) * (1 - g2) ** 0.25;
}

/** Mean shape of the stars from the locus: e = (a − b)/(a + b), so a/b = (1 + e)/(1 − e). */
function elongationOf(found: Found): Elongation {
  const e1 = found.locus?.e1 ?? 0;
  const e2 = found.locus?.e2 ?? 0;
  const e = Math.min(0.8, Math.sqrt(e1 * e1 + e2 * e2));
  const angle = 0.5 * Math.atan2(e2, e1);
  return { axisRatio: (1 + e) / (1 - e), cos: Math.cos(angle), sin: Math.sin(angle) };
}
