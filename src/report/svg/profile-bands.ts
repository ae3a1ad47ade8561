/** Profiles of the same stars through every telescope, colour by colour: brightness and light within a radius, with their 1 σ bands. */
import type { ComparedProfile, Comparison } from '../../compare/result.js';
import type { ChannelName } from '../../measure/result.js';
import { profileStars, shortLabels } from '../compare-words.js';
import { nominal } from '../number.js';
import { CHANNEL_ORDER, CHANNEL_WORDS } from '../words.js';
import { lineFrom, num, type Picture, textAt, titleOf } from './document.js';
import { createPanel, type Panel } from './panel.js';
import { SERIES_STYLE, seriesLegend, seriesOf } from './series.js';

const WIDTH = 760;
const LEFT = 74;
const RIGHT = 16;
const GAP = 16;
const LEGEND_TOP = 50;
const BRIGHTNESS_HEIGHT = 250;
const ENERGY_HEIGHT = 160;
const BETWEEN = 18;
/** Decades of brightness shown below the peak at most: deeper there is only noise. */
const DECADES = 5;
/** Marks on a line, which start at a different place for every telescope. */
const MARKS = 5;
const LONGEST_LABEL = 32;

interface Curve {
  label: string;
  index: number;
  profile: ComparedProfile;
}

/** Null where no telescope has a profile. */
export function profilePicture(comparison: Comparison): Picture | null {
  const { telescopes, angularUnit: unit, normalisedWithin } = comparison;
  const present = CHANNEL_ORDER.filter((name) =>
    telescopes.some(({ profiles }) => profiles[name] !== undefined),
  );
  if (present.length === 0) return null;
  // One channel without colour is compared with green, and drawn with it.
  const together = present.includes('G') && present.includes('L');
  const channels = together ? present.filter((name) => name !== 'L') : present;
  const curvesOf = (name: ChannelName): Curve[] =>
    telescopes.flatMap(({ label, profiles }, index) => {
      const profile = profiles[name] ?? (together && name === 'G' ? profiles.L : undefined);
      return profile === undefined ? [] : [{ label, index, profile }];
    });
  const all = channels.flatMap(curvesOf);
  const told = channels.includes('B') ? 'B' : (channels[0] as ChannelName);
  const peak = Math.max(...all.map(({ profile }) => Math.max(...profile.brightness)));
  const lowest = Math.min(
    ...all.flatMap(({ profile }) => profile.brightness.filter((value) => value > 0)),
  );
  const floor = Math.max(lowest, peak / 10 ** DECADES);
  const furthest =
    normalisedWithin ?? Math.max(...all.map(({ profile }) => profile.radius.at(-1) ?? 0));

  const names = shortLabels(
    telescopes.map(({ label }) => label),
    LONGEST_LABEL,
  );
  const legend = seriesLegend([...names.values()], LEFT, LEGEND_TOP, WIDTH - RIGHT);
  const top = LEGEND_TOP + legend.height + 26;
  const energyTop = top + BRIGHTNESS_HEIGHT + BETWEEN;
  const width = (WIDTH - LEFT - RIGHT - GAP * (channels.length - 1)) / channels.length;
  const parts: string[] = [];
  channels.forEach((name, column) => {
    const left = LEFT + column * (width + GAP);
    const shared = {
      left,
      width,
      xDomain: [0, furthest] as const,
      xScale: 'sqrt' as const,
      grid: true,
      yLabelAt: 54,
    };
    const bright = createPanel({
      ...shared,
      top,
      height: BRIGHTNESS_HEIGHT,
      yDomain: [floor / 1.5, peak * 1.6],
      yScale: 'log',
      xLabel: '',
      yLabel: column === 0 ? `light per ${unit}², star = 1` : '',
      unnumbered: { x: true, y: column > 0 },
    });
    const energy = createPanel({
      ...shared,
      top: energyTop,
      height: ENERGY_HEIGHT,
      yDomain: [0, 104],
      xLabel: `radius, ${unit}`,
      yLabel: column === 0 ? 'light within, %' : '',
      unnumbered: { x: false, y: column > 0 },
    });
    const curves = curvesOf(name);
    parts.push(
      textAt(
        left + width / 2,
        top - 8,
        together && name === 'G' ? 'green, or mono' : CHANNEL_WORDS[name],
        {
          anchor: 'middle',
          className: 'strong',
        },
      ),
      bright.axes,
      energy.axes,
      lineFrom(left, energy.y(80), left + width, energy.y(80), 'line', ' stroke-dasharray="1 3"'),
      `<svg x="${num(left)}" y="${num(top)}" width="${num(width)}" height="${num(energyTop + ENERGY_HEIGHT - top)}" viewBox="${num(left)} ${num(top)} ${num(width)} ${num(energyTop + ENERGY_HEIGHT - top)}">`,
    );
    for (const curve of curves) {
      const { radius, brightness, error, encircledEnergy, encircledEnergyError } = curve.profile;
      parts.push(
        curveOf(bright, curve, radius, brightness, error, 1),
        curveOf(energy, curve, radius, encircledEnergy, encircledEnergyError, 100),
      );
    }
    parts.push('</svg>');
  });
  const within =
    normalisedWithin === null ? '' : `, light counted within ${nominal(normalisedWithin)} ${unit}`;
  // A record's profile rests on the stars that it chose for itself.
  const paired = comparison.telescopes.every(({ hasPixels }) => hasPixels);
  const stars = paired
    ? `the same ${profileStars(comparison)} stars`
    : 'stars, not the same in all telescopes';
  const heading = `Profiles of ${stars}${within}`;
  return {
    width: WIDTH,
    height: energyTop + ENERGY_HEIGHT + 52,
    title: heading,
    description: `Brightness and light within a radius, against the distance from the star’s centre, for ${[...names.values()].join(', ')} in ${channels.map((name) => CHANNEL_WORDS[name]).join(', ')}. 80 % of the ${CHANNEL_WORDS[told]} light lies within (${unit}): ${energyWords(curvesOf(told), names)}.`,
    body: [
      SERIES_STYLE,
      textAt(LEFT, 22, heading, { className: 'strong' }),
      textAt(
        LEFT,
        40,
        'Bands: 1 σ by bootstrap over the stars. Radii on a square-root scale, brightness on a logarithmic one. Dotted: 80 % of the light.',
        { className: 'small muted' },
      ),
      legend.body,
      ...parts,
    ].join(''),
  };
}

/** A line with its band and marks. Where the line leaves the panel at the bottom it ends. */
function curveOf(
  panel: Panel,
  { label, index }: Curve,
  radius: readonly number[],
  values: readonly number[],
  errors: readonly number[],
  factor: number,
): string {
  const { line, fill, stroke, mark } = seriesOf(index);
  const floor = panel.options.yDomain[0];
  const points = radius.flatMap((r, i) => {
    const [value, error] = [values[i], errors[i]];
    return value !== undefined && error !== undefined && Number.isFinite(value)
      ? [
          {
            x: panel.x(r),
            value: factor * value,
            error: Number.isFinite(error) ? factor * error : 0,
          },
        ]
      : [];
  });
  const path = (of: (point: (typeof points)[number]) => number): string[] =>
    points.map((point) => `${num(point.x)},${num(panel.y(of(point)))}`);
  const upper = path(({ value, error }) => value + error);
  const lower = path(({ value, error }) => value - error).reverse();
  const shown = points.filter(({ value }) => value >= floor);
  const from = shown[0]?.x ?? 0;
  const length = (shown.at(-1)?.x ?? 0) - from;
  const marks: string[] = [];
  for (let k = 0; k < MARKS; k++) {
    const at = from + ((k + 0.2 + 0.22 * (index % 4)) / MARKS) * length;
    const point = shown.find(({ x }) => x >= at);
    if (point !== undefined) marks.push(mark(point.x, panel.y(point.value)));
  }
  const lines: string[][] = [[]];
  for (const { x, value } of points) {
    if (value >= floor) lines.at(-1)?.push(`${num(x)},${num(panel.y(value))}`);
    else if (lines.at(-1)?.length !== 0) lines.push([]);
  }
  return [
    `<g>${titleOf(label)}<polygon points="${[...upper, ...lower].join(' ')}" class="${fill} band"/>`,
    ...lines
      .filter((part) => part.length > 1)
      .map((part) => `<polyline points="${part.join(' ')}" class="${line}"${stroke}/>`),
    ...marks,
    '</g>',
  ].join('');
}

/** Radius that holds 80 % of the light in one colour, in words, for whoever cannot see the picture. */
function energyWords(curves: readonly Curve[], names: ReadonlyMap<string, string>): string {
  const words = curves.flatMap(({ label, profile }) => {
    const radius = profile.radius[profile.encircledEnergy.findIndex((share) => share >= 0.8)];
    return radius === undefined ? [] : [`${names.get(label)} ${nominal(radius, 2)}`];
  });
  return words.join(', ');
}
