/** Whisker plot: one line per cell of the frame, as long as its stars are elongated and lying along their long axis. */
import { lineFrom, num, type Picture, textAt } from './document.js';
import { framePanel } from './panel.js';

export interface WhiskerCell {
  /** Centre, px. */
  x: number;
  y: number;
  /** (a − b)/(a + b) as components: e1 along x, e2 along 45° from +x towards +y. Null = not measured. */
  e1: number | null;
  e2: number | null;
  stars: number;
}

/** Length of the reference whisker as a share of the distance between cells. */
const REFERENCE_SHARE = 0.45;
/** The smallest keeps whiskers of mere noise short. */
const REFERENCES = [0.05, 0.1, 0.2, 0.5];

/** The reference ellipticity whose whisker suits the largest one shown. */
function referenceFor(largest: number): number {
  return REFERENCES.find((value) => value >= 0.55 * largest) ?? 0.5;
}

/**
 * @param name what the frame is called in the title
 */
export function whiskerPicture(
  cells: readonly WhiskerCell[],
  widthPx: number,
  heightPx: number,
  name: string,
): Picture {
  const panel = framePanel(widthPx, heightPx, 44, 520);
  const measured = cells.filter(
    (cell): cell is WhiskerCell & { e1: number; e2: number } =>
      cell.e1 !== null && cell.e2 !== null,
  );
  const size = (cell: { e1: number; e2: number }): number =>
    Math.sqrt(cell.e1 * cell.e1 + cell.e2 * cell.e2);
  const largest = Math.max(0, ...measured.map(size));
  const reference = referenceFor(largest);
  const spacing =
    (panel.options.width * Math.sqrt((heightPx / widthPx) * 1)) /
    Math.max(1, Math.sqrt(cells.length));
  const perUnit = (2 * REFERENCE_SHARE * Math.max(18, spacing)) / (2 * reference);
  const parts = [panel.axes];
  for (const cell of cells) {
    const [cx, cy] = [panel.x(cell.x), panel.y(cell.y)];
    if (cell.e1 === null || cell.e2 === null) {
      parts.push(textAt(cx, cy + 4, '–', { anchor: 'middle', className: 'muted' }));
      continue;
    }
    const e = size({ e1: cell.e1, e2: cell.e2 });
    const angle = 0.5 * Math.atan2(cell.e2, cell.e1);
    const half = 0.5 * e * perUnit;
    const [dx, dy] = [half * Math.cos(angle), -half * Math.sin(angle)];
    parts.push(
      `<g><title>${cell.stars} stars, ellipticity ${e.toFixed(3)} at ${(((angle * 180) / Math.PI + 180) % 180).toFixed(0)}°</title>`,
      lineFrom(cx - dx, cy - dy, cx + dx, cy + dy, 'mark', ' stroke-width="2.2"'),
      `<circle cx="${num(cx)}" cy="${num(cy)}" r="1.8" class="mark-fill"/></g>`,
    );
  }
  const y = 22;
  const length = reference * perUnit;
  parts.push(
    lineFrom(66, y - 4, 66 + length, y - 4, 'mark', ' stroke-width="2.2"'),
    textAt(74 + length, y, `ellipticity ${reference}`),
  );
  return {
    width: panel.outerWidth,
    height: panel.bottom + 50,
    title: `Elongation over the frame: ${name}`,
    description: `One line for each of ${measured.length} cells, along the long axis of its stars; the longest stands for an ellipticity of ${largest.toFixed(2)}.`,
    body: parts.join(''),
  };
}
