/** Schema of one measured frame: the record of measure/result.ts as JSON. */
import * as z from 'zod';
import {
  measured,
  measuredAlways,
  number,
  numberOrNull,
  pair,
  series,
  textOrNull,
  warning,
  whole,
  wholeOrNull,
} from './schema-parts.js';

const channel = z
  .strictObject({
    backgroundAdu: measured('background level of the sky and pedestal, ADU'),
    noiseAdu: measured('1 sigma noise of one sample of the background, ADU'),
    fwhmPx: measured('full width at half maximum of the effective profile, pixel included, px'),
    hfdPx: measured('half-flux diameter: twice the radius that holds half the flux, px'),
    r50Px: measured('radius that holds 50 % of the light within normalisedWithinPx, px'),
    r80Px: measured('radius that holds 80 % of the light, px'),
    r90Px: measured('radius that holds 90 % of the light, px'),
    fwhmArcsec: measured('fwhmPx in arcsec; null while the scale is unknown'),
    hfdArcsec: measured('hfdPx in arcsec; null while the scale is unknown'),
    r50Arcsec: measured('r50Px in arcsec; null while the scale is unknown'),
    r80Arcsec: measured('r80Px in arcsec; null while the scale is unknown'),
    r90Arcsec: measured('r90Px in arcsec; null while the scale is unknown'),
    medianFitFwhmPx: measured('median FWHM of single-star Moffat fits, pixel included, px'),
    fitBeta: numberOrNull('Moffat exponent of the single-star model'),
    ellipticity: measured('(a - b)/(a + b) from the mean components of the stars; 0 = round'),
    elongationAngleDeg: numberOrNull(
      'direction of elongation, 0 to 180 degrees from +x towards +y',
    ),
    starsInProfile: whole('stars stacked into the effective profile'),
    profile: z
      .strictObject({
        radiusPx: series('radius of each sample, px'),
        brightness: series('surface brightness per square px; its integral over the disc is 1'),
        error: series('1 sigma of brightness, by bootstrap over stars'),
        encircledEnergy: series('share of the light inside each radius, 0 to 1'),
      })
      .nullable()
      .describe('effective profile of the channel; null when too few stars'),
  })
  .meta({ id: 'channel', description: 'what one colour channel shows' });

const contrast = z
  .strictObject({
    excessPercent: measured(
      'share of the light outside atRadiusPx, first colour minus second, in per cent',
    ),
    atRadiusPx: numberOrNull('radius at which the excess is read: r80 of green, px'),
    normalisedWithinPx: numberOrNull('radius within which all light is counted (R_max), px'),
    perfectLensPercent: numberOrNull('what a lens without colour error would show, per cent'),
    overPerfectLensPercent: measured('excessPercent minus perfectLensPercent'),
    reachPx: numberOrNull(
      'outermost radius where the first colour stays above the second at 3 sigma, px; null = nowhere',
    ),
    reachArcsec: numberOrNull('reachPx in arcsec'),
    curve: z
      .strictObject({
        radiusPx: series('radius, px'),
        excessPercent: series('excess at that radius, per cent'),
        low: series('lower end of the 68 % interval, per cent'),
        high: series('upper end of the 68 % interval, per cent'),
      })
      .describe('the excess as a function of radius'),
  })
  .meta({ id: 'contrast', description: 'how much further one colour spreads than another' });

const halo = z.strictObject({
  blueMinusRed: contrast.describe('blue against red: the headline number'),
  blueMinusGreen: contrast.describe('blue against green'),
  redMinusGreen: contrast.describe('red against green'),
  level: z
    .enum(['none seen', 'trace', 'plain', 'strong', 'dominant', 'cannot tell'])
    .describe('plain level of the blue halo over a perfect lens'),
  coreTintMag: measured(
    'B - R inside r50 of green relative to the whole star, mag; positive = yellowish core',
  ),
  rimTintMag: measured('the same between r80 and r95 of green, mag; negative = blue rim'),
  starColour: z
    .strictObject({
      trendPercentPerMag: measured(
        'change of blue-minus-red with the star’s own B - R, per cent per mag',
      ),
      referenceColourMag: numberOrNull('instrumental B - R of the median star, mag'),
      atReferencePercent: measured('blue-minus-red at that colour, per cent'),
      stars: whole('stars in the trend'),
    })
    .nullable()
    .describe('how the halo depends on the colour of the star'),
  saturatedStars: z
    .strictObject({
      stars: whole('saturated stars used'),
      ringPx: pair('inner and outer radius of the ring, px'),
      blueOverExpected: measured(
        'blue light in the ring over what the unsaturated profile foretells',
      ),
      redOverExpected: measured('the same for red'),
    })
    .nullable()
    .describe('ring around stars whose cores are clipped; 1 = the same halo as the other stars'),
});

const metadata = z.strictObject({
  exposureSeconds: numberOrNull('exposure time, s'),
  gainElectronsPerAdu: numberOrNull('electrons per ADU'),
  isoSpeed: numberOrNull('ISO setting of the camera; not electrons'),
  pixelSizeUm: numberOrNull('pitch of the recorded (binned) pixels, µm'),
  binning: numberOrNull('binning factor'),
  focalLengthMm: numberOrNull('focal length, mm'),
  apertureMm: numberOrNull('aperture diameter, mm'),
  filter: textOrNull('filter named by the header'),
  object: textOrNull('object named by the header'),
  telescope: textOrNull('telescope named by the header'),
  instrument: textOrNull('camera named by the header'),
  dateObs: textOrNull('start of the exposure, as in the header'),
  airmass: numberOrNull('air mass'),
  sensorTemperatureC: numberOrNull('sensor temperature, degrees Celsius'),
  focusPosition: numberOrNull('focuser position, steps'),
  ambientTemperatureC: numberOrNull('temperature of the air or the focuser, degrees Celsius'),
  imageType: textOrNull('kind of frame named by the header: light, dark, flat, …'),
  pierSide: textOrNull('side of the mount named by the header'),
  saturationAdu: numberOrNull('saturation level of the header or of --saturation, ADU'),
  pedestalAdu: numberOrNull('pedestal named by the header, ADU'),
});

/** Names of the header values. */
export const METADATA_KEYS: readonly string[] = Object.keys(metadata.shape);

const registration = z
  .strictObject({
    matchedStars: whole('stars found in both frames'),
    scale: number('pixel of the green frame over pixel of this frame'),
    rotationDeg: number('turn of the star field, degrees from +x towards +y'),
    mirrored: z.boolean().describe('one of the two is a mirror image'),
    shiftPx: number('distance that the centre of the field moved, px of the green frame'),
    shiftArcsec: numberOrNull('the same, arcsec'),
    residualRmsPx: number('scatter of the matched stars about the registration, px'),
  })
  .meta({ id: 'registration', description: 'position of one frame among the stars of another' });

const starList = z
  .strictObject({
    file: z.string().describe('path of the frame whose stars these are'),
    channels: z.array(z.enum(['R', 'G', 'B', 'L'])).describe('channels with columns of their own'),
    units: z.record(z.string(), z.string()).describe('unit of every column; empty = dimensionless'),
    columns: z
      .record(z.string(), z.array(z.number().nullable()))
      .describe('columns of the star catalogue (below), one value per star; null = not measured'),
    flags: z.array(z.int().min(0)).describe('sum of the bits of flagBits; 0 = usable'),
    flagBits: z.record(z.string(), z.int().min(1)).describe('bit of every flag, by name'),
  })
  .meta({ id: 'starList', description: 'every star found in one frame, used or not' });

/** One entry of `frames`. */
export const frameSchema = z.strictObject({
  file: z.string().describe('path as given; of a filter set: R=path G=path B=path'),
  status: z.enum(['ok', 'failed']).describe('failed = nothing was measured; see error'),
  error: z
    .strictObject({
      code: z.string().describe('stable identifier of the fault'),
      message: z.string().describe('what is wrong'),
      remedy: z.string().describe('what to do about it'),
    })
    .optional()
    .describe('present when status is "failed"'),
  width: wholeOrNull('samples along NAXIS1'),
  height: wholeOrNull('samples along NAXIS2'),
  layout: z
    .enum(['mono', 'rgb', 'cfa', 'set'])
    .nullable()
    .describe('how colour is laid out; set = three mono frames through filters'),
  setFiles: z
    .strictObject({
      R: z.string().describe('path of the red frame'),
      G: z.string().describe('path of the green frame'),
      B: z.string().describe('path of the blue frame'),
    })
    .optional()
    .describe('frames of the set; only for "set"'),
  registration: z
    .strictObject({
      R: registration.describe('the red frame'),
      B: registration.describe('the blue frame'),
    })
    .optional()
    .describe('how the frames of a set lie on the green one; only for "set"'),
  cfaPattern: z
    .enum(['RGGB', 'BGGR', 'GRBG', 'GBRG'])
    .optional()
    .describe('mosaic order in stored order: first row, then second row; only for "cfa"'),
  cfaSource: z
    .enum(['option', 'header', 'pixels'])
    .optional()
    .describe('where the mosaic order came from; only for "cfa"'),
  scaleArcsecPerPx: numberOrNull('206.265 x pixel size in µm / focal length in mm; null = unknown'),
  metadata: metadata.nullable().describe('header values with the given options merged in'),
  stars: z
    .strictObject({
      found: whole('candidates found'),
      used: whole('stars used for the numbers'),
      rejected: z
        .record(z.string(), z.int().min(0))
        .describe(
          'candidates left out, by reason; a candidate counts once, under its first reason',
        ),
      saturationAdu: numberOrNull('level at which stars clip, ADU'),
      saturationSource: z
        .enum(['option', 'header', 'frame', 'type'])
        .nullable()
        .describe('where that level came from; frame = the frame’s own clipped peak'),
      zone: z.enum(['all', 'centre']).describe('part of the frame that was used'),
    })
    .nullable()
    .describe('what became of every candidate'),
  channels: z
    .strictObject({
      R: channel.optional().describe('red'),
      G: channel.optional().describe('green'),
      B: channel.optional().describe('blue'),
      L: channel.optional().describe('the single channel of a mono frame'),
    })
    .describe('sizes, shapes and background, by channel'),
  halo: halo
    .nullable()
    .describe('false colour around stars; null for mono frames and where not measured'),
  lateralColour: z
    .strictObject({
      blueConstantPx: pair('shift of blue from green everywhere [x, y], px'),
      redConstantPx: pair('shift of red from green everywhere [x, y], px'),
      bluePerPx: measured('radial shift of blue from green per px from the frame’s centre'),
      redPerPx: measured('radial shift of red from green per px from the frame’s centre'),
      atCornerPx: measured('radial part of blue minus red at the corner, px'),
      atCornerArcsec: measured('the same in arcsec'),
      atCornerUm: measured('the same in µm on the sensor'),
    })
    .nullable()
    .describe('colours imaged at different places'),
  equivalentDefocus: z
    .strictObject({
      blueUm: measured('defocus that would blur green as much as blue is, µm, without sign'),
      redUm: measured('the same for red, µm'),
      blueFocalLengthFraction: measured('blueUm as a share of the focal length; f/N means 1/N'),
      redFocalLengthFraction: measured('redUm as a share of the focal length'),
      blueBlurPx: measured('diameter of the blur disc that turns green into blue, px'),
      redBlurPx: measured('diameter of the blur disc that turns green into red, px'),
    })
    .nullable()
    .describe('the extra blur of a colour as a length'),
  lensLikeness: z
    .strictObject({
      blueAchromatShare: measuredAlways('blueUm over that of a classical achromat (N-BK7, F2)'),
      blueDepthsOfFocus: measuredAlways('blueUm over half the depth of focus at green, 2 λN²'),
      achromatBlueFocalLengthFraction: number('what the achromat has, share of the focal length'),
      like: z
        .enum([
          'worse than an achromat',
          'achromat',
          'between achromat and ED doublet',
          'ED doublet',
          'apochromat',
          'better than a usual apochromat',
        ])
        .describe('kind of lens that such a share is usual for'),
      upperLimit: z
        .boolean()
        .describe('true = nothing sure was seen; `like` is that of the upper end'),
    })
    .nullable()
    .optional()
    .describe('blue defocus beside what is expected; null without aperture or focal length'),
  corners: z
    .strictObject({
      leading: z.string().describe('leading cause, "none" (sound) or "cannot tell"; as in `field`'),
      summary: z.string().describe('the same in a sentence'),
    })
    .nullable()
    .optional()
    .describe(
      'what the star shapes over the frame say; only for a single frame, null without stars',
    ),
  linearity: z
    .strictObject({
      verdict: z
        .enum(['linear', 'stretched', 'cannot tell'])
        .describe('is brightness proportional to light?'),
      sizeTrendPercentPerDecade: measured('change of star size per tenfold brightness, per cent'),
      reasons: z.array(z.string()).describe('what the verdict rests on'),
    })
    .nullable()
    .describe('whether the data is linear'),
  sentence: z.string().describe('the result in plain words'),
  warnings: z.array(warning).describe('doubts about this frame'),
  starList: z
    .array(starList)
    .optional()
    .describe('--with-stars: one list of the frame, or one for each frame of a set'),
});
