/** The field of files rather than frames: which files formed a set, which failed, and its map in nine places. */
import type { FrameResult } from '../measure/result.js';
import type { Warning } from '../warnings.js';
import type { FieldNinth } from './ninths.js';
import type { FieldResult, FieldSet } from './result.js';

/** What a set was made of, and its map in nine places. */
export interface FieldSetFacts {
  files: string[];
  failed: { file: string; error: NonNullable<FrameResult['error']> }[];
  width: number;
  height: number;
  layout: 'mono' | 'rgb' | 'cfa';
  pixelSizeUm: number | null;
  focalRatio: number | null;
  scaleArcsecPerPx: number | null;
  places: FieldNinth[];
}

/** A set of which no frame could be read has no record. */
export type FieldSetOutcome =
  | (FieldSetFacts & FieldSet)
  | (Pick<FieldSetFacts, 'files' | 'failed'> & { leading: null });

export interface FieldOutcome {
  sets: FieldSetOutcome[];
  rotation?: FieldResult['rotation'];
  warnings: Warning[];
}
