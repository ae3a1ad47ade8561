/** Profiles of the same stars in every frame of every label, counted within the same angle. */
import {
  type BootstrapResult,
  bootstrapProfiles,
  type ProfileReadings,
} from '../measure/bootstrap.js';
import { litChannels } from '../measure/checks.js';
import {
  buildProfiles,
  type EffectiveProfiles,
  LARGEST_RMAX_PX,
  profileStarLimit,
  roomFor,
} from '../measure/effective-profiles.js';
import { fitOtherChannels, profileSettings } from '../measure/search-frame.js';
import { valuesAt } from '../stats/order.js';
import type { CommonStars, RegisteredFrame, RegisteredLabel } from './common.js';
import type { FrameProfiles } from './label.js';
import type { CompareOptions } from './options.js';

/** Fewest common stars whose profiles are compared. */
const FEWEST_COMPARED = 5;
/** Stars whose R_max circle is cut by a border are left out while at least this many, and this share, remain. */
const ENOUGH_INSIDE = 40;
const ENOUGH_SHARE = 0.6;

export interface CommonProfiles {
  /** By label and frame; empty without profiles. */
  frames: FrameProfiles[][];
  /** Positions in the common list of the stars behind them. */
  stars: number[];
  /** R_max in the angular unit. */
  rMax: number | null;
  /** R_max that each label would choose alone, no larger than the common one; the common one where the user fixed it. */
  ownRadius: number[];
  reason: string | null;
}

/**
 * Builds them. R_max is the largest that a label would choose alone, no larger than every frame has room for; a label that must
 * lower it because its stars stand in a crowd limits all. `options.rMaxPx` (px of the first label) fixes it.
 *
 * The bootstrap has one seed and one number of stars everywhere, so that its draws hold the same stars in all frames; a draw
 * that one frame cannot solve is taken out everywhere.
 */
export function commonProfiles(common: CommonStars, options: CompareOptions): CommonProfiles {
  const { labels } = common;
  const count = (labels[0] as RegisteredLabel).frames[0].common.length;
  const none = (reason: string): CommonProfiles => ({
    frames: [],
    stars: [],
    rMax: null,
    ownRadius: [],
    reason,
  });
  if (count < FEWEST_COMPARED) {
    return none(
      `only ${count} stars are usable in all frames; sizes and halos need at least ${FEWEST_COMPARED}`,
    );
  }
  const all = Array.from({ length: Math.min(count, options.maxStars) }, (_, k) => k);
  for (const { frames } of labels) {
    for (const { searched, common } of frames)
      fitOtherChannels(searched, common.slice(0, all.length));
  }
  const radii = chooseRadii(labels, all, options);
  if (radii === null) return none('the common stars determine no profile in one of the telescopes');
  const { rMax, ownRadius } = radii;
  const stars = starsInside(labels, rMax, count).slice(0, starLimit(labels, rMax, options));
  const built = labels.map((label) =>
    label.frames.map((frame) => frameProfiles(label, frame, stars, rMax, options)),
  );
  const frames: FrameProfiles[][] = [];
  for (const list of built) {
    if (list.some((one) => one === null)) {
      return none('the common stars determine no profile in one of the frames');
    }
    frames.push(list as FrameProfiles[]);
  }
  keepCommonDraws(frames.flat().map(({ bootstrap }) => bootstrap));
  return { frames, stars, rMax, ownRadius, reason: null };
}

/** Angular units per px of a frame. */
export function unitPerPx(label: RegisteredLabel, frame: RegisteredFrame): number {
  return label.unitPerPx / frame.pxPerReferencePx;
}

function chooseRadii(
  labels: readonly RegisteredLabel[],
  all: readonly number[],
  options: CompareOptions,
): { rMax: number; ownRadius: number[] } | null {
  const room = Math.min(
    ...labels.flatMap((label) =>
      label.frames.map((frame) => {
        const { width, height } = frame.searched.frame.rows;
        return Math.min(LARGEST_RMAX_PX, roomFor(width, height)) * unitPerPx(label, frame);
      }),
    ),
  );
  if (options.rMaxPx !== null) {
    const rMax = Math.min(room, options.rMaxPx * (labels[0] as RegisteredLabel).unitPerPx);
    return { rMax, ownRadius: labels.map(() => rMax) };
  }
  const own: number[] = [];
  let crowded = Number.POSITIVE_INFINITY;
  for (const label of labels) {
    const { searched, common } = label.frames[0];
    const alone = buildProfiles(
      searched.found,
      all.map((k) => common[k] as number),
      profileSettings(searched, options, null),
    );
    if (!alone) return null;
    const radius = alone.rMax * label.unitPerPx;
    own.push(radius);
    if (alone.lowered) crowded = Math.min(crowded, radius);
  }
  const rMax = Math.min(room, crowded, Math.max(...own));
  return { rMax, ownRadius: own.map((radius) => Math.min(radius, rMax)) };
}

/** The common stars whose circle of R_max lies on every frame; all of them where too few would remain. */
function starsInside(labels: readonly RegisteredLabel[], rMax: number, count: number): number[] {
  const all = Array.from({ length: count }, (_, k) => k);
  const inside = all.filter((k) =>
    labels.every((label) =>
      label.frames.every((frame) => {
        const {
          found,
          frame: { rows },
        } = frame.searched;
        const i = frame.common[k] as number;
        const x = found.sources.x[i] as number;
        const y = found.sources.y[i] as number;
        const r = rMax / unitPerPx(label, frame);
        return x >= r && y >= r && x <= rows.width - 1 - r && y <= rows.height - 1 - r;
      }),
    ),
  );
  return inside.length >= Math.min(ENOUGH_INSIDE, ENOUGH_SHARE * count) ? inside : all;
}

/** Most stars that every frame can hold: then all use the same ones. */
function starLimit(
  labels: readonly RegisteredLabel[],
  rMax: number,
  { maxStars }: CompareOptions,
): number {
  const limits = labels.flatMap((label) =>
    label.frames.map((frame) =>
      profileStarLimit(rMax / unitPerPx(label, frame), frame.searched.plan),
    ),
  );
  return Math.min(maxStars, ...limits);
}

function frameProfiles(
  label: RegisteredLabel,
  frame: RegisteredFrame,
  stars: readonly number[],
  rMax: number,
  options: CompareOptions,
): FrameProfiles | null {
  const { searched, common } = frame;
  const { plan, found } = searched;
  const perPx = unitPerPx(label, frame);
  const sources = stars.map((k) => common[k] as number);
  const built = buildProfiles(found, sources, profileSettings(searched, options, rMax / perPx));
  if (!built) return null;
  if (built.stars.length !== sources.length || Math.abs(built.rMax * perPx - rMax) > 1e-9 * rMax) {
    throw new RangeError('the frames of a comparison must share stars and R_max');
  }
  const lit = litChannels(built);
  if (!lit[plan.reference]) return null;
  const bootstrap = bootstrapProfiles(
    built.profiles,
    sources.length,
    built.rMax,
    plan.reference,
    options.seed,
    options.bootstrapDraws,
    lit,
  );
  return {
    bootstrap: inUnits(bootstrap, perPx),
    lit,
    crowding: built.crowding,
    openEnded: built.openEnded,
    lateral: built.lateral,
    fluxAdu: fluxOf(built, found.sources.flux),
    fluxErrorAdu: fluxOf(built, found.sources.fluxError),
  };
}

function fluxOf({ stars }: EffectiveProfiles, flux: readonly Float64Array[]): Float64Array[] {
  return flux.map((column) => valuesAt(column, stars));
}

/** The same readings with lengths in units of `perPx` units a pixel. */
function inUnits(bootstrap: BootstrapResult, perPx: number): BootstrapResult {
  const perArea = 1 / (perPx * perPx);
  const convert = (one: ProfileReadings): ProfileReadings => ({
    fwhm: one.fwhm.map((v) => v * perPx),
    r50: one.r50.map((v) => v * perPx),
    r80: one.r80.map((v) => v * perPx),
    r90: one.r90.map((v) => v * perPx),
    brightness: one.brightness.map((v) => v * perArea),
    enclosed: one.enclosed,
    atReference: one.atReference,
  });
  return {
    ...bootstrap,
    radii: bootstrap.radii.map((r) => r * perPx),
    best: convert(bootstrap.best),
    draws: bootstrap.draws.map(convert),
  };
}

/** Leaves only the draws that all could solve. */
function keepCommonDraws(all: readonly BootstrapResult[]): void {
  const times = new Map<number, number>();
  for (const { numbers } of all) {
    for (const d of numbers) times.set(d, (times.get(d) ?? 0) + 1);
  }
  for (const one of all) {
    const keep = one.numbers.map((d) => times.get(d) === all.length);
    one.draws = one.draws.filter((_, i) => keep[i]);
    one.numbers = one.numbers.filter((_, i) => keep[i]);
  }
}

/** Mean of the readings of several frames, each with the same weight, draw by draw. */
export function averageReadings(all: readonly BootstrapResult[]): BootstrapResult | null {
  const [first] = all;
  if (!first) return null;
  if (all.length === 1) return first;
  const mean = (parts: readonly ProfileReadings[]): ProfileReadings => {
    const of = (key: keyof ProfileReadings): Float64Array =>
      (parts[0] as ProfileReadings)[key].map(
        (_, i) => parts.reduce((sum, part) => sum + (part[key][i] as number), 0) / parts.length,
      );
    return {
      fwhm: of('fwhm'),
      r50: of('r50'),
      r80: of('r80'),
      r90: of('r90'),
      brightness: of('brightness'),
      enclosed: of('enclosed'),
      atReference: of('atReference'),
    };
  };
  return {
    ...first,
    best: mean(all.map(({ best }) => best)),
    draws: first.draws.map((_, d) => mean(all.map(({ draws }) => draws[d] as ProfileReadings))),
  };
}
