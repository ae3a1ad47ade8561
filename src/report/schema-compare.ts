/** Schema of the document of `compare`. */
import * as z from 'zod';
import { COMPARE_SCHEMA_ID } from './compare-json.js';
import {
  failedFile,
  frameParameterShape,
  measured,
  measuredAlways,
  number,
  numberOrNull,
  series,
  textOrNull,
  warning,
  whole,
  wholeOrNull,
} from './schema-parts.js';

const GROUPS = ['size', 'colour', 'shape', 'field', 'light', 'depth'] as const;

/** An object with one entry per label. */
const byLabel = <T extends z.ZodType>(value: T, meaning: string) =>
  z.record(z.string(), value).describe(meaning);

const profile = z
  .strictObject({
    radius: series('distance from the star’s centre, `angularUnit`'),
    brightness: series('share of the star’s light per square `angularUnit`'),
    error: series('1 sigma of it'),
    encircledEnergy: series('share of the light within that distance'),
    encircledEnergyError: series('1 sigma of it'),
  })
  .meta({
    id: 'comparedProfile',
    description: 'mean profile of the common stars, normalised within `normalisedWithin`',
  });

const telescope = z
  .strictObject({
    label: z.string().describe('name, as given on the command line'),
    files: z.array(z.string()).describe('frames in the comparison, the reference frame first'),
    failed: z.array(failedFile).describe('frames that could not be read or matched'),
    hasPixels: z.boolean().describe('false = read from an earlier result'),
    layout: z.enum(['mono', 'rgb', 'cfa', 'set']).nullable().describe('how colour is laid out'),
    width: wholeOrNull('samples along NAXIS1'),
    height: wholeOrNull('samples along NAXIS2'),
    scaleArcsecPerPx: numberOrNull('arcsec per px'),
    scaleSource: z
      .enum(['header', 'match'])
      .nullable()
      .describe('"match" = found from the stars and the scale of another telescope'),
    apertureMm: numberOrNull('diameter of the lens, mm'),
    focalLengthMm: numberOrNull('focal length, mm'),
    pixelSizeUm: numberOrNull('pitch of the pixels, µm'),
    exposureSeconds: numberOrNull('exposure of a frame, s'),
    ownStars: whole(
      'stars behind what is said of its own field, whether others see them or not; at most --max-stars',
    ),
    blueDefocusUm: measured('blur of blue over green as a defocus, µm'),
    blueDefocusFocalLengthFraction: measured('the same as a fraction of the focal length'),
    profiles: z
      .strictObject({
        R: profile.optional().describe('red'),
        G: profile.optional().describe('green'),
        B: profile.optional().describe('blue'),
        L: profile.optional().describe('mono'),
      })
      .describe('profiles of the common stars'),
  })
  .meta({ id: 'telescope', description: 'one label' });

const transform = z
  .strictObject({
    label: z.string().describe('whose frame'),
    onto: z.string().describe('label of the telescope that it was matched with'),
    matchedStars: whole('stars that lie on each other'),
    description: z
      .strictObject({
        scale: number('px of this frame per px of the other'),
        rotationDeg: number('from +x towards +y, degrees, after a flip of y where mirrored'),
        mirrored: z.boolean().describe('whether one is the mirror image of the other'),
        shiftX: number('where pixel (0, 0) of the other lies, px'),
        shiftY: number('the same along y, px'),
        stretchRatio: number('largest over smallest stretch of any direction'),
      })
      .describe('how this frame lies on the other'),
    kind: z.string().describe('similarity, affine, quadratic or cubic'),
    residualRmsPx: number('what is left between the stars, px of this frame'),
    overlapFraction: number('share of the smaller field that both see'),
    log10FalseProbability: numberOrNull(
      'chance of such a match between different fields, log10; null = none',
    ),
  })
  .meta({
    id: 'comparedTransform',
    description: 'how a telescope’s frame lies on the first one’s',
  });

const pair = z
  .strictObject({
    first: z.string().describe('label'),
    second: z.string().describe('label'),
    difference: measuredAlways(
      'first minus second (magnitudes for "nearer zero"), unit of the row',
    ),
    differencePercent: measured('the same over the second, %'),
    pValue: numberOrNull('chance of a difference this large between equal telescopes, two-sided'),
    adjustedPValue: numberOrNull('the same corrected for all rows and pairs (Holm)'),
    better: textOrNull('label of the better one at the stated confidence'),
  })
  .meta({ id: 'pairDifference', description: 'two telescopes in one quantity' });

const row = z
  .strictObject({
    quantity: z.string().describe('stable name, as "fwhm green"'),
    group: z.enum(GROUPS).describe('family of quantities'),
    scope: z.enum(['same stars', 'own field', 'model']).describe('what it rests on'),
    unit: z.string().describe('unit of values and differences'),
    betterWhen: z
      .enum(['smaller', 'larger', 'nearer zero'])
      .describe('which end is the better one'),
    values: byLabel(measured('in `unit`'), 'label → value; null = not measured'),
    difference: measured('best less next best, with the interval of the difference'),
    differenceOf: z
      .tuple([z.string(), z.string()])
      .nullable()
      .describe('labels of best and next best'),
    pairs: z.array(pair).describe('every two telescopes'),
    verdict: z
      .string()
      .describe('a label, several joined, "no difference shown" or "not comparable"'),
    confidence: numberOrNull('of the verdict, over all rows together; null without a winner'),
    stars: whole('stars behind the row'),
    reason: textOrNull('why it is not comparable'),
    caveats: z.array(z.string()).describe('items of `fairness` that weaken it'),
  })
  .meta({ id: 'comparisonRow', description: 'one quantity' });

const fairness = z
  .strictObject({
    item: z.string().describe('stable name, as "exposure"'),
    status: z
      .enum(['equal', 'corrected for', 'not correctable', 'unknown'])
      .describe('whether it is the same for all'),
    values: byLabel(z.string().nullable(), 'label → what it is there, in words; null = unknown'),
    effect: z.string().describe('what it does to the comparison'),
    affects: z.array(z.enum(GROUPS)).describe('groups of rows that it touches'),
    weight: z
      .enum(['none', 'weakens', 'forbids'])
      .describe('"forbids": those rows are not comparable; "weakens": they carry it as a caveat'),
  })
  .meta({ id: 'fairnessItem', description: 'one condition of a fair comparison' });

const purpose = z
  .strictObject({
    purpose: z
      .enum([
        'bright targets by eye',
        'imaging without a corrector',
        'imaging with a corrector',
        'small sensor',
        'large sensor',
      ])
      .describe('what the telescope is for'),
    verdict: z
      .string()
      .describe('a label, several joined, "no difference shown", "depends" or "cannot tell"'),
    sentence: z.string().describe('why, in plain words'),
    restsOn: z.array(z.string()).describe('quantities of the rows that it rests on'),
  })
  .meta({ id: 'purpose', description: 'which telescope for which purpose' });

const stars = z
  .strictObject({
    distance: series('from the centre of the common field, half its diagonal = 1'),
    magnitude: series('brightness below the brightest of them, mag, by the first telescope'),
    x: byLabel(series('px'), 'label → position on the reference frame, px'),
    y: byLabel(series('px'), 'label → position on the reference frame, px'),
    fwhm: byLabel(series('null = not measured'), 'label → FWHM of the star, `angularUnit`'),
    ellipticity: byLabel(series('null = not measured'), 'label → (a − b)/(a + b)'),
  })
  .meta({ id: 'pairedStars', description: 'the common stars, one entry each in every list' });

/** The document that `bluerim compare --json` writes. */
export const compareDocumentSchema = z.strictObject({
  schema: z.literal(COMPARE_SCHEMA_ID).describe('kind and version of this document'),
  version: z.string().describe('version of bluerim that wrote it'),
  parameters: z
    .strictObject({
      pixelOrigin: z.string().describe('how positions are counted'),
      interval: z.string().describe('what low and high mean'),
      confidence: number('--confidence over all rows together'),
      modelSeeing: z.boolean().describe('--model-seeing: rows with air and pixel taken off'),
      maxStars: whole('--max-stars: most common stars used'),
      seed: number('--seed: seed of the bootstrap'),
      thresholdSigma: number('detection threshold of the matched filter, sigma'),
      bootstrapDraws: whole('bootstrap draws behind every interval'),
      ...frameParameterShape,
      telescopes: z
        .array(
          z.strictObject({
            label: z.string().describe('which one'),
            seeingArcsec: numberOrNull('seeing, arcsec'),
            ...frameParameterShape,
          }),
        )
        .describe('--telescope: what was given for one label alone'),
    })
    .describe('every option that shaped the numbers'),
  telescopes: z.array(telescope).describe('the labels in the order given'),
  matchedStars: whole('stars that every telescope sees and measures'),
  transforms: z.array(transform).describe('how the others lie on the first one'),
  angularUnit: z
    .enum(['arcsec', 'px'])
    .describe('unit of angles; px = of the first telescope, where no scale is known'),
  normalisedWithin: numberOrNull(
    'radius within which light counts, the same for all, `angularUnit`',
  ),
  confidence: number('at which a row names a winner, over all rows together'),
  fairness: z.array(fairness).describe('what makes the comparison unfair, and what does not'),
  rows: z.array(row).describe('every quantity with its verdict'),
  purposes: z.array(purpose).describe('which telescope for which purpose'),
  summary: z.array(z.string()).describe('the review in plain sentences'),
  stars: stars.describe('the common stars'),
  warnings: z.array(warning).describe('every doubt'),
});
