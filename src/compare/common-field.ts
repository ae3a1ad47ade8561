/** Where frames lie on the first one, and the part of the sky that all see. */
import { applyInverse, applyTransform, type Transform } from '../match/transform.js';
import type { SearchedFrame } from '../measure/search-frame.js';
import type { CommonField } from './label.js';

/** Points along each axis at which the common field is looked for. */
const FIELD_GRID = 65;

export interface PlacedFrame {
  searched: SearchedFrame;
  /** Lay points of the first label's reference frame on this one, one after the other. */
  fromFirst: readonly Transform[];
}

/** Distance of a point from the middle of the common field, px of the first reference frame. */
export function distanceFrom({ centreX, centreY }: CommonField, x: number, y: number): number {
  return Math.sqrt((x - centreX) ** 2 + (y - centreY) ** 2);
}

/** The part of the sky that lies on every frame, looked at on a grid over the first one. */
export function commonField(frames: readonly PlacedFrame[]): CommonField {
  const at = new Float64Array(2);
  const contains = (x: number, y: number): boolean =>
    frames.every(({ searched, fromFirst }) => {
      onFrame(fromFirst, x, y, at);
      const { width, height } = searched.frame.rows;
      const [u, v] = at as unknown as [number, number];
      return u >= 0 && v >= 0 && u <= width - 1 && v <= height - 1;
    });
  const { width, height } = (frames[0] as PlacedFrame).searched.frame.rows;
  const seen: [number, number][] = [];
  for (let j = 0; j < FIELD_GRID; j++) {
    for (let i = 0; i < FIELD_GRID; i++) {
      const x = ((width - 1) * i) / (FIELD_GRID - 1);
      const y = ((height - 1) * j) / (FIELD_GRID - 1);
      if (contains(x, y)) seen.push([x, y]);
    }
  }
  const mean = (axis: 0 | 1): number =>
    seen.reduce((sum, point) => sum + point[axis], 0) / seen.length;
  const centreX = mean(0);
  const centreY = mean(1);
  let farthest = 0;
  for (const [x, y] of seen) farthest = Math.max(farthest, (x - centreX) ** 2 + (y - centreY) ** 2);
  return { contains, centreX, centreY, halfDiagonalPx: Math.sqrt(farthest) };
}

/** A point of the first reference frame on another frame; `out` receives x and y. */
export function onFrame(
  fromFirst: readonly Transform[],
  x: number,
  y: number,
  out: Float64Array,
): void {
  out[0] = x;
  out[1] = y;
  for (const transform of fromFirst) {
    applyTransform(transform, out[0] as number, out[1] as number, out);
  }
}

/** The reverse: where a point of a frame lies on the first reference frame. NaN where a polynomial cannot be turned round. */
export function ontoFirst(
  fromFirst: readonly Transform[],
  x: number,
  y: number,
  out: Float64Array,
): void {
  out[0] = x;
  out[1] = y;
  for (let t = fromFirst.length - 1; t >= 0; t--) {
    applyInverse(fromFirst[t] as Transform, out[0] as number, out[1] as number, out);
  }
}
