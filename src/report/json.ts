/** The machine-readable document of `measure`: every option used, every frame, the combination, every warning. */
import { type StarListRecord, starListRecord } from '../catalogue/star-list-record.js';
import type { FrameOverrides } from '../frame/frame.js';
import type { CombinedResult } from '../measure/combine.js';
import type { MeasureOptions } from '../measure/options.js';
import type { FrameResult } from '../measure/result.js';
import { VERSION } from '../version.js';
import type { Warning } from '../warnings.js';
import { escapeJsonText } from './escape.js';
import { type FrameParameters, frameParameters } from './parameters.js';
import type { NamedCatalogue } from './star-table.js';

/** Identifies the document and its version; a change that breaks readers raises the number. */
export const MEASURE_SCHEMA_ID = 'bluerim/measure/1';

/** Stated in every document, so that nobody has to guess. */
export const PIXEL_ORIGIN =
  '0-based: (0, 0) is the centre of the first stored pixel, x along NAXIS1, y along NAXIS2; FITS viewers count from 1';

/** Every option that shaped the numbers. Null = not given: taken from the header or chosen from the frame. */
interface MeasureParameters extends FrameParameters {
  pixelOrigin: string;
  interval: string;
  zone: MeasureOptions['zone'];
  maxStars: number;
  seed: number;
  thresholdSigma: number;
  haloRadiusPx: number | null;
  bootstrapDraws: number;
  haloAnyway: boolean;
}

export interface MeasureDocument {
  schema: typeof MEASURE_SCHEMA_ID;
  version: string;
  parameters: MeasureParameters;
  /** With the stars of each frame, or of the three frames of a set, where they were asked for. */
  frames: (FrameResult & { starList?: StarListRecord[] })[];
  combined: CombinedResult | null;
  warnings: Warning[];
}

/**
 * Assembles the document. `warnings` holds those of the run; each frame's own are added behind them, with its file.
 * @param stars catalogues of each result; null leaves them out
 */
export function measureDocument(
  results: readonly FrameResult[],
  combined: CombinedResult | null,
  options: MeasureOptions,
  overrides: FrameOverrides,
  warnings: readonly Warning[],
  stars: readonly (readonly NamedCatalogue[])[] | null = null,
): MeasureDocument {
  return {
    schema: MEASURE_SCHEMA_ID,
    version: VERSION,
    parameters: {
      pixelOrigin: PIXEL_ORIGIN,
      interval: 'low and high bound the 68 % interval',
      zone: options.zone,
      maxStars: options.maxStars,
      seed: options.seed,
      thresholdSigma: options.thresholdSigma,
      haloRadiusPx: options.rMaxPx,
      bootstrapDraws: options.bootstrapDraws,
      haloAnyway: options.haloAnyway,
      ...frameParameters(overrides),
    },
    frames: results.map((result, i) =>
      stars === null || result.status === 'failed'
        ? result
        : {
            ...result,
            starList: (stars[i] ?? []).map((each) => starListRecord(each.file, each.catalogue)),
          },
    ),
    combined,
    warnings: allWarnings(results, warnings),
  };
}

/** The run's warnings, then each frame's, in input order, each frame's with its file. */
export function allWarnings(
  results: readonly FrameResult[],
  warnings: readonly Warning[],
): Warning[] {
  return [
    ...warnings,
    ...results.flatMap((result) =>
      result.warnings.map((warning) => ({ ...warning, file: warning.file ?? result.file })),
    ),
  ];
}

/** Significant digits written for a number that is not whole: as many as a 32-bit float holds. */
const DIGITS = 7;

function isUncertain(value: object): value is { value: number } {
  return 'value' in value && typeof value.value === 'number' && 'low' in value && 'high' in value;
}

/**
 * Makes a value fit for JSON: what was not measured (NaN, infinite) becomes null, a measured value whose number is
 * missing becomes null as a whole, and numbers that are not whole are rounded to seven significant digits.
 */
export function jsonReady(value: unknown): unknown {
  if (typeof value === 'number') {
    if (!Number.isFinite(value)) return null;
    return Number.isInteger(value) ? value + 0 : Number(value.toPrecision(DIGITS));
  }
  if (value === null || typeof value !== 'object') return value;
  if (ArrayBuffer.isView(value)) return Array.from(value as Float64Array, jsonReady);
  if (Array.isArray(value)) return value.map(jsonReady);
  if (isUncertain(value) && !Number.isFinite(value.value)) return null;
  return Object.fromEntries(
    Object.entries(value)
      .filter(([, each]) => each !== undefined)
      .map(([key, each]) => [key, jsonReady(each)]),
  );
}

const SHORT_ARRAY = 100;

/** JSON text, indented by two spaces, arrays of numbers on one line, ending with a line break; safe to print on a terminal. */
export function jsonText(document: object): string {
  return `${escapeJsonText(write(jsonReady(document), ''))}\n`;
}

function write(value: unknown, indent: string): string {
  if (value === null || typeof value !== 'object') return JSON.stringify(value);
  const deeper = `${indent}  `;
  if (Array.isArray(value)) {
    if (value.length === 0) return '[]';
    if (value.every((each) => each === null || typeof each === 'number')) {
      return `[${value.map(String).join(', ')}]`;
    }
    const items = value.map((each) => deeper + write(each, deeper));
    return `[\n${items.join(',\n')}\n${indent}]`;
  }
  const entries = Object.entries(value);
  if (entries.length === 0) return '{}';
  if (entries.every(([, each]) => each === null || typeof each === 'number')) {
    const line = `{ ${entries.map(([key, each]) => `${JSON.stringify(key)}: ${each}`).join(', ')} }`;
    if (line.length <= SHORT_ARRAY) return line;
  }
  const items = entries.map(
    ([key, each]) => `${deeper}${JSON.stringify(key)}: ${write(each, deeper)}`,
  );
  return `{\n${items.join(',\n')}\n${indent}}`;
}
