/** Size against focuser position, one curve a colour. */
import type { SweepAnalysis, SweepChannel } from '../../sweep/result.js';
import { lineFrom, num, type Picture } from './document.js';
import { createPanel } from './panel.js';
import { SERIES_STYLE, seriesLegend, seriesOf } from './series.js';

const WIDTH = 640;
const HEIGHT = 420;
const NAMES: Readonly<Record<SweepChannel, string>> = {
  R: 'red',
  G: 'green',
  B: 'blue',
  L: 'mono',
};
/** Series whose colour suits the channel: 0 is orange, 1 blue, 2 green. */
const SERIES: Readonly<Record<SweepChannel, number>> = { R: 0, B: 1, G: 2, L: 3 };
const ORDER: readonly SweepChannel[] = ['R', 'B', 'G', 'L'];
const STEPS = 80;

/** Null where no curve could be drawn. */
export function vCurvesPicture(analysis: SweepAnalysis): Picture | null {
  const shown = ORDER.flatMap((channel) => {
    const focus = analysis.channels[channel];
    return focus === undefined ? [] : [{ channel, focus }];
  });
  const points = shown.flatMap(({ focus }) => focus.curve).filter((p) => Number.isFinite(p.rmsPx));
  if (points.length === 0) return null;
  const positions = points.map(({ position }) => position);
  const low = Math.min(...positions);
  const high = Math.max(...positions);
  const margin = 0.04 * (high - low);
  const panel = createPanel({
    left: 66,
    top: 44,
    width: WIDTH - 90,
    height: HEIGHT - 104,
    xDomain: [low - margin, high + margin],
    yDomain: [0, 1.06 * Math.max(...points.map(({ rmsPx }) => rmsPx))],
    xLabel: 'focuser position, steps',
    yLabel: 'root-mean-square radius, px',
    grid: true,
  });
  const parts = [SERIES_STYLE, panel.axes];
  for (const { channel, focus } of shown) {
    const { line, stroke, mark } = seriesOf(SERIES[channel]);
    const { bestFocus, sizeAtFocusPx, slopePxPerStep } = focus;
    if (bestFocus !== null && sizeAtFocusPx !== null && slopePxPerStep !== null) {
      const path = Array.from({ length: STEPS + 1 }, (_, i) => {
        const z = low + ((high - low) * i) / STEPS;
        const size = Math.hypot(sizeAtFocusPx, slopePxPerStep * (z - bestFocus.value));
        return `${i === 0 ? 'M' : 'L'}${num(panel.x(z))} ${num(panel.y(size))}`;
      });
      const x = panel.x(bestFocus.value);
      parts.push(
        `<path d="${path.join('')}" class="${line}"${stroke}/>`,
        lineFrom(x, panel.y(0), x, panel.y(0) - 14, line, stroke),
      );
    }
    for (const { position, rmsPx } of focus.curve) {
      if (Number.isFinite(rmsPx)) parts.push(mark(panel.x(position), panel.y(rmsPx)));
    }
  }
  const names = shown.some(({ channel }) => channel === 'L')
    ? []
    : shown.map(({ channel }) => NAMES[channel]);
  parts.push(seriesLegend(names, 66, 10, WIDTH).body);
  return {
    width: WIDTH,
    height: HEIGHT,
    title: 'Star size against focuser position',
    description: `Points and fitted curves of ${shown.map(({ channel }) => NAMES[channel]).join(', ')}; short lines at the bottom mark best focus.`,
    body: parts.join(''),
  };
}
