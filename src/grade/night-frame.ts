/** What one frame of a night contributes: plain JSON, one line of `--ndjson`. Everything later is computed from these records alone, so
 * that a night measured in pieces, on many machines or after an interruption gives the same answer.
 */
import type { FrameMetadata, Layout } from '../frame/frame.js';
import type { FrameResult, Uncertain } from '../measure/result.js';
import type { Warning } from '../warnings.js';

/** Stars of a frame for matching and photometry, brightest first. Parallel columns; rounded so that a line stays short. */
export interface NightStars {
  /** Position, px; 0 = centre of the first pixel. */
  x: number[];
  y: number[];
  /** Light in the reference channel, ADU; null for clipped stars. */
  fluxAdu: (number | null)[];
  fluxErrorAdu: (number | null)[];
}

/** A straight line of light across the frame: satellite, aircraft, meteor. */
export interface NightTrail {
  /** Ends within the frame, px. */
  from: [number, number];
  to: [number, number];
  lengthPx: number;
  /** log10 of the chance that unrelated peaks line up so. */
  log10FalseProbability: number;
}

export interface NightFrame {
  file: string;
  /** Identity of the file when it was measured: `--resume` trusts a record only while these hold. */
  bytes: number | null;
  /** Milliseconds since 1970, of the file's last change. */
  modifiedMs: number | null;
  /** SHA-256 of the content, only with `--verify`. */
  sha256: string | null;
  status: 'ok' | 'failed';
  error: NonNullable<FrameResult['error']> | null;
  width: number | null;
  height: number | null;
  layout: Layout | null;
  metadata: FrameMetadata | null;
  /** What the header says it is; 'light' when it says nothing. */
  imageType: 'light' | 'dark' | 'bias' | 'flat';
  /** 'east' or 'west' when the header says so. */
  pierSide: 'east' | 'west' | null;
  /** Of the air or the focuser (AMBTEMP, FOCTEMP and their like), not of a cooled sensor. */
  ambientTemperatureC: number | null;
  /** Start of the exposure, ms since 1970 UTC; null when unknown. */
  startMs: number | null;
  scaleArcsecPerPx: number | null;
  starsFound: number;
  starsUsed: number;
  /** Median of the single-star fits in the reference channel, pixel included. */
  fwhmPx: Uncertain | null;
  ellipticity: Uncertain | null;
  /** 0–180 from +x towards +y. */
  elongationAngleDeg: number | null;
  /** Sky level and noise of one sample in the reference channel. */
  backgroundAdu: number | null;
  noiseAdu: number | null;
  /** Noise-equivalent area of a star's image, px²: 1/∫p² (King 1983, PASP 95, 163; from memory). */
  starAreaPx: number | null;
  /** Excess of blue over red at r80 of green; null for mono frames, or where it was not asked for. */
  blueMinusRedPercent: Uncertain | null;
  trails: NightTrail[];
  stars: NightStars;
  warnings: Warning[];
}
