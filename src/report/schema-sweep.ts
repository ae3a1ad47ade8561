/** Schema of the document of `sweep`. */
import * as z from 'zod';
import {
  failedFile,
  frameParameterShape,
  measured,
  number,
  numberOrNull,
  textOrNull,
  warning,
  whole,
  wholeOrNull,
} from './schema-parts.js';
import { SWEEP_SCHEMA_ID } from './sweep-json.js';

const channelFocus = z
  .strictObject({
    bestFocus: measured('position of least mean square size, steps; null = cannot tell'),
    bestFocusUm: measured('the same times the step, µm'),
    sizeAtFocusPx: numberOrNull('smallest root-mean-square radius of the fit, px'),
    slopePxPerStep: numberOrNull('growth of that radius far from focus, px per step'),
    bracketed: z.boolean().describe('whether two positions lie on either side of best focus'),
    curve: z
      .array(
        z.strictObject({
          position: number('focuser position, steps'),
          rmsPx: numberOrNull('root-mean-square radius: median of the stars, px'),
          hfdPx: numberOrNull('half-flux diameter within the aperture: median of the stars, px'),
          weight: number('weight in the robust fit, 0 to 1'),
        }),
      )
      .describe('one point for each frame, by position'),
  })
  .meta({ id: 'channelFocus', description: 'the focus curve of one channel' });

const cell = z
  .strictObject({
    column: whole('0 = left'),
    row: whole('0 = the first rows of the file'),
    stars: whole('stars in it'),
    x: number('its centre, px'),
    y: number('its centre, px'),
    focusOffset: measured('best focus less that of the typical star, steps'),
    radialMinusTangential: measured('radial less tangential focus (astigmatism), steps'),
  })
  .meta({ id: 'sweepCell', description: 'a ninth of the frame' });

export const sweepDocumentSchema = z.strictObject({
  schema: z.literal(SWEEP_SCHEMA_ID).describe('kind and version of this document'),
  version: z.string().describe('version of bluerim that wrote it'),
  parameters: z
    .strictObject({
      interval: z.string().describe('what low and high mean'),
      ...frameParameterShape,
      maxStars: whole('--max-stars'),
      stepUm: numberOrNull('--step-um, µm; null = unknown'),
      focalRatio: numberOrNull('focal ratio that was used'),
      seed: number('--seed'),
      usedPixelSizeUm: numberOrNull('pixel size that was used, µm'),
      usedFocalLengthMm: numberOrNull('focal length that was used, mm'),
    })
    .describe('every option that shaped the numbers'),
  frames: z
    .array(z.strictObject({ file: z.string().describe('path'), position: number('steps') }))
    .describe('frames of the run, by position'),
  failed: z.array(failedFile).describe('files that were not used'),
  width: wholeOrNull('px'),
  height: wholeOrNull('px'),
  stars: whole('stars followed through all frames'),
  channels: z
    .strictObject({
      R: channelFocus.optional().describe('red'),
      G: channelFocus.optional().describe('green'),
      B: channelFocus.optional().describe('blue'),
      L: channelFocus.optional().describe('mono'),
    })
    .describe('by channel'),
  blueMinusGreenSteps: measured('best focus of blue less that of green, steps'),
  blueMinusGreenUm: measured('the same in µm; null without --step-um'),
  blueFocalLengthOver: numberOrNull('n of f/n: focal length over the size of the shift'),
  blueDepthsOfFocus: numberOrNull('size of the shift over 2 λN²'),
  redMinusGreenSteps: measured('best focus of red less that of green, steps'),
  redMinusGreenUm: measured('the same in µm'),
  redFocalLengthOver: numberOrNull('n of f/n'),
  redDepthsOfFocus: numberOrNull('size of the shift over 2 λN²'),
  depthOfFocusUm: numberOrNull('2 λN² at 530 nm: half the depth of focus, µm'),
  compromiseFocus: numberOrNull(
    'position where the sum of the mean square sizes of red, green, blue is least, steps',
  ),
  tiltDeg: measured('tilt of the sensor against the focal surface, degrees'),
  tiltDirectionDeg: numberOrNull(
    'direction in which focus lies at larger positions, degrees from +x towards +y',
  ),
  curvatureRadiusMm: measured(
    'radius of the focal surface, mm; negative = corners focus at smaller positions',
  ),
  cells: z.array(cell).describe('nine cells, row by row'),
  backlashSteps: measured(
    'focus on the way up less that on the way down, steps; null = cannot tell',
  ),
  stepUmFromCone: numberOrNull(
    'step that the growth of the blur and the focal ratio imply, µm: a check of --step-um',
  ),
  sentence: textOrNull('the colour shift in plain words'),
  warnings: z.array(warning).describe('every doubt'),
});
