/** Measures one frame: frame → background → sources → fits → profiles → halo → record. Pure but for reading rows. */
import { createCatalogue, type StarCatalogue } from '../catalogue/catalogue.js';
import { FLAG, STAR_FLAGS } from '../catalogue/flags.js';
import { planChannels } from '../detect/lattice.js';
import { createFloatReader } from '../frame/convert.js';
import type { Frame } from '../frame/frame.js';
import type { PerfectLens } from '../optics/perfect-lens.js';
import { createRecordedFwhmTable } from '../optics/pixel.js';
import { standardDeviation } from '../stats/robust.js';
import type { Warning } from '../warnings.js';
import { type BootstrapResult, bootstrapProfiles } from './bootstrap.js';
import { lookAtWidth } from './channel-fits.js';
import { weakFlag } from './classify.js';
import { buildProfiles, CROWDED, type EffectiveProfiles } from './effective-profiles.js';
import { equivalentDefocus } from './equivalent-defocus.js';
import { fillCatalogue } from './fill-catalogue.js';
import { FIT_MODEL_ERROR, type Found, findSources } from './find.js';
import { fitSources } from './fit-sources.js';
import { ellipticityResult, medianFitFwhm } from './fit-summary.js';
import { channelSizes, haloNumbers } from './halo.js';
import { judgeLinearity, type LinearityInput } from './linearity.js';
import type { MeasureOptions } from './options.js';
import type { ChannelName, ChannelResult, FrameResult, HaloResult, Uncertain } from './result.js';
import { saturatedHalo } from './saturated-halo.js';
import { noiseSnr } from './sources.js';
import { colourTrend } from './star-colour.js';
import { UNDERSAMPLED_PX } from './systematics.js';
import { plusMinus, scaled, uncertain } from './uncertain.js';
import { plainSentence } from './verdict.js';

/** Signal-to-noise from which a star's shape is measured, and from which it is preferred for profiles. */
const SMALLEST_SNR = 10;
const PROFILE_SNR = 20;
const ENOUGH_PROFILE_STARS = 60;
/** Fewest stars for profiles with intervals. */
const FEWEST_PROFILE_STARS = 3;
/** Fits in red and blue: enough for lateral colour and a median; further stars have green fits only. */
const OTHER_CHANNEL_FITS = 200;
/** 'centre' zone: share of the half-diagonal. */
const CENTRE_ZONE = 0.5;
const ARCSEC_PER_UM_MM = 206.265;
/** Systematic error of the sky level in units of its noise: skew of photon noise, unresolved stars. */
const BACKGROUND_SYSTEMATIC = 0.1;

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

/** What the sky says about linearity: how far down it reaches, and its noise against its level. */
function skyEvidence(
  found: Found,
  lattices: readonly number[],
): Pick<LinearityInput, 'lowestSampleSigma' | 'cellLevel' | 'cellNoise'> {
  const { mesh } = found;
  const l = lattices[0] as number;
  const cells = mesh.cellsX * mesh.cellsY;
  return {
    // Of all lattices: the darkest one may have set the minimum, so the comparison is with its level.
    lowestSampleSigma: Math.max(
      ...Array.from(
        mesh.medianLevel,
        (level, i) => (level - mesh.minimum) / (mesh.medianNoise[i] as number),
      ).filter((value) => Number.isFinite(value)),
      0,
    ),
    cellLevel: mesh.level.subarray(l * cells, (l + 1) * cells),
    cellNoise: mesh.noise.subarray(l * cells, (l + 1) * cells),
  };
}

/** Share of the photon noise below which measured noise contradicts the gain. */
const PHOTON_NOISE_SHARE = 0.8;

/** Checks the noise against the photons of the sky where gain and pedestal are known (measurement.md, section 2). */
function checkPhotonNoise(
  frame: Frame,
  found: Found,
  warn: (code: string, message: string) => void,
): void {
  const { gainElectronsPerAdu: gain, pedestalAdu: pedestal } = frame.metadata;
  if (gain === null || pedestal === null || !(gain > 0)) return;
  const { medianLevel, medianNoise } = found.mesh;
  for (let l = 0; l < medianLevel.length; l++) {
    const light = (medianLevel[l] as number) - pedestal;
    if (!(light > 0)) continue;
    const photon = Math.sqrt(light / gain);
    const share = (medianNoise[l] as number) / photon;
    if (share < PHOTON_NOISE_SHARE) {
      warn(
        'noise-below-photons',
        `the sky noise is ${(100 * share).toFixed(0)} % of what its photons alone would make at ${gain} e−/ADU: the gain is wrong (--gain), or the frame was averaged or smoothed`,
      );
      return;
    }
  }
}

/** Summed star light of a channel in σ that counts as light. */
const LIGHT_SIGMA = 10;

function litChannels(effective: EffectiveProfiles): boolean[] {
  return effective.profiles.map((_, c) => hasLight(effective, c));
}

/** True when the profile stars together shine in channel `c`. */
function hasLight(effective: EffectiveProfiles, c: number): boolean {
  const profile = effective.profiles[c];
  if (!profile) return false;
  let top = 0;
  let bottom = 0;
  for (let k = 0; k < effective.stars.length; k++) {
    const error = profile.fluxError[k] as number;
    if (!(error > 0)) continue;
    // The weight of the reference channel's brightness: a sum over noise alone stays near zero.
    top += (profile.flux[k] as number) / error;
    bottom += 1;
  }
  return bottom > 0 && top / Math.sqrt(bottom) > LIGHT_SIGMA;
}

function fwhmColumn(found: Found, i: number): number {
  const fits = found.sources.fits[found.reference];
  if (!fits) return Number.NaN;
  const g2 = (fits.g1[i] as number) ** 2 + (fits.g2[i] as number) ** 2;
  return (fits.alpha[i] as number) * (1 - g2) ** 0.25;
}

/** Good stars, best first: unflagged, in the zone, at most `maxStars`; faint ones only while bright ones are few. */
function selectStars(
  found: Found,
  options: MeasureOptions,
  width: number,
  height: number,
): number[] {
  const { sources } = found;
  const fits = sources.fits[found.reference];
  if (!fits || !found.locus) return [];
  const radius = CENTRE_ZONE * 0.5 * Math.sqrt(width * width + height * height);
  const list: number[] = [];
  for (let i = 0; i < sources.n; i++) {
    if (sources.flags[i] !== 0) continue;
    if (options.zone === 'centre') {
      const dx = (sources.x[i] as number) - (width - 1) / 2;
      const dy = (sources.y[i] as number) - (height - 1) / 2;
      if (dx * dx + dy * dy > radius * radius) {
        sources.flags[i] = FLAG['outside zone'];
        continue;
      }
    }
    list.push(i);
  }
  const snr = (i: number): number => noiseSnr(fits, i);
  list.sort((a, b) => (fits.flux[b] as number) - (fits.flux[a] as number) || a - b);
  const bright = list.filter((i) => snr(i) >= PROFILE_SNR);
  const chosen = bright.length >= ENOUGH_PROFILE_STARS ? bright : list;
  const kept = chosen.slice(0, options.maxStars);
  const keptSet = new Set(kept);
  for (const i of list) {
    if (!keptSet.has(i)) {
      sources.flags[i] =
        (sources.flags[i] as number) |
        (snr(i) < PROFILE_SNR ? weakFlag(sources, i, PROFILE_SNR) : FLAG['over limit']);
    }
  }
  return kept;
}

/** Counts each rejected source once, under the first of its flags in registry order. */
function countRejected(flags: Uint32Array): Record<string, number> {
  const counts: Record<string, number> = {};
  for (let i = 0; i < flags.length; i++) {
    const first = STAR_FLAGS.find((flag) => ((flags[i] as number) & flag.bit) !== 0);
    if (first) counts[first.name] = (counts[first.name] ?? 0) + 1;
  }
  return counts;
}

function lowest(values: Float64Array): number | null {
  let low = Number.POSITIVE_INFINITY;
  for (const value of values) if (value < low) low = value;
  return Number.isFinite(low) ? low : null;
}

/** 206.265 × pixel in µm / focal length in mm, or null. */
function scaleOf(frame: Frame): number | null {
  const { pixelSizeUm, focalLengthMm } = frame.metadata;
  if (pixelSizeUm === null || focalLengthMm === null) return null;
  return (ARCSEC_PER_UM_MM * pixelSizeUm) / focalLengthMm;
}

function channelResult(
  found: Found,
  lattices: readonly number[],
  effective: EffectiveProfiles | null,
  bootstrap: BootstrapResult | null,
  c: number,
  stars: readonly number[],
  beta: number,
  arcsecPerPx: number | null,
  seed: number,
): ChannelResult {
  const { mesh, sources } = found;
  const average = (values: Float64Array): number =>
    lattices.reduce((sum, l) => sum + (values[l] as number), 0) / lattices.length;
  const sparse = lattices.length === 1 && found.mesh.lattices === 4;
  const sizes = bootstrap ? channelSizes(bootstrap, c, sparse) : null;
  const fits = sources.fits[c];
  const shape = fits ? ellipticityResult(fits, stars, beta, seed) : null;
  const n = bootstrap?.radii.length ?? 0;
  const slice = (values: Float64Array): number[] => Array.from(values.subarray(c * n, (c + 1) * n));
  const px = (value: Uncertain | null | undefined): Uncertain | null => value ?? null;
  return {
    backgroundAdu: plusMinus(
      average(mesh.medianLevel),
      Math.sqrt(
        average(mesh.medianLevelError) ** 2 +
          (BACKGROUND_SYSTEMATIC * average(mesh.medianNoise)) ** 2,
      ),
    ),
    noiseAdu: plusMinus(average(mesh.medianNoise), average(mesh.medianNoiseError)),
    fwhmPx: px(sizes?.fwhm),
    hfdPx: px(sizes?.hfd),
    r50Px: px(sizes?.r50),
    r80Px: px(sizes?.r80),
    r90Px: px(sizes?.r90),
    fwhmArcsec: scaled(px(sizes?.fwhm), arcsecPerPx),
    hfdArcsec: scaled(px(sizes?.hfd), arcsecPerPx),
    r50Arcsec: scaled(px(sizes?.r50), arcsecPerPx),
    r80Arcsec: scaled(px(sizes?.r80), arcsecPerPx),
    r90Arcsec: scaled(px(sizes?.r90), arcsecPerPx),
    medianFitFwhmPx: fits ? medianFitFwhm(fits, stars, beta) : null,
    fitBeta: Number.isFinite(beta) ? beta : null,
    ellipticity: shape?.ellipticity ?? null,
    elongationAngleDeg: shape?.angleDeg ?? null,
    starsInProfile: effective ? effective.stars.length : 0,
    profile: bootstrap
      ? {
          radiusPx: Array.from(bootstrap.radii),
          brightness: slice(bootstrap.best.brightness),
          error: Array.from(
            { length: n },
            (_, i) =>
              bootstrap.smallSample *
              standardDeviation(
                bootstrap.draws.map((draw) => draw.brightness[c * n + i] as number),
              ),
          ),
          encircledEnergy: slice(bootstrap.best.enclosed),
        }
      : null,
  };
}

function haloResult(
  frame: Frame,
  plan: ReturnType<typeof planChannels>,
  found: Found,
  effective: EffectiveProfiles,
  bootstrap: BootstrapResult,
  arcsecPerPx: number | null,
  noisePerSignal: number,
  options: MeasureOptions,
  warn: (code: string, message: string) => void,
): { halo: HaloResult; perfect: PerfectLens | null } {
  const r = plan.channels.indexOf('R');
  const g = plan.channels.indexOf('G');
  const b = plan.channels.indexOf('B');
  const numbers = haloNumbers(
    bootstrap,
    r,
    g,
    b,
    effective.rMax,
    arcsecPerPx === null ? null : { arcsecPerPx, apertureMm: frame.metadata.apertureMm },
  );
  if (effective.openEnded) {
    warn(
      'open-ended-profile',
      `light is still seen at R_max = ${effective.rMax.toFixed(1)} px: halo numbers are lower limits; --halo-radius sets a larger one`,
    );
  }
  if (frame.layout === 'rgb') {
    warn(
      'interpolated-colour',
      'three colour planes: if they were interpolated from a mosaic, sizes are upper limits; the unprocessed mosaic is better',
    );
  }
  const { perfect, ...rest } = numbers;
  if (perfect && !perfect.diffractionIncluded) {
    const { low, high } = perfect.rangePercent;
    warn(
      'no-perfect-lens',
      `what a perfect lens would show is not known without focal length, pixel size and aperture (--focal-length, --pixel-size, --aperture): air alone makes between ${low.toFixed(1)} and ${high.toFixed(1)} points of blue minus red`,
    );
  } else {
    for (const note of (perfect?.notes ?? []).filter(
      (text) => !text.startsWith('effective wavelengths'),
    )) {
      warn('perfect-lens', note);
    }
  }
  const halo: HaloResult = {
    ...rest,
    starColour: colourTrend(
      effective.profiles[r] as EffectiveProfiles['profiles'][number],
      effective.profiles[b] as EffectiveProfiles['profiles'][number],
      effective.stars.length,
      numbers.blueMinusRed.atRadiusPx,
      options.seed,
    ),
    saturatedStars: saturatedHalo(
      plan,
      effective,
      found.sources,
      found.saturation,
      noisePerSignal,
      options.seed,
    ),
  };
  return { halo, perfect };
}

function lateralResult(
  frame: Frame,
  effective: EffectiveProfiles,
  arcsecPerPx: number | null,
): FrameResult['lateralColour'] {
  const red = effective.lateral[0];
  const blue = effective.lateral[2];
  if (!red || !blue) return null;
  const { width, height } = frame.rows;
  const corner = 0.5 * Math.sqrt(width * width + height * height);
  const redPerPx = uncertain(red.m, red.mDraws, 1);
  const bluePerPx = uncertain(blue.m, blue.mDraws, 1);
  const at = uncertain(
    Math.abs(blue.m - red.m) * corner,
    Float64Array.from(blue.mDraws, (m, i) => Math.abs(m - (red.mDraws[i] as number)) * corner),
    1,
  );
  if (!redPerPx || !bluePerPx || !at) return null;
  return {
    blueConstantPx: [blue.cx, blue.cy],
    redConstantPx: [red.cx, red.cy],
    bluePerPx,
    redPerPx,
    atCornerPx: at,
    atCornerArcsec: scaled(at, arcsecPerPx),
    atCornerUm: scaled(at, frame.metadata.pixelSizeUm),
  };
}
