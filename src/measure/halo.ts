/** The halo of docs/algorithms.md, read off the profiles of one frame: excess, reach, tints, level. */
import { HALO_LEVELS } from '../optics/halo-levels.js';
import { type PerfectLens, perfectLens } from '../optics/perfect-lens.js';
import { standardDeviation } from '../stats/robust.js';
import type { BootstrapResult, ProfileReadings } from './bootstrap.js';
import type { HaloContrast, HaloLevel, Uncertain } from './result.js';
import { excessError, PERFECT_LENS_POINTS, sizeError, widen } from './systematics.js';
import { halfWidth, scaled, uncertain } from './uncertain.js';

/** An excess counts as seen when it stands this many half-intervals above zero. */
const SEEN_SIGMA = 2;
const REACH_SIGMA = 3;

export interface HaloNumbers {
  blueMinusRed: HaloContrast;
  blueMinusGreen: HaloContrast;
  redMinusGreen: HaloContrast;
  level: HaloLevel;
  coreTintMag: Uncertain | null;
  rimTintMag: Uncertain | null;
  /** The perfect-lens model behind the numbers; null when it cannot be computed. */
  perfect: PerfectLens | null;
}

export interface HaloScale {
  arcsecPerPx: number;
  apertureMm: number | null;
}

/**
 * @param r, g, b channel indices in the readings
 * @param crowding neighbours' light within R_max over the star's own, median star
 */
export function haloNumbers(
  bootstrap: BootstrapResult,
  r: number,
  g: number,
  b: number,
  rMax: number,
  crowding: number,
  scale: HaloScale | null,
): HaloNumbers {
  const { best, draws, radii, smallSample } = bootstrap;
  const atRadius = best.r80[g] as number;
  const perfect = perfectLens({
    greenFwhmPx: best.fwhm[g] as number,
    atRadiusPx: atRadius,
    rMaxPx: rMax,
    scale,
  });
  // Without aperture and scale the diffraction of a perfect lens is unknown: then no number is given, only a range for the level.
  const known = perfect?.diffractionIncluded ? perfect : null;
  const contrast = (wide: number, narrow: number, perfectPercent: number | null): HaloContrast => {
    // Light of the wide channel outside r beyond the narrow one's share: EE_narrow − EE_wide.
    const at = (reading: ProfileReadings): number =>
      100 *
      ((reading.atReference[narrow * 3 + 1] as number) -
        (reading.atReference[wide * 3 + 1] as number));
    const value = at(best);
    const excess = widen(
      uncertain(value, draws.map(at), smallSample),
      excessError(value, crowding),
    ) ?? {
      value,
      low: Number.NaN,
      high: Number.NaN,
    };
    const n = radii.length;
    const curve = {
      radiusPx: [] as number[],
      excessPercent: [] as number[],
      low: [] as number[],
      high: [] as number[],
    };
    let reach: number | null = null;
    const differences = new Float64Array(draws.length);
    for (let i = 0; i < n; i++) {
      const value =
        100 * ((best.enclosed[narrow * n + i] as number) - (best.enclosed[wide * n + i] as number));
      differ(draws, 'enclosed', narrow * n + i, wide * n + i, differences);
      const sigma = 100 * smallSample * standardDeviation(differences);
      curve.radiusPx.push(radii[i] as number);
      curve.excessPercent.push(value);
      curve.low.push(value - sigma);
      curve.high.push(value + sigma);
    }
    // Reach: outermost radius to which the difference of the profiles stays above zero at 3 σ, from the first such radius on.
    let inside = false;
    for (let i = 1; i < n; i++) {
      const value =
        (best.brightness[wide * n + i] as number) - (best.brightness[narrow * n + i] as number);
      differ(draws, 'brightness', wide * n + i, narrow * n + i, differences);
      const above = value > REACH_SIGMA * smallSample * standardDeviation(differences);
      if (above) {
        inside = true;
        reach = radii[i] as number;
      } else if (inside) break;
    }
    const over =
      perfectPercent === null
        ? null
        : widen(
            {
              value: excess.value - perfectPercent,
              low: excess.low - perfectPercent,
              high: excess.high - perfectPercent,
            },
            PERFECT_LENS_POINTS,
          );
    return {
      excessPercent: excess,
      atRadiusPx: atRadius,
      normalisedWithinPx: rMax,
      perfectLensPercent: perfectPercent,
      overPerfectLensPercent: over,
      reachPx: reach,
      reachArcsec: reach !== null && scale ? reach * scale.arcsecPerPx : null,
      curve,
    };
  };
  const blueMinusRed = contrast(b, r, known?.blueMinusRedPercent ?? null);
  // Colour B − R of a part of the image against the whole star: −2.5 log (blue share / red share).
  const tint = (blue: (reading: ProfileReadings, c: number) => number): Uncertain | null => {
    const at = (reading: ProfileReadings): number =>
      -2.5 * Math.log10(blue(reading, b) / blue(reading, r));
    return uncertain(at(best), draws.map(at), smallSample);
  };
  return {
    blueMinusRed,
    blueMinusGreen: contrast(b, g, known?.blueMinusGreenPercent ?? null),
    redMinusGreen: contrast(r, g, known?.redMinusGreenPercent ?? null),
    level: haloLevel(
      blueMinusRed.overPerfectLensPercent ??
        overRange(blueMinusRed.excessPercent, perfect?.rangePercent ?? null),
    ),
    coreTintMag: tint((reading, c) => reading.atReference[c * 3] as number),
    rimTintMag: tint(
      (reading, c) =>
        (reading.atReference[c * 3 + 2] as number) - (reading.atReference[c * 3 + 1] as number),
    ),
    perfect,
  };
}

/** Of every draw: one element of a curve less another one. */
function differ(
  draws: readonly ProfileReadings[],
  curve: 'enclosed' | 'brightness',
  at: number,
  less: number,
  out: Float64Array,
): void {
  for (let d = 0; d < out.length; d++) {
    const values = (draws[d] as ProfileReadings)[curve];
    out[d] = (values[at] as number) - (values[less] as number);
  }
}

/** Excess over a perfect lens known only to lie within a range: the middle is taken off, the range widens the interval. */
function overRange(excess: Uncertain, range: { low: number; high: number } | null): Uncertain {
  if (!range) return excess;
  const half = 0.5 * (range.high - range.low);
  const middle = 0.5 * (range.high + range.low);
  return {
    value: excess.value - middle,
    low: excess.low - middle - half,
    high: excess.high - middle + half,
  };
}

/** Plain word for an excess over the perfect lens. Not significant, or below two points, is "none seen"; an interval too wide to say is "cannot tell". */
export function haloLevel(excess: Uncertain): HaloLevel {
  const sigma = halfWidth(excess);
  if (!Number.isFinite(excess.value) || !Number.isFinite(sigma)) return 'cannot tell';
  if (excess.value < SEEN_SIGMA * sigma) {
    // Nothing significant; but an interval that would hide a plain halo is no answer.
    return excess.value + SEEN_SIGMA * sigma > 15 ? 'cannot tell' : 'none seen';
  }
  for (const { from, level } of HALO_LEVELS) if (excess.value >= from) return level;
  return 'none seen';
}

/** Sizes in px of one channel with intervals; `sparse` = on every fourth site of a mosaic. */
export function channelSizes(
  bootstrap: BootstrapResult,
  c: number,
  sparse: boolean,
): Record<'fwhm' | 'hfd' | 'r50' | 'r80' | 'r90', Uncertain | null> {
  const { best, draws, smallSample } = bootstrap;
  const of = (key: 'fwhm' | 'r50' | 'r80' | 'r90'): Uncertain | null =>
    widen(
      uncertain(
        best[key][c] as number,
        draws.map((reading) => reading[key][c] as number),
        smallSample,
      ),
      sizeError(key, sparse, best.fwhm[c] as number) * (best[key][c] as number),
    );
  const r50 = of('r50');
  return { fwhm: of('fwhm'), hfd: scaled(r50, 2), r50, r80: of('r80'), r90: of('r90') };
}
