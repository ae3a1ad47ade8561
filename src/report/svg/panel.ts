/** A panel: a plotting area with axes, ticks and labels, and the scales that place data in it. */
import { scaleLinear, scaleLog, scaleSqrt } from 'd3-scale';
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
  /** 'sqrt': room for the small ones, from 0 on. */
  xScale?: 'linear' | 'sqrt';
  /** 'log': decades, for a domain above 0. */
  yScale?: 'linear' | 'log';
  /** Axes whose ticks carry no numbers: a neighbour's serve. */
  unnumbered?: { x?: boolean; y?: boolean };
  /** One tick on the y axis about every this many px. */
  yTickSpacing?: number;
  /** Distance of the y label from the axis, px. */
  yLabelAt?: number;
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

/** Numbers on a square-root axis: a step of 1, 2, 5 is even there. */
const SQRT_TICKS = [0, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000];
/** Room that such a number takes, px. */
const TICK_ROOM = 22;

interface Axis {
  at: (value: number) => number;
  ticks: { value: number; text: string }[];
}

function linearAxis(
  domain: readonly [number, number],
  range: [number, number],
  spacing = TICK_SPACING,
): Axis {
  const scale = scaleLinear([...domain], range);
  const wanted = Math.max(2, Math.floor(Math.abs(range[1] - range[0]) / spacing));
  const format = scale.tickFormat(wanted);
  return {
    at: (value) => scale(value),
    ticks: scale.ticks(wanted).map((value) => ({ value, text: tickText(value, format) })),
  };
}

function sqrtAxis(domain: readonly [number, number], range: [number, number]): Axis {
  const scale = scaleSqrt([...domain], range);
  let last = Number.NEGATIVE_INFINITY;
  const ticks: Axis['ticks'] = [];
  for (const value of SQRT_TICKS) {
    if (value < domain[0] || value > domain[1] || scale(value) - last < TICK_ROOM) continue;
    last = scale(value);
    ticks.push({ value, text: String(value) });
  }
  return { at: (value) => scale(value), ticks };
}

const SUPERSCRIPT = '⁰¹²³⁴⁵⁶⁷⁸⁹';

/** `10⁻³`, and plainly from 0.01 to 100. */
function powerText(exponent: number): string {
  if (Math.abs(exponent) <= 2) return String(10 ** exponent).replace('-', '−');
  const digits = [...String(Math.abs(exponent))].map((digit) => SUPERSCRIPT[Number(digit)]);
  return `10${exponent < 0 ? '⁻' : ''}${digits.join('')}`;
}

/** Decades; values at or below the lower end lie on it. */
function logAxis([low, high]: readonly [number, number], range: [number, number]): Axis {
  const scale = scaleLog([low, high], range).clamp(true);
  const first = Math.ceil(Math.log10(low) - 1e-9);
  const last = Math.floor(Math.log10(high) + 1e-9);
  return {
    at: (value) => scale(Math.max(value, low)),
    ticks: Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => ({
      value: 10 ** (first + i),
      text: powerText(first + i),
    })),
  };
}

export function createPanel(options: PanelOptions): Panel {
  const { left, top, width, height, xLabel, yLabel, grid = false, unnumbered = {} } = options;
  const right = left + width;
  const bottom = top + height;
  const x = (options.xScale === 'sqrt' ? sqrtAxis : linearAxis)(options.xDomain, [left, right]);
  const y =
    options.yScale === 'log'
      ? logAxis(options.yDomain, [bottom, top])
      : linearAxis(options.yDomain, [bottom, top], options.yTickSpacing);
  const parts: string[] = [];
  for (const { value, text } of x.ticks) {
    const at = x.at(value);
    if (grid) parts.push(lineFrom(at, top, at, bottom, 'grid'));
    parts.push(lineFrom(at, bottom, at, bottom + TICK, 'axis'));
    if (unnumbered.x) continue;
    parts.push(textAt(at, bottom + TICK + 13, text, { anchor: 'middle', className: 'small' }));
  }
  for (const { value, text } of y.ticks) {
    const at = y.at(value);
    if (grid) parts.push(lineFrom(left, at, right, at, 'grid'));
    parts.push(lineFrom(left - TICK, at, left, at, 'axis'));
    if (unnumbered.y) continue;
    parts.push(textAt(left - TICK - 4, at + 4, text, { anchor: 'end', className: 'small' }));
  }
  parts.push(
    `<rect x="${num(left)}" y="${num(top)}" width="${num(width)}" height="${num(height)}" class="axis"/>`,
  );
  if (xLabel !== '') {
    parts.push(textAt(left + width / 2, bottom + 38, xLabel, { anchor: 'middle' }));
  }
  if (yLabel !== '') {
    const beside = left - (options.yLabelAt ?? 48);
    parts.push(textAt(beside, top + height / 2, yLabel, { anchor: 'middle', rotate: -90 }));
  }
  return { options, x: x.at, y: y.at, axes: parts.join('') };
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
