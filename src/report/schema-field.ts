/** Schema of the document of `field`. */
import * as z from 'zod';
import { NINTHS } from '../field/ninths.js';
import { FIELD_SCHEMA_ID } from './field-json.js';
import {
  failedFile,
  frameParameterShape,
  measured,
  measuredAlways,
  number,
  numberOrNull,
  series,
  warning,
  whole,
} from './schema-parts.js';

const CAUSES = [
  'defocus',
  'tilt',
  'curvature',
  'miscollimation',
  'tracking',
  'lateral colour',
  'dispersion',
  'vignetting',
] as const;

const cause = z
  .strictObject({
    cause: z.enum(CAUSES).describe('what is wrong'),
    strength: measuredAlways('how much of it, in `unit`'),
    unit: z.enum(['µm', 'px', 'nm', '%']).describe('unit of strength'),
    confidence: number('0 to 1: support by this data against the alternatives named'),
    effectPx: number('what it adds to the worst stars, px'),
    directionDeg: measured('degrees from +x towards +y; null = no direction'),
    evidence: z.array(z.string()).describe('what the stars show, in plain words'),
    alternatives: z.array(z.string()).describe('what else could explain it'),
    nextCheck: z.string().describe('what to do next to be sure'),
    caution: z.string().nullable().describe('what to mind before touching a screw'),
  })
  .meta({ id: 'cause', description: 'one cause of star shapes' });

const cell = z
  .strictObject({
    x: number('mean place of its stars, px'),
    y: number('mean place of its stars, px'),
    left: number('border, px'),
    top: number('border at large y, px'),
    right: number('border, px'),
    bottom: number('border at small y, px'),
    stars: whole('stars in the cell'),
    fwhmPx: measuredAlways('median FWHM in green (or mono), px'),
    redFwhmPx: measured('the same in red, px'),
    blueFwhmPx: measured('the same in blue, px'),
    e1: number('ellipticity (a − b)/(a + b) along x'),
    e2: number('the same along 45 degrees from +x towards +y'),
    ellipticityError: number('1 sigma of either component'),
    skewX: number('where the outer light lies beside the core, px along x'),
    skewY: number('the same along y, px'),
    skewError: number('1 sigma of either, px'),
    stamp: z
      .strictObject({
        side: whole('samples along each side'),
        pixels: series('row by row from small y, peak 1'),
      })
      .nullable()
      .describe('mean image of its stars'),
  })
  .meta({ id: 'cell', description: 'stars of one cell of the map' });

const place = z
  .strictObject({
    place: z.enum(NINTHS).describe('ninth of the frame; upper = large y'),
    stars: whole('stars there'),
    fwhmPx: measured('mean FWHM, px'),
    ellipticity: measured('length of the mean ellipticity'),
    elongationAngleDeg: numberOrNull('0–180 from +x towards +y; null = round'),
  })
  .meta({ id: 'place', description: 'one ninth of the frame' });

const model = z
  .strictObject({
    stars: whole('stars in the fit'),
    sharpFwhmPx: measuredAlways('FWHM without aberration: seeing, diffraction, guiding, pixel; px'),
    defocusUm: measured('distance from best focus at the centre, µm'),
    tiltUm: measured('change of focus across the diagonal, µm'),
    tiltDeg: measured('the same as an angle, degrees'),
    tiltDirectionDeg: measuredAlways('axis along which focus changes, 0–180 degrees'),
    curvatureUm: measured('change of focus from centre to corner, µm'),
    curvatureRadiusMm: measured('radius of the focal surface, mm'),
    astigmatismUm: measured('half the distance of the two foci at the corner, µm'),
    astigmatismWithCurvature: z
      .boolean()
      .nullable()
      .describe('true when astigmatism has the sign of curvature; null = not seen'),
    comaAtCornerNm: measured('coma at the corner, nm root mean square'),
    comaConstantNm: measured('coma at the centre, nm root mean square'),
    comaCentrePx: z
      .tuple([z.number(), z.number()])
      .nullable()
      .describe('where coma vanishes, px; null = nowhere near'),
    tiltPx: measuredAlways('tilt as blur at the edge, px'),
    curvaturePx: measuredAlways('curvature as blur at the corner, px'),
    astigmatismPx: measuredAlways('astigmatism as blur at the corner, px'),
    comaAtCornerPx: measuredAlways('coma at the corner, px'),
    comaConstantPx: measuredAlways('coma at the centre, px'),
    uniformEllipticity: measuredAlways('elongation common to all stars, (a − b)/(a + b)'),
    uniformAngleDeg: number('its angle, 0–180 from +x towards +y'),
    places: z
      .strictObject({
        centre: number('FWHM of the model at the centre, px'),
        corners: z
          .tuple([z.number(), z.number(), z.number(), z.number()])
          .describe('at the corners: small x and y; large x; small x, large y; both large; px'),
        left: number('at the left edge, px'),
        right: number('at the right edge, px'),
        top: number('at the edge of large y, px'),
        bottom: number('at the edge of small y, px'),
      })
      .describe('FWHM of the model'),
    surface: z
      .strictObject({
        across: whole('points along x, from border to border'),
        down: whole('points along y, from border to border'),
        fwhmPx: series('FWHM of the model, px, row by row from small y'),
        errorPx: number('its 1 sigma, root mean square over the points, px'),
      })
      .nullable()
      .describe(
        'sizes of the model over the frame; null = no cause leads, or hardly any difference',
      ),
  })
  .meta({ id: 'model', description: 'the physical model of the field' });

const lightChannel = z
  .strictObject({
    channel: z.enum(['R', 'G', 'B', 'L']).describe('colour'),
    centreLightAdu: measuredAlways('sky light at the centre of illumination, ADU'),
    radii: z
      .array(
        z.strictObject({
          illuminationPercent: number('90, 75 or 50 % of the centre’s light'),
          radiusPx: measured('radius of that light, px; null = not inside the frame'),
          radiusMm: measured('the same, mm'),
        }),
      )
      .describe('radii of equal light'),
    cornersPercent: z
      .array(measuredAlways('light at a corner, % of the centre’s'))
      .describe('corners: small x and y; large x; small x, large y; both large'),
    meanCornerPercent: measuredAlways('mean of the corners, % of the centre’s light'),
    darkestCornerPercent: measuredAlways('darkest corner, % of the centre’s light'),
    centreOffsetPx: z
      .strictObject({
        x: measuredAlways('along x, px'),
        y: measuredAlways('along y, px'),
      })
      .nullable()
      .describe('centre of illumination less the frame’s; null = not decided'),
    gradientPercent: z
      .strictObject({
        x: measuredAlways('along x, %'),
        y: measuredAlways('along y, %'),
      })
      .describe('slope of the sky from edge to edge, % of its mean'),
    gradientSeparated: z
      .boolean()
      .describe('false = slope of the sky and shifted centre look alike here'),
    profile: z
      .strictObject({
        radiusPx: series('distance from the centre, px'),
        illuminationPercent: series('light there, % of the centre’s'),
        lowPercent: series('lower end of the 68 % interval'),
        highPercent: series('upper end'),
      })
      .describe('light against distance'),
    cornerPercentPerPedestalAdu: number(
      'change of the mean corner for 1 ADU more pedestal, points',
    ),
    kind: z.enum(['even', 'gradual', 'edge', 'cannot tell']).describe('how the light falls'),
    edgeStartPx: measured('where a hard fall begins, px; null = none'),
    naturalCornerPercent: numberOrNull('what cos⁴ of the field angle leaves at the corner, %'),
    unevenPercent: number('scatter of the cells about the fit, % of the centre’s light'),
    cells: whole('cells in the fit'),
    cellsLeftOut: whole('cells left out as too bright or dark'),
    map: z
      .strictObject({
        cellsX: whole('cells across'),
        cellsY: whole('cells along y'),
        percent: series('light, % of the centre’s, row by row from small y'),
      })
      .describe('the map, slope of the sky taken out'),
  })
  .meta({ id: 'lightChannel', description: 'light fall-off in one colour' });

const illumination = z
  .strictObject({
    status: z
      .enum(['measured', 'flat applied', 'cannot tell'])
      .describe('whether the sky tells the fall-off'),
    reason: z.string().nullable().describe('why nothing, or not all, can be said'),
    pedestal: z
      .strictObject({
        source: z.enum(['header', 'option', 'bias']).describe('where it came from'),
        adu: number('level of no light, ADU'),
        errorAdu: number('1 sigma, ADU; 0 = taken as exact'),
        latticeAdu: series('per site of the mosaic').nullable().describe('null = one for all'),
      })
      .nullable()
      .describe('null = not known: then no percentages'),
    flat: z
      .strictObject({
        state: z.enum(['raw', 'flat applied', 'cannot tell']).describe('by level and noise'),
        levelChangePercent: measured('sky level, corner zones against centre zone, % change'),
        varianceChangePercent: measured('variance of its noise, the same zones, % change'),
        photonShare: numberOrNull('share of the noise that photons make'),
        cornerPercentFromNoise: z
          .strictObject({ low: number('lower end, %'), high: number('upper end, %') })
          .nullable()
          .describe('light the corner zones got, read off the noise of a flat-divided frame'),
        evidence: z.array(z.string()).describe('in plain words'),
      })
      .describe('whether a flat field was applied'),
    reference: z.int().nullable().describe('index of the channel that sentences refer to'),
    channels: z.array(lightChannel).describe('by colour'),
    fillsSensor: z
      .enum(['yes', 'no', 'cannot tell'])
      .describe('whether every corner gets half of the centre’s light'),
    cornerAtMostPercent: numberOrNull('upper bound without a pedestal, % of the centre’s light'),
    limits: z.array(z.string()).describe('what the numbers rest on'),
  })
  .meta({ id: 'illumination', description: 'light fall-off over the frame, from the sky' });

const bound = (meaning: string) =>
  z
    .strictObject({
      value: numberOrNull('best estimate; null = not reached where there are stars'),
      low: numberOrNull('lower end of the 68 % interval; null = not reached'),
      high: numberOrNull('upper end; null = not reached'),
    })
    .describe(meaning);

const correctedCircle = z
  .strictObject({
    status: z
      .enum(['inside the frame', 'whole frame', 'cannot tell'])
      .describe('where the circle ends'),
    reason: z.string().nullable().describe('why it cannot be told'),
    maxGrowth: number('--max-growth: largest FWHM over that at the centre'),
    maxEllipticity: number('--max-ellipticity: largest (a − b)/(a + b)'),
    stars: whole('stars it rests on'),
    centreFwhmPx: measured('FWHM at the centre, px'),
    centreEllipticity: numberOrNull('ellipticity at the centre'),
    radiusPx: bound('radius within which no direction exceeds a limit, px'),
    radiusMm: bound('the same, mm').nullable(),
    halfDiagonalShare: bound('the same over the half diagonal of the frame'),
    sizeRadiusPx: bound('radius of the limit on size alone, px'),
    elongationRadiusPx: bound('radius of the limit on ellipticity alone, px'),
    limitedBy: z.enum(['size', 'elongation']).nullable().describe('which limit ends it'),
    atLeastPx: numberOrNull('how far all is well where no end is found, px'),
    atLeastMm: numberOrNull('the same, mm'),
    formatMm: z
      .tuple([z.number(), z.number()])
      .nullable()
      .describe('width and height of the largest usual sensor inside the circle, mm; null = none'),
    formatAtLeast: z.boolean().describe('true = a larger one may fit: the end was not seen'),
  })
  .meta({ id: 'correctedCircle', description: 'the largest well-corrected circle' });

const measuredSet = z
  .strictObject({
    files: z.array(z.string()).describe('frames of the set'),
    failed: z.array(failedFile).describe('frames that could not be read'),
    width: whole('samples along NAXIS1'),
    height: whole('samples along NAXIS2'),
    layout: z.enum(['mono', 'rgb', 'cfa']).describe('how colour is laid out'),
    pixelSizeUm: numberOrNull('pitch of the pixels, µm'),
    focalRatio: numberOrNull('focal length over aperture'),
    scaleArcsecPerPx: numberOrNull('arcsec per px'),
    places: z.array(place).describe('the map in nine places, in reading order'),
    stars: whole('stars whose shapes were fitted'),
    frames: whole('frames that were combined'),
    causes: z.array(cause).describe('causes found, largest effect first'),
    leading: z
      .enum([...CAUSES, 'none', 'cannot tell'])
      .describe('the leading cause; "none" = sound'),
    between: z.array(z.enum(CAUSES)).describe('what it lies between when it cannot be told'),
    summary: z.string().describe('the result in a sentence'),
    model: model.nullable().describe('null with too few stars'),
    colourShift: z
      .strictObject({
        blueMinusRedConstantPx: z
          .tuple([z.number(), z.number()])
          .describe('blue from red everywhere, px'),
        constantErrorPx: number('1 sigma of either, px'),
        blueMinusRedAtCornerPx: measuredAlways('blue from red growing to the corner, px'),
      })
      .nullable()
      .describe('null for mono frames and few stars'),
    cells: z.array(cell).describe('the map'),
    starsLeftOut: z.record(z.string(), z.int()).describe('stars left out, by reason'),
    correctedCircle: correctedCircle
      .nullable()
      .describe('how far from the centre stars stay small and round'),
    illumination: illumination.nullable().describe('light fall-off; null = not looked at'),
  })
  .meta({ id: 'fieldSet', description: 'frames of one field with the camera left as it was' });

const emptySet = z
  .strictObject({
    files: z.array(z.string()).describe('frames of the set'),
    failed: z.array(failedFile).describe('frames that could not be read: all of them'),
    leading: z.null().describe('nothing was measured'),
  })
  .meta({ id: 'emptySet', description: 'a set of which no frame could be read' });

const finding = z
  .strictObject({
    quantity: z
      .enum(['tilt', 'coma', 'elongation', 'centre of curvature'])
      .describe('what was followed'),
    cause: z.enum(CAUSES).describe('the cause it belongs to'),
    significance: number('how much worse the other explanation fits, sigma'),
    sentence: z.string().describe('in plain words'),
  })
  .meta({ id: 'finding', description: 'what a quantity did when the camera was turned' });

/** The document that `bluerim field --json` writes. */
export const fieldDocumentSchema = z.strictObject({
  schema: z.literal(FIELD_SCHEMA_ID).describe('kind and version of this document'),
  version: z.string().describe('version of bluerim that wrote it'),
  parameters: z
    .strictObject({
      pixelOrigin: z.string().describe('how positions are counted'),
      interval: z.string().describe('what low and high mean'),
      seed: number('--seed: seed of the bootstrap'),
      thresholdSigma: number('detection threshold of the matched filter, sigma'),
      maxGrowth: number('--max-growth: FWHM over that at the centre'),
      maxEllipticity: number('--max-ellipticity: (a − b)/(a + b)'),
      ...frameParameterShape,
    })
    .describe('every option that shaped the numbers'),
  sets: z
    .array(z.union([measuredSet, emptySet]))
    .describe('the frames; then those after the camera was turned'),
  rotation: z
    .strictObject({
      angleDeg: number('turn of the stars from the first set to the second, degrees'),
      followsCamera: z.array(finding).describe('what turned with the camera'),
      followsTube: z.array(finding).describe('what stayed with the telescope'),
      undecided: z.array(finding).describe('what this angle or these frames cannot tell'),
      advice: z.string().describe('what to do next'),
    })
    .optional()
    .describe('only with --rotated'),
  warnings: z.array(warning).describe('every doubt'),
});
