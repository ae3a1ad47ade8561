/** The review in a few plain sentences: first what is unfair, then what differs and by how much, then what was not shown. */
import { halfWidth } from '../measure/uncertain.js';
import {
  type Comparison,
  type ComparisonRow,
  type FairnessItem,
  NOT_COMPARABLE,
  type RowGroup,
} from './result.js';
import { beats, type Standing, standingOf } from './standing.js';
import { comparedRow, numberOf, rowOf, topicOf, valuesAgainst, valueWords } from './topics.js';
import { counted, decimal, listOf, sentence, twoDigits } from './words.js';

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
    meritSentence(
      input,
      FIELD_ROWS.flatMap((quantity) => comparedRow(rows, quantity) ?? []),
      'Across the picture',
    ),
    lightSentence(input),
    notShownSentence(input),
    notComparedSentence(input),
    closingSentence(input),
  ].filter((text) => text !== '');
}

function fairnessSentence({ fairness, labels, matchedStars }: SummaryInput): string {
  const forbidding = fairness.filter(({ weight }) => weight === 'forbids');
  if (forbidding.length > 0) {
    return forbidding
      .map(
        ({ affects, effect }) =>
          `No verdict on ${listOf(affects.map((group) => GROUP_WORDS[group]))}: ${uncapital(effect, labels)}`,
      )
      .join(' ');
  }
  const weakening = fairness.filter(({ weight }) => weight === 'weakens');
  if (weakening.length === 0) return fairSentence(fairness, labels, matchedStars);
  if (weakening.length <= TOLD_IN_FULL) {
    return `This comparison is not quite fair. ${weakening.map(({ effect }) => effect).join(' ')}`;
  }
  const [gravest] = weakening as [FairnessItem, ...FairnessItem[]];
  const worst = weakening.reduce((a, b) => (b.affects.length > a.affects.length ? b : a), gravest);
  return `This comparison is not quite fair: ${listOf(weakening.map(({ item }) => item))} differ or are unknown. The most important: ${uncapital(worst.effect, labels)}`;
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
    ...(equal('seeing') ? ['taken through the same air'] : []),
  ];
  const stars = `${labels.length === 2 ? 'both' : 'all'} show the same ${counted(matchedStars, 'star')}`;
  return `Nothing was found that makes this comparison unfair: the frames were ${
    same.length > 0 ? `${listOf(same)}, and ` : 'taken of one field, and '
  }${stars}.`;
}

/** Lower case at the start, unless a label stands there. */
function uncapital(text: string, labels: readonly string[]): string {
  return labels.some((label) => label !== '' && text.startsWith(label))
    ? text
    : text.charAt(0).toLowerCase() + text.slice(1);
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
  const explained =
    angularUnit === 'arcsec'
      ? ' (width at half brightness; an arcsec is 1/3600 of a degree)'
      : ' (width at half brightness)';
  if (row && isDecided(row)) {
    const { leaders, behind } = standing(row);
    if (leaders.length === 0) return `Stars are sharper ${pairsIn(row)}.`;
    const most = labels.length > 2 && leaders.length === 1 ? 'sharpest' : 'sharper';
    return `Stars are ${most} in ${listOf(leaders)}: ${valuesAgainst(row, leaders, behind)}${explained}.`;
  }
  // Green alike, but another colour is not.
  const other = ['fwhm blue', 'fwhm red'].flatMap((quantity) => {
    const one = comparedRow(rows, quantity);
    return one && isDecided(one) ? [one] : [];
  });
  const [first] = other;
  if (!first) return '';
  const { leaders, behind } = standing(first);
  const colour = first.quantity.replace('fwhm ', '');
  return leaders.length === 0
    ? `In ${colour} light stars are sharper ${pairsIn(first)}.`
    : `In ${colour} light stars are sharper in ${listOf(leaders)}: ${valuesAgainst(first, leaders, behind)}${explained}.`;
}

function haloSentence({ rows }: SummaryInput): string {
  const row = comparedRow(rows, 'halo blue minus red');
  if (!row || !isDecided(row)) return '';
  const { leaders, behind } = standing(row);
  if (leaders.length === 0) return `The blue halo round stars is weaker ${pairsIn(row)}.`;
  const of = (names: readonly string[]): string =>
    listOf(names.map((label) => `${numberOf(row, label)} % in ${label}`));
  return `The blue halo round stars is weakest in ${listOf(leaders)}: the share of the blue light that falls outside the green star, beyond that of the red, is ${of(leaders)}, against ${of(behind)}.`.replace(
    'weakest',
    leaders.length + behind.length > 2 && leaders.length === 1 ? 'weakest' : 'weaker',
  );
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
    list.push(`${merit} (${valuesAgainst(row, leaders, behind)})`);
    byLeader.set(key, list);
  }
  const parts = [...byLeader].map(([key, merits]) => `${key} ${listOf(merits)}`);
  if (loose.length > 0) parts.push(`there are ${listOf(loose)}`);
  return parts.length === 0 || labels.length === 0 ? '' : `${opening}, ${parts.join('; ')}.`;
}

function lightSentence(input: SummaryInput): string {
  const { rows } = input;
  const parts: string[] = [];
  const depth = DEPTH_ROWS.flatMap((quantity) => comparedRow(rows, quantity) ?? [])[0];
  if (depth && isDecided(depth) && depth.difference && depth.differenceOf) {
    const { leaders } = standing(depth);
    const [better, other] = depth.differenceOf;
    const factor = 10 ** (0.4 * Math.abs(depth.difference.value));
    const where = depth.quantity === 'depth' ? 'In one exposure' : 'In the same time';
    parts.push(
      leaders.length === 0
        ? `${where} fainter stars are seen ${pairsIn(depth)}.`
        : `${where} ${listOf(leaders)} ${leaders.length === 1 ? 'sees' : 'see'} stars ${decimal(Math.abs(depth.difference.value), 2)} mag fainter than ${other}${leaders.length > 1 ? ` at least (${better})` : ''}, which is ${decimal(factor, factor < 2 ? 2 : 1)} times fainter.`,
    );
  }
  const light = meritSentence(
    input,
    LIGHT_ROWS.flatMap((quantity) => comparedRow(rows, quantity) ?? []),
    'In the light of the picture',
  );
  if (light !== '') parts.push(light);
  return parts.join(' ');
}

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
  const level = spokenRows(rows).filter((row) => !isDecided(row));
  if (level.length === 0) return '';
  const words = level.map((row) => `${topicOf(row).subject}${limitWords(row)}`);
  return `No difference was shown in ${listOf(words, 'or')}; that does not prove that there is none.`;
}

/** How large a difference may still hide, for size and halo, unless unfair conditions decide that. */
function limitWords(row: ComparisonRow): string {
  if (row.caveats.length > 0) return '';
  if (row.quantity.startsWith('fwhm')) {
    const percents = row.pairs.map(({ differencePercent: d }) =>
      d === null ? Number.NaN : Math.abs(d.value) + 2 * halfWidth(d),
    );
    const most = Math.max(...percents);
    return Number.isFinite(most) ? ` (if there is one, it is below ${twoDigits(most)} %)` : '';
  }
  if (row.quantity === 'halo blue minus red') {
    const most = Math.max(
      ...row.pairs.map(({ difference: d }) => Math.abs(d.value) + 2 * halfWidth(d)),
    );
    const values = Object.keys(row.values).map((label) => valueWords(row, label));
    return Number.isFinite(most)
      ? ` (${listOf(values)} of the blue light; a difference would be below ${twoDigits(most)} points)`
      : '';
  }
  return '';
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
  const percent = 100 * (1 - confidence);
  return `A telescope is called better only where the difference is large enough to matter and chance alone would bring such a verdict, over all rows together, in fewer than ${twoDigits(percent)} of 100 comparisons.`;
}
