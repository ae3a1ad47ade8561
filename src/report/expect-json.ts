/** The machine-readable document of `expect`. */
import type { HaloConditions } from '../optics/expected-halo.js';
import type { GlassPair, LensGeometry } from '../optics/lens-expectation.js';
import type { LensOutlook } from '../optics/lens-outlook.js';
import { VERSION } from '../version.js';
import type { Warning } from '../warnings.js';

export const EXPECT_SCHEMA_ID = 'bluerim/expect/1';

/** What was asked, null where not given. */
export interface ExpectQuestion {
  given: Partial<LensGeometry>;
  glasses: GlassPair | null;
  conditions: HaloConditions;
}

/** @param outlooks at least one; the fields beside `lenses` are those of the first */
export function expectDocument(
  outlooks: readonly LensOutlook[],
  { given, glasses, conditions }: ExpectQuestion,
  warnings: readonly Warning[],
): object {
  const first = outlooks[0];
  if (first === undefined) throw new TypeError('no lens');
  const { filters, pixelSizeUm, seeingArcsec, rMaxArcsec } = conditions;
  return {
    schema: EXPECT_SCHEMA_ID,
    version: VERSION,
    parameters: {
      range:
        'low and high bound what the things not known leave open (rangeFrom); no 68 % interval',
      apertureMm: given.apertureMm ?? null,
      focalLengthMm: given.focalLengthMm ?? null,
      focalRatio: given.focalRatio ?? null,
      glasses,
      filters: typeof filters === 'string' ? filters : 'table',
      response: typeof filters === 'string' ? null : filters,
      pixelSizeUm,
      seeingArcsec,
      haloRadiusArcsec: rMaxArcsec,
    },
    apertureMm: first.apertureMm,
    focalLengthMm: first.focalLengthMm,
    focalRatio: first.focalRatio,
    airyFwhmUm: first.airyFwhmUm,
    airyFwhmArcsec: first.airyFwhmArcsec,
    airyRadiusUm: first.airyRadiusUm,
    airyRadiusArcsec: first.airyRadiusArcsec,
    airySharePercent: 100 * first.airyShare,
    depthOfFocusUm: first.depthOfFocusUm,
    apertureSpeedRatio: first.apertureSpeedRatio,
    lens: first.lens,
    secondarySpectrum: first.secondarySpectrum,
    classicalLimits: first.classicalLimits,
    lenses: outlooks.map((each) => ({
      lens: each.lens,
      basis: each.basis,
      colourFactor: each.colourFactor,
      secondarySpectrum: each.secondarySpectrum,
      blueDefocus: each.blueDefocus,
      redDefocus: each.redDefocus,
      achromatRatio: each.achromatRatio,
      classicalLimits: each.classicalLimits,
      expectedColour: each.expectedColour,
      halo: each.halo,
      stopDown: each.stopDown,
      filters: each.filters,
      sentence: each.sentence,
    })),
    warnings,
  };
}
