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
  /** Smooth model of the same quantity and its 1 σ, for the contours; null = none are drawn. */
  surface: { at: (x: number, y: number) => number; errorOf: number } | null;
  /** Circles round a centre, e.g. radii of equal illumination, with a label each. */
  circles?: readonly { x: number; y: number; radiusPx: number; label: string }[];
}

/** Samples across the frame for the contours. */
const GRID = 64;
const CONTOURS = 6;
/** Smallest step between contours, in 1 σ of the model. */
const LEAST_STEP = 2;
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
  const numbers: string[] = [];
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
      numbers.push(
        textAt(cx, cy + 4, cell.value === null ? '–' : format(cell.value), {
          anchor: 'middle',
          className:
            cell.value === null ? 'small muted' : `small ${textClassOn(cell.value, low, high)}`,
        }),
      );
    }
  }
  parts.push(panel.axes);
  if (options.surface !== null)
    parts.push(contourLines(panel, cells, widthPx, heightPx, options, format));
  parts.push(...numbers);
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
  cells: readonly MapCell[],
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
      grid.push(surface.at(((i + 0.5) * widthPx) / nx - 0.5, ((j + 0.5) * heightPx) / ny - 0.5));
    }
  }
  const [low, high] = [Math.min(...grid), Math.max(...grid)];
  const most = Math.floor((high - low) / (LEAST_STEP * surface.errorOf || 1));
  const levels = ticks(low, high, Math.max(1, Math.min(CONTOURS, most)));
  const toX = (i: number): number => panel.x((i * widthPx) / nx - 0.5);
  const toY = (j: number): number => panel.y((j * heightPx) / ny - 0.5);
  const step = levels.length > 1 ? (levels[1] as number) - (levels[0] as number) : null;
  const parts: string[] = [];
  if (levels.length > 0) {
    const every = step === null ? `at ${format(levels[0] as number)}` : `every ${format(step)}`;
    parts.push(
      textAt(
        panel.options.left,
        24,
        `tiles: measured; lines: model (± ${surface.errorOf.toPrecision(1)} px), ${every} px; dashed where no stars were measured`,
        { className: 'small' },
      ),
    );
  }
  const labels: string[] = [];
  for (const shape of contours().size([nx, ny]).thresholds(levels)(grid)) {
    for (const polygon of shape.coordinates) {
      for (const ring of polygon) {
        const open = splitAtBorder(ring as [number, number][], nx, ny);
        for (const line of open) {
          const screen = line.map(([a, b]): [number, number] => [toX(a), toY(b)]);
          const places = line.map(([a, b]): [number, number] => [
            (a * widthPx) / nx - 0.5,
            (b * heightPx) / ny - 0.5,
          ]);
          for (const { from, to, measured } of runsOf(places, cells))
            parts.push(contourPath(screen.slice(from, to), measured));
          const spot = labelSpot(
            screen,
            cells.map((cell) => [panel.x(cell.x), panel.y(cell.y)]),
            panel,
          );
          if (spot !== null) labels.push(lineLabel(spot, format(shape.value)));
        }
      }
    }
  }
  return [...parts, ...labels].join('');
}

function contourPath(line: readonly [number, number][], measured: boolean): string {
  const points = line.map(([x, y]) => `${num(x)},${num(y)}`).join(' ');
  const dashes = measured ? '' : ' stroke-dasharray="4 4"';
  return `<polyline points="${points}" fill="none" stroke="#fff" stroke-width="2.6" opacity="0.6"/><polyline points="${points}" fill="none" stroke="#14171a" stroke-width="1.1"${dashes}/>`;
}

/** Parts of a line on measured tiles and beside them, sharing their end points. */
function runsOf(
  line: readonly [number, number][],
  cells: readonly MapCell[],
): { from: number; to: number; measured: boolean }[] {
  const isMeasured = ([x, y]: readonly [number, number]): boolean =>
    cells.some(
      (cell) =>
        cell.value !== null &&
        Math.abs(x - cell.x) <= cell.widthPx / 2 &&
        Math.abs(y - cell.y) <= cell.heightPx / 2,
    );
  const flags = line.map(isMeasured);
  const runs: { from: number; to: number; measured: boolean }[] = [];
  let from = 0;
  for (let k = 1; k <= flags.length; k++) {
    if (k < flags.length && flags[k] === flags[from]) continue;
    runs.push({ from, to: Math.min(line.length, k + 1), measured: flags[from] === true });
    from = k;
  }
  return runs;
}

/** A number on a line, dark on a light edge as the line itself. */
function lineLabel([x, y]: readonly [number, number], text: string): string {
  return `<g paint-order="stroke" stroke="#fff" stroke-width="3" stroke-linejoin="round">${textAt(x, y + 4, text, { anchor: 'middle', className: 'small strong on-light' })}</g>`;
}

/** Shortest line that carries a number, and room that it keeps from the frame's border and the tiles' numbers, screen px. */
const LABELLED_LENGTH = 60;
const LABEL_ROOM = 18;

/** The point of a line farthest from all tiles' numbers; null for short lines and where there is no room. */
function labelSpot(
  line: readonly [number, number][],
  numbers: readonly [number, number][],
  panel: Panel,
): [number, number] | null {
  const { left, top, width, height } = panel.options;
  let length = 0;
  let best: [number, number] | null = null;
  let farthest = LABEL_ROOM;
  line.forEach(([x, y], k) => {
    const [px, py] = line[Math.max(0, k - 1)] as [number, number];
    length += Math.hypot(x - px, y - py);
    const inside = Math.min(x - left, left + width - x, y - top, top + height - y);
    if (inside < LABEL_ROOM) return;
    // Numbers are wider than they are high.
    const distance = Math.min(...numbers.map(([a, b]) => Math.hypot((x - a) / 1.6, y - b)));
    if (distance > farthest) {
      farthest = distance;
      best = [x, y];
    }
  });
  return length < LABELLED_LENGTH ? null : best;
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
