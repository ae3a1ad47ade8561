/** Measures one frame: frame → background → sources → fits → profiles → halo → record. Pure but for reading rows. */
import { createCatalogue, type StarCatalogue } from '../catalogue/catalogue.js';
import { FLAG } from '../catalogue/flags.js';
import type { Frame } from '../frame/frame.js';
import type { Warning } from '../warnings.js';
import { type BootstrapResult, bootstrapProfiles } from './bootstrap.js';
import { channelResult } from './channel-result.js';
import { litChannels } from './checks.js';
import { buildProfiles, type EffectiveProfiles } from './effective-profiles.js';
import { equivalentDefocus } from './equivalent-defocus.js';
import { fillCatalogue } from './fill-catalogue.js';
import { linearityOf, lowestSaturation, scaleOrWarning } from './frame-facts.js';
import { cautious, haloResult, lateralResult } from './halo-result.js';
import { lensLikeness } from './lens-likeness.js';
import type { MeasureOptions } from './options.js';
import {
  undersampledAt,
  warnOfCrowd,
  warnOfDark,
  warnOfHalo,
  warnOfStretch,
} from './profile-warnings.js';
import type { ChannelName, ChannelResult, FrameResult } from './result.js';
import {
  fitOtherChannels,
  profileSettings,
  type SearchedFrame,
  searchFrame,
} from './search-frame.js';
import { countRejected, selectStars } from './select-stars.js';
import { plainSentence } from './verdict.js';

/** Fewest stars for profiles with intervals. */
export const FEWEST_PROFILE_STARS = 3;
export interface Measurement {
  result: FrameResult;
  catalogue: StarCatalogue;
  /** What later stages go on from: the sources with their stamps and fits. */
  searched: SearchedFrame;
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
  const searched = searchFrame(frame, options, warn);
  const { plan, found, noisePerSignal } = searched;
  const { sources } = found;
  const reference = plan.reference;
  const stars = selectStars(found, options, width, height);
  fitOtherChannels(searched, stars);

  let effective: EffectiveProfiles | null = null;
  let bootstrap: BootstrapResult | null = null;
  // A channel without light (a dead colour, a narrow filter before a mosaic) has no sizes and makes no halo.
  let lit: boolean[] = plan.channels.map(() => false);
  if (found.locus && stars.length >= FEWEST_PROFILE_STARS) {
    effective = buildProfiles(found, stars, profileSettings(searched, options, options.rMaxPx));
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
      warnOfCrowd(effective, warn);
    } else {
      warn('no-profile', 'the stars do not determine a profile: sizes come from none');
    }
  } else if (found.locus) {
    warn(
      'few-stars',
      `${stars.length} usable star${stars.length === 1 ? '' : 's'}: at least ${FEWEST_PROFILE_STARS} are needed for sizes with error bars`,
    );
  }

  const arcsecPerPx = scaleOrWarning(metadata, warn);
  const undersampled = undersampledAt(
    bootstrap ? (bootstrap.best.fwhm[reference] as number) : Number.NaN,
    warn,
  );

  const colour = plan.channels.length === 3;
  const namedChannels = frame.cfa !== null && !frame.cfa.redBlueKnown ? ['G'] : plan.channels;
  if (effective) {
    const dark = plan.channels.filter((name, c) => namedChannels.includes(name) && !lit[c]);
    warnOfDark(dark, warn);
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
      found.beta,
      arcsecPerPx,
      options.seed,
    );
  }

  const linearity = linearityOf(
    frame,
    found,
    stars,
    plan.ofChannel[reference] as number[],
    undersampled,
  );
  const stretched = linearity?.verdict === 'stretched' || frame.probablyProcessed;
  warnOfStretch(linearity, warn);
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
  const halo = cautious(haloFound?.halo ?? null, undersampled);
  const withheld = halo !== null && stretched && !options.haloAnyway;
  if (halo && stretched) {
    warnOfHalo(withheld, linearity, warn);
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
      saturationAdu: lowestSaturation(found),
      saturationSource: found.saturationSource,
      zone: options.zone,
    },
    channels,
    halo: withheld ? null : halo,
    lateralColour: lateral,
    equivalentDefocus: defocus,
    lensLikeness: lensLikeness(defocus, metadata),
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
      undersampled,
    }),
    warnings,
  };
  const catalogue = createCatalogue(
    sources.n,
    plan.channels.filter((name) => namedChannels.includes(name)),
  );
  fillCatalogue(
    catalogue,
    plan,
    found,
    plan.channels.map(() => found.beta),
  );
  return { result, catalogue, searched };
}
