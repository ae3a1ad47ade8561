/** Fairness of camera and exposure: exposure, gain, filter, sampling, pixels on the sky, saturation. */
import { standardDeviation } from '../stats/robust.js';
import { theilSenSlope } from '../stats/student.js';
import { type FairnessFacts, PIXEL_FWHM_SQUARED } from './fairness-facts.js';
import { extremeLabels, fairnessItem, labelsWith, largestRatio } from './fairness-item.js';
import type { FairnessItem, FairnessStatus } from './result.js';
import { decimal, listOf, twoDigits } from './words.js';

/** Exposures and gains within 2 % are the same: the depth changes by 0.01 mag. */
const SAME_EXPOSURE = 1.02;
/** Pixels whose sides differ by more fill sooner or later by 0.1 mag, 2.5 log10 of the square: what matters in headroom. */
const SAME_PIXELS = 1.05;
/** Pixels whose shares in the size differ by more than half of the smallest difference that matters. */
const PIXEL_SHARE = 0.01;
/**
 * Colours of the same stars that differ by more than this factor between two cameras come from other bands. A lens with strong false colour
 * loses violet beyond the radius within which light counts, and by that alone makes a factor of 1.17 (invented achromat, 80 mm f/6).
 */
const SAME_COLOURS = 1.3;
/** Stars, and spread of their colours, mag, that tell. */
const COLOUR_STARS = 20;
const COLOUR_SPREAD = 0.2;
/** Share of the brightest common stars whose loss makes a halo rest on fainter ones. */
const MANY_CLIPPED = 0.5;

export function exposureItem(facts: readonly FairnessFacts[]): FairnessItem {
  const value = ({ exposureSeconds, frames }: FairnessFacts): string | null => {
    if (exposureSeconds === null) return null;
    const [least, most] = exposureSeconds;
    const each =
      most > least * SAME_EXPOSURE
        ? `${twoDigits(least)} to ${twoDigits(most)} s`
        : `${twoDigits(most)} s`;
    return frames === 1 ? each : `${frames} frames of ${each}`;
  };
  const ratio = largestRatio(facts.flatMap(({ exposureSeconds }) => exposureSeconds ?? [null]));
  if (ratio === null) {
    return fairnessItem(
      'exposure',
      facts,
      value,
      'unknown',
      'weakens',
      ['depth', 'light'],
      'Not every exposure time is known, so that seeing fainter stars may only mean having looked longer.',
    );
  }
  if (ratio <= SAME_EXPOSURE) {
    return fairnessItem('exposure', facts, value, 'equal', 'none', [], 'Equally long exposures.');
  }
  const { most, least } = extremeLabels(facts, ({ exposureSeconds }) => exposureSeconds?.[1] ?? 0);
  return fairnessItem(
    'exposure',
    facts,
    value,
    'corrected for',
    'weakens',
    ['depth', 'light'],
    most === least
      ? 'Exposures differ from frame to frame; depth is also given per second.'
      : `${most.label} was exposed longer than ${least.label}: depth is also given per second, as if only the sky made noise; stars found and headroom are not corrected.`,
  );
}

export function gainItem(facts: readonly FairnessFacts[]): FairnessItem {
  const value = ({ gainElectronsPerAdu: gain }: FairnessFacts): string | null =>
    gain === null ? null : `${twoDigits(gain)} electrons per ADU`;
  const ratio = largestRatio(facts.map(({ gainElectronsPerAdu }) => gainElectronsPerAdu));
  const status: FairnessStatus =
    ratio === null ? 'unknown' : ratio <= SAME_EXPOSURE ? 'equal' : 'corrected for';
  return fairnessItem(
    'gain',
    facts,
    value,
    status,
    'none',
    [],
    status === 'equal'
      ? 'The same gain.'
      : 'No row compares recorded numbers of one telescope with those of another: sizes and halos are shares of a star’s own light, depth is signal over noise.',
  );
}

/**
 * How much more the same stars differ in colour in one camera than in another: largest over smallest slope of their colours against those in
 * the first camera. Errors of 0.05 mag over a spread of 0.2 make a slope 6 % too small at most. Null when the stars do not tell.
 */
function colourRatio(facts: readonly FairnessFacts[]): number | null {
  const [first] = facts as [FairnessFacts, ...FairnessFacts[]];
  const known = Array.from(first.colours, (_, k) => k).filter((k) =>
    facts.every(({ colours }) => Number.isFinite(colours[k])),
  );
  const columns = facts.map(({ colours }) => known.map((k) => colours[k] as number));
  if (known.length < COLOUR_STARS) return null;
  if (columns.some((column) => !(standardDeviation(column) >= COLOUR_SPREAD))) return null;
  const [base] = columns as [number[]];
  return largestRatio(columns.map((column) => theilSenSlope(base, column)));
}

export function filterItem(facts: readonly FairnessFacts[]): FairnessItem {
  const value = ({ filters, layout }: FairnessFacts): string | null =>
    filters.length > 0 ? listOf(filters) : layout === 'mono' ? null : 'the camera’s own colours';
  const mono = labelsWith(facts, ({ layout }) => layout === 'mono');
  if (mono.length > 0 && mono.length < facts.length) {
    return fairnessItem(
      'filter',
      facts,
      value,
      'not correctable',
      'weakens',
      ['size', 'depth'],
      `${listOf(mono)} ${mono.length === 1 ? 'has' : 'have'} no separate colours: the size in the one band there is set beside green, though other light is in it, and colours cannot be compared.`,
    );
  }
  const names = new Set(facts.map(({ filters }) => [...filters].sort().join(', ').toLowerCase()));
  if (names.size > 1) {
    return fairnessItem(
      'filter',
      facts,
      value,
      'not correctable',
      'weakens',
      ['size', 'colour', 'depth'],
      'The headers name different filters: what is called blue or red is not the same light, and a narrower blue hides part of a halo.',
    );
  }
  if (mono.length > 0) {
    const known = facts.every(({ filters }) => filters.length > 0);
    return fairnessItem(
      'filter',
      facts,
      value,
      known ? 'equal' : 'unknown',
      'none',
      [],
      known
        ? 'The same filter by name.'
        : 'No header names a filter; if they differed, so would the sizes.',
    );
  }
  const ratio = colourRatio(facts);
  if (ratio === null) {
    return fairnessItem(
      'filter',
      facts,
      value,
      'unknown',
      'none',
      [],
      'Whether blue and red are the same light in all cameras is not known: too few stars, or too much of one colour, to tell.',
    );
  }
  return ratio <= SAME_COLOURS
    ? fairnessItem(
        'filter',
        facts,
        value,
        'equal',
        'none',
        [],
        'The same stars differ in colour by as much in all cameras: blue and red are about the same light.',
      )
    : fairnessItem(
        'filter',
        facts,
        value,
        'not correctable',
        'weakens',
        ['colour'],
        `The same stars differ in colour ${twoDigits(100 * (ratio - 1))} % more in one camera than in another: blue and red are not the same light, and a blue that reaches less far hides part of a halo.`,
      );
}

/** Share by which pixels alone widen the stars, as for Gaussians. */
function pixelShare({ fwhmPx }: FairnessFacts): number {
  return 1 / Math.sqrt(1 - PIXEL_FWHM_SQUARED / fwhmPx ** 2) - 1;
}

export function samplingItem(facts: readonly FairnessFacts[]): FairnessItem {
  const value = ({ fwhmPx }: FairnessFacts): string | null =>
    fwhmPx > 0 ? `stars ${twoDigits(fwhmPx)} px wide` : null;
  const narrow = labelsWith(facts, ({ undersampled }) => undersampled);
  if (narrow.length > 0) {
    return fairnessItem(
      'sampling',
      facts,
      value,
      'not correctable',
      'forbids',
      ['colour'],
      `The stars of ${listOf(narrow)} are narrower than the pixels can show: halos there are a guess, and sizes are uncertain by a quarter.`,
    );
  }
  const shares = facts.map(pixelShare);
  if (!shares.every((share) => Number.isFinite(share))) {
    return fairnessItem(
      'sampling',
      facts,
      value,
      'unknown',
      'none',
      [],
      'The width of the stars in pixels is not known.',
    );
  }
  // The same pixels on the sky add the same blur; that it is a smaller share of wider stars is no advantage of theirs.
  const pixels = largestRatio(facts.map(({ scaleArcsecPerPx }) => scaleArcsecPerPx));
  if (pixels !== null && pixels <= SAME_PIXELS) {
    return fairnessItem(
      'sampling',
      facts,
      value,
      'equal',
      'none',
      [],
      'Pixels are equally wide on the sky in all telescopes and add the same blur.',
    );
  }
  const { most, least } = extremeLabels(facts, pixelShare);
  if (pixelShare(most) - pixelShare(least) > PIXEL_SHARE) {
    return fairnessItem(
      'sampling',
      facts,
      value,
      'not correctable',
      'weakens',
      ['size'],
      `Pixels alone widen the stars of ${most.label} by about ${decimal(100 * pixelShare(most), 0)} % and those of ${least.label} by ${decimal(100 * pixelShare(least), 0)} %; sizes are those of the recorded picture, so that this part belongs to the camera.`,
    );
  }
  return fairnessItem(
    'sampling',
    facts,
    value,
    'equal',
    'none',
    [],
    'Pixels widen the stars of all telescopes by about the same share.',
  );
}

/** Sky that one pixel takes in: decides how soon a star fills it, and how much readout noise a star has. */
export function pixelItem(facts: readonly FairnessFacts[]): FairnessItem {
  const value = ({ scaleArcsecPerPx }: FairnessFacts): string | null =>
    scaleArcsecPerPx === null ? null : `${decimal(scaleArcsecPerPx, 2)} arcsec wide`;
  const scale = ({ scaleArcsecPerPx }: FairnessFacts): number => scaleArcsecPerPx ?? Number.NaN;
  const ratio = largestRatio(facts.map(({ scaleArcsecPerPx }) => scaleArcsecPerPx));
  if (ratio === null) {
    return fairnessItem(
      'pixels on the sky',
      facts,
      value,
      'unknown',
      'none',
      [],
      'How much of the sky a pixel takes in is not known.',
    );
  }
  if (ratio <= SAME_PIXELS) {
    return fairnessItem(
      'pixels on the sky',
      facts,
      value,
      'equal',
      'none',
      [],
      'A pixel takes in about the same piece of sky in all telescopes.',
    );
  }
  const { most, least } = extremeLabels(facts, scale);
  return fairnessItem(
    'pixels on the sky',
    facts,
    value,
    'not correctable',
    'weakens',
    ['light', 'depth'],
    `A pixel of ${most.label} takes in ${twoDigits(ratio * ratio)} times the sky of one of ${least.label}: the same star fills it sooner, and fewer pixels share its light and add their noise; that belongs to the camera and the focal length.`,
  );
}

export function saturationItem(facts: readonly FairnessFacts[]): FairnessItem {
  const value = ({ brightStars, brightClipped, saturationKnown }: FairnessFacts): string | null =>
    brightStars > 0 && saturationKnown
      ? `${brightClipped} of the ${brightStars} brightest common stars clipped`
      : null;
  const unknown = labelsWith(facts, ({ saturationKnown }) => !saturationKnown);
  if (unknown.length > 0) {
    return fairnessItem(
      'saturation',
      facts,
      value,
      'unknown',
      'weakens',
      ['size', 'colour', 'light'],
      `At which level stars clip is not known for ${listOf(unknown)}: clipped stars may be among the compared ones, and look too wide.`,
    );
  }
  const share = (one: FairnessFacts): number =>
    one.brightStars > 0 ? one.brightClipped / one.brightStars : 0;
  const { most } = extremeLabels(facts, share);
  if (share(most) === 0) {
    return fairnessItem(
      'saturation',
      facts,
      value,
      'equal',
      'none',
      [],
      'None of the brightest common stars is clipped in any telescope.',
    );
  }
  const many = share(most) >= MANY_CLIPPED;
  return fairnessItem(
    'saturation',
    facts,
    value,
    'corrected for',
    many ? 'weakens' : 'none',
    many ? ['colour'] : [],
    `Only stars that no telescope clips are compared${many ? `; ${most.label} clips so many of the bright ones that halos rest on fainter stars` : ''}.`,
  );
}
