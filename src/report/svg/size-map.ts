/** Star size over the frame: measured cells as tiles with their numbers, the fitted model as contours above them. */

import { ticks } from 'd3-array';
import { contours } from 'd3-contour';
import { COLOUR_BAR_WIDTH, colourBar, colourOf, textClassOn } from './colours.js';
import { num, type Picture, textAt } from './document.js';
import { framePanel, type Panel } from './panel.js';

export interface MapCell {
  /** Centre and size of the cell, px. */
  x: number;
  y: number;
  widthPx: number;
  heightPx: number;
  /** Null = not measured. */
  value: number | null;
}

export interface MapOptions {
  title: string;
  description: string;
  /** Label of the colour bar, with unit. */
  label: string;
  /** Digits after the point. */
  decimals: number;
  /** Ends of the colour scale; values beyond take the end's colour. Default: smallest and largest value. */
  range?: readonly [number, number];
  /** Smooth model of the same quantity, for the contours; null = none are drawn. */
  surface: ((x: number, y: number) => number) | null;
  /** Circles round a centre, e.g. radii of equal illumination, with a label each. */
  circles?: readonly { x: number; y: number; radiusPx: number; label: string }[];
}

/** Samples across the frame for the contours. */
const GRID = 64;
const CONTOURS = 6;
/** Room above the frame for a line of text. */
const TOP = 36;

export function mapPicture(
  cells: readonly MapCell[],
  widthPx: number,
  heightPx: number,
  options: MapOptions,
): Picture {
  const panel = framePanel(widthPx, heightPx, TOP, 520);
  const values = cells.map((cell) => cell.value).filter((value): value is number => value !== null);
  const [low, high] = options.range ?? [Math.min(...values), Math.max(...values)];
  const scale = panel.options.width / widthPx;
  const format = (value: number): string => value.toFixed(options.decimals).replace('-', '−');
  const parts: string[] = [];
  for (const cell of cells) {
    const w = cell.widthPx * scale;
    const h = cell.heightPx * scale;
    const cx = panel.x(cell.x);
    const cy = panel.y(cell.y);
    const fill = cell.value === null ? 'none' : colourOf(cell.value, low, high);
    parts.push(
      `<rect x="${num(cx - w / 2)}" y="${num(cy - h / 2)}" width="${num(w)}" height="${num(h)}" fill="${fill}" shape-rendering="crispEdges"/>`,
    );
    if (w >= 30 && h >= 16) {
      parts.push(
        textAt(cx, cy + 4, cell.value === null ? '–' : format(cell.value), {
          anchor: 'middle',
          className:
            cell.value === null ? 'small muted' : `small ${textClassOn(cell.value, low, high)}`,
        }),
      );
    }
  }
  parts.push(panel.axes);
  if (options.surface !== null) parts.push(contourLines(panel, widthPx, heightPx, options, format));
  for (const circle of options.circles ?? []) {
    const r = circle.radiusPx * scale;
    const [cx, cy] = [panel.x(circle.x), panel.y(circle.y)];
    parts.push(
      `<circle cx="${num(cx)}" cy="${num(cy)}" r="${num(r)}" class="line" stroke-dasharray="6 4" clip-path="url(#frame)"/>`,
      textAt(cx, Math.max(panel.options.top + 14, cy - r + 14), circle.label, {
        anchor: 'middle',
        className: 'small',
      }),
    );
  }
  const { left, top, width, height } = panel.options;
  const clip = `<clipPath id="frame"><rect x="${num(left)}" y="${num(top)}" width="${num(width)}" height="${num(height)}"/></clipPath>`;
  if (values.length > 0) {
    parts.push(
      colourBar(left + width + 16, top, Math.min(height, 220), low, high, options.label, format),
    );
  }
  return {
    width: panel.outerWidth + COLOUR_BAR_WIDTH + 10,
    height: panel.bottom + 50,
    title: options.title,
    description: options.description,
    body: clip + parts.join(''),
  };
}

/** Lines of equal value of the model; tiles carry the numbers, a line under the title tells the step. */
function contourLines(
  panel: Panel,
  widthPx: number,
  heightPx: number,
  { surface }: MapOptions,
  format: (value: number) => string,
): string {
  if (surface === null) return '';
  const nx = GRID;
  const ny = Math.max(8, Math.round((GRID * heightPx) / widthPx));
  const grid: number[] = [];
  for (let j = 0; j < ny; j++) {
    for (let i = 0; i < nx; i++) {
      grid.push(surface(((i + 0.5) * widthPx) / nx - 0.5, ((j + 0.5) * heightPx) / ny - 0.5));
    }
  }
  const levels = ticks(Math.min(...grid), Math.max(...grid), CONTOURS);
  const toX = (i: number): number => panel.x((i * widthPx) / nx - 0.5);
  const toY = (j: number): number => panel.y((j * heightPx) / ny - 0.5);
  const step = levels.length > 1 ? (levels[1] as number) - (levels[0] as number) : null;
  const parts: string[] = [];
  if (step !== null) {
    parts.push(
      textAt(panel.options.left, 24, `lines: fitted model, every ${format(step)}`, {
        className: 'small',
      }),
    );
  }
  for (const shape of contours().size([nx, ny]).thresholds(levels)(grid)) {
    for (const polygon of shape.coordinates) {
      for (const ring of polygon) {
        const open = splitAtBorder(ring as [number, number][], nx, ny);
        for (const line of open) {
          const points = line.map(([i, j]) => `${num(toX(i))},${num(toY(j))}`).join(' ');
          parts.push(
            `<polyline points="${points}" fill="none" stroke="#fff" stroke-width="2.6" opacity="0.6"/>`,
            `<polyline points="${points}" fill="none" stroke="#14171a" stroke-width="1.1"/>`,
          );
        }
      }
    }
  }
  return parts.join('');
}

/** Contour polygons run along the border of the grid; those parts are no contour. */
function splitAtBorder(
  ring: readonly [number, number][],
  nx: number,
  ny: number,
): [number, number][][] {
  const onBorder = ([x, y]: readonly [number, number]): boolean =>
    x <= 0.5 || y <= 0.5 || x >= nx - 0.5 || y >= ny - 0.5;
  const lines: [number, number][][] = [];
  let line: [number, number][] = [];
  for (const point of ring) {
    line.push(point);
    if (onBorder(point)) {
      if (line.length > 2) lines.push(line);
      line = [point];
    }
  }
  if (line.length > 2) lines.push(line);
  return lines;
}
