/** Measures a filter set: mono frames through red, green and blue filters, taken one after another, as one colour record.
 *
 * Nothing is resampled. Each frame keeps its own pixels, background, star positions and profile; the frames are registered on their stars
 * only to know which stars are the same. The profiles then stand on the same stars in the same order, so that one bootstrap
 * draw serves all three and differences keep their covariance.
 */
import { createCatalogue, type StarCatalogue } from '../catalogue/catalogue.js';
import { FLAG } from '../catalogue/flags.js';
import { FrameReadError } from '../errors.js';
import { SET_CHANNELS, type SetChannel, setLabel } from '../frame/filter-name.js';
import type { Frame } from '../frame/frame.js';
import type { Warning } from '../warnings.js';
import { type BootstrapResult, bootstrapProfiles } from './bootstrap.js';
import { channelResult } from './channel-result.js';
import { litChannels } from './checks.js';
import { buildProfiles, type EffectiveProfiles } from './effective-profiles.js';
import { equivalentDefocus } from './equivalent-defocus.js';
import { fillCatalogue } from './fill-catalogue.js';
import { linearityOf, lowestSaturation, scaleOrWarning } from './frame-facts.js';
import { cautious, setHalo } from './halo-result.js';
import { lensLikeness } from './lens-likeness.js';
import { FEWEST_PROFILE_STARS } from './measure.js';
import type { MeasureOptions } from './options.js';
import {
  undersampledAt,
  warnOfCrowd,
  warnOfDark,
  warnOfHalo,
  warnOfStretch,
} from './profile-warnings.js';
import { type Registration, registerSet } from './register-set.js';
import type { ChannelResult, FrameResult, RegistrationResult } from './result.js';
import { profileSettings, type SearchedFrame, searchFrame } from './search-frame.js';
import { countRejected, selectStars } from './select-stars.js';
import { setCaveats } from './set-caveats.js';
import { plainSentence } from './verdict.js';

/** The frames of one set. */
export type FilterSet = Record<SetChannel, Frame>;

export interface SetMeasurement {
  result: FrameResult;
  /** Each frame's own stars. */
  catalogues: { file: string; catalogue: StarCatalogue }[];
}

const GREEN = SET_CHANNELS.indexOf('G');
/** Stars looked for in each frame, in units of `maxStars`: the brightest in one colour are not the brightest in another. */
const SEARCH_MARGIN = 1.5;

/**
 * Measures a set. Green is the reference: positions, scale and metadata are those of its frame.
 *
 * Deterministic: the same frames and options give the same record to the last digit.
 * @throws FrameReadError `not-mono` when a frame is not mono, `not-registered` when its stars are not those of green,
 *   or when rows cannot be read
 */
export function measureSet(set: FilterSet, options: MeasureOptions): SetMeasurement {
  const frames = SET_CHANNELS.map((channel) => set[channel]);
  const warnings: Warning[] = frames.flatMap((frame) =>
    frame.warnings.map((each) => ({ ...each })),
  );
  const files = Object.fromEntries(
    SET_CHANNELS.map((channel) => [channel, set[channel].path]),
  ) as Record<SetChannel, string>;
  const label = setLabel(files);
  const warn = (code: string, message: string): void => {
    warnings.push({ code, message, file: label });
  };
  for (const frame of frames) if (frame.layout !== 'mono') throw notMono(frame);
  setCaveats(set, warn);

  const searched = frames.map((frame) =>
    searchFrame(
      frame,
      { ...options, maxStars: Math.ceil(SEARCH_MARGIN * options.maxStars) },
      (code, message) => warnings.push({ code, message, file: frame.path }),
    ),
  );
  const green = searched[GREEN] as SearchedFrame;
  const usable = searched.map(({ found, frame }, c) =>
    selectStars(
      found,
      { ...options, maxStars: Number.POSITIVE_INFINITY, zone: c === GREEN ? options.zone : 'all' },
      frame.rows.width,
      frame.rows.height,
    ),
  );
  const { common, registrations } = registerSet(searched, usable, GREEN);
  const stars = common.map((list) => list.slice(0, options.maxStars));
  const count = (stars[GREEN] as number[]).length;

  const effective = count >= FEWEST_PROFILE_STARS ? profilesOf(searched, stars, options) : null;
  let bootstrap: BootstrapResult | null = null;
  let lit = SET_CHANNELS.map(() => false);
  if (effective) {
    lit = effective.each.map((one) => litChannels(one)[0] === true);
    bootstrap = bootstrapProfiles(
      effective.each.map((one) => one.profiles[0] as EffectiveProfiles['profiles'][number]),
      effective.stars,
      effective.rMax,
      GREEN,
      options.seed,
      options.bootstrapDraws,
      lit,
    );
    warnOfCrowd(effective, warn);
    const dark = SET_CHANNELS.filter((_, c) => !lit[c]);
    warnOfDark(dark, warn);
  } else if (count < FEWEST_PROFILE_STARS) {
    warn(
      'few-stars',
      `${count} star${count === 1 ? ' is' : 's are'} usable in all three frames: at least ${FEWEST_PROFILE_STARS} are needed for sizes with error bars`,
    );
  } else {
    warn('no-profile', 'the stars do not determine a profile: sizes come from none');
  }

  const { metadata } = set.G;
  const arcsecPerPx = scaleOrWarning(metadata, warn);
  const greenFwhm = bootstrap ? (bootstrap.best.fwhm[GREEN] as number) : Number.NaN;
  const undersampled = undersampledAt(greenFwhm, warn);
  const channels: Partial<Record<SetChannel, ChannelResult>> = {};
  SET_CHANNELS.forEach((channel, c) => {
    const { found } = searched[c] as SearchedFrame;
    channels[channel] = channelResult(
      found,
      [0],
      effective?.each[c] ?? null,
      lit[c] ? bootstrap : null,
      c,
      usable[c] as number[],
      found.beta,
      arcsecPerPx,
      options.seed,
      0,
    );
  });
  const linearity = linearityOfSet(searched, usable, undersampled);
  const stretched = linearity?.verdict === 'stretched' || frames.some((f) => f.probablyProcessed);
  warnOfStretch(linearity, warn);
  const withheld = stretched && !options.haloAnyway && bootstrap !== null;
  const measured =
    bootstrap && effective && lit.every((seen) => seen)
      ? setHalo(bootstrap, effective, metadata.apertureMm, arcsecPerPx, options.seed, warn)
      : null;
  if (measured && stretched) {
    warnOfHalo(withheld, linearity, warn);
  }
  const halo = withheld ? null : cautious(measured?.halo ?? null, undersampled);
  const defocus =
    halo && measured && bootstrap
      ? equivalentDefocus(bootstrap, 0, GREEN, 2, measured.perfect, metadata)
      : null;
  const used = effective?.stars ?? count;
  const { sources } = green.found;
  const kept = new Set((stars[GREEN] as number[]).slice(0, used));
  for (const i of usable[GREEN] as number[]) {
    if (!kept.has(i)) sources.flags[i] = (sources.flags[i] as number) | FLAG['over limit'];
  }
  const rejected = countRejected(sources.flags);
  const result: FrameResult = {
    file: label,
    status: 'ok',
    width: set.G.rows.width,
    height: set.G.rows.height,
    layout: 'set',
    setFiles: files,
    registration: registrationRecord(registrations, arcsecPerPx),
    scaleArcsecPerPx: arcsecPerPx,
    metadata,
    stars: {
      found: sources.n,
      used,
      rejected,
      saturationAdu: lowestSaturation(green.found),
      saturationSource: green.found.saturationSource,
      zone: options.zone,
    },
    channels,
    halo,
    // Focus and temperature change the scale between exposures as much as a lens does between colours.
    lateralColour: null,
    equivalentDefocus: defocus,
    lensLikeness: lensLikeness(defocus, metadata),
    linearity,
    sentence: plainSentence({
      used,
      found: sources.n,
      halo,
      linearity,
      channel: 'G',
      fwhmPx: channels.G?.fwhmPx ?? null,
      fwhmArcsec: channels.G?.fwhmArcsec ?? null,
      ellipticity: channels.G?.ellipticity ?? null,
      rejected,
      colour: true,
      dark: lit.some((seen) => !seen) && effective !== null,
      haloWithheld: withheld,
      oneAfterAnother: true,
      undersampled,
    }),
    warnings,
  };
  return { result, catalogues: searched.map(ownCatalogue) };
}

function notMono(frame: Frame): FrameReadError {
  const what = frame.layout === 'cfa' ? 'a colour mosaic' : 'three colour planes';
  return new FrameReadError(
    'not-mono',
    frame.path,
    `a filter set is made of mono frames, and this one holds ${what}`,
    frame.layout === 'cfa'
      ? 'measure it by itself, without --set; if it is mono all the same, add --cfa none'
      : 'measure it by itself, without --set',
  );
}

/** Profiles of the same stars in all frames, counted within the same R_max. */
export interface SetProfiles {
  each: EffectiveProfiles[];
  stars: number;
  rMax: number;
  lowered: boolean;
  openEnded: boolean;
  crowding: number;
}

function profilesOf(
  searched: readonly SearchedFrame[],
  stars: readonly number[][],
  options: MeasureOptions,
): SetProfiles | null {
  const { fwhmPx } = profileSettings(searched[GREEN] as SearchedFrame, options, null);
  const build = (c: number, rMaxPx: number | null): EffectiveProfiles | null => {
    const one = searched[c] as SearchedFrame;
    // One size for all: the splines of the three profiles then share their knots, as in a colour frame.
    const settings = { ...profileSettings(one, options, rMaxPx), fwhmPx };
    return buildProfiles(one.found, stars[c] as number[], settings);
  };
  const own = SET_CHANNELS.map((_, c) => build(c, options.rMaxPx));
  const found = own.filter((one) => one !== null);
  if (found.length < own.length) return null;
  const lowered = found.some((one) => one.lowered);
  const radii = found.map((one) => one.rMax);
  // A crowd in one frame limits all; else the widest profile decides.
  let rMax = lowered ? Math.min(...radii) : Math.max(...radii);
  for (;;) {
    const each = SET_CHANNELS.map((_, c) =>
      (own[c] as EffectiveProfiles).rMax === rMax ? (own[c] ?? null) : build(c, rMax),
    );
    if (each.some((one) => one === null)) return null;
    const built = each as EffectiveProfiles[];
    const smallest = Math.min(...built.map((one) => one.rMax));
    if (smallest < rMax) {
      // A small frame has no room for the radius that another asked for.
      rMax = smallest;
      continue;
    }
    return {
      each: built,
      stars: Math.min(...built.map((one) => one.stars.length)),
      rMax,
      lowered,
      openEnded: built.some((one) => one.openEnded),
      crowding: Math.max(...built.map((one) => one.crowding)),
    };
  }
}

/** The worst verdict of the three frames, with the reasons of all that share it. */
function linearityOfSet(
  searched: readonly SearchedFrame[],
  usable: readonly number[][],
  undersampled: boolean,
): FrameResult['linearity'] {
  const all = searched.map(({ frame, found }, c) =>
    linearityOf(frame, found, usable[c] as number[], [0], undersampled),
  );
  for (const verdict of ['stretched', 'cannot tell', 'linear'] as const) {
    const same = all.filter((one) => one?.verdict === verdict);
    const [first] = same;
    if (first)
      return { ...first, reasons: [...new Set(same.flatMap((one) => one?.reasons ?? []))] };
  }
  return null;
}

function registrationRecord(
  registrations: readonly (Registration | null)[],
  arcsecPerPx: number | null,
): NonNullable<FrameResult['registration']> {
  const of = (channel: SetChannel): RegistrationResult => {
    const one = registrations[SET_CHANNELS.indexOf(channel)] as Registration;
    return { ...one, shiftArcsec: arcsecPerPx === null ? null : one.shiftPx * arcsecPerPx };
  };
  return { R: of('R'), B: of('B') };
}

function ownCatalogue({ frame, plan, found }: SearchedFrame): {
  file: string;
  catalogue: StarCatalogue;
} {
  const catalogue = createCatalogue(found.sources.n, plan.channels);
  fillCatalogue(catalogue, plan, found, [found.beta]);
  return { file: frame.path, catalogue };
}
