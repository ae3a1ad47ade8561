/** Small facts of a measured frame that its record states: scale, clipping level, linearity. */
import type { Frame, FrameMetadata } from '../frame/frame.js';
import { skyEvidence } from './checks.js';
import type { Found } from './find.js';
import { judgeLinearity } from './linearity.js';
import type { FrameResult } from './result.js';
import type { Warn } from './search-frame.js';

const ARCSEC_PER_UM_MM = 206.265;

/** 206.265 × pixel in µm / focal length in mm, or null. */
export function scaleOf({ pixelSizeUm, focalLengthMm }: FrameMetadata): number | null {
  if (pixelSizeUm === null || focalLengthMm === null) return null;
  return (ARCSEC_PER_UM_MM * pixelSizeUm) / focalLengthMm;
}

/** The scale, with a warning that names what is missing for it. */
export function scaleOrWarning(metadata: FrameMetadata, warn: Warn): number | null {
  const scale = scaleOf(metadata);
  if (scale === null) {
    const missing = [
      metadata.pixelSizeUm === null ? 'pixel size (--pixel-size)' : null,
      metadata.focalLengthMm === null ? 'focal length (--focal-length)' : null,
    ].filter((item) => item !== null);
    warn('no-scale', `sizes stay in pixels: the header gives no ${missing.join(' and no ')}`);
  }
  return scale;
}

/** The lowest known clipping level of the channels, ADU. */
export function lowestSaturation(found: Found): number | null {
  let low = Number.POSITIVE_INFINITY;
  for (const value of found.saturation) if (value < low) low = value;
  return Number.isFinite(low) ? low : null;
}

/** Whether the frame is linear, from its stars and its sky; null without stars. */
export function linearityOf(
  frame: Frame,
  found: Found,
  stars: readonly number[],
  lattices: readonly number[],
  undersampled: boolean,
): FrameResult['linearity'] {
  const fits = found.sources.fits[found.reference];
  if (!found.locus || !fits) return null;
  return judgeLinearity({
    fwhmPx: stars.map((i) => {
      const g2 = (fits.g1[i] as number) ** 2 + (fits.g2[i] as number) ** 2;
      return (fits.alpha[i] as number) * (1 - g2) ** 0.25;
    }),
    flux: stars.map((i) => fits.flux[i] as number),
    probablyProcessed: frame.probablyProcessed,
    undersampled,
    ...skyEvidence(found, lattices),
  });
}
