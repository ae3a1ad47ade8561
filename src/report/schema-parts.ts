/** Building blocks of the published schemas. Every field carries a description with its unit. */
import * as z from 'zod';

/** A measured value with its 68 % interval. */
const uncertain = z
  .strictObject({
    value: z.number().describe('best estimate'),
    low: z.number().nullable().describe('lower end of the 68 % interval; null = unknown'),
    high: z.number().nullable().describe('upper end of the 68 % interval; null = unknown'),
  })
  .meta({
    id: 'uncertain',
    description: 'a measured value with its 68 % interval; the unit is the last word of the key',
  });

/** The same as a mean over frames. */
const combinedValue = z
  .strictObject({
    value: z.number().describe('inverse-variance weighted mean'),
    low: z.number().nullable().describe('lower end of the 68 % interval'),
    high: z.number().nullable().describe('upper end of the 68 % interval'),
    frames: z.int().min(2).describe('number of frames in the mean'),
  })
  .meta({
    id: 'combinedValue',
    description:
      'a mean over frames; its interval is the wider of what the single errors and what the scatter say',
  });

export const measured = (meaning: string) => uncertain.nullable().describe(meaning);
export const measuredAlways = (meaning: string) => uncertain.describe(meaning);
export const combinedMean = (meaning: string) => combinedValue.nullable().describe(meaning);
export const number = (meaning: string) => z.number().describe(meaning);
export const numberOrNull = (meaning: string) => z.number().nullable().describe(meaning);
export const textOrNull = (meaning: string) => z.string().nullable().describe(meaning);
export const whole = (meaning: string) => z.int().min(0).describe(meaning);
export const wholeOrNull = (meaning: string) => z.int().min(0).nullable().describe(meaning);
export const series = (meaning: string) => z.array(z.number().nullable()).describe(meaning);
export const pair = (meaning: string) =>
  z.tuple([z.number().nullable(), z.number().nullable()]).describe(meaning);

export const warning = z
  .strictObject({
    code: z.string().describe('stable identifier, kebab-case'),
    message: z.string().describe('what was seen, what it may mean, what to try'),
    file: z.string().optional().describe('the file it belongs to; absent for the run as a whole'),
  })
  .meta({ id: 'warning', description: 'a doubt that travels with the result' });

/** A file that was not read, and why. */
export const failedFile = z.strictObject({
  file: z.string().describe('path as given'),
  error: z
    .strictObject({
      code: z.string().describe('stable identifier of the fault'),
      message: z.string().describe('what is wrong'),
      remedy: z.string().describe('what to do about it'),
    })
    .describe('why it was not read'),
});

/** Options about frames, repeated by every document. */
export const frameParameterShape = {
  cfa: z
    .enum(['RGGB', 'BGGR', 'GRBG', 'GBRG', 'none'])
    .nullable()
    .describe('--cfa; null = from the header or the pixels'),
  hdu: wholeOrNull('--hdu; null = the first usable image'),
  page: wholeOrNull('--page of a TIFF file, from 1; null = the first'),
  focalLengthMm: numberOrNull('--focal-length, mm; null = from the header'),
  apertureMm: numberOrNull('--aperture, mm; null = from the header'),
  pixelSizeUm: numberOrNull('--pixel-size, µm; null = from the header'),
  gainElectronsPerAdu: numberOrNull('--gain, electrons per ADU; null = from the header'),
  saturationAdu: numberOrNull('--saturation, ADU; null = from the header or the frame'),
};
