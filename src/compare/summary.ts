/** The review in a few plain sentences: first what is unfair, then what differs and by how much, then what was not shown. */
import { halfWidth } from '../measure/uncertain.js';
import { smallestAmount } from './matters.js';
import {
  type Comparison,
  type ComparisonRow,
  type FairnessItem,
  NOT_COMPARABLE,
  type RowGroup,
} from './result.js';
import { beats, type Standing, standingOf } from './standing.js';
import {
  behindWords,
  byMerit,
  comparedRow,
  itemsWords,
  numberOf,
  rowOf,
  tellingValues,
  topicOf,
  valueWords,
} from './topics.js';
import { counted, decimal, listOf, sentence, twoDigits, uncapital } from './words.js';

/** What the review is written from. */
export type SummaryInput = Pick<
  Comparison,
  'rows' | 'fairness' | 'confidence' | 'matchedStars' | 'angularUnit'
> & { labels: readonly string[] };

/** Rows that a review speaks of, besides size and halo, in the order of mention. */
const FIELD_ROWS = [
  'ellipticity',
  'growth centre to corner (common field)',
  'growth centre to corner (own field)',
  'ellipticity in the corners (own field)',
  'lateral colour',
];
/** One verdict on the common field and on the own one is told once. */
const REPEATED_BY: Readonly<Record<string, string>> = {
  'growth centre to corner (common field)': 'growth centre to corner (own field)',
  'ellipticity in the corners (own field)': 'ellipticity',
};
const LIGHT_ROWS = ['corner illumination', 'saturation headroom'];
/** The first of these that was compared. */
const DEPTH_ROWS = ['depth per second', 'depth'];
/** Items whose effect is told in full; more are only named. */
const TOLD_IN_FULL = 2;

const GROUP_WORDS: Readonly<Record<RowGroup, string>> = {
  size: 'star sizes',
  colour: 'colour',
  shape: 'shapes',
  field: 'the field',
  light: 'light',
  depth: 'depth',
};

/** Up to eight entries, each of one or two sentences. Labels stand in them as they are: who prints them makes them safe. */
export function summaryOf(input: SummaryInput): string[] {
  const { rows } = input;
  return [
    fairnessSentence(input),
    sizeSentence(input),
    haloSentence(input),
    meritSentence(input, fieldRows(rows), 'Across the picture'),
    lightSentence(input),
    notShownSentence(input),
    notComparedSentence(input),
    closingSentence(input),
  ].filter((text) => text !== '');
}

function fairnessSentence({ fairness, labels, matchedStars }: SummaryInput): string {
  const forbidding = fairness.filter(({ weight }) => weight === 'forbids');
  const seeing = fairness.some(({ item, weight }) => item === 'seeing' && weight === 'weakens');
  // What the time between does is said with the seeing; stretched shapes with the stretching.
  const weakening = fairness.filter(
    ({ item, weight }) =>
      weight === 'weakens' &&
      !(item === 'time between' && seeing) &&
      !(item === 'linearity of shapes' && forbidding.length > 0),
  );
  const names = itemsWords(weakening.map(({ item }) => item));
  const weaken = weakening.length === 1 ? 'weakens' : 'weaken';
  if (forbidding.length > 0) {
    const refused = forbidding.map(
      ({ affects, effect }) =>
        `No verdict on ${listOf(affects.map((group) => GROUP_WORDS[group]))}: ${uncapital(effect, labels)}`,
    );
    const rest = weakening.length === 0 ? [] : [`${sentence(names)} ${weaken} the rest.`];
    return [...refused, ...rest].join(' ');
  }
  const [gravest] = [...weakening].sort((a, b) => b.affects.length - a.affects.length);
  if (!gravest) return fairSentence(fairness, labels, matchedStars);
  return weakening.length <= TOLD_IN_FULL
    ? `This comparison is not quite fair. ${weakening.map(({ effect }) => effect).join(' ')}`
    : `This comparison is not quite fair: ${names} weaken it. Most of all: ${uncapital(gravest.effect, labels)}`;
}

function fairSentence(
  fairness: readonly FairnessItem[],
  labels: readonly string[],
  matchedStars: number,
): string {
  const equal = (item: string): boolean =>
    fairness.some((one) => one.item === item && one.status === 'equal');
  const same = [
    ...(equal('exposure') ? ['exposed equally long'] : []),
    ...(equal('time between') ? ['taken at the same time (side by side, as is assumed)'] : []),
  ];
  const stars = `${labels.length === 2 ? 'both' : 'all'} show the same ${counted(matchedStars, 'star')}`;
  return `Nothing was found that makes this comparison unfair: ${
    same.length > 0 ? `the frames were ${listOf(same)}, and ` : ''
  }${stars}. Whether each telescope was in its best focus, the frames do not tell.`;
}

function standing(row: ComparisonRow): Standing {
  const labels = Object.keys(row.values).filter((label) => row.values[label] !== null);
  return standingOf(labels, (one, other) => beats(row.pairs, one, other));
}

function isDecided({ pairs }: ComparisonRow): boolean {
  return pairs.some(({ better }) => better !== null);
}

/** `a than in b, and in b than in c`, from single pairs, where no order holds for all. */
function pairsIn({ pairs }: ComparisonRow): string {
  return listOf(
    pairs.flatMap(({ first, second, better }) =>
      better === null ? [] : [`in ${better} than in ${better === first ? second : first}`],
    ),
  );
}

function sizeSentence({ rows, labels, angularUnit }: SummaryInput): string {
  const row = comparedRow(rows, 'fwhm green');
  if (row && isDecided(row)) return widthSentence(row, labels, angularUnit, 'Stars are');
  // Green alike, but another colour is not.
  for (const colour of ['blue', 'red']) {
    const one = comparedRow(rows, `fwhm ${colour}`);
    if (one && isDecided(one)) {
      return widthSentence(one, labels, angularUnit, `In ${colour} light stars are`);
    }
  }
  return '';
}

function widthSentence(
  row: ComparisonRow,
  labels: readonly string[],
  unit: SummaryInput['angularUnit'],
  opening: string,
): string {
  const { leaders, behind } = standing(row);
  if (leaders.length === 0) return `${opening} sharper ${pairsIn(row)}.`;
  const sharper = labels.length > 2 && leaders.length === 1 ? 'sharpest' : 'sharper';
  const [first, ...others] = leaders as [string, ...string[]];
  const own = listOf([
    `${numberOf(row, first)} ${unit} wide${others.length > 0 ? ` in ${first}` : ''}`,
    ...others.map((label) => `${numberOf(row, label)} in ${label}`),
  ]);
  const rest = behindWords(row, behind, numberOf);
  const explained = unit === 'arcsec' ? ' (an arcsec is 1/3600 of a degree)' : '';
  return `${opening} ${sharper} in ${listOf(leaders)}: at half their brightness they are ${own}, against ${rest}${explained}.`;
}

function haloSentence({ rows }: SummaryInput): string {
  const row = comparedRow(rows, 'halo blue minus red');
  if (!row || !isDecided(row)) return '';
  const { leaders, behind } = standing(row);
  if (leaders.length === 0) return `The blue halo round stars is weaker ${pairsIn(row)}.`;
  const weaker = leaders.length + behind.length > 2 && leaders.length === 1 ? 'weakest' : 'weaker';
  const own = listOf(
    leaders.map((label) => `${haloShare(row, label)}${leaders.length > 1 ? ` in ${label}` : ''}`),
  );
  return `The blue halo round stars is ${weaker} in ${listOf(leaders)}: ${own} of the blue light lies outside the green image of a star, over and above the red, against ${behindWords(row, behind, haloShare)}${sharedError(row)}.`;
}

/** A share of light below nothing is the measurement's error, or red is the wider colour. */
function haloShare(row: ComparisonRow, label: string): string {
  const value = row.values[label];
  if (!value || value.value >= 0.05) return `${numberOf(row, label)} %`;
  return value.high < 0 ? `none (red is the wider one, by ${decimal(-value.value, 1)} %)` : 'none';
}

/** Values may be far less certain than their differences: what is wrong with the stars is wrong in all telescopes. */
function sharedError({ values, pairs }: ComparisonRow): string {
  const own = Math.max(...Object.values(values).map((value) => (value ? halfWidth(value) : 0)));
  const between = Math.max(...pairs.map(({ difference }) => halfWidth(difference)));
  return own > 2 * between && own >= 1
    ? ` (all of these may be off by ${decimal(own, own < 3 ? 1 : 0)} alike, but what lies between them by no more than ${decimal(between, 1)})`
    : '';
}

/** Rows over the field that were compared, without those whose verdict another one repeats. */
function fieldRows(rows: readonly ComparisonRow[]): ComparisonRow[] {
  const all = FIELD_ROWS.flatMap((quantity) => comparedRow(rows, quantity) ?? []);
  return all.filter(({ quantity, verdict }) => {
    const wider = Object.hasOwn(REPEATED_BY, quantity) ? REPEATED_BY[quantity] : undefined;
    return !all.some((other) => other.quantity === wider && other.verdict === verdict);
  });
}

/** `Across the picture, a has rounder stars (0.02, against 0.05 for b).` */
function meritSentence(
  { labels }: SummaryInput,
  rows: readonly ComparisonRow[],
  opening: string,
): string {
  const byLeader = new Map<string, string[]>();
  const loose: string[] = [];
  for (const row of rows.filter(isDecided)) {
    const { leaders, behind } = standing(row);
    const { merit } = topicOf(row);
    if (leaders.length === 0) {
      loose.push(`${merit} ${pairsIn(row)}`);
      continue;
    }
    const key = `${listOf(leaders)} ${leaders.length === 1 ? 'has' : 'have'}`;
    const list = byLeader.get(key) ?? [];
    list.push(`${merit}${tellingValues(row, leaders, behind)}`);
    byLeader.set(key, list);
  }
  const parts = [...byLeader].map(([key, merits]) => `${key} ${listOf(merits)}`);
  if (loose.length > 0) parts.push(`there are ${listOf(loose)}`);
  return parts.length === 0 || labels.length === 0 ? '' : `${opening}, ${parts.join('; ')}.`;
}

function lightSentence(input: SummaryInput): string {
  const { rows } = input;
  const depth = DEPTH_ROWS.flatMap((quantity) => comparedRow(rows, quantity) ?? [])[0];
  const light = meritSentence(
    input,
    LIGHT_ROWS.flatMap((quantity) => comparedRow(rows, quantity) ?? []),
    'As to light',
  );
  return [depth && isDecided(depth) ? depthSentence(depth) : '', light]
    .filter((text) => text !== '')
    .join(' ');
}

/** `In the same time a reaches stars 1.5 times fainter than b does (0.44 mag).` */
function depthSentence(row: ComparisonRow): string {
  const { leaders, behind } = standing(row);
  const where = row.quantity === 'depth' ? 'In one exposure' : 'In the same time';
  if (leaders.length === 0 || row.difference === null || row.differenceOf === null) {
    return `${where} fainter stars are reached ${pairsIn(row)}.`;
  }
  const magnitudes = Math.abs(row.difference.value);
  const least = leaders.length + behind.length > 2 ? 'at least ' : '';
  const times = 10 ** (0.4 * magnitudes);
  const fainter = times < 1.1 ? `${twoDigits(100 * (times - 1))} %` : `${twoDigits(times)} times`;
  const many = behind.length > 1 ? 'any of the others' : listOf(behind);
  return `${where} ${listOf(leaders)} ${leaders.length === 1 ? 'reaches' : 'reach'} stars ${least}${fainter} fainter than ${many} (${decimal(magnitudes, 2)} mag).`;
}

/** Short words for what was not shown: several rows may share them. */
const LEVEL_WORDS: Readonly<Record<string, string>> = {
  ellipticity: 'the roundness of stars',
  'ellipticity in the corners (own field)': 'the roundness of stars',
  'growth centre to corner (common field)': 'sharpness towards the edges',
  'growth centre to corner (own field)': 'sharpness towards the edges',
  'lateral colour': 'how well blue lies on red at the edges',
};

/** Quantities of the review that were compared, one of the depths only. */
function spokenRows(rows: readonly ComparisonRow[]): ComparisonRow[] {
  const depth = DEPTH_ROWS.flatMap((quantity) => comparedRow(rows, quantity) ?? []).slice(0, 1);
  return [
    ...['fwhm green', 'halo blue minus red', ...FIELD_ROWS, 'corner illumination'].flatMap(
      (quantity) => comparedRow(rows, quantity) ?? [],
    ),
    ...depth,
  ];
}

function notShownSentence({ rows }: SummaryInput): string {
  const spoken = spokenRows(rows);
  // Green alike, but told of another colour: the width of stars as such is not the same.
  const otherColour = ['fwhm blue', 'fwhm red'].some((quantity) => {
    const row = comparedRow(rows, quantity);
    return row !== null && isDecided(row);
  });
  const subjectOf = (row: ComparisonRow): string =>
    `${topicOf(row).subject}${row.quantity === 'fwhm green' && otherColour ? ' in green light' : ''}`;
  const words = spoken
    .filter((row) => !isDecided(row))
    .map((row) => {
      const short = LEVEL_WORDS[row.quantity];
      // The short words would deny what another row with the same words shows.
      const isTold = spoken.some(
        (other) => isDecided(other) && short !== undefined && LEVEL_WORDS[other.quantity] === short,
      );
      return `${short === undefined || isTold ? subjectOf(row) : short}${limitWords(row)}`;
    });
  return words.length === 0
    ? ''
    : `No difference was shown in ${listOf([...new Set(words)], 'or')}. That does not prove that there is none.`;
}

/** Two telescopes may differ by chance this rarely, and yet not be told apart because of what is unfair. */
const CLEAR_BY_ITSELF = 0.001;

/** How large a difference may still hide, for size and halo; or that one is there, but not surely the telescope's. */
function limitWords(row: ComparisonRow): string {
  const isSize = row.quantity.startsWith('fwhm');
  if (!isSize && row.quantity !== 'halo blue minus red') return '';
  const labels = byMerit(
    row,
    Object.keys(row.values).filter((label) => row.values[label]),
  );
  if (row.caveats.length > 0) {
    const differs = row.pairs.some(({ pValue, first, second, difference }) => {
      const of = (label: string): number => row.values[label]?.value ?? Number.NaN;
      const least = smallestAmount(row, of(first), of(second), null);
      return pValue < CLEAR_BY_ITSELF && Math.abs(difference.value) > least;
    });
    return differs
      ? ` (${listOf(labels.map((label) => `${valueWords(row, label)} in ${label}`))}, but the conditions alone can make such a difference)`
      : '';
  }
  const bounds = row.pairs.map(({ difference, differencePercent }) => {
    const d = isSize ? differencePercent : difference;
    return d === null ? Number.NaN : Math.abs(d.value) + 2 * halfWidth(d);
  });
  const most = Math.max(...bounds);
  return Number.isFinite(most)
    ? ` (if there is one, it is below ${twoDigits(most)} ${isSize ? '%' : 'points'})`
    : '';
}

function notComparedSentence({ rows }: SummaryInput): string {
  const quantities = ['fwhm green', 'halo blue minus red', ...FIELD_ROWS, 'corner illumination'];
  const lacking = quantities.flatMap((quantity) => {
    const row = rowOf(rows, quantity);
    return row?.verdict === NOT_COMPARABLE ? [topicOf(row).subject] : [];
  });
  return lacking.length === 0
    ? ''
    : `${sentence(listOf(lacking))} could not be compared; the reasons stand beside the rows.`;
}

function closingSentence({ confidence, rows }: SummaryInput): string {
  if (!rows.some(({ verdict }) => verdict !== NOT_COMPARABLE)) return '';
  const percent = Number((100 * (1 - confidence)).toPrecision(2));
  return `Only what is large enough to matter is called better, and only where luck alone would give any such verdict in fewer than ${percent} of 100 comparisons.`;
}
