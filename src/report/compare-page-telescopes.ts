/** Telescopes on the page of `compare`: what they are, their files, and how their fields lie on one another. */
import type { ComparedTelescope } from '../compare/result.js';
import type { CompareDocument } from './compare-json.js';
import { valueOrLimit } from './compare-table.js';
import { lensWords } from './compare-words.js';
import { term } from './html/glossary.js';
import { type Html, html, type Part } from './html/markup.js';
import { dataTable, factList } from './html/table.js';
import { count, fixed, NOT_MEASURED, nominal, significant } from './number.js';

/** @param names of the labels, short enough for headings */
export function telescopesBody(
  document: CompareDocument,
  names: ReadonlyMap<string, string>,
): (Html | null)[] {
  const { telescopes, transforms, angularUnit } = document;
  const failed = telescopes.flatMap((each) =>
    each.failed.map(({ file, error }): [string, string] => [
      `${names.get(each.label)}: ${file}`,
      `${error.message}: ${error.remedy}`,
    ]),
  );
  return [
    dataTable({
      caption: 'What was compared',
      columns: [
        { head: 'telescope' },
        { head: 'frames' },
        { head: html`size, ${term('px')}` },
        { head: html`${term('arcsec')} per px` },
        { head: 'lens', align: 'left' },
        { head: 'exposure' },
        { head: html`blue ${term('defocus')}, µm` },
        { head: 'own stars' },
      ],
      rows: telescopes.map(telescopeCells),
      note: html`Blue defocus: the blur that turns green into blue, as a length along the axis; one frame gives no sign. Own stars: those behind what is said of a telescope’s own field.`,
      sortable: false,
    }),
    angularUnit === 'px'
      ? html`<p class="note">No scale is known: angles are in pixels of the first telescope.</p>`
      : null,
    factList(telescopes.map(({ label, files }) => [names.get(label) ?? '', fileWords(files)])),
    dataTable({
      caption: 'How the fields lie on one another',
      columns: [
        { head: 'telescope' },
        { head: 'onto', align: 'left' },
        { head: 'stars' },
        { head: 'scale' },
        { head: 'turned, °' },
        { head: 'mirrored', align: 'left' },
        { head: 'residual, px' },
        { head: 'in common, %' },
      ],
      rows: transforms.map((each) => [
        names.get(each.label) ?? '',
        names.get(each.onto) ?? '',
        count(each.matchedStars),
        fixed(each.description.scale, 4),
        fixed(each.description.rotationDeg, 2),
        each.description.mirrored ? 'yes' : 'no',
        fixed(each.residualRmsPx, 2),
        fixed(100 * each.overlapFraction, 0),
      ]),
      sortable: false,
    }),
    failed.length === 0 ? null : html`<h3>Frames that were left out</h3>${factList(failed)}`,
  ];
}

function telescopeCells(each: ComparedTelescope): Part[] {
  const { width, height, scaleArcsecPerPx: scale, exposureSeconds: time } = each;
  return [
    each.label,
    `${count(each.files.length)}${each.failed.length > 0 ? `, ${count(each.failed.length)} left out` : ''}`,
    width === null || height === null ? NOT_MEASURED : `${width} × ${height}`,
    scale === null
      ? NOT_MEASURED
      : `${significant(scale, 4)}${each.scaleSource === 'match' ? ' (from the stars)' : ''}`,
    lensWords(each) || NOT_MEASURED,
    time === null ? NOT_MEASURED : `${nominal(time)} s`,
    valueOrLimit(each.blueDefocusUm, 1),
    count(each.ownStars),
  ];
}

/** Files named on the page, for each telescope. */
const MOST_FILES = 5;

function fileWords(files: readonly string[]): string {
  const more = files.length - MOST_FILES;
  return `${files.slice(0, MOST_FILES).join(', ')}${more > 0 ? ` and ${count(more)} more` : ''}`;
}
