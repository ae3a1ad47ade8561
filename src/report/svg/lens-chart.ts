/** The chart of lenses: how visible blue is against focal ratio, measured telescopes between the curves of what their size is expected to show.
 *
 * Both axes are logarithmic: a lens of one kind and aperture is a straight line. Kinds differ in dashes and name, never in colour alone.
 */
import { scaleLog } from 'd3-scale';
import type { ChartedLens, ExpectationCurve, LensChart } from '../../compare/lens-chart.js';
import type { LensKind } from '../../optics/lens-expectation.js';
import { lineFrom, num, type Picture, textAt, titleOf } from './document.js';
import { LINE, spread } from './text-lines.js';

const AREA = { left: 66, top: 52, width: 500, height: 400 } as const;
const WIDTH = 740;
const RIGHT = AREA.left + AREA.width;
const BOTTOM = AREA.top + AREA.height;
const LONGEST_LABEL = 24;
const SIDE_BY_SIDE = 16;
/** Width of a letter of a label, about. */
const LETTER = 7;
/** The same of small text. */
const SMALL_LETTER = 5;

/** Ticks that fit focal ratios as they are sold, and decades of visibility. */
const RATIO_TICKS = [1, 1.4, 2, 2.8, 4, 5, 6, 7, 8, 10, 12, 15, 20, 30, 40, 60];
const DEPTH_TICKS = [0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30, 100, 300, 1000];
const TICK_ROOM = 24;

const KIND_NAMES: Readonly<Record<LensKind, string>> = {
  achromat: 'achromat',
  ed: 'ED doublet*',
  apochromat: 'apochromat*',
};
const KIND_LINES: Readonly<Record<LensKind, [className: string, extra: string]>> = {
  achromat: ['mark-2', ' stroke-width="2"'],
  ed: ['mark', ' stroke-width="2" stroke-dasharray="9 5"'],
  apochromat: ['mark', ' stroke-width="2" stroke-dasharray="2 4"'],
};

interface Scales {
  x: (focalRatio: number) => number;
  y: (depthsOfFocus: number) => number;
  low: number;
  high: number;
}

function scalesOf(chart: LensChart): Scales {
  const values = [1];
  for (const { depthsOfFocus } of chart.curves) values.push(...depthsOfFocus);
  for (const { depthsOfFocus: d } of chart.lenses) values.push(d.low, d.value, d.high);
  // An interval that reaches zero has no place on a logarithmic axis: it runs off at the bottom.
  const positive = values.filter((value) => value > 0);
  const curves = chart.curves.flatMap(({ depthsOfFocus }) => depthsOfFocus);
  const floor = Math.min(1, ...curves) / 2;
  const low = Math.max(floor, Math.min(...positive) / 1.5);
  const high = Math.max(...positive) * 1.6;
  const x = scaleLog(chart.focalRatioRange, [AREA.left, RIGHT]);
  const y = scaleLog([low, high], [BOTTOM, AREA.top]).clamp(true);
  return { x: (value) => x(value), y: (value) => y(Math.max(value, low)), low, high };
}

/** Those ticks that lie within, the denser ones left out where labels would touch. */
function ticksWithin(ticks: readonly number[], at: (value: number) => number): number[] {
  const out: number[] = [];
  let last = Number.NEGATIVE_INFINITY;
  for (const tick of ticks) {
    if (Math.abs(at(tick) - last) < TICK_ROOM) continue;
    out.push(tick);
    last = at(tick);
  }
  return out;
}

function axes(chart: LensChart, { x, y, low, high }: Scales): string {
  const [from, to] = chart.focalRatioRange;
  const parts: string[] = [];
  const within = RATIO_TICKS.filter((tick) => tick >= from && tick <= to);
  for (const tick of ticksWithin(within, x)) {
    parts.push(
      lineFrom(x(tick), AREA.top, x(tick), BOTTOM, 'grid'),
      textAt(x(tick), BOTTOM + 18, `f/${tick}`, { anchor: 'middle', className: 'small' }),
    );
  }
  const depths = DEPTH_TICKS.filter((tick) => tick >= low && tick <= high);
  for (const tick of ticksWithin(depths, y)) {
    parts.push(
      lineFrom(AREA.left, y(tick), RIGHT, y(tick), 'grid'),
      textAt(AREA.left - 8, y(tick) + 4, `${tick}`, { anchor: 'end', className: 'small' }),
    );
  }
  const middle = AREA.top + AREA.height / 2;
  parts.push(
    `<rect x="${AREA.left}" y="${AREA.top}" width="${AREA.width}" height="${AREA.height}" class="axis"/>`,
    textAt(AREA.left + AREA.width / 2, BOTTOM + 40, 'focal ratio', { anchor: 'middle' }),
    textAt(20, middle, 'equivalent blue defocus, in depths of focus (2 λN²)', {
      anchor: 'middle',
      rotate: -90,
    }),
  );
  return parts.join('');
}

/** First of a few places along a level, on one of `lines`, where `width` px of text lie on no curve, mark or label; the first of all where none is free. */
function freePlace(
  chart: LensChart,
  scales: Scales,
  lines: readonly [number, number],
  width: number,
): [x: number, line: number] {
  const { x, y } = scales;
  const first = AREA.left + 8;
  const last = RIGHT - 8 - width;
  const labels = labelledMarks(chart, scales);
  const meets = (from: number, at: number): boolean => {
    const inside = (left: number, right: number, top: number, bottom: number): boolean =>
      right > from - 4 && left < from + width + 4 && bottom > at - LINE && top < at + 4;
    // Curves fall from left to right, straight from point to point.
    const crossed = chart.curves.some(({ focalRatio, depthsOfFocus: d }) =>
      focalRatio.some((ratio, i) => {
        const k = Math.min(i + 1, d.length - 1);
        return inside(x(ratio), x(focalRatio[k]), y(d[i]), y(d[k]));
      }),
    );
    const marked = chart.lenses.some(({ depthsOfFocus: d }, i) => {
      const { cx, at: end, row, toLeft, text } = labels[i];
      const length = LETTER * text.length;
      return (
        inside(cx - 8, cx + 8, y(d.high) - 2, y(d.low) + 2) ||
        inside(toLeft ? end - length : end, toLeft ? end : end + length, row - LINE, row + 6)
      );
    });
    return crossed || marked;
  };
  for (const line of lines) {
    for (let k = 0; k <= 6; k++) {
      const from = first + ((last - first) * k) / 6;
      if (!meets(from, line)) return [from, line];
    }
  }
  return [first, lines[0]];
}

/** Level lines: the depth of focus itself, and the classical rules. Their names are drawn later, above the curves. */
function levels(chart: LensChart, scales: Scales): { lines: string; names: string } {
  const { y } = scales;
  const name = (at: number, other: number, text: string): string => {
    const [left, line] = freePlace(chart, scales, [at, other], SMALL_LETTER * text.length);
    return textAt(left, line, text, { className: 'small muted clear' });
  };
  const lines = [lineFrom(AREA.left, y(1), RIGHT, y(1), 'line', ' stroke-width="1.2"')];
  const names = [name(y(1) + LINE, y(1) - 4, 'below 1: within the depth of focus')];
  for (const limit of chart.limits) {
    const at = y(limit.depthsOfFocus);
    lines.push(lineFrom(AREA.left, at, RIGHT, at, 'axis', ' stroke-dasharray="1 3"'));
    names.push(name(at - 4, at + LINE, `ratio ${limit.ratio} (${limit.name})`));
  }
  return { lines: lines.join(''), names: names.join('') };
}

function curveLabel({ lens, apertureMm }: ExpectationCurve): string {
  return `${KIND_NAMES[lens]} ${Number(apertureMm.toPrecision(3))} mm`;
}

function curves(chart: LensChart, { x, y }: Scales): string {
  const parts: string[] = [];
  const ends = chart.curves.map(({ depthsOfFocus }) => y(depthsOfFocus.at(-1) ?? Number.NaN));
  const labels = spread(ends, AREA.top + 4, BOTTOM - 2);
  chart.curves.forEach((curve, k) => {
    const points = curve.focalRatio
      .map((ratio, i) => `${num(x(ratio))},${num(y(curve.depthsOfFocus[i]))}`)
      .join(' ');
    const [className, extra] = KIND_LINES[curve.lens];
    parts.push(
      `<polyline points="${points}" class="${className}"${extra}>${titleOf(`expected: ${curveLabel(curve)}`)}</polyline>`,
      lineFrom(RIGHT, ends[k], RIGHT + 12, labels[k], className),
      textAt(RIGHT + 16, labels[k] + 4, curveLabel(curve), { className: 'small' }),
    );
  });
  return parts.join('');
}

/** Digits that mean something: two, or three where the interval is narrow. */
function markText({ depthsOfFocus: { value, low, high }, measured }: ChartedLens): string {
  const digits = measured && high - low < 0.06 * value ? 3 : 2;
  const text = (v: number): string =>
    v >= 10 ** digits ? v.toFixed(0) : `${Number(Math.max(0, v).toPrecision(digits))}`;
  if (!measured) return `${text(value)}, expected`;
  return value > 0 ? `${text(value)} (${text(low)} to ${text(high)})` : `below ${text(high)}`;
}

/** Labels may be of any length, the tooltip has the whole: cut to `letters` or `LONGEST_LABEL`. */
function shortened(label: string, letters: number): string {
  const all = [...label];
  const most = Math.max(4, Math.min(LONGEST_LABEL, letters));
  return all.length > most ? `${all.slice(0, most - 1).join('')}…` : label;
}

interface Place {
  x: number;
  /** Ends of the row of marks that this one stands in: labels begin beyond. */
  left: number;
  right: number;
}

/** Where marks stand across: those that would cover each other's interval side by side, all others at their own focal ratio. */
function across({ lenses }: LensChart, { x, y }: Scales): Place[] {
  const wanted = lenses.map(({ focalRatio }) => x(focalRatio));
  const covers = (i: number, k: number): boolean => {
    const [a, b] = [lenses[i].depthsOfFocus, lenses[k].depthsOfFocus];
    return (
      Math.abs(wanted[i] - wanted[k]) < SIDE_BY_SIDE &&
      y(a.high) < y(b.low) + SIDE_BY_SIDE &&
      y(b.high) < y(a.low) + SIDE_BY_SIDE
    );
  };
  const order = wanted.map((_, i) => i).sort((a, b) => wanted[a] - wanted[b] || a - b);
  const places: Place[] = wanted.map((at) => ({ x: at, left: at, right: at }));
  const rest = new Set(order);
  for (const first of order) {
    if (!rest.delete(first)) continue;
    const group = [first];
    for (let k = 0; k < group.length; k++) {
      for (const other of order) {
        if (rest.has(other) && covers(group[k], other) && rest.delete(other)) group.push(other);
      }
    }
    const centre = group.reduce((sum, i) => sum + wanted[i], 0) / group.length;
    const half = ((group.length - 1) / 2) * SIDE_BY_SIDE;
    group.forEach((i, k) => {
      if (group.length === 1) return;
      const at = centre - half + k * SIDE_BY_SIDE;
      places[i] = { x: at, left: centre - half, right: centre + half };
    });
  }
  return places;
}

/** The interval as a bar with ends; where it reaches zero, an arrow to the bottom. */
function interval(cx: number, low: number, { y, low: floor }: Scales, high: number): string {
  const end = (value: number): string =>
    lineFrom(cx - 5, y(value), cx + 5, y(value), 'line', ' stroke-width="2"');
  const foot = y(low);
  const arrow = `<path d="M${num(cx - 5)} ${num(foot - 8)}L${num(cx)} ${num(foot)}L${num(cx + 5)} ${num(foot - 8)}" class="line" stroke-width="2"/>`;
  return [
    lineFrom(cx, y(low), cx, y(high), 'line', ' stroke-width="2"'),
    end(high),
    low > floor ? end(low) : arrow,
  ].join('');
}

/** A mark with its label: right of it, or left where there is more room. */
interface LabelledMark {
  cx: number;
  cy: number;
  /** Where the text starts, or ends where it stands on the left; its line. */
  at: number;
  row: number;
  toLeft: boolean;
  text: string;
}

function labelledMarks(chart: LensChart, scales: Scales): LabelledMark[] {
  const { y } = scales;
  const places = across(chart, scales);
  // A telescope whose blue is no wider than green has an upper limit, and its label stands there.
  const anchors = chart.lenses.map(({ depthsOfFocus: d }) => y(d.value > 0 ? d.value : d.high));
  const rows = spread(anchors, AREA.top + LINE, BOTTOM - LINE);
  return chart.lenses.map((lens, i) => {
    const { x: cx, left, right } = places[i];
    const number = markText(lens);
    const length = LETTER * (Math.min(LONGEST_LABEL, lens.label.length) + 2 + number.length);
    const toLeft = right + 14 + length > RIGHT && left - AREA.left > RIGHT - right;
    const room = (toLeft ? left - AREA.left : RIGHT - right) - 20;
    const text = `${shortened(lens.label, Math.floor(room / LETTER) - 2 - number.length)}: ${number}`;
    const at = toLeft ? left - 14 : right + 14;
    return { cx, cy: anchors[i], at, row: rows[i], toLeft, text };
  });
}

/** Marks with their intervals, and a label beside each. */
function marks(chart: LensChart, scales: Scales): string {
  const bars: string[] = [];
  const labels: string[] = [];
  const placed = labelledMarks(chart, scales);
  chart.lenses.forEach((lens, i) => {
    const { value, low, high } = lens.depthsOfFocus;
    const { cx, cy, at, row, toLeft, text } = placed[i];
    const size = `${Number(lens.apertureMm.toPrecision(3))} mm f/${Number(lens.focalRatio.toPrecision(3))}`;
    const number = markText(lens);
    bars.push(
      `<g>${titleOf(`${lens.label}: ${number} depths of focus, ${size}`)}`,
      lens.measured ? interval(cx, low, scales, high) : '',
      value > 0
        ? `<circle cx="${num(cx)}" cy="${num(cy)}" r="6" class="${lens.measured ? 'dot' : 'ring'}" stroke-width="2"/>`
        : '',
      '</g>',
    );
    labels.push(
      lineFrom(cx + (toLeft ? -7 : 7), cy, toLeft ? at + 3 : at - 3, row, 'line'),
      textAt(at, row + 4, text, {
        anchor: toLeft ? 'end' : 'start',
        className: 'strong clear',
      }),
    );
  });
  return labels.join('') + bars.join('');
}

const FOOT = [
  '1 = a quarter of a wave at the rim of the lens: below, diffraction hides the colour; at 10 the blue disc is 16 Airy radii wide.',
  'Lines: what a lens of that aperture is expected to show. Achromat from the glasses N-BK7 and F2; * assumed share of its error: 0.1, 0.03.',
  'Dotted levels: focal ratio over aperture in inches, the classical rules for achromats (from memory).',
];

/** The whole chart. */
export function lensChartPicture(chart: LensChart): Picture {
  const scales = scalesOf(chart);
  const level = levels(chart, scales);
  const notes = [
    ...FOOT,
    ...chart.missing.map(({ label, reason }) => `Not on the chart: ${label} (${reason}).`),
  ];
  const described = chart.lenses.map((lens) => `${lens.label} ${markText(lens)}`).join('; ');
  const body = [
    textAt(AREA.left, 24, 'How visible is the blue of each lens?', { className: 'strong' }),
    textAt(
      AREA.left,
      42,
      chart.lenses.some(({ measured }) => measured)
        ? 'Points: the telescopes, with 68 % intervals; those that would cover each other stand side by side. Both axes are logarithmic.'
        : 'Rings: the lenses asked for, computed, not measured. Both axes are logarithmic.',
      {
        className: 'small muted',
      },
    ),
    axes(chart, scales),
    level.lines,
    curves(chart, scales),
    level.names,
    marks(chart, scales),
    ...notes.map((line, i) =>
      textAt(AREA.left - 46, BOTTOM + 64 + i * (LINE + 1), line, { className: 'small muted' }),
    ),
  ].join('');
  return {
    width: WIDTH,
    height: BOTTOM + 64 + notes.length * (LINE + 1) + 6,
    title: 'Chart of lenses: blue defocus against focal ratio',
    description: `Equivalent blue defocus in depths of focus: ${described}. Curves show what achromats, ED doublets and apochromats of these apertures are expected to show.`,
    body,
  };
}
