/** Small images of the clearest stars of a frame, colour by colour. They are only looked at: nothing is measured from them. */
import { createFloatReader } from '../frame/convert.js';
import type { Frame } from '../frame/frame.js';
import type { ChannelName, FrameResult } from '../measure/result.js';
import { colourForDisplay } from '../report/picture.js';
import type { ChannelStamp } from '../report/svg/channel-stamps.js';
import { greyStamp } from '../report/svg/stamps.js';
import { greyPng } from './png-data.js';

/** Side of a stamp, px; even, so that every cut of a mosaic starts at the same site. */
const SIDE = 40;
/** Stars shown. */
const STARS = 4;

const COLOURS = ['R', 'G', 'B'] as const;

/** @param stars the clearest first, 0-based px */
export async function frameStamps(
  frame: Frame,
  result: FrameResult,
  stars: readonly { x: number; y: number }[],
): Promise<ChannelStamp[]> {
  const { width, height, planes } = frame.rows;
  const level = (name: ChannelName): number => result.channels[name]?.backgroundAdu.value ?? 0;
  const pattern = frame.cfa?.redBlueKnown ? frame.cfa.pattern : null;
  if (frame.cfa !== null && pattern === null) return [];
  const inside = stars.filter(
    ({ x, y }) => x > SIDE && y > SIDE && x < width - SIDE && y < height - SIDE,
  );
  const read = createFloatReader(frame.rows);
  const rows = new Float32Array(width * SIDE);
  const stamps: ChannelStamp[] = [];
  for (const { x, y } of inside.slice(0, STARS)) {
    const x0 = 2 * Math.round((x - SIDE / 2) / 2);
    const y0 = 2 * Math.round((y - SIDE / 2) / 2);
    const cut = (plane: number): Float32Array => {
      read(plane, y0, SIDE, rows);
      const out = new Float32Array(SIDE * SIDE);
      for (let j = 0; j < SIDE; j++) {
        out.set(rows.subarray(j * width + x0, j * width + x0 + SIDE), j * SIDE);
      }
      return out;
    };
    const values: [ChannelName, Float32Array][] = [];
    if (pattern !== null) {
      const background = { R: level('R'), G: level('G'), B: level('B') };
      const rgb = colourForDisplay({ samples: cut(0), size: SIDE, pattern, background });
      for (const [c, name] of COLOURS.entries()) {
        values.push([
          name,
          Float32Array.from({ length: SIDE * SIDE }, (_, i) => rgb[3 * i + c] as number),
        ]);
      }
    } else {
      const names: readonly ChannelName[] = planes === 3 ? COLOURS : ['L'];
      for (const [plane, name] of names.entries()) {
        values.push([name, cut(plane).map((value) => value - level(name))]);
      }
    }
    const images: ChannelStamp['images'] = {};
    for (const [name, each] of values) images[name] = await greyPng(greyStamp(each, SIDE));
    stamps.push({ x, y, sidePx: SIDE, images });
  }
  return stamps;
}
