/** Fairness of the sky: time between, air mass, seeing, background. */
import type { FairnessFacts } from './fairness-facts.js';
import { extremeLabels, fairnessItem, largestRatio } from './fairness-item.js';
import type { FairnessItem } from './result.js';
import { decimal, duration, listOf, twoDigits } from './words.js';

/** Exposures no farther apart than this, from middle to middle, had the same air, s: seeing changes by a tenth within a quarter of an hour. */
const SAME_TIME = 300;
/** From here on the clearness of the air and the brightness of the sky may have changed as well, s. */
const LONG_APART = 1800;
/** Air masses this near change sizes by less than 2 % (size ∝ air mass^0.6). */
const SAME_AIRMASS = 0.03;
/** Seeing given by the user within this factor is the same: nobody knows it better. */
const SAME_SEEING = 1.05;
/** Skies within this factor are the same: the faintest stars differ by less than 1.25 log10(1.25) = 0.12 mag. */
const SAME_SKY = 1.25;
/** Kolmogorov turbulence: seeing ∝ air mass^0.6. */
const AIRMASS_POWER = 0.6;

/** Longest time from the middle of one label's exposures to that of another's, s; null where a time is not known. */
function longestGap(facts: readonly FairnessFacts[]): number | null {
  const middles = facts.flatMap(({ timeMs }) => (timeMs === null ? [] : [middle(timeMs) / 1000]));
  return middles.length < facts.length ? null : Math.max(...middles) - Math.min(...middles);
}

export function timeItem(facts: readonly FairnessFacts[]): FairnessItem {
  const gap = longestGap(facts);
  const starts = facts.flatMap(({ timeMs }) => (timeMs === null ? [] : [timeMs[0]]));
  const first = Math.min(...starts);
  const value = ({ timeMs }: FairnessFacts): string | null =>
    timeMs === null
      ? null
      : Math.max(...starts) - first < 1000
        ? 'begun together'
        : timeMs[0] === first
          ? 'begun first'
          : `begun ${duration((timeMs[0] - first) / 1000)} later`;
  if (gap === null) {
    return fairnessItem(
      'time between',
      facts,
      value,
      'unknown',
      'none',
      [],
      'Not all frames say when they were taken, so it is not known whether the sky was the same.',
    );
  }
  if (gap <= SAME_TIME) {
    return fairnessItem(
      'time between',
      facts,
      value,
      'equal',
      'none',
      [],
      gap < 1
        ? 'The exposures were taken at the same time.'
        : `The exposures are no more than ${duration(gap)} apart.`,
    );
  }
  const long = gap > LONG_APART;
  return fairnessItem(
    'time between',
    facts,
    value,
    'not correctable',
    long ? 'weakens' : 'none',
    long ? ['depth'] : [],
    long
      ? `The exposures are ${upTo(facts)}${duration(gap)} apart: the air may have been clearer or the sky darker for one of them, which decides how faint it sees.`
      : `The exposures are ${upTo(facts)}${duration(gap)} apart: too short for another sky, long enough for other seeing.`,
  );
}

export function airmassItem(facts: readonly FairnessFacts[]): FairnessItem {
  const value = ({ airmass }: FairnessFacts): string | null =>
    airmass === null
      ? null
      : airmass[1] - airmass[0] > SAME_AIRMASS
        ? `${decimal(airmass[0], 2)} to ${decimal(airmass[1], 2)}`
        : decimal(middle(airmass), 2);
  if (facts.some(({ airmass }) => airmass === null)) {
    const gap = longestGap(facts);
    const together = gap !== null && gap <= SAME_TIME;
    return fairnessItem(
      'air mass',
      facts,
      value,
      'unknown',
      'none',
      [],
      together
        ? 'The height above the horizon is not in every header, but the same stars at the same time stood equally high.'
        : 'It is not known whether the stars stood equally high: lower in the sky, they are wider and fainter.',
    );
  }
  const of = ({ airmass }: FairnessFacts): number => middle(airmass as readonly [number, number]);
  const { most, least } = extremeLabels(facts, of);
  if (of(most) - of(least) <= SAME_AIRMASS) {
    return fairnessItem(
      'air mass',
      facts,
      value,
      'equal',
      'none',
      [],
      'The stars stood equally high in the sky.',
    );
  }
  const percent = airmassBlurPercent(facts) as number;
  return fairnessItem(
    'air mass',
    facts,
    value,
    'not correctable',
    'weakens',
    ['size', 'colour', 'depth'],
    `${most.label} looked through more air than ${least.label}, which alone makes the blur of the air about ${twoDigits(percent)} % larger, and stars fainter.`,
  );
}

/** By how much more air alone widens the blur, per cent: the lowest against the highest in the sky; null unless all air masses are known. */
export function airmassBlurPercent(facts: readonly FairnessFacts[]): number | null {
  const ratio = largestRatio(
    facts.map(({ airmass }) => (airmass === null ? null : middle(airmass))),
  );
  return ratio === null ? null : 100 * (ratio ** AIRMASS_POWER - 1);
}

function middle([least, most]: readonly [number, number]): number {
  return 0.5 * (least + most);
}

const WORSE_AIR =
  'worse air widens stars and hides faint ones; it also dilutes halos and elongation a little, which flatters';

/** `up to ` where several pairs of telescopes lie differently far apart. */
function upTo(facts: readonly FairnessFacts[]): string {
  return facts.length > 2 ? 'up to ' : '';
}

/** Seeing: as given; or the same because the frames were taken together; or not known. */
export function seeingItem(facts: readonly FairnessFacts[]): FairnessItem {
  const value = ({ seeingArcsec, seeingAtMostArcsec }: FairnessFacts): string | null =>
    seeingArcsec !== null
      ? `${twoDigits(seeingArcsec)} arcsec, as given`
      : seeingAtMostArcsec === null
        ? null
        : `at most ${twoDigits(seeingAtMostArcsec)} arcsec`;
  const affects: FairnessItem['affects'] = ['size', 'colour', 'shape', 'field', 'light', 'depth'];
  const ratio = largestRatio(facts.map(({ seeingArcsec }) => seeingArcsec));
  if (ratio !== null) {
    if (ratio <= SAME_SEEING) {
      return fairnessItem(
        'seeing',
        facts,
        value,
        'equal',
        'none',
        [],
        'The blur of the air is given as the same.',
      );
    }
    const { most, least } = extremeLabels(facts, (one) => one.seeingArcsec as number);
    return fairnessItem(
      'seeing',
      facts,
      value,
      'not correctable',
      'weakens',
      affects,
      `The air blurred the stars of ${most.label} ${twoDigits(100 * (ratio - 1))} % more than those of ${least.label}: ${WORSE_AIR}.`,
    );
  }
  const gap = longestGap(facts);
  const airmasses = facts.map(({ airmass }) => (airmass === null ? null : middle(airmass)));
  const known = airmasses.filter((one): one is number => one !== null);
  const high = known.length < 2 || Math.max(...known) - Math.min(...known) <= SAME_AIRMASS;
  if (gap !== null && gap <= SAME_TIME && high) {
    return fairnessItem(
      'seeing',
      facts,
      value,
      'equal',
      'none',
      [],
      'Taken at the same time and equally high: the blur of the air was the same, provided that the telescopes stood side by side.',
    );
  }
  const why =
    gap === null
      ? 'Not all frames say when they were taken'
      : gap <= SAME_TIME
        ? 'The stars stood at different heights'
        : `The exposures are ${upTo(facts)}${duration(gap)} apart`;
  return fairnessItem(
    'seeing',
    facts,
    value,
    'unknown',
    'weakens',
    affects,
    `${why}, so the air may have been steadier for one of them: ${WORSE_AIR}.`,
  );
}

export function backgroundItem(facts: readonly FairnessFacts[]): FairnessItem {
  const value = (one: FairnessFacts): string | null =>
    one.skyElectronsPerSecondArcsec2 !== null
      ? `${twoDigits(one.skyElectronsPerSecondArcsec2)} electrons per second and square arcsec`
      : Number.isFinite(one.backgroundAdu)
        ? `${decimal(one.backgroundAdu, 0)} ADU`
        : null;
  // The same sky gives light in proportion to the area of the lens.
  const perArea = facts.map(({ skyElectronsPerSecondArcsec2: sky, apertureMm }) =>
    sky === null || apertureMm === null ? null : sky / (apertureMm * apertureMm),
  );
  const ratio = largestRatio(perArea);
  if (ratio === null) {
    return fairnessItem(
      'background',
      facts,
      value,
      'unknown',
      'none',
      [],
      'How bright the sky was cannot be compared: that needs exposure, aperture, scale, gain and the level of no light of every telescope.',
    );
  }
  if (ratio <= SAME_SKY) {
    return fairnessItem(
      'background',
      facts,
      value,
      'equal',
      'none',
      [],
      'Every telescope gathered about as much light of the sky for its aperture.',
    );
  }
  const brightest = Math.max(...(perArea as number[]));
  const names = facts.filter((_, k) => perArea[k] === brightest).map(({ label }) => label);
  return fairnessItem(
    'background',
    facts,
    value,
    'not correctable',
    'weakens',
    ['depth'],
    `For its aperture ${listOf(names)} gathered ${twoDigits(ratio)} times as much light of the sky as the one with the least: a brighter sky hides faint stars, a wider colour band or a clearer lens shows more of both.`,
  );
}
