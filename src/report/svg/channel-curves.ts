/** Pictures of one measured frame: profiles of its colours, light within a radius, and one colour minus another along the radius. */
import type {
  ChannelName,
  ChannelResult,
  FrameResult,
  HaloContrast,
} from '../../measure/result.js';
import { nominal, signed } from '../number.js';
import { CHANNEL_ORDER, CHANNEL_WORDS, HALO_ROWS } from '../words.js';
import { lineFrom, num, type Picture, textAt, titleOf } from './document.js';
import { createPanel, type Panel } from './panel.js';
import { SERIES_STYLE, seriesOf } from './series.js';

const WIDTH = 640;
const LEFT = 74;
const RIGHT = 18;
const LEGEND_TOP = 34;
const PANEL_TOP = 66;
const DECADES = 5;
/** Style of each colour: never by hue alone, dashes and marks differ as well. */
const CHANNEL_SERIES: Readonly<Record<ChannelName, number>> = { R: 0, G: 2, B: 1, L: 3 };

type Profile = NonNullable<ChannelResult['profile']>;
interface Drawn {
  name: ChannelName;
  channel: ChannelResult;
  profile: Profile;
}

function drawn(result: FrameResult): Drawn[] {
  return CHANNEL_ORDER.flatMap((name) => {
    const channel = result.channels[name];
    return channel?.profile ? [{ name, channel, profile: channel.profile }] : [];
  });
}

interface Point {
  x: number;
  value: number;
  low: number;
  high: number;
}

/** A line with its band; it ends where it leaves the panel at the bottom. */
function curve(panel: Panel, points: readonly Point[], series: number, label: string): string {
  const { line, fill, stroke, mark } = seriesOf(series);
  const [floor, ceiling] = panel.options.yDomain;
  const at = (value: number): number => panel.y(Math.min(ceiling, Math.max(floor, value)));
  const finite = points.filter(({ value }) => Number.isFinite(value));
  const upper = finite.map(({ x, high }) => `${num(panel.x(x))},${num(at(high))}`);
  const lower = finite.map(({ x, low }) => `${num(panel.x(x))},${num(at(low))}`).reverse();
  const shown = finite.filter(({ value }) => value >= floor);
  const runs: string[][] = [[]];
  for (const { x, value } of finite) {
    if (value >= floor) runs.at(-1)?.push(`${num(panel.x(x))},${num(at(value))}`);
    else if (runs.at(-1)?.length !== 0) runs.push([]);
  }
  const paths = runs
    .filter((run) => run.length > 1)
    .map((run) => `<polyline points="${run.join(' ')}" class="${line}"${stroke}/>`);
  const marks = [0.15, 0.4, 0.65, 0.9].map((share) => {
    const point = shown[Math.floor((share + 0.04 * series) * (shown.length - 1))];
    return point === undefined ? '' : mark(panel.x(point.x), at(point.value));
  });
  return `<g>${titleOf(label)}<polygon points="${[...upper, ...lower].join(' ')}" class="${fill} band"/>${paths.join('')}${marks.join('')}</g>`;
}

function legend(names: readonly { label: string; series: number }[]): string {
  let x = LEFT;
  return names
    .map(({ label, series }) => {
      const { line, stroke, mark } = seriesOf(series);
      const left = x;
      x += 44 + 8 + 7.4 * label.length + 26;
      return (
        lineFrom(left, LEGEND_TOP + 10, left + 44, LEGEND_TOP + 10, line, stroke) +
        mark(left + 22, LEGEND_TOP + 10) +
        textAt(left + 52, LEGEND_TOP + 14.5, label)
      );
    })
    .join('');
}

const channelLegend = (channels: readonly Drawn[]): string =>
  legend(
    channels.map(({ name }) => ({ label: CHANNEL_WORDS[name], series: CHANNEL_SERIES[name] })),
  );

/** Brightness against radius, with 1 σ bands; null without profiles. */
export function profilesPicture(result: FrameResult): Picture | null {
  const channels = drawn(result);
  if (channels.length === 0) return null;
  const all = channels.flatMap(({ profile }) => profile.brightness.filter((value) => value > 0));
  const peak = Math.max(...all);
  const panel = createPanel({
    left: LEFT,
    top: PANEL_TOP,
    width: WIDTH - LEFT - RIGHT,
    height: 280,
    xDomain: [0, furthest(channels)],
    xScale: 'sqrt',
    yDomain: [Math.max(Math.min(...all), peak / 10 ** DECADES) / 1.5, peak * 1.6],
    yScale: 'log',
    xLabel: 'radius, px (square-root scale)',
    yLabel: 'light per px², star = 1',
    grid: true,
    yLabelAt: 54,
  });
  const lines = channels.map(({ name, profile }) =>
    curve(
      panel,
      profile.radiusPx.map((x, i) => {
        const value = profile.brightness[i] as number;
        const error = profile.error[i] ?? 0;
        return { x, value, low: value - error, high: value + error };
      }),
      CHANNEL_SERIES[name],
      CHANNEL_WORDS[name],
    ),
  );
  return {
    width: WIDTH,
    height: PANEL_TOP + 280 + 52,
    title: 'Profile of the mean star, colour by colour',
    description: `Brightness against the distance from the star’s centre. Width at half brightness: ${channels.map(({ name, channel }) => `${CHANNEL_WORDS[name]} ${channel.fwhmPx === null ? 'not measured' : `${nominal(channel.fwhmPx.value)} px`}`).join(', ')}.`,
    body: `${SERIES_STYLE}${textAt(LEFT, 20, 'Profile of the mean star', { className: 'strong' })}${channelLegend(channels)}${panel.axes}${lines.join('')}`,
  };
}

function furthest(channels: readonly Drawn[]): number {
  return Math.max(...channels.map(({ profile }) => profile.radiusPx.at(-1) ?? 0));
}

/** Light within a radius, with the radii that hold 50, 80 and 90 % and their intervals; null without profiles. */
export function encircledPicture(result: FrameResult): Picture | null {
  const channels = drawn(result);
  if (channels.length === 0) return null;
  const panel = createPanel({
    left: LEFT,
    top: PANEL_TOP,
    width: WIDTH - LEFT - RIGHT,
    height: 240,
    xDomain: [0, furthest(channels)],
    xScale: 'sqrt',
    yDomain: [0, 108],
    xLabel: 'radius, px (square-root scale)',
    yLabel: 'light within, %',
    yTickSpacing: 45,
    grid: true,
    yLabelAt: 54,
  });
  const lines = channels.map(({ name, channel, profile }) => {
    const { line, stroke, mark } = seriesOf(CHANNEL_SERIES[name]);
    const path = profile.radiusPx.map(
      (x, i) => `${num(panel.x(x))},${num(panel.y(100 * (profile.encircledEnergy[i] as number)))}`,
    );
    const radii = (
      [
        [50, channel.r50Px],
        [80, channel.r80Px],
        [90, channel.r90Px],
      ] as const
    ).map(([percent, r]) =>
      r === null
        ? ''
        : lineFrom(
            panel.x(r.low),
            panel.y(percent),
            panel.x(r.high),
            panel.y(percent),
            line,
            ' stroke-width="4"',
          ) + mark(panel.x(r.value), panel.y(percent)),
    );
    return `<g>${titleOf(CHANNEL_WORDS[name])}<polyline points="${path.join(' ')}" class="${line}"${stroke}/>${radii.join('')}</g>`;
  });
  return {
    width: WIDTH,
    height: PANEL_TOP + 240 + 52,
    title: 'Light within a radius, colour by colour',
    description: `Share of a star’s light within a radius. 80 % lies within: ${channels.map(({ name, channel }) => `${CHANNEL_WORDS[name]} ${channel.r80Px === null ? 'not measured' : `${nominal(channel.r80Px.value)} px`}`).join(', ')}.`,
    body: `${SERIES_STYLE}${textAt(LEFT, 20, 'Light within a radius', { className: 'strong' })}${channelLegend(channels)}${panel.axes}${lines.join('')}`,
  };
}

/** Style of each difference. */
const CONTRAST_SERIES = { blueMinusRed: 1, blueMinusGreen: 2, redMinusGreen: 0 } as const;

/** First colour minus second along the radius with 68 % bands, and what a perfect lens shows where it is known; null without a halo. */
export function contrastPicture(result: FrameResult): Picture | null {
  const { halo } = result;
  if (halo === null) return null;
  const rows = HALO_ROWS.map(({ key, words }) => ({ key, words, contrast: halo[key] }));
  const values = rows.flatMap(({ contrast: { curve: each, perfectLensPercent } }) => [
    ...each.low,
    ...each.high,
    perfectLensPercent ?? 0,
  ]);
  const shown = values.filter(Number.isFinite);
  const [low, high] = [Math.min(0, ...shown), Math.max(0, ...shown)];
  const room = 0.08 * (high - low || 1);
  const { atRadiusPx } = halo.blueMinusRed;
  const panel = createPanel({
    left: LEFT,
    top: PANEL_TOP,
    width: WIDTH - LEFT - RIGHT,
    height: 260,
    xDomain: [0, Math.max(...rows.map(({ contrast }) => contrast.curve.radiusPx.at(-1) ?? 0))],
    xScale: 'sqrt',
    yDomain: [low - room, high + room],
    xLabel: 'radius, px (square-root scale)',
    yLabel: 'share beyond the radius, difference, %',
    yTickSpacing: 45,
    grid: true,
    yLabelAt: 54,
  });
  const at = panel.x(atRadiusPx);
  const { top, height } = panel.options;
  const lines = rows.map(({ key, words, contrast: { curve: each } }) =>
    curve(
      panel,
      each.radiusPx.map((x, i) => ({
        x,
        value: each.excessPercent[i] as number,
        low: each.low[i] as number,
        high: each.high[i] as number,
      })),
      CONTRAST_SERIES[key],
      words,
    ),
  );
  // Side by side, for their values hardly differ.
  const perfect = rows.flatMap(({ key, words, contrast: { perfectLensPercent: percent } }, i) =>
    percent === null
      ? []
      : [
          `<g>${titleOf(`perfect lens, ${words}: ${nominal(percent, 2)} %`)}${lineFrom(at + 16 * (i - 1) - 7, panel.y(percent), at + 16 * (i - 1) + 7, panel.y(percent), `s${CONTRAST_SERIES[key]}`, ' stroke-width="3"')}</g>`,
        ],
  );
  return {
    width: WIDTH,
    height: PANEL_TOP + 260 + 52,
    title: 'One colour minus another along the radius',
    description: `How much more of the first colour’s light than of the second’s lies beyond a radius. ${rows.map(({ words, contrast }) => contrastWords(words, contrast)).join('; ')}.`,
    body: [
      SERIES_STYLE,
      textAt(LEFT, 20, 'First colour minus second', { className: 'strong' }),
      legend(rows.map(({ key, words }) => ({ label: words, series: CONTRAST_SERIES[key] }))),
      panel.axes,
      lineFrom(LEFT, panel.y(0), WIDTH - RIGHT, panel.y(0), 'line'),
      lineFrom(at, top, at, top + height, 'line', ' stroke-dasharray="1 3"'),
      ...lines,
      ...perfect,
    ].join(''),
  };
}

function contrastWords(
  words: string,
  { excessPercent, atRadiusPx, perfectLensPercent }: HaloContrast,
): string {
  const perfect =
    perfectLensPercent === null
      ? ''
      : `, a perfect lens ${signed(nominal(perfectLensPercent, 2))} %`;
  return `${words} ${signed(nominal(excessPercent.value))} % at ${nominal(atRadiusPx)} px${perfect}`;
}
