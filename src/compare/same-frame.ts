/** One picture under two names: nothing is learnt from comparing it with itself, or from counting it twice. */
import type { Warning } from '../warnings.js';

/** A frame by the places of its stars, px. */
export interface PlacedFrame {
  label: string;
  path: string;
  x: ArrayLike<number>;
  y: ArrayLike<number>;
}

/** Fewer stars than these may agree by chance, as on a frame of whole pixels. */
const FEWEST = 3;

/** Frames whose stars stand at the same places to the last digit: no two exposures do that. One warning for each frame seen before. */
export function sameFrames(frames: readonly PlacedFrame[]): Warning[] {
  return frames.flatMap((frame, i) => {
    const before = frames.slice(0, i).find((other) => isSame(frame, other));
    if (before === undefined) return [];
    const message =
      before.label === frame.label
        ? `${frame.label}: ${frame.path} is the same picture as ${before.path}; it counts twice, and the errors are too small`
        : `${frame.label} and ${before.label} share a picture (${frame.path} and ${before.path}): a frame compared with itself shows nothing`;
    return [{ code: 'same-frame', message, file: frame.path }];
  });
}

function isSame(a: PlacedFrame, b: PlacedFrame): boolean {
  const n = a.x.length;
  if (n < FEWEST || b.x.length !== n) return false;
  for (let i = 0; i < n; i++) if (a.x[i] !== b.x[i] || a.y[i] !== b.y[i]) return false;
  return true;
}
