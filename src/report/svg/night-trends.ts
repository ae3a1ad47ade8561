/** A night as it went: star size, shape, sky and starlight of every frame of a group, one above the other over one axis. */
import { quantileSorted } from 'simple-statistics';
import { lineFrom, num, type Picture, textAt } from './document.js';
import { createPanel, type Panel } from './panel.js';

export type TrendDecision = 'keep' | 'doubtful' | 'drop';

/** One quantity, one value for each frame; null = not measured. */
export interface TrendRow {
  /** Name in words, for the description. */
  name: string;
  /** Label of its axis, with unit. */
  label: string;
  values: readonly (number | null)[];
  /** What the night's good frames show; null = unknown. */
  usual: number | null;
  /** Places along x where the level changed at once. */
  changes: readonly number[];
}

export interface NightTrends {
  /** What the frames are, for the title. */
  name: string;
  /** Place of each frame along x, and the axis in words with unit. */
  x: readonly number[];
  xLabel: string;
  decisions: readonly TrendDecision[];
  rows: readonly TrendRow[];
}

const WIDTH = 760;
const LEFT = 74;
const RIGHT = 18;
const TOP = 64;
const HEIGHT = 112;
const GAP = 16;
const BOTTOM = 54;
/** Distance of a mark from the frame of its panel where its value lies beyond, px. */
const EDGE = 9;

/** How decisions are told apart: shape and colour. Marks of one kind are one path, so that thousands stay small. */
const LOOKS: Readonly<Record<TrendDecision, { words: string; attributes: string; d: string }>> = {
  // A line of no length with round ends is a disc: the shortest way to write one.
  keep: {
    words: 'keep',
    attributes: 'class="s1" stroke-width="5" stroke-linecap="round"',
    d: 'h0',
  },
  doubtful: {
    words: 'doubtful',
    attributes: 'class="s0" stroke-width="1.6"',
    d: 'm0-4.5l4.5 4.5l-4.5 4.5l-4.5-4.5z',
  },
  drop: {
    words: 'drop',
    attributes: 'class="s3" stroke-width="1.8"',
    d: 'm-4-4l8 8m0-8l-8 8',
  },
};
const DECISIONS = Object.keys(LOOKS) as TrendDecision[];

/** @returns null where there is nothing to draw: no row with two values */
export function nightTrends(trends: NightTrends): Picture | null {
  const rows = trends.rows.filter((row) => finite(row.values).length > 1);
  if (rows.length === 0) return null;
  const xDomain = padded(trends.x, 0.02);
  const parts = [textAt(LEFT, 22, 'The night, frame by frame', { className: 'strong' }), legend()];
  rows.forEach((row, i) => {
    const last = i === rows.length - 1;
    const panel = createPanel({
      left: LEFT,
      top: TOP + i * (HEIGHT + GAP),
      width: WIDTH - LEFT - RIGHT,
      height: HEIGHT,
      xDomain,
      yDomain: rangeOf(row),
      xLabel: last ? trends.xLabel : '',
      yLabel: row.label,
      grid: true,
      unnumbered: { x: !last },
      yTickSpacing: 32,
      yLabelAt: 58,
    });
    parts.push(panel.axes, levels(panel, row), marks(panel, row, trends));
  });
  const counts = DECISIONS.map(
    (each) => `${trends.decisions.filter((d) => d === each).length} ${LOOKS[each].words}`,
  );
  return {
    width: WIDTH,
    height: TOP + rows.length * (HEIGHT + GAP) - GAP + BOTTOM,
    title: `The night, frame by frame: ${trends.name}`,
    description: `${trends.decisions.length} frames (${counts.join(', ')}) against ${trends.xLabel}. ${rows.map(sentence).join(' ')}`,
    body: parts.join(''),
  };
}

function finite(values: readonly (number | null)[]): number[] {
  return values.filter((value): value is number => value !== null && Number.isFinite(value));
}

function sentence(row: TrendRow): string {
  const values = finite(row.values).sort((a, b) => a - b);
  const missing = row.values.length - values.length;
  const [low, middle, high] = [0, 0.5, 1].map((share) =>
    Number(quantileSorted(values, share).toPrecision(3)),
  );
  const jumps = row.changes.length === 0 ? '' : `, ${row.changes.length} sudden changes`;
  const gaps = missing === 0 ? '' : `, not measured in ${missing}`;
  return `${row.name}: median ${middle}, from ${low} to ${high}${jumps}${gaps}.`;
}

function padded(values: readonly number[], share: number): [number, number] {
  let low = Number.POSITIVE_INFINITY;
  let high = Number.NEGATIVE_INFINITY;
  for (const value of values) {
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  const room = share * (high - low) || 0.5;
  return [low - room, high + room];
}

/** The middle 90 % and once more their width on both sides: one frame under a lamp must not flatten the rest. */
function rangeOf({ values, usual }: TrendRow): [number, number] {
  const sorted = finite(values).sort((a, b) => a - b);
  const [low, high] = [quantileSorted(sorted, 0.05), quantileSorted(sorted, 0.95)];
  const width = high - low || Math.abs(high) * 0.1 || 1;
  const inside = sorted.filter((value) => value >= low - width && value <= high + width);
  const all = usual === null ? inside : [...inside, usual];
  const [from, to] = padded(all, 0.12);
  return [from, to > from ? to : from + width];
}

function levels(panel: Panel, { usual, changes }: TrendRow): string {
  const { left, width, top, height } = panel.options;
  const parts = changes.map((at) =>
    lineFrom(panel.x(at), top, panel.x(at), top + height, 'line', ' stroke-dasharray="5 3"'),
  );
  if (usual !== null) {
    const y = panel.y(usual);
    parts.push(lineFrom(left, y, left + width, y, 'axis', ' stroke-dasharray="1.5 3"'));
  }
  return parts.join('');
}

function marks(panel: Panel, { values }: TrendRow, { x, decisions }: NightTrends): string {
  const { top, height } = panel.options;
  const [upper, lower] = [top + EDGE, top + height - EDGE];
  return DECISIONS.map((decision) => {
    const path: string[] = [];
    const beyond: string[] = [];
    values.forEach((value, i) => {
      const at = x[i];
      if (decisions[i] !== decision || value === null || at === undefined) return;
      const place = panel.x(at).toFixed(1);
      const y = panel.y(value);
      if (y >= top && y <= top + height) {
        path.push(`M${place} ${y.toFixed(1)}${LOOKS[decision].d}`);
        return;
      }
      // Beyond the panel: its mark at the edge, with a roof that points to where it lies.
      const [edge, roof] = y < top ? [upper, 'm-4-4.5l4-4l4 4'] : [lower, 'm-4 4.5l4 4l4-4'];
      path.push(`M${place} ${num(edge)}${LOOKS[decision].d}`);
      beyond.push(`M${place} ${num(edge)}${roof}`);
    });
    return path.length === 0
      ? ''
      : `<path d="${path.join('')}" ${LOOKS[decision].attributes}/>${
          beyond.length === 0 ? '' : `<path d="${beyond.join('')}" class="line"/>`
        }`;
  }).join('');
}

function legend(): string {
  let x = LEFT + 6;
  const y = 44;
  const parts: string[] = [];
  for (const decision of DECISIONS) {
    const { words, attributes, d } = LOOKS[decision];
    parts.push(`<path d="M${num(x)} ${y - 4}${d}" ${attributes}/>`, textAt(x + 11, y, words));
    x += 34 + 7.4 * words.length;
  }
  const lines = [
    ['axis', ' stroke-dasharray="1.5 3"', 'usual for good frames'],
    ['line', ' stroke-dasharray="5 3"', 'sudden change'],
  ] as const;
  for (const [className, dashes, words] of lines) {
    parts.push(lineFrom(x, y - 4, x + 30, y - 4, className, dashes), textAt(x + 38, y, words));
    x += 60 + 7 * words.length;
  }
  return parts.join('');
}
