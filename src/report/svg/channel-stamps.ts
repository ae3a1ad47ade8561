/** Single stars colour by colour, side by side: what the sizes look like. */
import type { ChannelName } from '../../measure/result.js';
import { CHANNEL_ORDER, CHANNEL_WORDS } from '../words.js';
import { lineFrom, num, type Picture, textAt } from './document.js';

/** One star; each image is a PNG as a data: address, row 0 the highest y. */
export interface ChannelStamp {
  /** Centre, 0-based px. */
  x: number;
  y: number;
  /** Side in px of the frame. */
  sidePx: number;
  images: Partial<Record<ChannelName, string>>;
}

const LEFT = 74;
const TOP = 64;
const CELL = 124;
const GAP = 8;
/** Length of the scale bar, px of the frame. */
const BAR_PX = 10;

/** Rows are colours, columns are stars; null without stars. */
export function channelStampsPicture(stamps: readonly ChannelStamp[]): Picture | null {
  const [first] = stamps;
  if (first === undefined) return null;
  const names = CHANNEL_ORDER.filter((name) => first.images[name] !== undefined);
  const parts = stamps.flatMap(({ x, y, images }, column) => {
    const left = LEFT + column * (CELL + GAP);
    return [
      textAt(left + CELL / 2, TOP - 8, `x ${Math.round(x)}, y ${Math.round(y)}`, {
        anchor: 'middle',
        className: 'small',
      }),
      ...names.map((name, row) => {
        const top = TOP + row * (CELL + GAP);
        return `<image x="${num(left)}" y="${num(top)}" width="${CELL}" height="${CELL}" href="${images[name]}" image-rendering="pixelated"/>`;
      }),
    ];
  });
  const labels = names.map((name, row) =>
    textAt(LEFT - 10, TOP + row * (CELL + GAP) + CELL / 2 + 4, CHANNEL_WORDS[name], {
      anchor: 'end',
      className: 'strong',
    }),
  );
  const bar = (BAR_PX / first.sidePx) * CELL;
  return {
    width: LEFT + stamps.length * (CELL + GAP) + 10,
    height: TOP + names.length * (CELL + GAP) + 6,
    title: 'Clear stars, colour by colour',
    description: `${stamps.length} of the clearest stars in ${names.map((name) => CHANNEL_WORDS[name]).join(', ')}, each image scaled to its own peak.`,
    body: [
      lineFrom(LEFT, 20, LEFT + bar, 20, 'line', ' stroke-width="2"'),
      textAt(LEFT + bar + 8, 24, `${BAR_PX} px`),
      ...labels,
      ...parts,
    ].join(''),
  };
}
