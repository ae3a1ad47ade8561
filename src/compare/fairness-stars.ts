/** Fairness of the stars: which they are, how many, how much of the sky, within which angle; and the focus. */
import type { FairnessFacts, SharedFacts } from './fairness-facts.js';
import { extremeLabels, fairnessItem, labelsWith } from './fairness-item.js';
import type { FairnessItem } from './result.js';
import { counted, decimal, listOf, sentence, twoDigits } from './words.js';

/** Header scales that the stars contradict by more are pointed out. */
const SCALE_DISAGREES = 0.02;
/** Below this share of the smaller field, common rows speak of a part only. */
const SMALL_OVERLAP = 0.5;
/** Own fields whose areas differ by more have their corners at other distances. */
const OTHER_FIELD = 1.5;
/** With fewer stars a few odd ones decide. */
const MANY_STARS = 40;
/** Share of the own stars below which the common ones are a selection worth a word. */
const FEW_IN_COMMON = 0.25;

/** Nobody can see from one frame whether it was in best focus. */
export function focusItem(facts: readonly FairnessFacts[]): FairnessItem {
  return fairnessItem(
    'focus',
    facts,
    () => null,
    'unknown',
    'none',
    [],
    'Every telescope is judged as it was focused in these frames; whether that was its best focus they do not tell.',
  );
}

export function scaleItem(facts: readonly FairnessFacts[], { unit }: SharedFacts): FairnessItem {
  const value = ({ scaleArcsecPerPx, scaleSource }: FairnessFacts): string | null =>
    scaleArcsecPerPx === null
      ? null
      : `${decimal(scaleArcsecPerPx, 3)} arcsec per px${scaleSource === 'match' ? ', from the stars' : ''}`;
  if (unit === 'px') {
    return fairnessItem(
      'scale',
      facts,
      value,
      'corrected for',
      'none',
      [],
      'No telescope says how large its pixels are on the sky; the stars give the ratio, and sizes are in pixels of the first telescope.',
    );
  }
  const wrong = labelsWith(
    facts,
    ({ headerScaleOverUsed }) =>
      headerScaleOverUsed !== null && Math.abs(headerScaleOverUsed - 1) > SCALE_DISAGREES,
  );
  if (wrong.length > 0) {
    return fairnessItem(
      'scale',
      facts,
      value,
      'corrected for',
      'none',
      [],
      `The stars contradict the focal length or pixel size given for ${listOf(wrong)}; the stars are believed.`,
    );
  }
  const matched = labelsWith(facts, ({ scaleSource }) => scaleSource === 'match');
  return fairnessItem(
    'scale',
    facts,
    value,
    matched.length > 0 ? 'corrected for' : 'equal',
    'none',
    [],
    matched.length > 0
      ? `The scale of ${listOf(matched)} was found from the stars; all sizes are angles on the sky.`
      : 'Scales agree with the stars; all sizes are angles on the sky.',
  );
}

export function populationItem(
  facts: readonly FairnessFacts[],
  { commonStars }: SharedFacts,
): FairnessItem {
  const few = labelsWith(facts, ({ ownStars }) => commonStars < FEW_IN_COMMON * ownStars);
  return fairnessItem(
    'star population',
    facts,
    ({ ownStars }) => `${counted(ownStars, 'usable star')} of its own`,
    'equal',
    'none',
    [],
    `Rows on the same stars cannot be swayed by redder or bluer stars in one telescope; rows on the own field rest on each telescope’s own stars${
      few.length > 0
        ? `, and the ${counted(commonStars, 'common star')} ${commonStars === 1 ? 'is' : 'are'} a small part of those of ${listOf(few)}`
        : ''
    }.`,
  );
}

export function overlapItem(facts: readonly FairnessFacts[]): FairnessItem {
  const value = ({ ownOverCommonField }: FairnessFacts): string | null =>
    Number.isFinite(ownOverCommonField)
      ? `sees ${decimal(ownOverCommonField, 1)} times the common field`
      : null;
  const small = facts.filter(
    ({ overlapFraction }) => overlapFraction !== null && overlapFraction < SMALL_OVERLAP,
  );
  const { most, least } = extremeLabels(facts, ({ ownOverCommonField }) => ownOverCommonField);
  const ratio = most.ownOverCommonField / least.ownOverCommonField;
  if (ratio > OTHER_FIELD) {
    return fairnessItem(
      'overlap',
      facts,
      value,
      'not correctable',
      'weakens',
      ['field', 'light'],
      `The whole field of ${most.label} is ${decimal(ratio, 1)} times as large as that of ${least.label}: its own corners lie farther out and have more to cope with.`,
    );
  }
  if (small.length > 0) {
    return fairnessItem(
      'overlap',
      facts,
      value,
      'not correctable',
      'weakens',
      ['field'],
      `Only part of the field is common to all (${decimal(100 * Math.min(...small.map(({ overlapFraction }) => overlapFraction as number)), 0)} % of the smaller one at worst): what is said of the common field does not reach the corners.`,
    );
  }
  return fairnessItem(
    'overlap',
    facts,
    value,
    'equal',
    'none',
    [],
    'All telescopes see about the same field.',
  );
}

export function starsItem(facts: readonly FairnessFacts[], shared: SharedFacts): FairnessItem {
  const { commonStars, profileStars, noProfiles } = shared;
  const value = (): string => counted(commonStars, 'common star');
  if (noProfiles !== null) {
    return fairnessItem(
      'number of stars',
      facts,
      value,
      'not correctable',
      'forbids',
      ['size', 'colour'],
      `${sentence(noProfiles)}.`,
    );
  }
  const many = profileStars >= MANY_STARS;
  return fairnessItem(
    'number of stars',
    facts,
    value,
    'equal',
    many ? 'none' : 'weakens',
    many ? [] : ['size', 'colour', 'shape', 'field'],
    many
      ? `Sizes and colours rest on the same ${counted(profileStars, 'star')} in every telescope.`
      : `Sizes and colours rest on only ${counted(profileStars, 'star')}: a few odd ones can sway them.`,
  );
}

export function radiusItem(
  facts: readonly FairnessFacts[],
  { normalisedWithin, unit }: SharedFacts,
): FairnessItem {
  const value = ({ scaleArcsecPerPx }: FairnessFacts): string | null =>
    normalisedWithin === null || scaleArcsecPerPx === null
      ? null
      : `${twoDigits(normalisedWithin / scaleArcsecPerPx)} px`;
  return fairnessItem(
    'normalising radius',
    facts,
    value,
    normalisedWithin === null ? 'unknown' : 'corrected for',
    'none',
    [],
    normalisedWithin === null
      ? 'Without profiles there is no radius within which light is counted.'
      : `The light of a star counts within ${twoDigits(normalisedWithin)} ${unit} of its centre in every telescope, whatever its pixels.`,
  );
}
