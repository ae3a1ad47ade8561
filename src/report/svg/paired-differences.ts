/** Star by star: how much wider one telescope shows it than another, against its brightness and its place in the field. */
import type { Comparison } from '../../compare/result.js';
import { madSigma, medianOf, quantileOf } from '../../stats/robust.js';
import { shortLabels } from '../compare-words.js';
import { fixed } from '../number.js';
import { lineFrom, num, type Picture, textAt } from './document.js';
import { createPanel, type Panel } from './panel.js';
import { SERIES_STYLE } from './series.js';

const WIDTH = 760;
const LEFT = 74;
const RIGHT = 16;
const GAP = 16;
const TOP = 62;
const HEIGHT = 170;
/** Room above a row of panels for its name, and below for the axis of the last one. */
const HEADING = 26;
const LONGEST_LABEL = 26;
/** All pairs up to so many telescopes; of more, each with the first. */
const ALL_PAIRS = 3;
/** Stars behind each running median, at least, and most of those medians. */
const STARS_PER_BIN = 8;
const MOST_BINS = 7;
/** Stars beyond this share at either end do not set the scale; they are drawn at the edge. */
const TAIL = 0.02;
/** Error of a median over that of a mean, for normal scatter: √(π/2). */
const MEDIAN_ERROR = Math.sqrt(Math.PI / 2);

interface Pair {
  first: string;
  second: string;
  /** Per star; NaN = not measured in one of them. */
  difference: number[];
}

/** Null where no two telescopes have sizes of the same stars. */
export function pairedPicture(comparison: Comparison): Picture | null {
  const { telescopes, stars, angularUnit: unit } = comparison;
  const labels = telescopes.map(({ label }) => label);
  const pairs = pairsOf(labels)
    .map(([first, second]) => differences(comparison, first, second))
    .filter(({ difference }) => difference.some(Number.isFinite));
  if (pairs.length === 0) return null;
  const names = shortLabels(labels, LONGEST_LABEL);
  const width = (WIDTH - LEFT - RIGHT - GAP) / 2;
  const faintest = Math.max(1, ...stars.magnitude.filter(Number.isFinite));
  const furthest = Math.max(0.1, ...stars.distance.filter(Number.isFinite));
  const parts: string[] = [];
  const words: string[] = [];
  pairs.forEach(({ first, second, difference }, row) => {
    const top = TOP + row * (HEIGHT + HEADING + 10) + HEADING;
    const last = row === pairs.length - 1;
    const yDomain = scaleOf(difference);
    const sides = [
      { x: stars.magnitude, to: faintest, label: 'magnitudes fainter than the brightest star' },
      { x: stars.distance, to: furthest, label: 'distance from the centre, half diagonal = 1' },
    ];
    const [a, b] = [names.get(first), names.get(second)];
    parts.push(textAt(LEFT, top - 8, `${a} − ${b}: above 0, ${a} is wider`));
    sides.forEach(({ x, to, label }, column) => {
      const panel = createPanel({
        left: LEFT + column * (width + GAP),
        top,
        width,
        height: HEIGHT,
        xDomain: [0, 1.04 * to],
        yDomain,
        xLabel: last ? label : '',
        yLabel: column === 0 ? `FWHM difference, ${unit}` : '',
        yTickSpacing: 34,
        unnumbered: { x: !last, y: column > 0 },
        grid: true,
        yLabelAt: 54,
      });
      parts.push(panel.axes, dots(panel, x, difference), medians(panel, x, difference));
    });
    const middle = medianOf(difference.filter(Number.isFinite));
    words.push(`${a} less ${b}: median ${fixed(middle, 2)} ${unit}`);
  });
  const heading = 'The same stars, one by one: difference of their widths';
  return {
    width: WIDTH,
    height: TOP + pairs.length * (HEIGHT + HEADING + 10) + 44,
    title: heading,
    description: `${words.join('; ')}.`,
    body: [
      SERIES_STYLE,
      textAt(LEFT, 22, heading, { className: 'strong' }),
      textAt(
        LEFT,
        40,
        'Each dot is a star. Squares: medians of neighbouring dots, with 1 σ. Arrows at an edge: stars beyond it.',
        { className: 'small muted' },
      ),
      ...parts,
    ].join(''),
  };
}

function pairsOf(labels: readonly string[]): [string, string][] {
  const pairs: [string, string][] = [];
  labels.forEach((first, i) => {
    if (i > 0 && labels.length > ALL_PAIRS) return;
    for (const second of labels.slice(i + 1)) pairs.push([first, second]);
  });
  return pairs;
}

function differences({ stars }: Comparison, first: string, second: string): Pair {
  const [a = [], b = []] = [stars.fwhm[first], stars.fwhm[second]];
  return { first, second, difference: a.map((value, i) => value - (b[i] ?? Number.NaN)) };
}

/** Ends of the axis: the bulk of the stars, and zero. */
function scaleOf(difference: readonly number[]): [number, number] {
  const known = difference.filter(Number.isFinite);
  const low = Math.min(0, quantileOf(known, TAIL));
  const high = Math.max(0, quantileOf(known, 1 - TAIL));
  const room = 0.15 * (high - low) || 0.1;
  return [low - room, high + room];
}

/** Radius of a dot, px. */
const DOT = 2.2;

function dots(panel: Panel, xs: readonly number[], ys: readonly number[]): string {
  const { left, width, top, height } = panel.options;
  const circles: string[] = [];
  const arrows: string[] = [];
  xs.forEach((value, i) => {
    const difference = ys[i] ?? Number.NaN;
    if (!Number.isFinite(value) || !Number.isFinite(difference)) return;
    const x = panel.x(value).toFixed(1);
    const y = panel.y(difference);
    if (y >= top + DOT && y <= top + height - DOT) {
      circles.push(`<circle cx="${x}" cy="${y.toFixed(1)}" r="${DOT}"/>`);
    } else {
      const [edge, size] = y < top + DOT ? [top + 1, 6] : [top + height - 1, -6];
      arrows.push(`<path d="M${x} ${num(edge)}l3.5 ${size}h-7z"/>`);
    }
  });
  return [
    lineFrom(left, panel.y(0), left + width, panel.y(0), 'line'),
    `<g class="f1" fill-opacity="0.45">${circles.join('')}${arrows.join('')}</g>`,
  ].join('');
}

/** Medians of stars next to each other along x, of equal numbers, with their errors. */
function medians(panel: Panel, xs: readonly number[], ys: readonly number[]): string {
  const order = xs
    .map((_, i) => i)
    .filter((i) => Number.isFinite(xs[i]) && Number.isFinite(ys[i]))
    .sort((a, b) => (xs[a] as number) - (xs[b] as number));
  const bins = Math.min(MOST_BINS, Math.floor(order.length / STARS_PER_BIN));
  const [low, high] = panel.options.yDomain;
  const clamp = (value: number): number => panel.y(Math.max(low, Math.min(high, value)));
  const points: string[] = [];
  const bars: string[] = [];
  for (let k = 0; k < bins; k++) {
    const bin = order.slice(
      Math.round((k * order.length) / bins),
      Math.round(((k + 1) * order.length) / bins),
    );
    const x = panel.x(medianOf(bin.map((i) => xs[i] as number)));
    const values = bin.map((i) => ys[i] as number);
    const middle = medianOf(values);
    const error = (MEDIAN_ERROR * madSigma(values, middle)) / Math.sqrt(values.length);
    const y = clamp(middle);
    points.push(`${num(x)},${num(y)}`);
    bars.push(
      lineFrom(x, clamp(middle - error), x, clamp(middle + error), 's0', ' stroke-width="2"'),
      `<rect x="${num(x - 4)}" y="${num(y - 4)}" width="8" height="8" class="f0"/>`,
    );
  }
  return `<polyline points="${points.join(' ')}" class="s0" stroke-width="1.5"/>${bars.join('')}`;
}
