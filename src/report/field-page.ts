/** The page of `field`: made from the document alone, with its pictures handed in. */
import type { FieldNinth } from '../field/ninths.js';
import type { FieldSetFacts } from '../field/outcome.js';
import type { Cause, FieldSet } from '../field/result.js';
import type { FieldDocument } from './field-json.js';
import type { NamedPicture } from './field-pictures.js';
import { circleText, leadingCause, lightText, SET_NAMES } from './field-table.js';
import { figure } from './html/figure.js';
import { term } from './html/glossary.js';
import { type Html, html, type Part } from './html/markup.js';
import { htmlPage, methodSection, type Section, warningSection } from './html/page.js';
import { dataTable, factList } from './html/table.js';
import { count, fixed, NOT_MEASURED, withUncertainty } from './number.js';
import { scaleWords } from './words.js';

type MeasuredSet = FieldSetFacts & FieldSet;

/**
 * The page as text.
 * @param pictures of each set, in the order of the document
 */
export function fieldPage(
  document: FieldDocument,
  pictures: readonly (readonly NamedPicture[])[],
): string {
  const several = document.sets.length > 1;
  const measured = document.sets.flatMap((set, i) =>
    set.leading === null ? [] : [{ set, i, name: several ? (SET_NAMES[i] ?? null) : null }],
  );
  const files = document.sets.flatMap((set) => set.files);
  const [first] = files;
  const more = files.length - 1;
  const failed = document.sets.flatMap((set) => set.failed);
  return htmlPage({
    title: `${first ?? 'no frame'}${more > 0 ? ` and ${count(more)} more` : ''}`,
    command: 'field',
    facts: measured.map(({ set, name }) => `${name === null ? '' : `${name}: `}${setFacts(set)}. `),
    summary:
      measured.length === 0
        ? 'No frame could be read.'
        : measured.map(({ set, name }) => `${name === null ? '' : `${name}: `}${set.summary} `),
    sections: [
      ...measured.flatMap(({ set, i, name }) =>
        setSections(set, pictures[i] ?? [], name, several ? `set-${i + 1}-` : ''),
      ),
      rotationSection(document),
      {
        id: 'failed',
        title: 'Frames that could not be read',
        body: [
          factList(failed.map(({ file, error }) => [file, `${error.message}: ${error.remedy}`])),
        ],
      },
      warningSection(document.warnings),
      methodSection(METHOD, document),
    ],
  });
}

const METHOD = [
  html`<p>Sizes and shapes of single stars over the frame are laid beside what each cause would do to them: where on the frame, in which direction, and in which colour. A cause is named only where it leaves the others behind; its ${term('confidence')} says how clearly.</p>`,
  html`<p>What is found is an estimate. Confirm it before turning any screw of a lens cell, focuser or sensor, and follow the maker’s instructions.</p>`,
];

function setFacts(set: MeasuredSet): string {
  return `${count(set.width)} × ${count(set.height)} px, ${scaleWords(set.scaleArcsecPerPx)}; ${count(set.stars)} stars in ${count(set.frames)} frame${set.frames === 1 ? '' : 's'}`;
}

const CAPTIONS: Readonly<Record<string, Html>> = {
  whiskers: html`Elongation: one line for each cell, along the long axis of its stars; its length is the ${term('ellipticity')}. A dash: not measured.`,
  size: html`${term('fwhm')} of the stars, ${term('px')}: numbers are measured; lines, where there are any, are those of the fitted model.`,
  stars: html`Mean star of each cell, at its place in the frame. Each is scaled to its own peak; faint light is raised, alike for all.`,
  light: html`${term('illumination', 'Light fall-off')}: light of the sky, in per cent of the centre. Dashed: circles of equal light.`,
};

function setSections(
  set: MeasuredSet,
  pictures: readonly NamedPicture[],
  name: string | null,
  key: string,
): Section[] {
  const named = (title: string): string => (name === null ? title : `${title}: ${name}`);
  const lead = leadingCause(set);
  return [
    {
      id: `${key}pictures`,
      title: named('Pictures'),
      body: pictures.map((each) =>
        figure(each.picture, CAPTIONS[each.name.replace(/-rotated$/, '')] ?? '', key + each.name),
      ),
    },
    {
      id: `${key}causes`,
      title: named('Causes'),
      body: [
        causesTable(set.causes, named('What the star shapes say')),
        lead ? advice(lead) : null,
      ],
    },
    {
      id: `${key}places`,
      title: named('Over the frame'),
      body: [
        placesTable(set.places, named('Star size in nine places')),
        factList([
          [term('illumination'), lightText(set)],
          [term('circle'), circleText(set.correctedCircle)],
        ]),
      ],
    },
    {
      id: `${key}cells`,
      title: named('Cells'),
      body: [cellsTable(set, named('Stars of each cell'))],
    },
  ];
}

function causesTable(causes: readonly Cause[], caption: string): Html | null {
  return dataTable({
    caption,
    columns: [
      { head: 'cause' },
      { head: 'strength' },
      { head: html`${term('effect')}, ${term('px')}` },
      { head: 'direction, °' },
      { head: term('confidence') },
    ],
    rows: causes.map((each) => [
      causeName(each.cause),
      `${withUncertainty(each.strength)} ${each.unit}`,
      fixed(each.effectPx, 2),
      each.directionDeg === null ? NOT_MEASURED : withUncertainty(each.directionDeg, 0),
      fixed(each.confidence, 2),
    ]),
    note: html`Direction: from +x towards +y. Errors: ${term('interval')}.`,
  });
}

function causeName(name: Cause['cause']): Part {
  switch (name) {
    case 'tilt':
    case 'curvature':
    case 'defocus':
      return term(name);
    case 'lateral colour':
      return term('lateral');
    default:
      return name;
  }
}

function advice({ evidence, alternatives, nextCheck, caution }: Cause): Html | null {
  return factList([
    ['evidence', evidence.map((sentence) => `${sentence} `)],
    ['could also be', alternatives.join('; ')],
    ['next', nextCheck],
    ['caution', caution],
  ]);
}

function placesTable(places: readonly FieldNinth[], caption: string): Html | null {
  if (places.every((place) => place.fwhmPx === null)) return null;
  const cell = (place: FieldNinth | undefined): Part => {
    if (!place || place.fwhmPx === null) return NOT_MEASURED;
    const { ellipticity, elongationAngleDeg: angle } = place;
    const shape =
      ellipticity === null
        ? NOT_MEASURED
        : angle === null
          ? 'round'
          : `${fixed(ellipticity.value, 2)} at ${fixed(angle, 0)}°`;
    return html`${withUncertainty(place.fwhmPx, 2)}<br><span class="remedy">${shape}</span>`;
  };
  return dataTable({
    caption,
    columns: [
      { head: html`${term('fwhm')}, ${term('px')}` },
      { head: 'left' },
      { head: 'middle' },
      { head: 'right' },
    ],
    rows: ['upper', 'centre', 'lower'].map((head, row) => [
      head,
      ...[0, 1, 2].map((column) => cell(places[3 * row + column])),
    ]),
    note: html`Under each size: ${term('ellipticity')} and the angle of the long axis. x runs to the right, y upwards: the first stored row is the lowest.`,
  });
}

function cellsTable({ cells }: MeasuredSet, caption: string): Html | null {
  return dataTable({
    caption,
    columns: [
      { head: html`x, ${term('px')}`, align: 'right' },
      { head: html`y, ${term('px')}` },
      { head: 'stars' },
      { head: html`${term('fwhm')}, ${term('px')}` },
      { head: 'red, px' },
      { head: 'blue, px' },
      { head: html`${term('ellipticity')} along x` },
      { head: 'along 45°' },
      { head: '1 σ' },
    ],
    rows: cells.map((cell) => [
      fixed(cell.x, 0),
      fixed(cell.y, 0),
      count(cell.stars),
      withUncertainty(cell.fwhmPx, 2),
      withUncertainty(cell.redFwhmPx, 2),
      withUncertainty(cell.blueFwhmPx, 2),
      fixed(cell.e1, 3),
      fixed(cell.e2, 3),
      fixed(cell.ellipticityError, 3),
    ]),
    note: 'x and y: mean place of the cell’s stars.',
  });
}

function rotationSection({ rotation }: FieldDocument): Section {
  const title = 'Camera turned';
  if (rotation === undefined) return { id: 'rotation', title, body: [] };
  const words = (findings: readonly { sentence: string; significance: number }[]): string =>
    findings
      .map((each) =>
        each.significance > 0
          ? `${each.sentence} (${fixed(each.significance, 1)} σ)`
          : each.sentence,
      )
      .join(' ');
  return {
    id: 'rotation',
    title: `${title} by ${fixed(rotation.angleDeg, 1)}°`,
    body: [
      factList([
        ['camera', words(rotation.followsCamera)],
        ['telescope', words(rotation.followsTube)],
        ['undecided', words(rotation.undecided)],
        ['advice', rotation.advice],
      ]),
    ],
  };
}
