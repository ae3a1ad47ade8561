/** The published halo of a frame, with the warnings that belong to it, and its lateral colour. */
import type { ChannelPlan } from '../detect/lattice.js';
import type { Frame } from '../frame/frame.js';
import type { PerfectLens } from '../optics/perfect-lens.js';
import type { BootstrapResult } from './bootstrap.js';
import type { EffectiveProfiles } from './effective-profiles.js';
import type { Found } from './find.js';
import { haloNumbers } from './halo.js';
import type { MeasureOptions } from './options.js';
import type { FrameResult, HaloResult } from './result.js';
import { saturatedHalo } from './saturated-halo.js';
import { colourTrend } from './star-colour.js';
import { scaled, uncertain } from './uncertain.js';

export function haloResult(
  frame: Frame,
  plan: ChannelPlan,
  found: Found,
  effective: EffectiveProfiles,
  bootstrap: BootstrapResult,
  arcsecPerPx: number | null,
  noisePerSignal: number,
  options: MeasureOptions,
  warn: (code: string, message: string) => void,
): { halo: HaloResult; perfect: PerfectLens | null } {
  const r = plan.channels.indexOf('R');
  const g = plan.channels.indexOf('G');
  const b = plan.channels.indexOf('B');
  const numbers = haloNumbers(
    bootstrap,
    r,
    g,
    b,
    effective.rMax,
    effective.crowding,
    arcsecPerPx === null ? null : { arcsecPerPx, apertureMm: frame.metadata.apertureMm },
  );
  if (effective.openEnded) {
    warn(
      'open-ended-profile',
      `light is still seen at R_max = ${effective.rMax.toFixed(1)} px: halo numbers are lower limits; --halo-radius sets a larger one`,
    );
  }
  if (frame.layout === 'rgb') {
    warn(
      'interpolated-colour',
      'three colour planes: if they were interpolated from a mosaic, sizes are upper limits; the unprocessed mosaic is better',
    );
  }
  const { perfect, ...rest } = numbers;
  if (perfect && !perfect.diffractionIncluded) {
    const { low, high } = perfect.rangePercent;
    warn(
      'no-perfect-lens',
      `what a perfect lens would show is not known without focal length, pixel size and aperture (--focal-length, --pixel-size, --aperture): air alone makes between ${low.toFixed(1)} and ${high.toFixed(1)} points of blue minus red`,
    );
  } else {
    for (const note of (perfect?.notes ?? []).filter(
      (text) => !text.startsWith('effective wavelengths'),
    )) {
      warn('perfect-lens', note);
    }
  }
  const halo: HaloResult = {
    ...rest,
    starColour: colourTrend(
      effective.profiles[r] as EffectiveProfiles['profiles'][number],
      effective.profiles[b] as EffectiveProfiles['profiles'][number],
      effective.stars.length,
      numbers.blueMinusRed.atRadiusPx,
      options.seed,
    ),
    saturatedStars: saturatedHalo(
      plan,
      effective,
      found.sources,
      found.saturation,
      noisePerSignal,
      options.seed,
    ),
  };
  return { halo, perfect };
}

export function lateralResult(
  frame: Frame,
  effective: EffectiveProfiles,
  arcsecPerPx: number | null,
): FrameResult['lateralColour'] {
  const red = effective.lateral[0];
  const blue = effective.lateral[2];
  if (!red || !blue) return null;
  const { width, height } = frame.rows;
  const corner = 0.5 * Math.sqrt(width * width + height * height);
  const redPerPx = uncertain(red.m, red.mDraws, 1);
  const bluePerPx = uncertain(blue.m, blue.mDraws, 1);
  const at = uncertain(
    Math.abs(blue.m - red.m) * corner,
    Float64Array.from(blue.mDraws, (m, i) => Math.abs(m - (red.mDraws[i] as number)) * corner),
    1,
  );
  if (!redPerPx || !bluePerPx || !at) return null;
  return {
    blueConstantPx: [blue.cx, blue.cy],
    redConstantPx: [red.cx, red.cy],
    bluePerPx,
    redPerPx,
    atCornerPx: at,
    atCornerArcsec: scaled(at, arcsecPerPx),
    atCornerUm: scaled(at, frame.metadata.pixelSizeUm),
  };
}
