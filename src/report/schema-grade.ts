/** Schema of the document of `grade` and `merge`. */
import * as z from 'zod';
import { GRADE_SCHEMA_ID } from './grade-json.js';
import {
  frameParameterShape,
  measured,
  number,
  numberOrNull,
  pair,
  textOrNull,
  warning,
  whole,
  wholeOrNull,
} from './schema-parts.js';

const REASONS = [
  'wide stars',
  'elongated stars',
  'low transparency',
  'bright sky',
  'few stars',
  'no stars',
  'no match',
  'not a night frame',
  'unreadable',
] as const;

const reason = z
  .strictObject({
    code: z.enum(REASONS).describe('what it is about'),
    kind: z
      .enum(['night', 'fixed', 'state'])
      .describe('beyond the night’s own usual, beyond a limit of yours, or a plain fact'),
    severity: z.enum(['doubtful', 'drop']).describe('what it alone would decide'),
    value: numberOrNull('what was measured, in `unit`'),
    limit: numberOrNull('the limit that it passed'),
    usual: numberOrNull('what the night’s good frames show'),
    unit: z.string().describe('unit of value, limit and usual'),
    text: z.string().describe('the same in words'),
  })
  .meta({ id: 'reason', description: 'one reason for a decision' });

const trail = z
  .strictObject({
    from: pair('one end within the frame, px'),
    to: pair('the other end, px'),
    lengthPx: number('length, px'),
    log10FalseProbability: number('log10 of the chance that unrelated peaks line up so'),
  })
  .meta({ id: 'trail', description: 'a straight line of light across the frame' });

const frame = z
  .strictObject({
    file: z.string().describe('path as given'),
    group: wholeOrNull('index into groups; null = not graded with others'),
    decision: z.enum(['keep', 'doubtful', 'drop']).describe('what to do with it'),
    reasons: z.array(reason).describe('what is against it, gravest first'),
    notes: z.array(z.string()).describe('facts that change nothing'),
    weight: numberOrNull('for stacking: squared signal-to-noise of a faint star; reference = 1'),
    startMs: numberOrNull('start of the exposure, ms since 1970-01-01 UTC'),
    exposureSeconds: numberOrNull('exposure, s'),
    starsFound: whole('sources found'),
    starsUsed: whole('stars measured'),
    matchedShare: numberOrNull('share of the reference’s brightest stars that it shows, 0 to 1'),
    fwhmPx: measured('median of single-star fits, pixel included, px'),
    fwhmArcsec: measured('the same, arcsec; null while the scale is unknown'),
    ellipticity: measured('(a − b)/(a + b) of the mean star'),
    elongationAngleDeg: numberOrNull('0 to 180 from +x towards +y'),
    backgroundAdu: numberOrNull('sky level, ADU, pedestal included'),
    noiseAdu: numberOrNull('noise of one sample of sky, ADU'),
    transparency: measured('light of the same stars over that in the reference frame'),
    offsetPx: pair('where the frame’s centre lies among the stars, px of the reference').nullable(),
    rotationDeg: numberOrNull('turn of the field against the reference, degrees'),
    meridianTurned: z
      .boolean()
      .nullable()
      .describe('turned by about half a turn; null = not matched'),
    blueMinusRedPercent: measured('excess of blue over red at r80 of green, %'),
    trails: z.array(trail).describe('satellites, aircraft, meteors'),
    focusPosition: numberOrNull('focuser, steps'),
    ambientTemperatureC: numberOrNull('air or focuser, degrees Celsius'),
    airmass: numberOrNull('air mass'),
    error: z
      .strictObject({
        code: z.string().describe('stable identifier of the fault'),
        message: z.string().describe('what is wrong'),
        remedy: z.string().describe('what to do about it'),
      })
      .nullable()
      .describe('why it could not be read; null = it could'),
  })
  .meta({ id: 'nightFrame', description: 'one frame with its decision' });

const summary = z
  .strictObject({
    kept: whole('frames kept'),
    doubtful: whole('frames to look at'),
    dropped: whole('frames dropped'),
    totalSeconds: number('exposure of all frames, s'),
    keptSeconds: number('exposure of the kept frames, s'),
    effectiveSeconds: number('seconds of reference frames that give the same depth'),
    lost: z
      .array(
        z.strictObject({
          cause: z.enum(REASONS).describe('what took it'),
          droppedSeconds: number('effective seconds of frames dropped for it'),
          weakenedSeconds: number('effective seconds that kept frames lack for it'),
        }),
      )
      .describe('what each cause took, most first'),
    gain: z
      .strictObject({
        change: z.string().describe('in words'),
        effectiveSeconds: number('what it would have given, s'),
      })
      .nullable()
      .describe('the one change that would have gained most'),
    lookAt: z
      .array(
        z.strictObject({
          file: z.string().describe('path as given'),
          why: z.string().describe('in words'),
        }),
      )
      .describe('frames worth a look'),
  })
  .meta({ id: 'nightSummary', description: 'what a group, or all of them, came to' });

const QUANTITIES = [
  'fwhmPx',
  'ellipticity',
  'backgroundAdu',
  'transparency',
  'offsetXPx',
  'offsetYPx',
] as const;

const usual = (meaning: string) =>
  z
    .strictObject({
      centre: number('typical value'),
      spread: number('1 sigma from frame to frame'),
    })
    .optional()
    .describe(meaning);

const group = z
  .strictObject({
    name: z.string().describe('target, filter, exposure'),
    target: textOrNull('OBJECT of the header'),
    filter: textOrNull('FILTER of the header'),
    exposureSeconds: numberOrNull('exposure of each frame, s'),
    frames: whole('frames in it'),
    reference: textOrNull('file that the others are held against; null = none has stars enough'),
    referenceWhy: z.string().describe('why this one'),
    usual: z
      .strictObject({
        fwhmPx: usual('star size, px'),
        ellipticity: usual('ellipticity'),
        transparency: usual('transparency'),
        backgroundAdu: usual('sky, ADU'),
        stars: usual('share of the reference’s stars'),
      })
      .describe('what the good frames show'),
    trends: z
      .strictObject({
        changes: z
          .array(
            z.strictObject({
              quantity: z.enum(QUANTITIES).describe('what changed'),
              file: z.string().describe('first frame after it'),
              atMs: number('middle of the gap, ms since 1970-01-01 UTC'),
              before: number('level before'),
              after: number('level after'),
              sigma: number('strength, in standard errors of the step'),
            }),
          )
          .describe('levels that changed at once'),
        correlations: z
          .array(
            z.strictObject({
              quantity: z.enum(QUANTITIES).describe('what runs'),
              with: z
                .enum(['time', 'temperature', 'focus position', 'air mass'])
                .describe('with what'),
              frames: whole('frames behind it'),
              rho: number('Spearman’s rank correlation'),
              pValue: number('two-sided'),
              slope: number('Theil–Sen, per hour, degree, step or air mass'),
            }),
          )
          .describe('steady runs'),
      })
      .describe('what changed through the night, among frames not dropped'),
    summary: summary.describe('what it came to'),
  })
  .meta({ id: 'nightGroup', description: 'frames graded together' });

/** The document that `bluerim grade --json` and `bluerim merge --json` write. */
export const gradeDocumentSchema = z.strictObject({
  schema: z.literal(GRADE_SCHEMA_ID).describe('kind and version of this document'),
  version: z.string().describe('version of bluerim that wrote it'),
  parameters: z
    .strictObject({
      pixelOrigin: z.string().describe('how positions are counted'),
      interval: z.string().describe('what low and high mean'),
      seed: number('--seed'),
      halo: z.boolean().describe('false with --no-halo'),
      ...frameParameterShape,
      strictness: z.enum(['lenient', 'normal', 'strict']).describe('--strictness'),
      maxFwhmPx: numberOrNull('--max-fwhm, px'),
      maxFwhmArcsec: numberOrNull('--max-fwhm-arcsec'),
      maxEllipticity: numberOrNull('--max-ellipticity'),
      minTransparency: numberOrNull('--min-transparency'),
      maxBackgroundAdu: numberOrNull('--max-background, ADU'),
      minStars: numberOrNull('--min-stars'),
      reference: textOrNull('--reference'),
    })
    .describe('every option that shaped the numbers'),
  complete: z
    .boolean()
    .describe(
      'false when frames are missing: after an interruption, from one shard, or where `merge` lacks records',
    ),
  frames: z.array(frame).describe('one record per frame, in input order'),
  groups: z.array(group).describe('frames that belong together'),
  story: z.array(z.string()).describe('the night in plain sentences'),
  summary: summary.describe('all groups together'),
  warnings: z.array(warning).describe('every doubt'),
});
