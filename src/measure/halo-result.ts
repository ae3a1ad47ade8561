/** The published halo of a frame, with the warnings that belong to it, and its lateral colour. */
import type { ChannelPlan } from '../detect/lattice.js';
import type { Frame } from '../frame/frame.js';
import type { PerfectLens } from '../optics/perfect-lens.js';
import type { BootstrapResult } from './bootstrap.js';
import type { EffectiveProfiles } from './effective-profiles.js';
import type { Found } from './find.js';
import { type HaloNumbers, haloNumbers } from './halo.js';
import type { SetProfiles } from './measure-set.js';
import type { MeasureOptions } from './options.js';
import type { ChannelProfile } from './profile-equations.js';
import type { FrameResult, HaloResult } from './result.js';
import { saturatedHalo } from './saturated-halo.js';
import { colourTrend } from './star-colour.js';
import { scaled, uncertain } from './uncertain.js';

type Warn = (code: string, message: string) => void;

/** The halo of one frame. */
export function haloResult(
  frame: Frame,
  plan: ChannelPlan,
  found: Found,
  effective: EffectiveProfiles,
  bootstrap: BootstrapResult,
  arcsecPerPx: number | null,
  noisePerSignal: number,
  options: MeasureOptions,
  warn: Warn,
): { halo: HaloResult; perfect: PerfectLens | null } {
  const r = plan.channels.indexOf('R');
  const g = plan.channels.indexOf('G');
  const b = plan.channels.indexOf('B');
  const { apertureMm } = frame.metadata;
  const numbers = checkedNumbers(bootstrap, [r, g, b], effective, apertureMm, arcsecPerPx, warn);
  if (frame.layout === 'rgb') {
    warn(
      'interpolated-colour',
      'three colour planes: if they were interpolated from a mosaic, sizes are upper limits; the unprocessed mosaic is better',
    );
  }
  const { perfect, ...rest } = numbers;
  const halo: HaloResult = {
    ...rest,
    starColour: colourTrend(
      effective.profiles[r] as ChannelProfile,
      effective.profiles[b] as ChannelProfile,
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

/** The halo of a filter set: channels in the order R, G, B, each frame with one profile. */
export function setHalo(
  bootstrap: BootstrapResult,
  set: SetProfiles,
  apertureMm: number | null,
  arcsecPerPx: number | null,
  seed: number,
  warn: Warn,
): { halo: HaloResult; perfect: PerfectLens | null } {
  const numbers = checkedNumbers(bootstrap, [0, 1, 2], set, apertureMm, arcsecPerPx, warn);
  const { perfect, ...rest } = numbers;
  const halo: HaloResult = {
    ...rest,
    starColour: colourTrend(
      set.each[0]?.profiles[0] as ChannelProfile,
      set.each[2]?.profiles[0] as ChannelProfile,
      set.stars,
      numbers.blueMinusRed.atRadiusPx,
      seed,
    ),
    // Which stars clip, and how far, differs between the exposures.
    saturatedStars: null,
  };
  return { halo, perfect };
}

/** No word for the halo where stars are narrower than the grid can show: its profile there is a guess. */
export function cautious(halo: HaloResult | null, undersampled: boolean): HaloResult | null {
  return halo !== null && undersampled ? { ...halo, level: 'cannot tell' } : halo;
}

/** Halo numbers with the warnings that belong to them. */
function checkedNumbers(
  bootstrap: BootstrapResult,
  [r, g, b]: readonly [number, number, number],
  profiles: { rMax: number; crowding: number; openEnded: boolean },
  apertureMm: number | null,
  arcsecPerPx: number | null,
  warn: Warn,
): HaloNumbers {
  const { rMax, crowding, openEnded } = profiles;
  const scale = arcsecPerPx === null ? null : { arcsecPerPx, apertureMm };
  const numbers = haloNumbers(bootstrap, r, g, b, rMax, crowding, scale);
  if (openEnded) {
    warn(
      'open-ended-profile',
      `light is still seen at R_max = ${rMax.toFixed(1)} px: halo numbers are lower limits; --halo-radius sets a larger one`,
    );
  }
  const { perfect } = numbers;
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
  return numbers;
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
