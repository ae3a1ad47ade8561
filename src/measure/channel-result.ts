/** The published record of one channel: background, sizes, shape, profile. */
import { standardDeviation } from '../stats/robust.js';
import type { BootstrapResult } from './bootstrap.js';
import type { EffectiveProfiles } from './effective-profiles.js';
import type { Found } from './find.js';
import { ellipticityResult, medianFitFwhm } from './fit-summary.js';
import { channelSizes } from './halo.js';
import type { ChannelResult, Uncertain } from './result.js';
import { plusMinus, scaled } from './uncertain.js';

/** Systematic error of the sky level in units of its noise: skew of photon noise, unresolved stars. */
const BACKGROUND_SYSTEMATIC = 0.1;

export function channelResult(
  found: Found,
  lattices: readonly number[],
  effective: EffectiveProfiles | null,
  bootstrap: BootstrapResult | null,
  c: number,
  stars: readonly number[],
  beta: number,
  arcsecPerPx: number | null,
  seed: number,
  /** Index of the channel's single-star fits: the frames of a set have one each. */
  fitChannel = c,
): ChannelResult {
  const { mesh, sources } = found;
  const average = (values: Float64Array): number =>
    lattices.reduce((sum, l) => sum + (values[l] as number), 0) / lattices.length;
  const sparse = lattices.length === 1 && found.mesh.lattices === 4;
  const sizes = bootstrap ? channelSizes(bootstrap, c, sparse) : null;
  const fits = sources.fits[fitChannel];
  const shape = fits ? ellipticityResult(fits, stars, beta, seed) : null;
  const n = bootstrap?.radii.length ?? 0;
  const slice = (values: Float64Array): number[] => Array.from(values.subarray(c * n, (c + 1) * n));
  const px = (value: Uncertain | null | undefined): Uncertain | null => value ?? null;
  return {
    backgroundAdu: plusMinus(
      average(mesh.medianLevel),
      Math.sqrt(
        average(mesh.medianLevelError) ** 2 +
          (BACKGROUND_SYSTEMATIC * average(mesh.medianNoise)) ** 2,
      ),
    ),
    noiseAdu: plusMinus(average(mesh.medianNoise), average(mesh.medianNoiseError)),
    fwhmPx: px(sizes?.fwhm),
    hfdPx: px(sizes?.hfd),
    r50Px: px(sizes?.r50),
    r80Px: px(sizes?.r80),
    r90Px: px(sizes?.r90),
    fwhmArcsec: scaled(px(sizes?.fwhm), arcsecPerPx),
    hfdArcsec: scaled(px(sizes?.hfd), arcsecPerPx),
    r50Arcsec: scaled(px(sizes?.r50), arcsecPerPx),
    r80Arcsec: scaled(px(sizes?.r80), arcsecPerPx),
    r90Arcsec: scaled(px(sizes?.r90), arcsecPerPx),
    medianFitFwhmPx: fits ? medianFitFwhm(fits, stars, beta) : null,
    fitBeta: Number.isFinite(beta) ? beta : null,
    ellipticity: shape?.ellipticity ?? null,
    elongationAngleDeg: shape?.angleDeg ?? null,
    starsInProfile: effective ? effective.stars.length : 0,
    profile: bootstrap
      ? {
          radiusPx: Array.from(bootstrap.radii),
          brightness: slice(bootstrap.best.brightness),
          error: Array.from(
            { length: n },
            (_, i) =>
              bootstrap.smallSample *
              standardDeviation(
                bootstrap.draws.map((draw) => draw.brightness[c * n + i] as number),
              ),
          ),
          encircledEnergy: slice(bootstrap.best.enclosed),
        }
      : null,
  };
}
