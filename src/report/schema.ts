/** The published schema of every machine-readable document. Loads zod: import it only when a schema is asked for. */
import * as z from 'zod';
import { MEASURE_SCHEMA_ID } from './json.js';
import { compareDocumentSchema } from './schema-compare.js';
import { expectDocumentSchema } from './schema-expect.js';
import { fieldDocumentSchema } from './schema-field.js';
import { frameSchema } from './schema-frame.js';
import { gradeDocumentSchema } from './schema-grade.js';
import {
  combinedMean,
  frameParameterShape,
  number,
  numberOrNull,
  warning,
  whole,
} from './schema-parts.js';
import { sweepDocumentSchema } from './schema-sweep.js';

const parameters = z.strictObject({
  pixelOrigin: z.string().describe('how positions are counted'),
  interval: z.string().describe('what low and high mean'),
  zone: z.enum(['all', 'centre']).describe('--zone: part of the frame that was used'),
  maxStars: whole('--max-stars: most stars that enter profiles and fits'),
  seed: number('--seed: seed of the bootstrap'),
  thresholdSigma: number('detection threshold of the matched filter, sigma'),
  haloRadiusPx: numberOrNull('--halo-radius, px; null = chosen from each frame'),
  bootstrapDraws: whole('bootstrap draws behind every interval'),
  haloAnyway: z.boolean().describe('--halo-anyway: halo numbers also from stretched data'),
  ...frameParameterShape,
});

const combinedChannel = z
  .strictObject({
    fwhmPx: combinedMean('mean FWHM, px; null where the frames differ in scale'),
    hfdPx: combinedMean('mean half-flux diameter, px'),
    r50Px: combinedMean('mean radius of 50 % of the light, px'),
    r80Px: combinedMean('mean radius of 80 % of the light, px'),
    r90Px: combinedMean('mean radius of 90 % of the light, px'),
    fwhmArcsec: combinedMean('mean FWHM, arcsec; null where a scale is unknown'),
    hfdArcsec: combinedMean('mean half-flux diameter, arcsec'),
    r50Arcsec: combinedMean('mean radius of 50 % of the light, arcsec'),
    r80Arcsec: combinedMean('mean radius of 80 % of the light, arcsec'),
    r90Arcsec: combinedMean('mean radius of 90 % of the light, arcsec'),
  })
  .meta({ id: 'combinedChannel', description: 'sizes of one channel over all frames' });

const combinedContrast = z
  .strictObject({
    excessPercent: combinedMean('mean of excessPercent, per cent'),
    perfectLensPercent: numberOrNull('mean of perfectLensPercent, per cent'),
    overPerfectLensPercent: combinedMean('mean of overPerfectLensPercent, per cent'),
  })
  .meta({ id: 'combinedContrast', description: 'a halo number over all frames' });

const combined = z.strictObject({
  files: z.array(z.string()).describe('frames that went in'),
  layout: z.enum(['mono', 'rgb', 'cfa', 'set']).describe('their layout'),
  scaleArcsecPerPx: numberOrNull('their scale, arcsec per px; null = unknown or different'),
  starsUsed: whole('stars used, summed over the frames'),
  channels: z
    .strictObject({
      R: combinedChannel.optional().describe('red'),
      G: combinedChannel.optional().describe('green'),
      B: combinedChannel.optional().describe('blue'),
      L: combinedChannel.optional().describe('mono'),
    })
    .describe('mean sizes, by channel'),
  halo: z
    .strictObject({
      blueMinusRed: combinedContrast.describe('blue against red'),
      blueMinusGreen: combinedContrast.describe('blue against green'),
      redMinusGreen: combinedContrast.describe('red against green'),
      level: z
        .enum(['none seen', 'trace', 'plain', 'strong', 'dominant', 'cannot tell'])
        .describe('plain level of the combined blue halo over a perfect lens'),
    })
    .nullable()
    .describe('mean halo numbers; null where fewer than two frames have them'),
  notes: z.array(z.string()).describe('how the frames differ and what was left out for it'),
});

/** The document that `bluerim measure --json` writes. */
export const measureDocumentSchema = z.strictObject({
  schema: z.literal(MEASURE_SCHEMA_ID).describe('kind and version of this document'),
  version: z.string().describe('version of bluerim that wrote it'),
  parameters: parameters.describe('every option that shaped the numbers'),
  frames: z.array(frameSchema).describe('one record per frame, in input order'),
  combined: combined
    .nullable()
    .describe('means over the frames; null for fewer than two measured frames of one layout'),
  warnings: z.array(warning).describe('every doubt: those of the run, then those of each frame'),
});

/** Commands whose JSON has a published schema. */
export const SCHEMA_COMMANDS = ['measure', 'field', 'compare', 'grade', 'sweep', 'expect'] as const;

/** JSON Schema (draft 2020-12) of a command's document. */
export function jsonSchemaOf(command: (typeof SCHEMA_COMMANDS)[number]): object {
  const schemas = {
    measure: measureDocumentSchema,
    field: fieldDocumentSchema,
    compare: compareDocumentSchema,
    grade: gradeDocumentSchema,
    sweep: sweepDocumentSchema,
    expect: expectDocumentSchema,
  };
  return {
    $id: `urn:bluerim:schema:${command}:1`,
    title: `bluerim ${command}`,
    ...z.toJSONSchema(schemas[command], { target: 'draft-2020-12' }),
  };
}
