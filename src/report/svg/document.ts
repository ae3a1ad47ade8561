/** SVG documents: escaping, one look for all pictures, text alternatives. Pictures are strings; nothing is measured here.
 *
 * Colours are plain values in classes, so that every renderer knows them; a dark page overrides them by media query. Meaning is never
 * carried by colour alone: lines differ in dashes, tiles carry their number.
 */
import { escapeMarkup } from '../escape.js';

/** A coordinate: three decimals are finer than any screen; no exponent, no "−0". */
export function num(value: number): string {
  const rounded = Math.round(value * 1000) / 1000;
  return String(rounded === 0 ? 0 : rounded);
}

export interface Picture {
  width: number;
  height: number;
  /** Short name, shown by screen readers and as the tooltip of the whole. */
  title: string;
  /** What the picture shows, in a sentence, for whoever cannot see it. */
  description: string;
  /** Inner elements. */
  body: string;
}

/** Style sheet of every picture, in a file of its own and in a page alike. Print is always dark on light. */
export const PICTURE_CSS = `
text{font:13px "Liberation Sans",Arial,Helvetica,sans-serif;fill:#1f2328}
.small{font-size:11px}.strong{font-weight:bold}.muted{fill:#57606a}
.paper{fill:#fff}.line{stroke:#1f2328;fill:none}.axis{stroke:#57606a;fill:none}.grid{stroke:#d0d7de;fill:none}
.mark{stroke:#0b5394;fill:none}.mark-2{stroke:#b45309;fill:none}.mark-fill{fill:#0b5394}.mark-2-fill{fill:#b45309}
.on-dark{fill:#fff}.on-light{fill:#14171a}
.dot{fill:#1f2328;stroke:#fff}.ring{fill:#fff;stroke:#1f2328}.clear{paint-order:stroke;stroke:#fff;stroke-width:3px;stroke-linejoin:round}
@media screen and (prefers-color-scheme:dark){text{fill:#e6edf3}.muted{fill:#9da7b3}.paper{fill:#0d1117}.line{stroke:#e6edf3}
.axis{stroke:#9da7b3}.grid{stroke:#30363d}.mark{stroke:#79c0ff}.mark-2{stroke:#f0b072}.mark-fill{fill:#79c0ff}.mark-2-fill{fill:#f0b072}
.on-dark{fill:#fff}.on-light{fill:#14171a}
.dot{fill:#e6edf3;stroke:#0d1117}.ring{fill:#0d1117;stroke:#e6edf3}.clear{stroke:#0d1117}}
@media print{text{fill:#000}.paper{fill:#fff}.line{stroke:#000}}`;

/** The whole document. It names no outside address but the namespace that SVG itself requires. */
export function svgDocument({ width, height, title, description, body }: Picture): string {
  const [w, h] = [num(width), num(height)];
  return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${w} ${h}" width="${w}" height="${h}" role="img"><title>${escapeMarkup(title)}</title><desc>${escapeMarkup(description)}</desc><style>${PICTURE_CSS}</style><rect class="paper" width="${w}" height="${h}"/>${body}</svg>\n`;
}

export interface TextOptions {
  anchor?: 'start' | 'middle' | 'end';
  className?: string;
  /** Degrees, clockwise as SVG counts. */
  rotate?: number;
}

/** A line of text with its baseline at (x, y). */
export function textAt(x: number, y: number, text: string, options: TextOptions = {}): string {
  const { anchor = 'start', className, rotate } = options;
  const turn =
    rotate === undefined ? '' : ` transform="rotate(${num(rotate)} ${num(x)} ${num(y)})"`;
  const named = className === undefined ? '' : ` class="${className}"`;
  return `<text x="${num(x)}" y="${num(y)}" text-anchor="${anchor}"${named}${turn}>${escapeMarkup(text)}</text>`;
}

/** The tooltip of the element that it stands in. */
export function titleOf(text: string): string {
  return `<title>${escapeMarkup(text)}</title>`;
}

export function lineFrom(
  x1: number,
  y1: number,
  x2: number,
  y2: number,
  className: string,
  extra = '',
): string {
  return `<line x1="${num(x1)}" y1="${num(y1)}" x2="${num(x2)}" y2="${num(y2)}" class="${className}"${extra}/>`;
}
