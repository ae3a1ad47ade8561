/** A panel: a plotting area with axes, ticks and labels, and the scales that place data in it. */
import { scaleLinear } from 'd3-scale';
import { lineFrom, num, textAt } from './document.js';

export interface PanelOptions {
  /** Outer corner and size of the plotting area, without labels. */
  left: number;
  top: number;
  width: number;
  height: number;
  xDomain: readonly [number, number];
  /** The second value is at the top. */
  yDomain: readonly [number, number];
  /** Label with unit. */
  xLabel: string;
  yLabel: string;
  /** Lines across the area at the ticks. */
  grid?: boolean;
}

export interface Panel {
  options: PanelOptions;
  x: (value: number) => number;
  y: (value: number) => number;
  /** Frame, ticks, labels: drawn behind the data. */
  axes: string;
}

const TICK = 5;
/** One tick label about every this many px. */
const TICK_SPACING = 80;

/** Thousands apart, minus as a sign of its own. */
function tickText(value: number, format: (value: number) => string): string {
  return format(value).replace('-', '−');
}

function createPanel(options: PanelOptions): Panel {
  const { left, top, width, height, xLabel, yLabel, grid = false } = options;
  const right = left + width;
  const bottom = top + height;
  const x = scaleLinear([...options.xDomain], [left, right]);
  const y = scaleLinear([...options.yDomain], [bottom, top]);
  const xCount = Math.max(2, Math.floor(width / TICK_SPACING));
  const yCount = Math.max(2, Math.floor(height / TICK_SPACING));
  const parts: string[] = [];
  const xFormat = x.tickFormat(xCount);
  for (const tick of x.ticks(xCount)) {
    const at = x(tick);
    if (grid) parts.push(lineFrom(at, top, at, bottom, 'grid'));
    parts.push(lineFrom(at, bottom, at, bottom + TICK, 'axis'));
    parts.push(
      textAt(at, bottom + TICK + 13, tickText(tick, xFormat), {
        anchor: 'middle',
        className: 'small',
      }),
    );
  }
  const yFormat = y.tickFormat(yCount);
  for (const tick of y.ticks(yCount)) {
    const at = y(tick);
    if (grid) parts.push(lineFrom(left, at, right, at, 'grid'));
    parts.push(lineFrom(left - TICK, at, left, at, 'axis'));
    parts.push(
      textAt(left - TICK - 4, at + 4, tickText(tick, yFormat), {
        anchor: 'end',
        className: 'small',
      }),
    );
  }
  parts.push(
    `<rect x="${num(left)}" y="${num(top)}" width="${num(width)}" height="${num(height)}" class="axis"/>`,
    textAt(left + width / 2, bottom + 38, xLabel, { anchor: 'middle' }),
    textAt(left - 48, top + height / 2, yLabel, { anchor: 'middle', rotate: -90 }),
  );
  return { options, x: (value) => x(value), y: (value) => y(value), axes: parts.join('') };
}

/** Room that axes and labels of a panel need round it. */
const MARGIN = { left: 66, right: 18, top: 14, bottom: 50 } as const;

/**
 * A panel that shows a frame of `widthPx` × `heightPx` samples to scale: x along NAXIS1 to the right, y along NAXIS2 upwards, as
 * the literature draws it. Its longer side is `longest` px.
 */
export function framePanel(
  widthPx: number,
  heightPx: number,
  top: number,
  longest: number,
): Panel & { outerWidth: number; bottom: number } {
  const scale = longest / Math.max(widthPx, heightPx);
  const width = widthPx * scale;
  const height = heightPx * scale;
  const panel = createPanel({
    left: MARGIN.left,
    top,
    width,
    height,
    xDomain: [-0.5, widthPx - 0.5],
    yDomain: [-0.5, heightPx - 0.5],
    xLabel: 'x, px',
    yLabel: 'y, px',
  });
  return { ...panel, outerWidth: MARGIN.left + width + MARGIN.right, bottom: top + height };
}
