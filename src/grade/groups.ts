/** Which frames of a folder belong together: one target, filter, exposure and kind of frame. Names of files play no part. */
import type { NightFrame } from './night-frame.js';

/** Exposures within this share of each other are one. */
const SAME_EXPOSURE = 0.02;

/** In the order of exposure start; then by what was measured, so that names and their order decide nothing. */
function inTimeOrder(frames: readonly NightFrame[]): number[] {
  const key = (i: number): number[] => {
    const { startMs, backgroundAdu, fwhmPx, starsFound } = frames[i] as NightFrame;
    return [
      startMs ?? Number.POSITIVE_INFINITY,
      backgroundAdu ?? -1,
      fwhmPx?.value ?? -1,
      starsFound,
    ];
  };
  const keys = frames.map((_, i) => key(i));
  return frames
    .map((_, i) => i)
    .sort((a, b) => {
      const ka = keys[a] as number[];
      const kb = keys[b] as number[];
      for (let k = 0; k < ka.length; k++) {
        const u = ka[k] as number;
        const v = kb[k] as number;
        if (u !== v) return u < v ? -1 : 1;
      }
      // Equal in everything measured: whichever comes first, the answer is the same.
      return compareText((frames[a] as NightFrame).file, (frames[b] as NightFrame).file);
    });
}

function compareText(a: string, b: string): number {
  return a < b ? -1 : a > b ? 1 : 0;
}

/** Target or filter as people write it: case, blanks, dashes and underscores do not matter. */
function plain(text: string | null): string {
  return (text ?? '').toLowerCase().replace(/[\s_-]+/g, '');
}

/** Readable frames of one header's kind, in time order. Frames that say they are no light frames are left out. */
export function groupByHeader(frames: readonly NightFrame[]): number[][] {
  const exposures = exposureClasses(frames);
  const groups = new Map<string, number[]>();
  for (const i of inTimeOrder(frames)) {
    const frame = frames[i] as NightFrame;
    if (frame.status !== 'ok' || frame.imageType !== 'light') continue;
    const { metadata } = frame;
    const key = JSON.stringify([
      plain(metadata?.object ?? null),
      plain(metadata?.filter ?? null),
      exposures[i],
      frame.width,
      frame.height,
      frame.layout,
      metadata?.binning ?? null,
    ]);
    const group = groups.get(key);
    if (group) group.push(i);
    else groups.set(key, [i]);
  }
  return [...groups.values()];
}

/** Class of each frame's exposure: a gap of more than 2 % between neighbouring lengths divides two classes. −1 = unknown. */
function exposureClasses(frames: readonly NightFrame[]): number[] {
  const known = frames
    .map((frame) => frame.metadata?.exposureSeconds ?? null)
    .filter((seconds): seconds is number => seconds !== null && seconds > 0)
    .sort((a, b) => a - b);
  const starts: number[] = [];
  known.forEach((seconds, k) => {
    if (k === 0 || seconds > (known[k - 1] as number) * (1 + SAME_EXPOSURE)) starts.push(seconds);
  });
  return frames.map((frame) => {
    const seconds = frame.metadata?.exposureSeconds ?? null;
    if (seconds === null || !(seconds > 0)) return -1;
    let index = -1;
    for (const start of starts) if (seconds >= start) index++;
    return index;
  });
}

/** Group's name for people. */
export function groupName(frame: NightFrame, part: number): string {
  const { metadata } = frame;
  const words = [
    metadata?.object?.trim() || 'unnamed target',
    ...(part > 0 ? [`field ${part + 1}`] : []),
    metadata?.filter?.trim() || null,
    metadata?.exposureSeconds ? `${roundSeconds(metadata.exposureSeconds)} s` : null,
  ];
  return words.filter((word) => word !== null).join(', ');
}

function roundSeconds(seconds: number): string {
  return String(seconds >= 10 ? Math.round(seconds) : Number(seconds.toPrecision(3)));
}
