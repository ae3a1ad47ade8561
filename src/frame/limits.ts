/** Limits on the size of one frame. Files are untrusted: a small file can claim, or unpack to, any size.
 * Every reader that holds more than a few rows in memory asks here first, before it allocates.
 */
import { FrameReadError } from '../errors.js';
import type { FrameOverrides } from './frame.js';

/** Samples of one plane: three times the largest camera sensors of today (150 megapixels). */
export const DEFAULT_MAX_PIXELS = 500_000_000;
/** Bytes that one file may unpack to. */
export const DEFAULT_MAX_BYTES = 2_000_000_000;

/**
 * Refuses a frame that is larger than allowed.
 * @param unpackedBytes bytes that will be held or written when the file is unpacked; 0 when rows are read straight from the file
 * @throws FrameReadError `too-large`
 */
export function checkLimits(
  path: string,
  width: number,
  height: number,
  unpackedBytes: number,
  overrides: FrameOverrides,
): void {
  const maxPixels = overrides.maxPixels ?? DEFAULT_MAX_PIXELS;
  if (width * height > maxPixels) {
    throw new FrameReadError(
      'too-large',
      path,
      `the frame claims ${width} × ${height} pixels, more than the limit of ${maxPixels}`,
      `if that is right, raise the limit with --max-pixels ${width * height}`,
    );
  }
  checkUnpackedBytes(path, unpackedBytes, overrides);
}

/**
 * Refuses what unpacks to more bytes than allowed.
 * @throws FrameReadError `too-large`
 */
export function checkUnpackedBytes(path: string, bytes: number, overrides: FrameOverrides): void {
  const maxBytes = overrides.maxBytes ?? DEFAULT_MAX_BYTES;
  if (bytes > maxBytes) {
    throw new FrameReadError(
      'too-large',
      path,
      `the file unpacks to ${bytes} bytes or more, over the limit of ${maxBytes}`,
      `if that is right, raise the limit with --max-bytes ${bytes}`,
    );
  }
}
