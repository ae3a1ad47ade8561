/** The last step of every format: metadata and mosaic decision, and the finished `Frame`. */
import type { Warning } from '../warnings.js';
import { decideColourFilter } from './colour-filter.js';
import type { Frame, FrameOverrides, RowSource } from './frame.js';
import type { KeywordSource } from './keywords.js';
import { readMetadata } from './metadata.js';

/** What a format reader has found out by itself. */
export interface FrameParts {
  path: string;
  format: string;
  probablyProcessed: boolean;
  rows: RowSource;
  /** Largest physical value of the stored type, or null. */
  typeMaximumAdu: number | null;
  keywords: KeywordSource;
  overrides: FrameOverrides;
  /** Warnings so far; more are added. */
  warnings: Warning[];
}

/** Builds the frame. Reads a sample of the pixels to check or find the mosaic. */
export function assembleFrame(parts: FrameParts): Frame {
  const { path, format, probablyProcessed, rows, keywords, overrides, warnings } = parts;
  const metadata = readMetadata(keywords, overrides, warnings, path);
  const { layout, cfa } = decideColourFilter(
    rows,
    keywords,
    overrides.cfa,
    metadata.binning,
    warnings,
    path,
  );
  return {
    path,
    format,
    probablyProcessed,
    rows,
    layout,
    cfa,
    metadata,
    typeMaximumAdu: parts.typeMaximumAdu,
    saturationGiven: overrides.saturationAdu !== undefined,
    warnings,
  };
}
