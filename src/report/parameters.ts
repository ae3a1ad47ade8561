/** The options about frames that every document repeats. Null = not given. */
import type { FrameOverrides } from '../frame/frame.js';

export interface FrameParameters {
  cfa: NonNullable<FrameOverrides['cfa']> | null;
  hdu: number | null;
  page: number | null;
  focalLengthMm: number | null;
  apertureMm: number | null;
  pixelSizeUm: number | null;
  gainElectronsPerAdu: number | null;
  saturationAdu: number | null;
}

export function frameParameters(overrides: FrameOverrides): FrameParameters {
  return {
    cfa: overrides.cfa ?? null,
    hdu: overrides.hdu ?? null,
    page: overrides.page ?? null,
    focalLengthMm: overrides.focalLengthMm ?? null,
    apertureMm: overrides.apertureMm ?? null,
    pixelSizeUm: overrides.pixelSizeUm ?? null,
    gainElectronsPerAdu: overrides.gainElectronsPerAdu ?? null,
    saturationAdu: overrides.saturationAdu ?? null,
  };
}
