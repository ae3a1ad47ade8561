/** Which telescope for what: each purpose from the rows that matter for it, never from a score over everything. */
import {
  type ComparisonRow,
  NO_DIFFERENCE,
  NOT_COMPARABLE,
  type Purpose,
  type PurposeVerdict,
} from './result.js';
import { beats, type Standing, standingOf } from './standing.js';
import { comparedRow, itemsWords, rowOf, tellingValues, topicOf } from './topics.js';
import { listOf, sentence, uncapital } from './words.js';

const DEPENDS = 'depends';
const CANNOT_TELL = 'cannot tell';

interface PurposeRule {
  purpose: Purpose;
  /** Rows that count; green stands for the only channel of mono cameras. */
  rows: readonly string[];
  /** Without a verdict on one of these there is none on the purpose. */
  needs: readonly string[];
  /** What frames cannot show of it. */
  note: string;
}

/** Which rows and why: docs/compare.md. */
const RULES: readonly PurposeRule[] = [
  {
    purpose: 'bright targets by eye',
    rows: ['halo blue minus red', 'halo red minus green', 'fwhm green'],
    needs: ['halo blue minus red'],
    note: 'The eye sees less of the violet than a camera does.',
  },
  {
    purpose: 'imaging without a corrector',
    rows: [
      'fwhm green',
      'r80 red',
      'r80 blue',
      'halo blue minus red',
      'lateral colour',
      'growth centre to corner (own field)',
      'ellipticity in the corners (own field)',
    ],
    needs: ['fwhm green', 'growth centre to corner (own field)'],
    note: 'This holds if the frames were taken without one.',
  },
  {
    purpose: 'imaging with a corrector',
    rows: ['fwhm green', 'r80 red', 'r80 blue', 'halo blue minus red'],
    needs: ['fwhm green'],
    note: 'Corners are left out here: a flattener mends them, but it does not mend colour.',
  },
  {
    purpose: 'small sensor',
    rows: ['fwhm green', 'halo blue minus red', 'ellipticity', 'depth per second'],
    needs: ['fwhm green'],
    note: '',
  },
  {
    purpose: 'large sensor',
    rows: [
      'fwhm green',
      'halo blue minus red',
      'lateral colour',
      'growth centre to corner (own field)',
      'ellipticity in the corners (own field)',
      'corner illumination',
    ],
    needs: ['growth centre to corner (own field)'],
    note: 'Nothing is known beyond the corners of these frames.',
  },
];

/** Verdicts for all purposes, from judged rows. `labels` in the order of the comparison. */
export function purposesOf(
  labels: readonly string[],
  rows: readonly ComparisonRow[],
): PurposeVerdict[] {
  return RULES.map((rule) => {
    const parts = rule.rows.flatMap((quantity) => comparedRow(rows, quantity) ?? []);
    const restsOn = parts.map(({ quantity }) => quantity);
    const lacking = rule.needs.find((quantity) => comparedRow(rows, quantity) === null);
    if (lacking !== undefined) {
      return {
        purpose: rule.purpose,
        verdict: CANNOT_TELL,
        sentence: lackingSentence(rowOf(rows, lacking), lacking, labels),
        restsOn,
      };
    }
    return { purpose: rule.purpose, ...verdictOf(labels, parts, rule.note), restsOn };
  });
}

/** Reasons longer than this stand in full beside the rows. */
const LONG_REASON = 100;

function lackingSentence(
  row: ComparisonRow | null,
  quantity: string,
  labels: readonly string[],
): string {
  const subject = sentence(topicOf(row ?? { quantity }).subject);
  const reason = row?.verdict === NOT_COMPARABLE ? row.reason : null;
  if (row === null) return `${subject} could not be compared: the frames do not show it.`;
  if (reason === null) return `${subject} could not be compared.`;
  const at = reason.length > LONG_REASON ? reason.indexOf(': ') : -1;
  const short = (at > 0 ? reason.slice(0, at) : reason).replace(/\.$/, '');
  return `${subject} could not be compared: ${uncapital(short, labels)}.`;
}

/** `one` is better in some part and `other` in none. */
function isBetter(parts: readonly ComparisonRow[], one: string, other: string): boolean {
  return (
    parts.some(({ pairs }) => beats(pairs, one, other)) &&
    !parts.some(({ pairs }) => beats(pairs, other, one))
  );
}

function verdictOf(
  labels: readonly string[],
  parts: readonly ComparisonRow[],
  note: string,
): Pick<PurposeVerdict, 'verdict' | 'sentence'> {
  const decided = parts.filter(({ pairs }) => pairs.some(({ better }) => better !== null));
  if (decided.length === 0) {
    return {
      verdict: NO_DIFFERENCE,
      sentence: `No difference was shown in ${listOf(
        parts.map((row) => topicOf(row).subject),
        'or',
      )}: nothing here speaks for one of them.`,
    };
  }
  const standing = standingOf(labels, (one, other) => isBetter(parts, one, other));
  const words = [
    standing.leaders.length > 0
      ? leadSentence(standing, decided)
      : `${listOf(decided.map((row) => partWords(labels, row)))}.`,
    weakness(decided),
    note,
  ].filter((text) => text !== '');
  return {
    verdict: standing.leaders.length > 0 ? listOf(standing.leaders) : DEPENDS,
    sentence: words.join(' '),
  };
}

/** A merit over some of those behind only, shared with others of them. */
interface SharedMerit {
  like: string[];
  over: string[];
  merits: string[];
}

/** `a has less blue halo (1 %, against 9 % in b and 30 % in c). Like b, it also has sharper stars than c.` */
function leadSentence({ leaders, behind }: Standing, decided: readonly ComparisonRow[]): string {
  const has = leaders.length === 1 ? 'has' : 'have';
  const merits: string[] = [];
  const shared: SharedMerit[] = [];
  for (const row of decided) {
    const { merit } = topicOf(row);
    const isOver = (ones: readonly string[], other: string): boolean =>
      ones.every((one) => beats(row.pairs, one, other));
    const over = behind.filter((other) => isOver(leaders, other));
    if (over.length === behind.length) {
      merits.push(`${merit}${tellingValues(row, leaders, behind)}`);
    } else if (over.length > 0) {
      const rest = behind.filter((other) => !over.includes(other));
      const like = over.every((other) => isOver(rest, other)) ? rest : [];
      const known = shared.find(
        (one) => listOf(one.like) === listOf(like) && listOf(one.over) === listOf(over),
      );
      if (known) known.merits.push(merit);
      else shared.push({ like, over, merits: [merit] });
    }
  }
  const words = merits.length > 0 ? [`${listOf(leaders)} ${has} ${listOf(merits)}.`] : [];
  for (const { like, over, merits: list } of shared) {
    const who = words.length === 0 ? listOf(leaders) : leaders.length === 1 ? 'it' : 'they';
    const also = words.length === 0 ? '' : 'also ';
    const opening = like.length === 0 ? who : `Like ${listOf(like)}, ${who}`;
    words.push(sentence(`${opening} ${also}${has} ${listOf(list)} than ${listOf(over)}.`, leaders));
  }
  if (leaders.length > 1) {
    const differ = leaders.some((one) =>
      leaders.some((other) => decided.some(({ pairs }) => beats(pairs, one, other))),
    );
    words.push(
      differ
        ? 'Between them it depends: each is better in something.'
        : 'Between them no difference was shown.',
    );
  }
  return words.join(' ');
}

/** `a has sharper stars than b`. */
function partWords(labels: readonly string[], row: ComparisonRow): string {
  const { leaders, behind } = standingOf(
    labels.filter((label) => row.values[label]),
    (one, other) => beats(row.pairs, one, other),
  );
  const { merit } = topicOf(row);
  if (leaders.length > 0) {
    return `${listOf(leaders)} ${leaders.length === 1 ? 'has' : 'have'} ${merit}${tellingValues(row, leaders, behind)}`;
  }
  const better = row.pairs.flatMap(({ first, second, better }) =>
    better === null ? [] : [`${better} than ${better === first ? second : first}`],
  );
  return `${merit}: ${listOf(better)}`;
}

/** Caveats of the deciding rows. */
function weakness(decided: readonly ComparisonRow[]): string {
  const items = [...new Set(decided.flatMap(({ caveats }) => caveats))];
  return items.length === 0 ? '' : `Part of this may be due to ${itemsWords(items)}.`;
}
