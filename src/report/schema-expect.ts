/** Schema of the document of `expect`. */
import * as z from 'zod';
import { EXPECT_SCHEMA_ID } from './expect-json.js';
import { number, numberOrNull, warning } from './schema-parts.js';

const expectedRange = z
  .strictObject({
    value: z.number().describe('expected'),
    low: z.number().describe('lower end of the range'),
    high: z.number().describe('upper end of the range'),
  })
  .meta({
    id: 'expectedRange',
    description:
      'an expectation with what is left open by what is not known (rangeFrom); not a 68 % interval',
  });
const expected = (meaning: string) => expectedRange.describe(meaning);

const expectedBand = z
  .strictObject({
    band: z.enum(['R', 'G', 'B']).describe('colour'),
    wavelengthNm: number('effective wavelength, nm'),
    rangeNm: z.tuple([z.number(), z.number()]).describe('range that the blur is averaged over, nm'),
    focusShiftUm: number(
      'focus of that wavelength less that of green, µm; + = farther from the lens',
    ),
    blurUm: number('diameter of the disc with the band’s mean square blur, green in focus, µm'),
    blurArcsec: number('the same, arcsec'),
    blurAiryRadii: number('the same over the radius of green’s first dark ring'),
    depthOfFocusUm: number('half the depth of focus at that wavelength, 2 λN², µm'),
    blurPx: numberOrNull('the same as blurUm, px; null without --pixel-size'),
  })
  .meta({ id: 'expectedBand', description: 'one colour of a lens' });

const limit = z
  .strictObject({
    name: z.string().describe('who gave it'),
    ratio: number('focal ratio over aperture in inches'),
    source: z.string().describe('where it is printed (from memory)'),
    reached: z.boolean().describe('whether this lens’s colour is within it'),
  })
  .meta({ id: 'classicalLimit', description: 'a classical rule for achromats' });

const defocus = z
  .strictObject({
    um: number('blur of the colour over green as a defocus, µm'),
    focalLengthFraction: number('the same as a share of the focal length; f/N means 1/N'),
    depthsOfFocus: number('the same over half the depth of focus at green'),
  })
  .meta({ id: 'expectedDefocus', description: 'equivalent defocus, without sign' });

const contrast = z
  .strictObject({
    excessPercent: expected('EE difference at atRadiusArcsec, % of a star’s light'),
    perfectLensPercent: number('the same of a lens without colour error, %'),
    overPerfectLensPercent: expected('the difference, points'),
  })
  .meta({ id: 'expectedContrast', description: 'one colour against another' });

const word = () => z.enum(['none', 'trace', 'plain', 'strong', 'dominant']);

const halo = z
  .strictObject({
    seeingArcsec: expected('FWHM of the air at 500 nm, arcsec'),
    seeingAssumed: z.boolean().describe('true = --seeing was not given'),
    pixelIncluded: z.boolean().describe('false = --pixel-size was not given'),
    filters: z.enum(['mosaic', 'separate', 'table']).describe('whose bands'),
    greenFwhmArcsec: number('FWHM of the recorded green star, arcsec'),
    atRadiusArcsec: number('r80 of green, arcsec'),
    normalisedWithinArcsec: number('R_max, within which all light is counted, arcsec'),
    greenFwhmPx: numberOrNull('px; null without --pixel-size'),
    atRadiusPx: numberOrNull('px'),
    normalisedWithinPx: numberOrNull('px'),
    bestFocusUm: number('best green focus less the focus of 535 nm, µm'),
    blueMinusRed: contrast.describe('blue against red'),
    blueMinusGreen: contrast.describe('blue against green'),
    redMinusGreen: contrast.describe('red against green'),
    level: word().describe('word for blue minus red over the perfect lens, as in `measure`'),
    levelRange: z.tuple([word(), word()]).describe('words for the ends of its range'),
    blueOutsidePercent: number('blue light outside atRadiusArcsec, %'),
    rangeFrom: z.array(z.string()).describe('what the ranges stand for'),
  })
  .meta({ id: 'expectedHalo', description: 'what a picture must show' });

const lens = z
  .strictObject({
    lens: z.string().describe('kind, or names of the glasses'),
    basis: z
      .enum(['glasses', 'assumed factor'])
      .describe('computed from indices, or a share of the achromat’s colour error'),
    colourFactor: numberOrNull('blue defocus over the classical achromat’s; null = blue no wider'),
    secondarySpectrum: z.array(expectedBand).describe('colour by colour'),
    blueDefocus: defocus.describe('blue over green'),
    redDefocus: defocus.describe('red over green'),
    achromatRatio: numberOrNull(
      'aperture-to-speed ratio of an achromat of equal colour; null = none',
    ),
    classicalLimits: z.array(limit).describe('classical rules'),
    expectedColour: z
      .enum(['hard to see', 'slight', 'plain', 'strong'])
      .describe('at the eyepiece, by achromatRatio: from 5, from 3, from 1.5, below'),
    halo: halo.describe('on a picture'),
    stopDown: z
      .array(
        z.strictObject({
          reaches: z.string().describe('the rule, or "depth of focus" for blue within it'),
          apertureMm: number('aperture, mm'),
          focalRatio: number('focal ratio then'),
          lightLeftPercent: number('light left, %'),
          blueMinusRedPercent: number('blue minus red then, within its own R_max, %'),
          blueBlurArcsec: number('diameter of the blue disc then, arcsec'),
        }),
      )
      .describe('what stopping down would do; empty = not needed, or not possible'),
    filters: z
      .array(
        z.strictObject({
          cutBelowNm: number('takes all light below, nm'),
          blueLostPercent: number('share of the blue channel’s light that it costs, %'),
          blueMinusRedPercent: number('blue minus red then, %'),
        }),
      )
      .describe('what a filter against violet would do; empty = nothing to gain'),
    sentence: z.string().describe('in plain words'),
  })
  .meta({ id: 'expectedLens', description: 'one kind of lens' });

const glassSchema = z.strictObject({
  name: z.string().describe('name'),
  b: z.array(z.number()).describe('Sellmeier B1 to B3'),
  c: z.array(z.number()).describe('Sellmeier C1 to C3, µm²'),
  rangeNm: z.array(z.number()).describe('range of the coefficients, nm'),
});

/** The document that `bluerim expect --json` writes. */
export const expectDocumentSchema = z.strictObject({
  schema: z.literal(EXPECT_SCHEMA_ID).describe('kind and version of this document'),
  version: z.string().describe('version of bluerim that wrote it'),
  parameters: z
    .strictObject({
      range: z.string().describe('what low and high mean'),
      apertureMm: numberOrNull('--aperture, mm'),
      focalLengthMm: numberOrNull('--focal-length, mm'),
      focalRatio: numberOrNull('--focal-ratio'),
      glasses: z
        .strictObject({
          crown: glassSchema.describe('of the positive lens'),
          flint: glassSchema.describe('of the negative lens'),
          correctedNm: z.array(z.number()).optional().describe('colours brought together, nm'),
        })
        .nullable()
        .describe('--glasses or --corrected; null = a kind by name'),
      filters: z.enum(['mosaic', 'separate', 'table']).describe('--filters, or --response'),
      response: z
        .strictObject({
          wavelengthNm: z.array(z.number()).describe('nm'),
          R: z.array(z.number()).describe('red'),
          G: z.array(z.number()).describe('green'),
          B: z.array(z.number()).describe('blue'),
        })
        .nullable()
        .describe('--response; null = usual filters'),
      pixelSizeUm: numberOrNull('--pixel-size, µm'),
      seeingArcsec: numberOrNull('--seeing, arcsec; null = 2 to 4 assumed'),
      haloRadiusArcsec: numberOrNull('--halo-radius-arcsec; null = 8 × the FWHM of green'),
    })
    .describe('what was asked'),
  apertureMm: number('aperture, mm'),
  focalLengthMm: number('focal length, mm'),
  focalRatio: number('focal length over aperture'),
  airyFwhmUm: number('FWHM of the diffraction disc at 535 nm, µm'),
  airyFwhmArcsec: number('the same, arcsec'),
  airyRadiusUm: number('radius of its first dark ring, µm'),
  airyRadiusArcsec: number('the same, arcsec'),
  airySharePercent: number('light inside that ring, %'),
  depthOfFocusUm: number('half the depth of focus at 535 nm, 2 λN², µm'),
  apertureSpeedRatio: number('focal ratio over aperture in inches'),
  lens: z.string().describe('the first lens; the next two fields are its own'),
  secondarySpectrum: z.array(expectedBand).describe('of the first lens'),
  classicalLimits: z.array(limit).describe('for the first lens'),
  lenses: z.array(lens).describe('every lens asked for'),
  warnings: z.array(warning).describe('what is missing or assumed'),
});
