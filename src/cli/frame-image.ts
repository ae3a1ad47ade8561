/** A frame for looking at: reduced, stretched, its measured stars marked. It only reads: nothing is measured from it. */

import type { StarCatalogue } from '../catalogue/catalogue.js';
import { createFloatReader } from '../frame/convert.js';
import type { Frame, FrameOverrides } from '../frame/frame.js';
import { openFrame } from '../frame/open.js';
import type { ChannelName, FrameResult } from '../measure/result.js';
import type { FrameImages } from '../report/measure-page.js';
import { frameStamps } from './frame-stamps.js';

/** Longer side of the image, px: fills a page's column on a screen of twice the usual density. */
const LONGEST = 1400;
/** Small frames are enlarged by a whole number to at most this, so that marks do not hide them. */
const ENLARGED = 1000;
/** Most stars that are marked: more would hide the sky. */
const MOST_MARKED = 60;
/** Brightness shown as nearly half bright, in units of the noise of one sample. */
const SOFT_NOISES = 6;
/** Brightness shown as full, in the same unit. */
const FULL_NOISES = 1200;
const QUALITY = 82;

const COLOURS = ['R', 'G', 'B'] as const;

/** Null where the frame cannot be read again or has too little to go by: the page then has one picture less. */
export async function frameImages(
  result: FrameResult,
  catalogue: StarCatalogue | null,
  overrides: FrameOverrides,
): Promise<FrameImages | null> {
  if (result.status === 'failed' || result.layout === 'set' || catalogue === null) return null;
  let frame: Frame | null = null;
  try {
    frame = await openFrame(result.file, overrides);
    return {
      overview: await overviewOf(frame, result, catalogue),
      stamps: await frameStamps(frame, result, brightestUsed(catalogue)),
    };
  } catch {
    return null;
  } finally {
    frame?.rows.close();
  }
}

/** Sum and count of the samples of each colour in each block of `step` × `step` samples; y upwards. */
function reduce(frame: Frame, step: number, across: number, down: number) {
  const { rows, cfa } = frame;
  const sums = new Float64Array(3 * across * down);
  const counts = new Uint32Array(3 * across * down);
  const read = createFloatReader(rows);
  const line = new Float32Array(rows.width);
  const pattern = cfa?.redBlueKnown ? cfa.pattern : null;
  for (let plane = 0; plane < rows.planes; plane++) {
    for (let y = 0; y < down * step; y++) {
      read(plane, y, 1, line);
      const base = (down - 1 - Math.floor(y / step)) * across;
      const even = pattern === null ? 'L' : (pattern[2 * (y & 1)] as string);
      const odd = pattern === null ? 'L' : (pattern[2 * (y & 1) + 1] as string);
      const channels = [even, odd].map((name) =>
        pattern === null ? plane : COLOURS.indexOf(name as 'R' | 'G' | 'B'),
      ) as [number, number];
      for (let x = 0; x < across * step; x++) {
        const value = line[x] as number;
        if (value !== value) continue;
        const at = 3 * (base + Math.floor(x / step)) + (channels[x & 1] as number);
        sums[at] = (sums[at] as number) + value;
        counts[at] = (counts[at] as number) + 1;
      }
    }
  }
  return { sums, counts };
}

async function overviewOf(
  frame: Frame,
  result: FrameResult,
  catalogue: StarCatalogue,
): Promise<FrameImages['overview']> {
  const { width, height, planes } = frame.rows;
  const whole = Math.max(1, Math.ceil(Math.max(width, height) / LONGEST));
  // A block of a mosaic holds all of its colours.
  const step = frame.cfa === null ? whole : 2 * Math.ceil(whole / 2);
  const [across, down] = [Math.floor(width / step), Math.floor(height / step)];
  if (across < 1 || down < 1) return null;
  const coloured = planes === 3 || frame.cfa?.redBlueKnown === true;
  const names: ChannelName[] = coloured ? ['R', 'G', 'B'] : [result.channels.L ? 'L' : 'G'];
  const levels = names.map((name) => result.channels[name]);
  if (levels.some((level) => level === undefined)) return null;
  const { sums, counts } = reduce(frame, step, across, down);
  const pixels = new Uint8Array(3 * across * down);
  const full = Math.asinh(FULL_NOISES / SOFT_NOISES);
  for (let i = 0; i < across * down; i++) {
    for (let c = 0; c < 3; c++) {
      const from = coloured ? c : 0;
      const level = levels[from];
      const n = counts[3 * i + from] as number;
      if (n === 0 || level === undefined) continue;
      const above = (sums[3 * i + from] as number) / n - level.backgroundAdu.value;
      const share = Math.asinh(Math.max(0, above / level.noiseAdu.value) / SOFT_NOISES) / full;
      pixels[3 * i + c] = Math.min(255, Math.round(20 + 235 * share));
    }
  }
  const marks = brightestUsed(catalogue);
  const zoom = Math.max(1, Math.floor(ENLARGED / Math.max(across, down)));
  const circles = marks.map(({ x, y }) => {
    const place = `cx="${((x + 0.5) / step) * zoom}" cy="${(down - (y + 0.5) / step) * zoom}" r="11" fill="none"`;
    return `<circle ${place} stroke="#000" stroke-width="3"/><circle ${place} stroke="#ffd54a" stroke-width="1.4"/>`;
  });
  const { default: sharp } = await import('sharp');
  const webp = await sharp(pixels, { raw: { width: across, height: down, channels: 3 } })
    .resize(across * zoom, down * zoom, { kernel: 'nearest' })
    .composite([
      {
        input: Buffer.from(
          `<svg xmlns="http://www.w3.org/2000/svg" width="${across * zoom}" height="${down * zoom}">${circles.join('')}</svg>`,
        ),
      },
    ])
    .webp({ quality: QUALITY })
    .toBuffer();
  return {
    source: `data:image/webp;base64,${webp.toString('base64')}`,
    widthPx: across * zoom,
    heightPx: down * zoom,
    marked: marks.length,
    stretch: `${step === 1 ? 'Samples as recorded' : `Each point is the mean of ${step} × ${step} samples, colour by colour`}; the background is taken off each colour, and brightness is shown as asinh(v/${SOFT_NOISES}) up to v = ${FULL_NOISES} times the noise of a sample.`,
  };
}

function brightestUsed({ length, columns, flags }: StarCatalogue): { x: number; y: number }[] {
  const { x, y, snr } = columns;
  if (x === undefined || y === undefined || snr === undefined) return [];
  return Array.from({ length }, (_, i) => i)
    .filter((i) => flags[i] === 0 && Number.isFinite(snr[i]))
    .sort((a, b) => (snr[b] as number) - (snr[a] as number) || a - b)
    .slice(0, MOST_MARKED)
    .map((i) => ({ x: x[i] as number, y: y[i] as number }));
}
