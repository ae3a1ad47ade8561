/** Rows read off the profiles of the common stars: sizes, halos, tints, equivalent defocus. */
import type { ProfileReadings } from '../measure/bootstrap.js';
import { blurDiameter, blurIsCut, perfectDifference } from '../measure/equivalent-defocus.js';
import type { ChannelName } from '../measure/result.js';
import {
  blurError,
  excessError,
  PERFECT_LENS_POINTS,
  sizeError,
  UNDERSAMPLED_PX,
} from '../measure/systematics.js';
import { type PerfectLens, perfectLens } from '../optics/perfect-lens.js';
import type { CompareData, LabelData } from './label.js';
import { makeRow, type Reading } from './readings.js';
import type { ComparisonRow } from './result.js';

const COLOURS: readonly [ChannelName, string][] = [
  ['G', 'green'],
  ['R', 'red'],
  ['B', 'blue'],
];
/**
 * What two profiles of one telescope differ by beyond their stars' scatter (bench:compare): points of halo, magnitudes of tint. Red and blue
 * sites of a mosaic are sparse, and centres are fitted on green.
 */
const COLOUR_POINTS = 0.12;
const CORE_TINT_ERROR = 0.004;
const RIM_TINT_ERROR = 0.008;
/**
 * Part of what any r80 errs by that another telescope does not share (bench:compare); the rest comes from faint stars, the same for all. What an
 * error of the light in a wide halo does to the radius is not shared.
 */
const RADIUS_OWN = 0.4;
const ARCSEC_PER_RADIAN = 648000 / Math.PI;

/** What a number of the profile is, in any reading of a label. */
type Read = (reading: ProfileReadings) => number;

/** Rows of the profiles, in the order of the report; without profiles all of them are null, with the reason. */
export function profileRows(data: CompareData): ComparisonRow[] {
  const { labels } = data;
  const allMono = labels.every(({ channels }) => channels.L !== undefined);
  const rows: ComparisonRow[] = [];
  for (const key of ['fwhm', 'r80'] as const) {
    if (allMono) rows.push(sizeRow(data, key, 'L', key));
    else
      for (const [channel, word] of COLOURS)
        rows.push(sizeRow(data, key, channel, `${key} ${word}`));
  }
  if (!allMono) rows.push(...colourRows(data));
  return rows;
}

/** Plan index of a channel in the profiles of a label; a mono camera's only one stands for green. Null without star light. */
function channelOf(label: LabelData, channel: ChannelName): number | null {
  const index = label.channels[channel] ?? (channel === 'G' ? label.channels.L : undefined);
  if (index === undefined || label.averaged === null) return null;
  return label.frames.every(({ profiles }) => profiles?.lit[index] === true) ? index : null;
}

/** Reading of a label: the mean of its frames, draw by draw, and the frames one by one. */
function readingOf(data: CompareData, label: LabelData, read: Read, systematic: number): Reading {
  const { best, draws } = label.averaged as NonNullable<LabelData['averaged']>;
  return {
    value: read(best),
    draws: draws.map(read),
    stars: data.stars,
    systematic,
    frames: label.frames.map(({ profiles }) =>
      profiles === null ? Number.NaN : read(profiles.bootstrap.best),
    ),
  };
}

/** Size of a label in a channel, angular unit; null without it. */
export function sizeReading(
  data: CompareData,
  label: LabelData,
  key: 'fwhm' | 'r80',
  channel: ChannelName,
): Reading | null {
  const c = channelOf(label, channel);
  if (c === null || label.averaged === null) return null;
  const { plan, found } = label.frames[0].searched;
  const sparse = plan.ofChannel[c]?.length === 1 && found.mesh.lattices === 4;
  const { best } = label.averaged;
  const fwhmPx = (best.fwhm[c] as number) / label.unitPerPx;
  const value = best[key][c] as number;
  const base = sizeError(key, sparse, fwhmPx) * value;
  const read: Read = (one) => one[key][c] as number;
  // A grid too coarse for its stars is the telescope's own fault.
  if (key === 'fwhm' || fwhmPx < UNDERSAMPLED_PX) return readingOf(data, label, read, base);
  const wing = wingError(label, c, value);
  return {
    ...readingOf(data, label, read, Math.sqrt(base ** 2 + wing ** 2)),
    shared: base * Math.sqrt(1 - RADIUS_OWN ** 2),
  };
}

/** What the error of an excess of light makes of a radius: wide halos hold so little light per ring that small errors move r80 far. */
function wingError(label: LabelData, c: number, radius: number): number {
  const { best, radii } = label.averaged as NonNullable<LabelData['averaged']>;
  const g = channelOf(label, 'G') ?? c;
  const n = radii.length;
  let i = 1;
  while (i < n - 1 && (radii[i] as number) < radius) i++;
  const light = (k: number): number => best.enclosed[c * n + k] as number;
  const slope = (light(i) - light(i - 1)) / ((radii[i] as number) - (radii[i - 1] as number));
  return slope > 0 ? excessError(excessRead(c, g)(best), 0) / 100 / slope : 0;
}

function sizeRow(
  data: CompareData,
  key: 'fwhm' | 'r80',
  channel: ChannelName,
  quantity: string,
): ComparisonRow {
  const { labels, unit, stars } = data;
  return makeRow(
    { quantity, group: 'size', scope: 'same stars', unit, betterWhen: 'smaller' },
    labels,
    labels.map((label) => sizeReading(data, label, key, channel)),
    stars,
    missing(data, channel),
  );
}

/** Why a row of a channel is empty in some label; null when it is in none. */
function missing(data: CompareData, channel: ChannelName): string | null {
  if (data.noProfiles !== null) return data.noProfiles;
  const without = data.labels.filter((label) => channelOf(label, channel) === null);
  if (without.length === 0) return null;
  const names = without.map(({ label }) => label).join(', ');
  const word = COLOURS.find(([name]) => name === channel)?.[1] ?? 'light';
  return without.every(({ channels }) => channels.L !== undefined)
    ? `${names} without colour`
    : `no ${word} star light known in ${names}`;
}

/** Labels with light in all three colours have a perfect lens to compare with where aperture and scale are known. */
interface Coloured {
  r: number;
  g: number;
  b: number;
  perfect: PerfectLens | null;
}

function colouredOf(data: CompareData, label: LabelData): Coloured | null {
  const [r, g, b] = (['R', 'G', 'B'] as const).map((channel) =>
    label.channels[channel] === undefined ? null : channelOf(label, channel),
  ) as [number | null, number | null, number | null];
  if (r === null || g === null || b === null || label.averaged === null || data.rMax === null) {
    return null;
  }
  return { r, g, b, perfect: perfectOf(label, label.averaged.best, g, data.rMax) };
}

/** Curves of a perfect lens with all light counted within `rMax`. */
function perfectOf(
  label: LabelData,
  best: ProfileReadings,
  g: number,
  rMax: number,
): PerfectLens | null {
  const perPx = label.unitPerPx;
  return perfectLens({
    greenFwhmPx: (best.fwhm[g] as number) / perPx,
    atRadiusPx: (best.r80[g] as number) / perPx,
    rMaxPx: rMax / perPx,
    scale:
      label.scaleArcsecPerPx === null
        ? null
        : {
            arcsecPerPx: label.scaleArcsecPerPx,
            apertureMm: label.frames[0].searched.frame.metadata.apertureMm,
          },
  });
}

function colourRows(data: CompareData): ComparisonRow[] {
  const { labels, stars } = data;
  const coloured = labels.map((label) => colouredOf(data, label));
  const why = data.noProfiles ?? missing(data, 'R') ?? missing(data, 'B') ?? missing(data, 'G');
  const row = (
    quantity: string,
    unit: string,
    reading: (label: LabelData, colour: Coloured) => Reading | null,
    reason = why,
  ): ComparisonRow =>
    makeRow(
      { quantity, group: 'colour', scope: 'same stars', unit, betterWhen: 'nearer zero' },
      labels,
      labels.map((label, l) => {
        const colour = coloured[l];
        return colour ? reading(label, colour) : null;
      }),
      stars,
      reason,
    );
  const crowding = (label: LabelData): number =>
    Math.max(...label.frames.map(({ profiles }) => profiles?.crowding ?? 0));
  const excess = (label: LabelData, wide: number, narrow: number): Reading => {
    const read = excessRead(wide, narrow);
    const value = read((label.averaged as NonNullable<LabelData['averaged']>).best);
    const all = Math.sqrt(excessError(value, crowding(label)) ** 2 + COLOUR_POINTS ** 2);
    // The same neighbours within the same angle spoil every telescope's wings; a wider lens a little more, which the rest covers.
    const own = Math.sqrt(excessError(value, 0) ** 2 + COLOUR_POINTS ** 2);
    return {
      ...readingOf(data, label, read, all),
      shared: Math.sqrt(all ** 2 - own ** 2),
    };
  };
  const contrasts: readonly [string, 'r' | 'g' | 'b', 'r' | 'g' | 'b', keyof PerfectLens][] = [
    ['halo blue minus red', 'b', 'r', 'blueMinusRedPercent'],
    ['halo blue minus green', 'b', 'g', 'blueMinusGreenPercent'],
    ['halo red minus green', 'r', 'g', 'redMinusGreenPercent'],
  ];
  const rows = contrasts.map(([quantity, wide, narrow]) =>
    row(quantity, '%', (label, colour) => excess(label, colour[wide], colour[narrow])),
  );
  const unknown = labels.filter(
    (_, l) => coloured[l] && !coloured[l]?.perfect?.diffractionIncluded,
  );
  const noPerfect =
    why ??
    (unknown.length > 0
      ? `what a perfect lens would show is not known without aperture and scale: ${unknown.map(({ label }) => label).join(', ')}`
      : null);
  for (const [quantity, wide, narrow, key] of contrasts) {
    rows.push(
      row(
        `${quantity} over perfect lens`,
        '%',
        (label, colour) => {
          if (!colour.perfect?.diffractionIncluded) return null;
          const expected = colour.perfect[key] as number;
          const one = excess(label, colour[wide], colour[narrow]);
          return {
            value: one.value - expected,
            draws: Array.from(one.draws, (v) => v - expected),
            stars: one.stars,
            systematic: Math.sqrt(one.systematic ** 2 + PERFECT_LENS_POINTS ** 2),
            ...(one.shared !== undefined && { shared: one.shared }),
            frames: one.frames.map((v) => v - expected),
          };
        },
        noPerfect,
      ),
    );
  }
  rows.push(
    row('core tint', 'mag', (label, { r, b }) =>
      readingOf(
        data,
        label,
        tintRead(r, b, (one, c) => one.atReference[c * 3] as number),
        CORE_TINT_ERROR,
      ),
    ),
    row('rim tint', 'mag', (label, { r, b }) =>
      readingOf(
        data,
        label,
        tintRead(
          r,
          b,
          (one, c) =>
            (one.atReference[c * 3 + 2] as number) - (one.atReference[c * 3 + 1] as number),
        ),
        RIM_TINT_ERROR,
      ),
    ),
  );
  const noRatio = labels.filter(
    ({ frames }) => focalRatioOf(frames[0].searched.frame.metadata) === null,
  );
  const noDefocus =
    why ??
    (data.unit === 'px' || noRatio.length > 0
      ? `needs scale, aperture and focal length: not known for ${(data.unit === 'px' ? labels : noRatio).map(({ label }) => label).join(', ')}`
      : null);
  rows.push(
    row(
      'equivalent blue defocus',
      '‰ of focal length',
      (label, colour) => {
        const perMille = defocusPerUnit(label);
        return perMille === null
          ? null
          : scaledReading(blueBlur(data, label, colour), 1000 * perMille);
      },
      noDefocus,
    ),
  );
  return rows;
}

/** Light of the wide channel outside r80 of green beyond the narrow one's share, per cent. */
function excessRead(wide: number, narrow: number): Read {
  return (one) =>
    100 * ((one.atReference[narrow * 3 + 1] as number) - (one.atReference[wide * 3 + 1] as number));
}

/** Colour B − R of a part of the image against the whole star, magnitudes. */
function tintRead(r: number, b: number, share: (one: ProfileReadings, c: number) => number): Read {
  return (one) => -2.5 * Math.log10(share(one, b) / share(one, r));
}

function scaledReading(one: Reading, factor: number): Reading {
  return {
    value: one.value * factor,
    draws: Array.from(one.draws, (v) => v * factor),
    stars: one.stars,
    systematic: one.systematic * factor,
    frames: one.frames.map((v) => v * factor),
  };
}

/**
 * Diameter of the disc that turns green into blue, angular unit. A mean square radius gathers what noise and neighbours leave far
 * out, so it is counted within the label's own R_max: within one that a far wider lens needs, it would be too large.
 */
function blueBlur(data: CompareData, label: LabelData, { g, b }: Coloured): Reading {
  const { radii, best } = label.averaged as NonNullable<LabelData['averaged']>;
  const within = label.ownRadius ?? (data.rMax as number);
  const expected = perfectDifference(
    radii.map((r) => r / label.unitPerPx),
    perfectOf(label, best, g, within),
    'B',
  );
  const cut = blurIsCut(best, radii, b, g, within);
  const read: Read = (one) => blurDiameter(one, radii, b, g, expected, within);
  const error = blurError(read(best), best.r90[g] as number, cut);
  return readingOf(data, label, read, error);
}

function focalRatioOf({
  focalLengthMm,
  apertureMm,
}: {
  focalLengthMm: number | null;
  apertureMm: number | null;
}): number | null {
  return focalLengthMm !== null && apertureMm !== null && apertureMm > 0
    ? focalLengthMm / apertureMm
    : null;
}

/** Share of the focal length by which the lens is out of focus, per arcsec of blur: Δz/f = N × blur in radians. */
function defocusPerUnit(label: LabelData): number | null {
  const ratio = focalRatioOf(label.frames[0].searched.frame.metadata);
  return ratio === null || label.scaleArcsecPerPx === null ? null : ratio / ARCSEC_PER_RADIAN;
}

/** Blur that turns green into blue as a share of the focal length; null where it cannot be known. */
export function blueDefocusOf(data: CompareData, label: LabelData): Reading | null {
  const colour = colouredOf(data, label);
  const factor = defocusPerUnit(label);
  if (colour === null || factor === null) return null;
  return scaledReading(blueBlur(data, label, colour), factor);
}
