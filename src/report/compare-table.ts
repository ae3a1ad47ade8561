/** The report of `compare` as text: telescopes, what is unfair, the rows with their verdicts, purposes, and the review. */
import {
  type Comparison,
  type ComparisonRow,
  type FairnessItem,
  NO_DIFFERENCE,
  NOT_COMPARABLE,
  type RowGroup,
} from '../compare/result.js';
import { beats, standingOf } from '../compare/standing.js';
import { listOf } from '../compare/words.js';
import type { Uncertain } from '../measure/result.js';
import {
  columnLabels,
  GROUP_WORDS,
  lensWords,
  profileStars,
  quantityWords,
  shortLabels,
  unitWords,
} from './compare-words.js';
import { escapeControls } from './escape.js';
import { type Column, columnsText, fits, type TextStyle, wrap } from './layout.js';
import { count, NOT_MEASURED, nominal, signed, significant, withUncertainty } from './number.js';

/** Longest label in a column. */
const LABEL_WIDTH = 12;
/** Longest line of a verdict where there is room: two short names. */
const VERDICT_WIDTH = 20;
/** Text under a heading of its own. */
const INDENT = 4;

/** The whole report with a closing line break. */
export function compareText(comparison: Comparison, width: number, style: TextStyle): string {
  const labels = comparison.telescopes.map(({ label }) => label);
  const letters = caveatLetters(comparison.fairness);
  const parts = [
    headText(comparison, width, style),
    fairnessText(comparison.fairness, letters, width, style),
  ];
  if (comparison.rows.length > 0) parts.push(rowsText(comparison, labels, letters, width, style));
  if (comparison.purposes.length > 0) parts.push(purposesText(comparison, width, style));
  if (comparison.summary.length > 0) {
    const summary = escapeControls(comparison.summary.join(' '));
    parts.push(`${style.strong('In short')}\n${wrap(summary, width)}`);
  }
  return `${parts.join('\n\n')}\n`;
}

function headText(comparison: Comparison, width: number, style: TextStyle): string {
  const { telescopes, matchedStars, angularUnit } = comparison;
  const names = shortLabels(
    telescopes.map(({ label }) => label),
    2 * LABEL_WIDTH,
  );
  const measured = profileStars(comparison);
  const part = measured < matchedStars ? ` (sizes and colours: ${count(measured)} of them)` : '';
  const title = `${listOf([...names.values()])} on the same ${count(matchedStars)} stars${part}`;
  const columns: Column[] = [
    { head: 'telescope', cells: telescopes.map(({ label }) => names.get(label) ?? '') },
    {
      head: 'frames',
      cells: telescopes.map(
        ({ files, failed }) =>
          `${count(files.length)}${failed.length > 0 ? `, ${count(failed.length)} left out` : ''}`,
      ),
    },
    {
      head: 'size, px',
      cells: telescopes.map((each) =>
        each.width === null || each.height === null
          ? NOT_MEASURED
          : `${each.width} × ${each.height}`,
      ),
    },
    {
      head: '″ per px',
      cells: telescopes.map(({ scaleArcsecPerPx: scale, scaleSource }) =>
        scale === null
          ? NOT_MEASURED
          : `${significant(scale, 4)}${scaleSource === 'match' ? ' (from the stars)' : ''}`,
      ),
    },
    { head: 'lens', cells: telescopes.map((each) => lensWords(each) || NOT_MEASURED) },
    {
      head: 'exposure',
      cells: telescopes.map(({ exposureSeconds: time }) =>
        time === null ? NOT_MEASURED : `${nominal(time)} s`,
      ),
    },
  ];
  const files = telescopes.flatMap(({ label, files: [first, ...others] }) =>
    first === undefined
      ? []
      : [
          `${names.get(label)}: ${escapeControls(first)}${others.length > 0 ? ` and ${count(others.length)} more` : ''}`,
        ],
  );
  return [
    style.strong(wrap(title, width)),
    '',
    columnsText(columns, width, style),
    ...files.map((line) => style.faint(wrap(line, width, INDENT))),
    ...(angularUnit === 'px'
      ? [
          style.faint(
            wrap('No scale is known: angles are in pixels of the first telescope.', width),
          ),
        ]
      : []),
  ].join('\n');
}

/** Whether an item deserves more than its name. */
export function isTold({ status, weight }: FairnessItem): boolean {
  return weight !== 'none' || status === 'not correctable' || status === 'corrected for';
}

const WEIGHTS = ['forbids', 'weakens', 'none'] as const;

/** The items told in full, the gravest first. */
export function toldItems(items: readonly FairnessItem[]): FairnessItem[] {
  return WEIGHTS.flatMap((weight) =>
    items.filter((each) => each.weight === weight && isTold(each)),
  );
}

/** Item → letter by which rows refer to it. */
export function caveatLetters(items: readonly FairnessItem[]): Map<string, string> {
  return new Map(toldItems(items).map(({ item }, i) => [item, String.fromCharCode(97 + (i % 26))]));
}

function fairnessText(
  items: readonly FairnessItem[],
  letters: ReadonlyMap<string, string>,
  width: number,
  style: TextStyle,
): string {
  const told = toldItems(items);
  const indent = ' '.repeat(INDENT);
  const body = (text: string): string =>
    indent + wrap(text, width - INDENT).replaceAll('\n', `\n${indent}`);
  const blocks = told.map((each) => {
    const { item, status, values, effect } = each;
    const known = Object.values(values).some((value) => value !== null);
    const heading = wrap(
      `(${letters.get(item)}) ${escapeControls(item)}: ${status}${weightWords(each)}`,
      width,
      INDENT,
    );
    return [
      each.weight === 'none' ? heading : style.warn(heading),
      ...(known ? [body(valuesWords(values))] : []),
      body(escapeControls(effect)),
    ].join('\n');
  });
  const others = (status: FairnessItem['status']): string[] =>
    items
      .filter((each) => !isTold(each) && each.status === status)
      .map(({ item }) => escapeControls(item));
  const lines = (['equal', 'unknown'] as const).flatMap((status) => {
    const names = others(status);
    return names.length === 0 ? [] : [wrap(`${status}: ${names.join(', ')}`, width, INDENT)];
  });
  const unfair = told.filter(({ weight }) => weight !== 'none').length;
  const title =
    unfair === 0
      ? 'Is it fair? Nothing found that weakens the comparison'
      : `Is it fair? ${count(unfair)} of ${count(items.length)} points ${unfair === 1 ? 'weakens' : 'weaken'} it`;
  return [style.strong(wrap(title, width)), ...blocks, ...lines].join('\n');
}

export function weightWords({ weight, affects }: FairnessItem): string {
  if (weight === 'none') return '';
  const groups = listOf(affects.map((group) => GROUP_WORDS[group].toLowerCase()));
  return weight === 'forbids' ? `; no verdict on: ${groups}` : `; weakens: ${groups}`;
}

function valuesWords(values: FairnessItem['values']): string {
  const entries = Object.entries(values);
  const texts = new Set(entries.map(([, value]) => value));
  if (texts.size === 1) return escapeControls(entries[0]?.[1] ?? '');
  const names = shortLabels(
    entries.map(([label]) => label),
    2 * LABEL_WIDTH,
  );
  return entries
    .map(
      ([label, value]) =>
        `${names.get(label)} ${value === null ? 'unknown' : escapeControls(value)}`,
    )
    .join('; ');
}

/** How a row is written: at leisure, or with every character counted. */
export interface Room {
  quantityWidth: number;
  mostDecimals: number;
  /** Names its difference under the winner instead of in a column. */
  byUnderName: boolean;
  /** Errors stand under their values. */
  errorsBelow: boolean;
}

/** Where there is room for everything. */
export const AMPLE: Room = {
  quantityWidth: 34,
  mostDecimals: 3,
  byUnderName: false,
  errorsBelow: false,
};
/** The first of these that fits is used; the last for want of a better one, in blocks. */
const ROOMS: readonly Room[] = [
  AMPLE,
  { quantityWidth: 24, mostDecimals: 3, byUnderName: false, errorsBelow: false },
  { quantityWidth: 24, mostDecimals: 2, byUnderName: false, errorsBelow: false },
  { quantityWidth: 20, mostDecimals: 2, byUnderName: false, errorsBelow: false },
  { quantityWidth: 20, mostDecimals: 2, byUnderName: true, errorsBelow: false },
  { quantityWidth: 20, mostDecimals: 2, byUnderName: true, errorsBelow: true },
];

function rowsText(
  comparison: Comparison,
  labels: readonly string[],
  letters: ReadonlyMap<string, string>,
  width: number,
  style: TextStyle,
): string {
  let columns: Column[] = [];
  for (const room of ROOMS) {
    columns = rowColumns(comparison, labels, letters, room, style);
    if (fits(columns, width)) break;
  }
  return [
    style.strong('Row by row'),
    columnsText(columns, width, style),
    ...reasonLines(comparison.rows, width),
    style.faint(wrap(legendText(comparison), width)),
  ].join('\n');
}

/** The columns of the table; headings of groups and empty lines between them stand in the first one. */
function rowColumns(
  { rows }: Comparison,
  labels: readonly string[],
  letters: ReadonlyMap<string, string>,
  room: Room,
  style: TextStyle,
): Column[] {
  const groups = (Object.keys(GROUP_WORDS) as RowGroup[])
    .map((group) => ({
      group,
      rows: rows.filter((each) => each.group === group && hasValue(each)),
    }))
    .filter((each) => each.rows.length > 0);
  const cells = (cell: (row: ComparisonRow) => string, first = false): string[] =>
    groups.flatMap((each, i) => [
      ...(i === 0 ? [] : ['']),
      first ? style.strong(GROUP_WORDS[each.group]) : '',
      ...each.rows.map(cell),
    ]);
  const names = columnLabels(labels, LABEL_WIDTH);
  const columns: Column[] = [
    { head: '', cells: cells((row) => wrap(quantityText(row), room.quantityWidth, 2), true) },
    ...labels.map((label) => ({
      head: wrap(names.get(label) ?? '', LABEL_WIDTH),
      cells: cells((row) => valueText(row, row.values[label] ?? null, room)),
    })),
  ];
  if (!room.byUnderName) {
    columns.push({
      head: 'difference',
      cells: cells((row) => signed(withUncertainty(row.difference, decimals(row, room)))),
    });
  }
  columns.push({
    head: 'better',
    cells: cells((row) => verdictText(row, names, letters, room, style)),
  });
  return columns;
}

/** Rows without a single value are told of below the table. */
export function hasValue({ values }: ComparisonRow): boolean {
  return Object.values(values).some((value) => value !== null);
}

function quantityText(row: ComparisonRow): string {
  const unit = unitWords(row.unit);
  return `${quantityWords(row)}${unit === '' ? '' : `, ${unit}`}`;
}

/** Whole numbers of stars; small quantities with a digit more. */
export function decimals({ unit }: ComparisonRow, { mostDecimals }: Room): number {
  if (unit === 'count') return 0;
  return unit === '' ? 3 : mostDecimals;
}

/** A value of zero that cannot be negative is not seen: it has an upper limit. */
export function valueOrLimit(value: Uncertain | null, mostDecimals: number): string {
  return value !== null && value.value === 0 && value.low === 0 && value.high > 0
    ? `< ${nominal(value.high, 2)}`
    : withUncertainty(value, mostDecimals);
}

export function valueText(row: ComparisonRow, value: Uncertain | null, room: Room): string {
  const text = valueOrLimit(value, decimals(row, room));
  const shown = row.betterWhen === 'nearer zero' && row.group === 'colour' ? signed(text) : text;
  return room.errorsBelow ? shown.replace(/ (?=[±+(])/, '\n') : shown;
}

/** The better one, or those that share the lead, and the letters of what weakens it. */
function verdictText(
  row: ComparisonRow,
  names: ReadonlyMap<string, string>,
  letters: ReadonlyMap<string, string>,
  room: Room,
  style: TextStyle,
): string {
  if (row.verdict === NOT_COMPARABLE) return style.faint(NOT_COMPARABLE);
  const marks = row.caveats.map((item) => letters.get(item) ?? '').join('');
  const words = row.verdict === NO_DIFFERENCE ? 'none shown' : listOf(leadersOf(row, names));
  const text = `${words}${marks === '' ? '' : ` (${marks})`}`;
  const lines = wrap(text, room.byUnderName ? NOT_COMPARABLE.length : VERDICT_WIDTH).split('\n');
  if (row.verdict === NO_DIFFERENCE) return lines.map((line) => style.faint(line)).join('\n');
  const by =
    room.byUnderName && row.difference !== null
      ? [style.faint(`by ${withUncertainty(amountOf(row.difference), decimals(row, room))}`)]
      : [];
  return [...lines.map((line) => style.strong(line)), ...by].join('\n');
}

/** Short names of those that win the row. */
export function leadersOf(row: ComparisonRow, names: ReadonlyMap<string, string>): string[] {
  const measured = [...names.keys()].filter((label) => row.values[label] != null);
  const { leaders } = standingOf(measured, (one, other) => beats(row.pairs, one, other));
  return listOf(leaders) === row.verdict
    ? leaders.map((label) => names.get(label) ?? '')
    : [names.get(row.verdict) ?? escapeControls(row.verdict)];
}

/** How much, whatever the sign, with the mean of both errors: the narrow table has no room for two. */
function amountOf({ value, low, high }: Uncertain): Uncertain {
  const size = Math.abs(value);
  return { value: size, low: size - (high - low) / 2, high: size + (high - low) / 2 };
}

/** Why rows have no verdict: one line for each reason. */
function reasonLines(rows: readonly ComparisonRow[], width: number): string[] {
  const byReason = new Map<string, string[]>();
  for (const row of rows) {
    if (row.verdict !== NOT_COMPARABLE || row.reason === null) continue;
    const names = byReason.get(row.reason) ?? [];
    names.push(quantityWords(row));
    byReason.set(row.reason, names);
  }
  return [...byReason].map(([reason, names]) =>
    wrap(`not comparable: ${names.join(', ')}: ${escapeControls(reason)}`, width, INDENT),
  );
}

function legendText({ confidence, normalisedWithin, angularUnit, rows }: Comparison): string {
  const unit = angularUnit === 'arcsec' ? '″' : ' px';
  const within =
    normalisedWithin === null
      ? ''
      : ` Light of a star counts within ${nominal(normalisedWithin)}${unit}, the same for all.`;
  const weakened = rows.some(({ caveats }) => caveats.length > 0)
    ? ' Letters: the points above that weaken the row.'
    : '';
  return (
    'FWHM: width at half brightness. r80: radius that holds 80 % of the light. Halo: share of the first colour’s light outside ' +
    `r80 of green, less that of the second.${within} Difference: the better less the next, with the error of the difference. ` +
    `Better: ${nominal(100 * confidence, 4)} % sure over all rows together; “none shown” is not “equal”.${weakened}`
  );
}

function purposesText({ purposes }: Comparison, width: number, style: TextStyle): string {
  const indent = ' '.repeat(INDENT);
  const blocks = purposes.map(({ purpose, verdict, sentence }) => {
    const heading = `${purpose}: ${style.strong(escapeControls(verdict))}`;
    const body = wrap(escapeControls(sentence), width - INDENT).replaceAll('\n', `\n${indent}`);
    return sentence === '' ? heading : `${heading}\n${indent}${body}`;
  });
  return [style.strong('Which one for what?'), ...blocks].join('\n');
}
