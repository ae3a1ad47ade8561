/** Words of a comparison that its table and its pictures share: quantities, units, labels short enough for a column. */
import type { ComparedTelescope, Comparison, ComparisonRow, RowGroup } from '../compare/result.js';
import { escapeControls } from './escape.js';
import { nominal } from './number.js';

/** Headings of the groups, in the order of the table. */
export const GROUP_WORDS: Readonly<Record<RowGroup, string>> = {
  size: 'How wide stars are',
  colour: 'False colour',
  shape: 'How round stars are',
  field: 'Over the field',
  light: 'Light',
  depth: 'How faint it sees',
};

/** `FWHM green`, `halo blue − red`. */
export function quantityWords({ quantity, scope }: ComparisonRow): string {
  const words = escapeControls(quantity)
    .replaceAll(' minus ', ' − ')
    .replace(/\bfwhm\b/, 'FWHM');
  if (scope === 'own field' && !words.includes('own field')) return `${words} (own field)`;
  return scope === 'model' ? `${words} (model)` : words;
}

/** The sign of a unit; counts have none. */
export function unitWords(unit: string): string {
  if (unit === 'arcsec') return '″';
  return unit === 'count' || unit === '' ? '' : escapeControls(unit);
}

/** Characters of a cut label's end that stay: names often differ in their last figure. */
const TAIL = 3;
/** Longest label over a column, in lines. */
const MOST_LINES = 3;

/**
 * Labels made safe to print and no longer than `most` characters, all different: what is cut away in the middle leaves `…`.
 */
export function shortLabels(labels: readonly string[], most: number): Map<string, string> {
  const short = new Map<string, string>();
  const taken = new Set<string>();
  labels.forEach((label, i) => {
    const letters = [...escapeControls(label)];
    let text =
      letters.length <= most
        ? letters.join('')
        : `${letters.slice(0, most - TAIL - 1).join('')}…${letters.slice(-TAIL).join('')}`;
    if (taken.has(text)) {
      const ending = `…${i + 1}`;
      text = `${letters.slice(0, most - ending.length).join('')}${ending}`;
    }
    taken.add(text);
    short.set(label, text);
  });
  return short;
}

/**
 * The same for columns that may break a label at its spaces: whole where no word of it is longer than `most` characters.
 */
export function columnLabels(labels: readonly string[], most: number): Map<string, string> {
  const short = shortLabels(labels, most);
  return new Map(
    labels.map((label) => {
      const text = escapeControls(label);
      const breaks =
        [...text].length <= MOST_LINES * most &&
        text.split(' ').every((word) => [...word].length <= most);
      return [label, breaks ? text : (short.get(label) ?? '')];
    }),
  );
}

/** `80 mm f/6`; what is not known is left out. */
export function lensWords({ apertureMm, focalLengthMm }: ComparedTelescope): string {
  if (apertureMm === null) return focalLengthMm === null ? '' : `${nominal(focalLengthMm)} mm long`;
  const ratio = focalLengthMm === null ? '' : ` f/${nominal(focalLengthMm / apertureMm)}`;
  return `${nominal(apertureMm)} mm${ratio}`;
}

/** Stars behind sizes and colours: those of the matched ones that profiles were made of. */
export function profileStars({ rows, matchedStars }: Comparison): number {
  const row = rows.find(
    ({ group, scope, stars }) => group === 'size' && scope === 'same stars' && stars > 0,
  );
  return row?.stars ?? matchedStars;
}
