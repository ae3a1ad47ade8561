/** What kind of lens the measured blue defocus belongs to: the measurement beside what its aperture and focal length let expect. */

import type { FrameMetadata } from '../frame/frame.js';
import {
  achromatShare,
  equivalentDefocusFraction,
  inDepthsOfFocus,
} from '../optics/lens-expectation.js';
import type { FrameResult, Uncertain } from './result.js';
import { scaled } from './uncertain.js';

export type LensLikeness = NonNullable<FrameResult['lensLikeness']>;

/**
 * Share of the classical achromat's blue defocus from which each kind begins: a factor of two about the expected 0.03 and 0.1
 * (lens-expectation.ts), the two meeting at their geometric mean, and about 1.
 */
const KINDS: readonly { from: number; like: LensLikeness['like'] }[] = [
  { from: 2, like: 'worse than an achromat' },
  { from: 0.5, like: 'achromat' },
  { from: 0.2, like: 'between achromat and ED doublet' },
  { from: 0.055, like: 'ED doublet' },
  { from: 0.015, like: 'apochromat' },
  { from: 0, like: 'better than a usual apochromat' },
];

function kindOf(share: number): LensLikeness['like'] {
  return KINDS.find(({ from }) => share >= from)?.like ?? 'better than a usual apochromat';
}

/** A blur whose interval reaches nearly down to nothing is an upper limit: the same limit as in the report. */
const LIMIT_SHARE = 0.25;

/** @returns null where focal length or aperture is not known, or no blur was measured */
export function lensLikeness(
  defocus: FrameResult['equivalentDefocus'],
  { focalLengthMm, apertureMm }: Pick<FrameMetadata, 'focalLengthMm' | 'apertureMm'>,
): LensLikeness | null {
  const fraction: Uncertain | null = defocus?.blueFocalLengthFraction ?? null;
  const um: Uncertain | null = defocus?.blueUm ?? null;
  if (fraction === null || um === null || focalLengthMm === null || apertureMm === null)
    return null;
  const focalRatio = focalLengthMm / apertureMm;
  const upperLimit = fraction.low < LIMIT_SHARE * fraction.value || fraction.value === 0;
  return {
    blueAchromatShare: scaled(fraction, achromatShare(1)) as Uncertain,
    blueDepthsOfFocus: scaled(um, inDepthsOfFocus(1, focalRatio)) as Uncertain,
    achromatBlueFocalLengthFraction: equivalentDefocusFraction('achromat', 'B'),
    like: kindOf(upperLimit ? fraction.high * achromatShare(1) : fraction.value * achromatShare(1)),
    upperLimit,
  };
}
