/** How the telescopes of a picture are told apart: colour, dashes and the shape of marks together, never colour alone. */
import { lineFrom, num, textAt } from './document.js';

/** Colours that stay apart for any colour vision and in grey, for a light and for a dark page. */
const COLOURS: readonly (readonly [light: string, dark: string])[] = [
  ['#b45309', '#f0b072'],
  ['#0b5394', '#79c0ff'],
  ['#0f766e', '#5ed0c0'],
  ['#7e2f8e', '#d9a3e6'],
];
const DASHES = ['', '9 4', '2 3', '10 3 2 3'];

/** Rules of the series, for a page that holds several pictures. */
export const SERIES_CSS = `${COLOURS.map(
  ([light], i) => `.s${i}{stroke:${light};fill:none}.f${i}{fill:${light}}`,
).join('')}.band{opacity:.18}@media screen and (prefers-color-scheme:dark){${COLOURS.map(
  ([, dark], i) => `.s${i}{stroke:${dark}}.f${i}{fill:${dark}}`,
).join('')}}`;

/** Style sheet of the series: part of every picture that draws them. */
export const SERIES_STYLE = `<style>${SERIES_CSS}</style>`;

export interface Series {
  /** Class of its lines, and of its areas. */
  line: string;
  fill: string;
  /** Attributes of its lines. */
  stroke: string;
  /** Its mark at a point. */
  mark: (x: number, y: number) => string;
}

const MARKS = [
  'M-3.6 0a3.6 3.6 0 1 0 7.2 0a3.6 3.6 0 1 0 -7.2 0z',
  'M-3.2 -3.2h6.4v6.4h-6.4z',
  'M0 -4.2L4 3H-4z',
  'M0 -4.6L4.2 0L0 4.6L-4.2 0z',
];

/** Style of telescope number `index`. After four the colours come again with other dashes and marks. */
export function seriesOf(index: number): Series {
  const colour = index % COLOURS.length;
  const other = (index + Math.floor(index / COLOURS.length)) % DASHES.length;
  const dash = DASHES[other] as string;
  return {
    line: `s${colour}`,
    fill: `f${colour}`,
    stroke: ` stroke-width="2"${dash === '' ? '' : ` stroke-dasharray="${dash}"`}`,
    mark: (x, y) =>
      `<path d="${MARKS[other]}" transform="translate(${num(x)} ${num(y)})" class="f${colour}"/>`,
  };
}

const SAMPLE = 44;
const LINE = 20;
/** Width of a letter, px, for laying names out side by side. */
const LETTER = 7.4;

/** Names with a sample of line and mark, side by side from (left, top) and in further lines where they would pass `right`. */
export function seriesLegend(
  names: readonly string[],
  left: number,
  top: number,
  right: number,
): { body: string; height: number } {
  const parts: string[] = [];
  let x = left;
  let y = top + LINE / 2;
  names.forEach((name, i) => {
    const width = SAMPLE + 8 + LETTER * [...name].length + 22;
    if (x > left && x + width > right) {
      x = left;
      y += LINE;
    }
    const { line, stroke, mark } = seriesOf(i);
    parts.push(
      lineFrom(x, y, x + SAMPLE, y, line, stroke),
      mark(x + SAMPLE / 2, y),
      textAt(x + SAMPLE + 8, y + 4.5, name),
    );
    x += width;
  });
  return { body: parts.join(''), height: y + LINE / 2 - top };
}
