/** Registers the frames of a filter set on their stars, and lists the stars that all of them can use. */
import { FrameReadError } from '../errors.js';
import { type Match, matchStars } from '../match/match.js';
import { applyInverse } from '../match/transform.js';
import { matchListOf } from './match-list.js';
import type { SearchedFrame } from './search-frame.js';

/** How one frame lies on the reference. */
export interface Registration {
  matchedStars: number;
  /** Pixels of this frame per pixel of the reference. */
  scale: number;
  /** Turn of the star field, 0–360, from +x towards +y. */
  rotationDeg: number;
  mirrored: boolean;
  /** Distance of the frame's centre from the reference's among the stars, px of the reference. */
  shiftPx: number;
  residualRmsPx: number;
}

/** Scales farther apart than this are not one telescope, camera and binning: profiles in px would not compare. */
const SAME_SCALE = 0.005;
/**
 * Matches every frame to the reference.
 * @param searched the frames in channel order, of which `reference` is the one that the others are laid on
 * @param usable good stars of each frame, best first
 * @returns for each frame the stars that are usable in all of them, in one common order (that of the reference), and the
 *   registrations by channel
 * @throws FrameReadError `not-registered` when the stars of a frame are not those of the reference, or its scale differs
 */
export function registerSet(
  searched: readonly SearchedFrame[],
  usable: readonly (readonly number[])[],
  reference: number,
): { common: number[][]; registrations: (Registration | null)[] } {
  const base = searched[reference] as SearchedFrame;
  const baseList = matchListOf(base);
  /** Per frame: source of the reference → source of the frame. */
  const partners: Map<number, number>[] = [];
  const registrations = searched.map((one, c) => {
    if (c === reference) {
      partners.push(new Map((usable[c] as number[]).map((i) => [i, i])));
      return null;
    }
    const list = matchListOf(one);
    const match = matchStars(baseList.list, list.list, { nearlyAligned: true });
    if (!match.found) throw notRegistered(one, match.explanation);
    if (Math.abs(match.description.scale - 1) > SAME_SCALE) throw otherScale(one, match);
    const good = new Set(usable[c]);
    const partner = new Map<number, number>();
    for (let k = 0; k < match.matched; k++) {
      const own = list.source[match.indexB[k] as number] as number;
      if (good.has(own)) partner.set(baseList.source[match.indexA[k] as number] as number, own);
    }
    partners.push(partner);
    return registration(match, base, one);
  });
  const shared = (usable[reference] as number[]).filter((i) =>
    partners.every((partner) => partner.has(i)),
  );
  return {
    common: partners.map((partner) => shared.map((i) => partner.get(i) as number)),
    registrations,
  };
}

function registration(match: Match, base: SearchedFrame, one: SearchedFrame): Registration {
  const middle = (frame: SearchedFrame): [number, number] => [
    (frame.frame.rows.width - 1) / 2,
    (frame.frame.rows.height - 1) / 2,
  ];
  const [x, y] = middle(one);
  const [x0, y0] = middle(base);
  const [onX, onY] = applyInverse(match.transform, x, y) as unknown as [number, number];
  const { scale, rotationDeg, mirrored } = match.description;
  return {
    matchedStars: match.matched,
    scale,
    rotationDeg: (rotationDeg + 360) % 360,
    mirrored,
    shiftPx: Math.sqrt((onX - x0) ** 2 + (onY - y0) ** 2),
    residualRmsPx: match.residualRmsPx,
  };
}

function notRegistered({ frame }: SearchedFrame, why: string): FrameReadError {
  return new FrameReadError(
    'not-registered',
    frame.path,
    `its stars are not found in the green frame: ${why}`,
    'check that the three frames show the same field, and that each is sharp enough to show stars',
  );
}

function otherScale({ frame }: SearchedFrame, match: Match): FrameReadError {
  return new FrameReadError(
    'not-registered',
    frame.path,
    `its scale differs from the green frame by a factor of ${match.description.scale.toFixed(3)}: another telescope, camera or binning`,
    'a set needs three frames from one telescope and camera at the same binning',
  );
}
