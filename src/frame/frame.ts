/** A frame: a header plus a source of sample rows. Every file format implements `RowSource`; nothing
 * downstream of `src/frame` knows which format a frame came from.
 *
 * Invariants: `width`, `height`, `planes` are positive integers; row 0 is the first row stored in the file;
 * physical value = `zero + scale × stored`. No full-size float image is ever built: callers ask for windows of rows.
 */
import type { Warning } from '../warnings.js';

/** Element type of the stored samples. Unsigned FITS types (BZERO = 2^(n−1)) arrive as u16/u32, signed bytes as i8. */
export type SampleType = 'u8' | 'i8' | 'u16' | 'i16' | 'u32' | 'i32' | 'i64' | 'f32' | 'f64';

/** The typed array that carries a `SampleType`. 64-bit integers (i64) travel as Float64Array (exact to 2^53). */
export type SampleArray =
  | Uint8Array
  | Int8Array
  | Uint16Array
  | Int16Array
  | Uint32Array
  | Int32Array
  | Float32Array
  | Float64Array;

/** Fills windows of rows into buffers that the caller owns. */
export interface RowSource {
  readonly width: number;
  readonly height: number;
  /** 1 (mono, mosaic) or 3 (R, G, B). */
  readonly planes: number;
  readonly sampleType: SampleType;
  /** Physical value = zero + scale × stored. */
  readonly scale: number;
  readonly zero: number;
  /** Stored integer that means "no value", or null. */
  readonly blank: number | null;
  /**
   * Writes rows `y0 … y0 + count − 1` of `plane` into `out`, starting at element `at`, row-major, native sample type.
   * @throws RangeError when the window lies outside the frame or `out` is of the wrong type or too short.
   * @throws FrameReadError when the file cannot be read.
   */
  readRows(plane: number, y0: number, count: number, out: SampleArray, at?: number): void;
  /** Releases the file. Calling it twice is harmless. */
  close(): void;
}

/** How colour is laid out: one plane, three planes, or one plane under a 2 × 2 colour filter mosaic. */
export type Layout = 'mono' | 'rgb' | 'cfa';

/** Colour of the sites (row 0: first two letters; row 1: last two), in STORED order: site (0, 0) is the first sample of the file. */
export type CfaPattern = 'RGGB' | 'BGGR' | 'GRBG' | 'GBRG';

/** Where the mosaic order came from. */
export interface CfaDecision {
  pattern: CfaPattern;
  source: 'option' | 'header' | 'pixels';
  /** False when pixels show the green diagonal but nothing tells red from blue: only green may then be published. */
  redBlueKnown: boolean;
}

/** Metadata, null where the header is silent. Options given by the user are already merged in. */
export interface FrameMetadata {
  exposureSeconds: number | null;
  /** e−/ADU. Null when unknown; a camera's unitless gain setting is not electrons and is not put here. */
  gainElectronsPerAdu: number | null;
  /** The camera's ISO setting: a number without unit, not electrons. */
  isoSpeed: number | null;
  /** Pixel pitch in µm of the recorded pixels: XPIXSZ, times binning where the keyword means the unbinned pixel. */
  pixelSizeUm: number | null;
  binning: number | null;
  focalLengthMm: number | null;
  apertureMm: number | null;
  filter: string | null;
  object: string | null;
  telescope: string | null;
  instrument: string | null;
  /** ISO 8601 as in the header. */
  dateObs: string | null;
  airmass: number | null;
  sensorTemperatureC: number | null;
  focusPosition: number | null;
  /** Of the air or the focuser, not of a cooled sensor. */
  ambientTemperatureC: number | null;
  /** IMAGETYP as written: light, dark, flat, …. */
  imageType: string | null;
  /** Side of the mount, as written. */
  pierSide: string | null;
  /** ADU, physical. */
  saturationAdu: number | null;
  pedestalAdu: number | null;
}

/** Values the user gives on the command line; they win over the header. */
export interface FrameOverrides {
  cfa?: CfaPattern | 'none';
  /** Unit of a FITS file, from 0. */
  hdu?: number;
  /** Page of a TIFF file, from 1. */
  page?: number;
  /** Limits on what one file may unpack to; see limits.ts for the defaults. */
  maxPixels?: number;
  maxBytes?: number;
  focalLengthMm?: number;
  apertureMm?: number;
  pixelSizeUm?: number;
  gainElectronsPerAdu?: number;
  saturationAdu?: number;
}

/** An opened frame. */
export interface Frame {
  readonly path: string;
  /** 'fits', later 'tiff', 'raw', … */
  readonly format: string;
  /** True for formats that are nearly always processed (8-bit JPEG, PNG). */
  readonly probablyProcessed: boolean;
  readonly rows: RowSource;
  readonly layout: Layout;
  readonly cfa: CfaDecision | null;
  readonly metadata: FrameMetadata;
  /** Largest physical value the sample type can hold, or null for floats. */
  readonly typeMaximumAdu: number | null;
  /** True when `metadata.saturationAdu` is the user's, not the header's. */
  readonly saturationGiven: boolean;
  readonly warnings: readonly Warning[];
}
