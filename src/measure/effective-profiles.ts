/** From labelled sources to one effective profile per channel: choice of stars, lateral colour, R_max, rounds. */
import { FLAG } from '../catalogue/flags.js';
import type { BackgroundMesh } from '../detect/background.js';
import type { ChannelPlan } from '../detect/lattice.js';
import { cutStamps, partOfStamps, type Stamps } from '../detect/stamps.js';
import type { FloatReader } from '../frame/convert.js';
import { valuesAt } from '../stats/order.js';
import type { Found } from './find.js';
import { fitLateral, type LateralShift, shiftsAt } from './lateral.js';
import { findNeighbours, type NeighbourLists } from './neighbours.js';
import { crowdingOf, hasOpenRim, moffatTable, settled } from './profile-checks.js';
import type { ChannelProfile, Elongation } from './profile-equations.js';
import { createChannelProfile, profileRound } from './profile-rounds.js';
import { flattenSamples, type ProfileSamples } from './profile-samples.js';
import { createRadialSpline } from './radial-spline.js';
import { recentreStars } from './recentre.js';
import { createSampleList } from './samples.js';
import { updateFluxes } from './source-flux.js';

/** R_max in units of the green FWHM (docs/algorithms.md), and the factor by which it is raised. */
const DEFAULT_RMAX_FWHM = 8;
const RAISE = 1.5;
const LARGEST_RMAX_FWHM = 18;
export const LARGEST_RMAX_PX = 72;
const SMALLEST_RMAX_PX = 6;
/** The annulus reaches from R_max to this multiple of it, at least 5 px more. */
const ANNULUS = 1.35;
/** Samples of all profile stars in memory at a time. */
const SAMPLE_BUDGET = 4.5e5;
/** Never fewer stars than this for want of memory. */
const FEWEST_BUDGET_STARS = 160;
/** Stars wanted at least before the budget lets R_max grow. */
const STARS_FOR_RAISE = 40;
/** Neighbours' light within R_max over the star's own (median star) above which wings cannot be told from the crowd. */
export const CROWDED = 1.5;
/** R_max is lowered in a crowd, but not below this many FWHM. */
const SMALLEST_RMAX_FWHM = 3.5;
const TRIAL_ROUNDS = 2;
const ROUNDS = 5;
/** Recorded FWHM from which centres refined with the profiles are published, px (docs/benchmarks.md). */
const PUBLISH_CENTRE_FROM_PX = 2.5;
/** Saturated stars scaled by their wings at most. */
const SATURATED_LIMIT = 80;

export interface EffectiveProfiles {
  profiles: ChannelProfile[];
  samples: ProfileSamples[];
  /** Source index of each profile star. */
  stars: number[];
  rMax: number;
  rOut: number;
  /** Lateral models per channel; null for the reference and where none could be fitted. */
  lateral: (LateralShift | null)[];
  shifts: { x: Float64Array; y: Float64Array }[];
  /** Saturated sources with a wide stamp. */
  wide: { sources: number[]; stamps: Stamps } | null;
  /** True when R_max was raised above its default because a profile had not fallen off. */
  raised: boolean;
  /** True when R_max was lowered below its default because of crowding. */
  lowered: boolean;
  /** True when light is still seen at R_max in some channel. */
  openEnded: boolean;
  /** Neighbours' light within R_max over the star's own, median star. */
  crowding: number;
}

export interface ProfileSettings {
  read: FloatReader;
  plan: ChannelPlan;
  mesh: BackgroundMesh;
  width: number;
  height: number;
  noisePerSignal: number;
  seed: number;
  draws: number;
  /** Fixed R_max, px, or null. */
  rMaxPx: number | null;
  /** Recorded FWHM of the reference channel, first estimate. */
  fwhmPx: number;
  /** Mean shape of the stars. */
  elongation: Elongation;
  /** Exponent of the first profile. */
  beta: number;
}

/**
 * Builds the profiles. `stars` are the candidates for profile stars, best first; those that do not fit the memory budget at the
 * final R_max are left out from the end.
 * @returns null when no profile can be solved
 */
export function buildProfiles(
  found: Found,
  stars: readonly number[],
  settings: ProfileSettings,
): EffectiveProfiles | null {
  const { plan, width, height } = settings;
  const { sources } = found;
  const reference = sources.fits[plan.reference];
  if (!reference) return null;
  const lateral = plan.channels.map((_, c) => {
    const fits = sources.fits[c];
    if (c === plan.reference || !fits) return null;
    return fitLateral(
      sources,
      stars,
      reference,
      fits,
      width,
      height,
      settings.fwhmPx,
      settings.seed + 17 * (c + 1),
      settings.draws,
    );
  });
  const shifts = lateral.map((model) => shiftsAt(model, sources.x, sources.y, width, height));
  const halfSide = Math.floor(Math.min(width, height) / 5);
  let rMax = settings.rMaxPx ?? Math.max(SMALLEST_RMAX_PX, DEFAULT_RMAX_FWHM * settings.fwhmPx);
  rMax = Math.min(rMax, roomFor(width, height));
  const first = rMax;
  const ceiling = Math.min(LARGEST_RMAX_FWHM * settings.fwhmPx, LARGEST_RMAX_PX, halfSide);
  let lowered = false;
  for (;;) {
    const next = rMax * RAISE;
    const free = settings.rMaxPx === null;
    const may: Permission = {
      raise:
        free && !lowered && next <= ceiling * 1.01 && starBudget(next, plan) >= STARS_FOR_RAISE,
      lower: free && rMax <= first && rMax / RAISE >= SMALLEST_RMAX_FWHM * settings.fwhmPx,
    };
    const built = runRounds(found, stars, settings, shifts, rMax, may);
    if (built === 'raise') rMax = next;
    else if (built === 'lower') {
      rMax /= RAISE;
      lowered = true;
    } else return built && { ...built, lateral, raised: rMax > first, lowered };
  }
}

/** Which changes of R_max a trial may ask for. */
interface Permission {
  raise: boolean;
  lower: boolean;
}

/** Stars whose samples fit the memory budget. */
function starBudget(rMax: number, plan: ChannelPlan): number {
  const rOut = outerRadius(rMax);
  return Math.floor(SAMPLE_BUDGET / (Math.PI * rOut * rOut * plan.planes));
}

/** Most stars whose samples fit the memory budget of `buildProfiles` at an R_max. */
export function profileStarLimit(rMaxPx: number, plan: ChannelPlan): number {
  return Math.max(FEWEST_BUDGET_STARS, starBudget(rMaxPx, plan));
}

/** Largest R_max that a frame has room for, px. */
export function roomFor(width: number, height: number): number {
  return Math.max(SMALLEST_RMAX_PX, Math.floor(Math.min(width, height) / 5));
}

function outerRadius(rMax: number): number {
  return Math.max(ANNULUS * rMax, rMax + 5);
}

function runRounds(
  found: Found,
  candidates: readonly number[],
  settings: ProfileSettings,
  shifts: { x: Float64Array; y: Float64Array }[],
  rMax: number,
  may: Permission,
): Omit<EffectiveProfiles, 'lateral' | 'raised' | 'lowered'> | 'raise' | 'lower' | null {
  const { plan, mesh, read } = settings;
  const { sources, core, stampOf } = found;
  const rOut = outerRadius(rMax);
  const stars = candidates.slice(0, profileStarLimit(rMax, plan));
  const starX = valuesAt(sources.x, stars);
  const starY = valuesAt(sources.y, stars);
  const isStar = new Uint8Array(sources.n);
  for (const i of stars) isStar[i] = 1;
  const ignore = FLAG['hot pixel'] | FLAG['cosmic ray'];
  const others: number[] = [];
  const saturated: number[] = [];
  for (let i = 0; i < sources.n; i++) {
    if (isStar[i] === 1 || ((sources.flags[i] as number) & ignore) !== 0) continue;
    if (((sources.flags[i] as number) & FLAG.saturated) !== 0) saturated.push(i);
    else if ((stampOf[i] as number) >= 0) others.push(i);
  }
  saturated.sort(
    (a, b) => (sources.significance[b] as number) - (sources.significance[a] as number) || a - b,
  );
  saturated.length = Math.min(saturated.length, SATURATED_LIMIT);
  // Profile stars and saturated ones in one pass over the frame.
  const cut = [...stars, ...saturated];
  const all = cutStamps(
    read,
    plan,
    mesh,
    valuesAt(sources.x, cut),
    valuesAt(sources.y, cut),
    Math.ceil(rOut) + 1,
  );
  const stamps = partOfStamps(all, 0, stars.length);
  const wide =
    saturated.length > 0
      ? { sources: saturated, stamps: partOfStamps(all, stars.length, cut.length) }
      : null;
  const samples = plan.channels.map((_, c) => {
    const shift = shifts[c];
    const x = Float64Array.from(stars, (i, k) => (starX[k] as number) + (shift?.x[i] ?? 0));
    const y = Float64Array.from(stars, (i, k) => (starY[k] as number) + (shift?.y[i] ?? 0));
    return flattenSamples(stamps, plan, c, x, y, rOut);
  });
  const spline = createRadialSpline(rMax, 0.3 * settings.fwhmPx, 1.5 * settings.fwhmPx, 1.3);
  const profiles = plan.channels.map(() =>
    createChannelProfile(
      spline,
      moffatTable(spline, settings.fwhmPx, settings.beta),
      stars.length,
      plan.lattices.length,
    ),
  );
  const starNeighbours = findNeighbours(sources.x, sources.y, stars, rOut + 2 * rMax);
  // Between the rounds only sources that shine on a profile star matter; the rest get their flux at the end.
  const shining = new Uint8Array(sources.n);
  for (const j of starNeighbours.index) shining[j] = 1;
  const near = others.filter((i) => shining[i] === 1);
  const far = others.filter((i) => shining[i] === 0);
  const nearNeighbours = findNeighbours(sources.x, sources.y, near, 2 * rMax);
  const saturatedNeighbours = findNeighbours(sources.x, sources.y, saturated, 2 * rMax);
  const list = createSampleList(Math.max(core.side * core.side, wide ? wide.stamps.side ** 2 : 1));
  const coreRadius = Math.max(2, 1.2 * settings.fwhmPx + 0.5);

  // First fluxes of profile stars come from the plain scaling of the first profile.
  const openEnded = (): boolean =>
    profiles.some((profile, c) => hasOpenRim(profile, samples[c] as ProfileSamples, rMax));
  const crowding = (): number =>
    crowdingOf(
      profiles[plan.reference] as ChannelProfile,
      samples[plan.reference] as ProfileSamples,
      rMax,
    );
  const fluxInput = (c: number) => {
    const profile = profiles[c] as ChannelProfile;
    const shift = shifts[c] as { x: Float64Array; y: Float64Array };
    return {
      plan,
      channel: c,
      x: sources.x,
      y: sources.y,
      shiftX: shift.x,
      shiftY: shift.y,
      table: profile.table,
      rim: profile.rim,
      rMax,
      noisePerSignal: settings.noisePerSignal,
    };
  };
  const coreInput = (c: number, who: number[], neighbours: NeighbourLists) => ({
    ...fluxInput(c),
    stamps: core,
    who,
    stampOf: valuesAt(stampOf, who),
    neighbours,
    radius: coreRadius,
    clip: Number.NaN,
  });
  const before = profiles.map((profile) => profile.table.enclosed.slice());
  for (let round = 0; round < ROUNDS; round++) {
    if (settled(profiles, before) && round > TRIAL_ROUNDS) break;
    if (round === TRIAL_ROUNDS) {
      const crowd = crowding();
      if (may.lower && crowd > CROWDED) return 'lower';
      if (may.raise && crowd * RAISE * RAISE < CROWDED && openEnded()) return 'raise';
    }
    for (let c = 0; c < plan.channels.length; c++) {
      const profile = profiles[c] as ChannelProfile;
      const shift = shifts[c] as { x: Float64Array; y: Float64Array };
      const flux = sources.flux[c] as Float64Array;
      const fluxError = sources.fluxError[c] as Float64Array;
      const common = fluxInput(c);
      updateFluxes(coreInput(c, near, nearNeighbours), list, flux, fluxError);
      if (wide) {
        updateFluxes(
          {
            ...common,
            stamps: wide.stamps,
            who: saturated,
            stampOf: saturated.map((_, k) => k),
            neighbours: saturatedNeighbours,
            radius: rMax,
            clip: 0.9 * (found.saturation[c] as number),
          },
          list,
          flux,
          fluxError,
        );
      }
      const solved = profileRound(profile, {
        samples: samples[c] as ProfileSamples,
        rMax,
        rOut,
        elongation: settings.elongation,
        noisePerSignal: settings.noisePerSignal,
        neighbours: starNeighbours,
        sourceX: sources.x,
        sourceY: sources.y,
        sourceFlux: flux,
        shiftX: shift.x,
        shiftY: shift.y,
      });
      if (!solved) {
        // A channel without light cannot be solved; the others go on without it.
        if (c === plan.reference) return null;
        profile.flux.fill(0);
        continue;
      }
      stars.forEach((i, k) => {
        flux[i] = profile.flux[k] as number;
        fluxError[i] = profile.fluxError[k] as number;
      });
    }
    if (round >= 1 && round < ROUNDS - 1) {
      recentreStars(profiles, samples, settings.noisePerSignal, settings.fwhmPx);
      const centres = samples[plan.reference] as ProfileSamples;
      const shift = shifts[plan.reference] as { x: Float64Array; y: Float64Array };
      // A radial profile ignores that pixels are square: for narrow stars the fit's own centre is published.
      if (settings.fwhmPx >= PUBLISH_CENTRE_FROM_PX) {
        stars.forEach((i, k) => {
          sources.x[i] = (centres.centreX[k] as number) - (shift.x[i] as number);
          sources.y[i] = (centres.centreY[k] as number) - (shift.y[i] as number);
        });
      }
    }
  }
  const farNeighbours = findNeighbours(sources.x, sources.y, far, 2 * rMax);
  for (let c = 0; c < plan.channels.length; c++) {
    updateFluxes(
      coreInput(c, far, farNeighbours),
      list,
      sources.flux[c] as Float64Array,
      sources.fluxError[c] as Float64Array,
    );
  }
  return {
    profiles,
    samples,
    stars,
    rMax,
    rOut,
    shifts,
    wide,
    openEnded: openEnded(),
    crowding: crowding(),
  };
}
