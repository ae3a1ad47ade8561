/** The field of a set of frames: star shapes → map, model, causes; two sets → what turned with the camera. */

import { opticalFwhm } from '../measure/classify.js';
import type { SearchedFrame } from '../measure/search-frame.js';
import { createRecordedFwhmTable } from '../optics/pixel.js';
import { medianOf } from '../stats/robust.js';
import type { Warning } from '../warnings.js';
import type { CauseInput, IlluminationInput } from './cause-context.js';
import { findCauses } from './causes.js';
import { makeCells } from './cells.js';
import { fitColourShift } from './colour.js';
import { averageShapes, findPartners, type StarMatch } from './combine-frames.js';
import {
  type CircleLimits,
  DEFAULT_CIRCLE_LIMITS,
  findCorrectedCircle,
} from './corrected-circle.js';
import { circleStarsOf } from './corrected-circle-stars.js';
import { describeModel } from './describe-model.js';
import type { IlluminationResult } from './illumination.js';
import { type FieldFit, type FieldOptics, fitField } from './model.js';
import type { ShapeColumns } from './model-data.js';
import { chromaticSystematic, sizeOfFwhm } from './response.js';
import type { FieldResult, FieldSet } from './result.js';
import { judgeRotation } from './rotation.js';
import { measureShapes, type StarShapes } from './shapes.js';

/** As in a measurement: neighbouring samples share their noise. */
const CORRELATED = 1.5;
/** A star within this share of the half diagonal from a corner speaks for it. */
const NEAR_CORNER = 0.6;

export interface FieldSetInput {
  frames: readonly SearchedFrame[];
  /** One match per frame after the first; found from the stars when left out. */
  matches?: readonly StarMatch[];
  /** What the light fall-off found, and the record to publish with it. */
  illumination?: IlluminationInput | null;
  illuminationRecord?: IlluminationResult | null;
}

export interface FieldAnalysisOptions {
  seed: number;
  /** Bootstrap draws of the model. */
  draws?: number;
  /** Mean star pictures in the cells. Default true. */
  stamps?: boolean;
  /** Turn of the stars from the first set to the second, degrees from +x towards +y; asked for when there are two sets. */
  rotationDeg?: number | null;
  /** Limits of the well-corrected circle; null = none is sought. */
  circle?: CircleLimits | null;
}

/** Shapes of a whole set, with what was left out. */
export interface SetAnalysis {
  set: FieldSet;
  fit: FieldFit | null;
}

/** Systematic share of amplitudes from how much wider red and blue are than green; that of one wavelength without colours. */
function colourSystematic({ n, t, red, blue }: StarShapes): number {
  const over = (sizes: Float64Array | undefined): number => {
    const ratios: number[] = [];
    for (let i = 0; i < n; i++) {
      const ratio = (sizes?.[i] ?? Number.NaN) / (t[i] as number);
      if (ratio > 0) ratios.push(ratio);
    }
    return ratios.length > 0 ? medianOf(ratios) : 1;
  };
  return chromaticSystematic(over(red?.t), over(blue?.t));
}

const isDecided = (leading: FieldSet['leading']): boolean =>
  leading !== 'none' && leading !== 'cannot tell';

function opticsOf({ frame }: SearchedFrame): FieldOptics {
  const { focalLengthMm, apertureMm, pixelSizeUm } = frame.metadata;
  const known = focalLengthMm !== null && apertureMm !== null && apertureMm > 0;
  return { focalRatio: known ? focalLengthMm / apertureMm : null, pixelSizeUm };
}

/**
 * What size T lacks of the recorded stars', px²: the fit of the field integrates over the pixel and holds its exponent at 4, so that
 * sizes compare over the field; published sizes are those that `measure` gives for the same stars. Median over the stars; 0 where it
 * cannot be known.
 */
function recordedOffset({ found }: SearchedFrame, shapes: StarShapes): number {
  const fits = found.sources.fits[found.reference];
  const known = Number.isFinite(found.beta) || found.beta === Number.POSITIVE_INFINITY;
  if (!fits || !known) return 0;
  const recorded = createRecordedFwhmTable(found.beta);
  const offsets: number[] = [];
  for (let i = 0; i < shapes.n; i++) {
    const fwhm = recorded(opticalFwhm(fits, shapes.source[i] as number, found.beta));
    if (fwhm > 0) offsets.push(sizeOfFwhm(fwhm) - (shapes.t[i] as number));
  }
  return offsets.length === 0 ? 0 : medianOf(offsets);
}

function pixelsOf({ frame, found }: SearchedFrame): NonNullable<CauseInput['pixels']> {
  if (frame.probablyProcessed) return 'processed';
  const smooth = found.peaks.noiseCorrelation >= CORRELATED;
  return smooth || frame.layout === 'rgb' ? 'interpolated' : 'as recorded';
}

/** Corners without any star nearby. */
function emptyCorners({ n, x, y }: ShapeColumns, width: number, height: number): number {
  const reach = NEAR_CORNER * 0.5 * Math.sqrt(width * width + height * height);
  let empty = 0;
  for (const cx of [-0.5, width - 0.5]) {
    for (const cy of [-0.5, height - 0.5]) {
      let near = 0;
      for (let i = 0; i < n; i++) {
        const dx = (x[i] as number) - cx;
        const dy = (y[i] as number) - cy;
        if (dx * dx + dy * dy <= reach * reach) near++;
      }
      if (near === 0) empty++;
    }
  }
  return empty;
}

/**
 * Analyses one set of frames of the same field, camera not turned between them.
 * @throws RangeError when there is no frame; FrameReadError when rows cannot be read
 */
function analyseSet(
  input: FieldSetInput,
  options: FieldAnalysisOptions,
  warn: (warning: Warning) => void,
): SetAnalysis {
  const [reference, ...rest] = input.frames;
  if (!reference) throw new RangeError('a set needs at least one frame');
  const first = measureShapes(reference);
  const others: StarShapes[] = [];
  const matches: StarMatch[] = [];
  rest.forEach((searched, f) => {
    const shapes = measureShapes(searched);
    const given = input.matches?.[f];
    const partners = given ? { match: given, reason: null } : findPartners(first, shapes);
    const same = shapes.width === first.width && shapes.height === first.height;
    if (partners.match && same) {
      others.push(shapes);
      matches.push(partners.match);
    } else {
      warn({
        code: 'field-frame-unmatched',
        message:
          partners.reason === 'moved too far'
            ? 'the stars of this frame lie on other places of the sensor than in the first (turned, flipped or moved by more than a tenth of the half diagonal): it was left out of the field map'
            : 'the stars of this frame could not be matched with those of the first: it was left out of the field map',
        file: searched.frame.path,
      });
    }
  });
  const averaged = others.length > 0 ? averageShapes(first, others, matches) : null;
  const columns: ShapeColumns = averaged ?? first;
  const rows = averaged ? averaged.kept : Array.from({ length: first.n }, (_, i) => i);
  const optics = opticsOf(reference);
  const { width, height } = first;
  const fit = fitField(columns, optics, options.seed, options.draws);
  const offset = recordedOffset(reference, first);
  if (fit) {
    fit.response.recordedOffset = offset;
    fit.response.systematic = colourSystematic(first);
  }
  const colour = fitColourShift(first, options.seed);
  const found = findCauses({
    fit,
    stars: columns.n,
    width,
    height,
    optics,
    colour,
    beta: reference.found.beta,
    illumination: input.illumination ?? null,
    pixels: pixelsOf(reference),
    emptyCorners: emptyCorners(columns, width, height),
  });
  const set: FieldSet = {
    stars: columns.n,
    frames: others.length + 1,
    ...found,
    model: fit ? describeModel(fit, optics, width, height, isDecided(found.leading)) : null,
    colourShift: colour
      ? {
          blueMinusRedConstantPx: colour.constantPx,
          constantErrorPx: colour.constantSigma,
          blueMinusRedAtCornerPx: {
            value: colour.cornerPx,
            low: colour.cornerPx - colour.cornerSigma,
            high: colour.cornerPx + colour.cornerSigma,
          },
        }
      : null,
    cells: makeCells(columns, first, rows, options.stamps === false ? null : reference, offset),
    starsLeftOut: first.left,
    correctedCircle:
      options.circle === null
        ? null
        : findCorrectedCircle(
            circleStarsOf(columns, offset),
            options.circle ?? DEFAULT_CIRCLE_LIMITS,
            optics.pixelSizeUm,
            options.seed,
          ),
    illumination: input.illuminationRecord ?? null,
  };
  return { set, fit };
}

/**
 * Analyses one set, or two with the camera turned between them.
 * @throws RangeError when a set has no frame; FrameReadError when rows cannot be read
 */
export function analyseField(
  inputs: readonly FieldSetInput[],
  options: FieldAnalysisOptions,
): FieldResult {
  const warnings: Warning[] = [];
  const analyses = inputs.map((input) =>
    analyseSet(input, options, (warning) => warnings.push(warning)),
  );
  const result: FieldResult = { sets: analyses.map(({ set }) => set), warnings };
  const [one, two] = analyses;
  if (one && two) {
    if (options.rotationDeg == null) {
      warnings.push({
        code: 'field-rotation-unknown',
        message:
          'the turn of the camera between the two sets was not found: no comparison was made',
      });
    } else if (one.fit && two.fit) {
      result.rotation = judgeRotation(one.fit, two.fit, options.rotationDeg);
    } else {
      warnings.push({
        code: 'field-too-few-stars',
        message: 'too few stars in one of the sets: the turned camera tells nothing',
      });
    }
  }
  return result;
}
