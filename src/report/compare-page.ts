/** The page of `compare`: made from the document alone, with its pictures handed in. */
import {
  type ComparisonRow,
  type FairnessItem,
  NO_DIFFERENCE,
  NOT_COMPARABLE,
  type RowGroup,
} from '../compare/result.js';
import { listOf } from '../compare/words.js';
import type { CompareDocument } from './compare-json.js';
import { telescopesBody } from './compare-page-telescopes.js';
import {
  AMPLE,
  caveatLetters,
  decimals,
  hasValue,
  isTold,
  leadersOf,
  toldItems,
  valueText,
  weightWords,
} from './compare-table.js';
import {
  GROUP_WORDS,
  profileStars,
  quantityWords,
  shortLabels,
  unitWords,
} from './compare-words.js';
import type { NamedPicture } from './field-pictures.js';
import { figure } from './html/figure.js';
import { term } from './html/glossary.js';
import { type Html, html, type Part } from './html/markup.js';
import { htmlPage, methodSection, parameterWords, warningSection } from './html/page.js';
import { dataTable, factList } from './html/table.js';
import { count, NOT_MEASURED, nominal, signed, withUncertainty } from './number.js';

/** Longest label in a heading; the table of telescopes holds them whole. */
const LABEL_WIDTH = 24;

type Names = ReadonlyMap<string, string>;

/** The page as text. */
export function comparePage(document: CompareDocument, pictures: readonly NamedPicture[]): string {
  const { telescopes, matchedStars, fairness, rows } = document;
  const labels = telescopes.map(({ label }) => label);
  const names = shortLabels(labels, LABEL_WIDTH);
  const letters = caveatLetters(fairness);
  const measured = profileStars(document);
  return htmlPage({
    title: listOf(labels),
    command: 'compare',
    facts: `The same ${count(matchedStars)} stars${
      measured < matchedStars ? ` (sizes and colours: ${count(measured)} of them)` : ''
    } through ${count(labels.length)} telescopes.`,
    summary:
      document.summary.length === 0
        ? 'Nothing could be compared.'
        : document.summary.map((sentence) => `${sentence} `),
    sections: [
      {
        id: 'purposes',
        title: 'Which one for what?',
        body: [purposeList(document), purposeNote(document)],
      },
      {
        id: 'pictures',
        title: 'Pictures',
        body: pictures.map(({ name, picture }) => figure(picture, CAPTIONS[name] ?? '', name)),
      },
      { id: 'fairness', title: 'Is it fair?', body: fairnessBody(fairness, letters, names) },
      {
        id: 'rows',
        title: 'Row by row',
        body: [
          rowsNote(document),
          ...(Object.keys(GROUP_WORDS) as RowGroup[]).map((group) =>
            rowTable(
              GROUP_WORDS[group],
              rows.filter((row) => row.group === group && hasValue(row)),
              names,
              letters,
            ),
          ),
          reasonList(rows),
        ],
      },
      { id: 'telescopes', title: 'Telescopes', body: telescopesBody(document, names) },
      warningSection(document.warnings),
      method(document, names),
    ],
  });
}

function purposeList({ purposes }: CompareDocument): Html | null {
  return factList(
    purposes.map(({ purpose, verdict, sentence }) => [
      purpose,
      html`<strong>${verdict}</strong>${sentence === '' ? null : html`. ${sentence}`}`,
    ]),
  );
}

function purposeNote({ purposes }: CompareDocument): Html | null {
  return purposes.length === 0
    ? null
    : html`<p class="note">There is no overall score: which one is better depends on what it is for. Each answer rests on rows of the tables below.</p>`;
}

const CAPTIONS: Readonly<Record<string, Html>> = {
  profiles: html`${term('profile', 'Profile')} of the mean star and ${term('encircled')}, colour by colour. Bands: 1 σ.`,
  differences: html`Differences star by star: the same stars through the first telescope and each other one.`,
  crops: html`The same stars side by side, on one scale of angles and of brightness. For looking at; nothing is measured from it.`,
  lenses: html`Blur that turns green into blue, beside what achromats, ED doublets and apochromats are expected to show.`,
};

function fairnessBody(
  items: readonly FairnessItem[],
  letters: ReadonlyMap<string, string>,
  names: Names,
): (Html | null)[] {
  const told = toldItems(items);
  const unfair = told.filter(({ weight }) => weight !== 'none').length;
  const others = (status: FairnessItem['status']): string =>
    items
      .filter((each) => !isTold(each) && each.status === status)
      .map(({ item }) => item)
      .join(', ');
  return [
    html`<p>${
      unfair === 0
        ? 'Nothing was found that weakens the comparison.'
        : `${count(unfair)} of ${count(items.length)} points ${unfair === 1 ? 'weakens' : 'weaken'} the comparison.`
    }</p>`,
    factList([
      ...told.map((each): [Part, Part] => [
        html`<strong id="${fairId(told, each.item)}">(${letters.get(each.item) ?? ''}) ${each.item}</strong>`,
        html`${each.status}${weightWords(each)}. ${each.effect}${valuesPart(each.values, names)}`,
      ]),
      ['equal', others('equal')],
      ['unknown', others('unknown')],
    ]),
  ];
}

/** Where rows find the point that weakens them. */
function fairId(told: readonly FairnessItem[], item: string): string {
  return `fair-${told.findIndex((each) => each.item === item) + 1}`;
}

function valuesPart(values: FairnessItem['values'], names: Names): Html | null {
  const entries = Object.entries(values);
  if (entries.every(([, value]) => value === null)) return null;
  const texts = new Set(entries.map(([, value]) => value));
  const words =
    texts.size === 1
      ? (entries[0]?.[1] ?? '')
      : entries
          .map(([label, value]) => `${names.get(label) ?? label}: ${value ?? 'unknown'}`)
          .join('; ');
  return html` <span class="remedy">(${words})</span>`;
}

function rowsNote({
  confidence,
  normalisedWithin,
  angularUnit,
  rows,
}: CompareDocument): Html | null {
  if (!rows.some(hasValue)) return null;
  const unit = angularUnit === 'arcsec' ? '″' : ' px';
  return html`<p class="note">Difference: the better less the next, with the error of the difference (${term('interval')}). Better: ${nominal(100 * confidence, 4)} % sure over all rows together; “none shown” is not “equal”. Letters: the points above that weaken the row. ${term('fwhm')}, ${term('r80')}; ${term('halo')}: share of the first colour’s light outside r80 of green, less that of the second.${
    normalisedWithin === null
      ? null
      : ` Light of a star counts within ${nominal(normalisedWithin)}${unit}, the same for all.`
  }</p>`;
}

function rowTable(
  caption: string,
  rows: readonly ComparisonRow[],
  names: Names,
  letters: ReadonlyMap<string, string>,
): Html | null {
  const pairsNamed = names.size > 2;
  const order = [...letters.keys()];
  return dataTable({
    caption,
    columns: [
      { head: 'quantity' },
      ...[...names.values()].map((head) => ({ head })),
      { head: 'difference' },
      { head: 'better', align: 'left' },
      { head: 'stars' },
    ],
    rows: rows.map((row) => {
      const unit = unitWords(row.unit);
      return [
        `${quantityWords(row)}${unit === '' ? '' : `, ${unit}`}`,
        ...[...names.keys()].map((label) => valueText(row, row.values[label] ?? null, AMPLE)),
        differencePart(row, names, pairsNamed),
        verdictPart(row, names, letters, order),
        row.stars > 0 ? count(row.stars) : NOT_MEASURED,
      ];
    }),
    sortable: false,
  });
}

function differencePart(row: ComparisonRow, names: Names, pairsNamed: boolean): Part {
  const text = signed(withUncertainty(row.difference, decimals(row, AMPLE)));
  if (!pairsNamed || row.differenceOf === null || row.difference === null) return text;
  const [one, other] = row.differenceOf.map((label) => names.get(label) ?? label);
  return html`${text}<br><span class="remedy">${one ?? ''} − ${other ?? ''}</span>`;
}

function verdictPart(
  row: ComparisonRow,
  names: Names,
  letters: ReadonlyMap<string, string>,
  order: readonly string[],
): Part {
  if (row.verdict === NOT_COMPARABLE) return NOT_COMPARABLE;
  const marks = row.caveats.flatMap((item) => {
    const letter = letters.get(item);
    return letter === undefined
      ? []
      : [html`<a href="#fair-${order.indexOf(item) + 1}" title="${item}">${letter}</a>`];
  });
  const words =
    row.verdict === NO_DIFFERENCE
      ? 'none shown'
      : html`<strong>${listOf(leadersOf(row, names))}</strong>`;
  return html`${words}${marks.length === 0 ? null : html` (${marks})`}`;
}

/** Why rows have no verdict: once for each reason. */
function reasonList(rows: readonly ComparisonRow[]): Html | null {
  const byReason = new Map<string, string[]>();
  for (const row of rows) {
    if (row.verdict !== NOT_COMPARABLE || row.reason === null) continue;
    byReason.set(row.reason, [...(byReason.get(row.reason) ?? []), quantityWords(row)]);
  }
  if (byReason.size === 0) return null;
  return html`<h3>Not comparable</h3>${factList(
    [...byReason].map(([reason, quantities]) => [quantities.join(', '), reason]),
  )}`;
}

const METHOD = [
  html`<p>All rows but those on the own field and those from a model rest on the same stars in every telescope: found in every frame, clipped in none. What is special to the stars cancels in a difference, so its error is taken from the difference and not from the two values.</p>`,
  html`<p>What is unfair raises what a difference must be before it counts. All differences are tested as one family (Holm 1979), and one that is too small to matter is not called better.</p>`,
  html`<p>One night of two samples says nothing sure about all lenses of a kind: focus, air and the single specimen count as well.</p>`,
];

function method(document: CompareDocument, names: Names) {
  const { telescopes, ...parameters } = document.parameters;
  const given = telescopes.map(({ label, ...each }): [string, string] => [
    `given for ${names.get(label) ?? label}`,
    Object.entries(each)
      .flatMap(([name, value]) => (value === null ? [] : [`${parameterWords(name)}: ${value}`]))
      .join('; '),
  ]);
  const list = factList(given);
  return methodSection(list === null ? METHOD : [...METHOD, list], { ...document, parameters });
}
