/** Samples of a whole frame, and their digest as the reference scripts take it. */
import { createHash } from 'node:crypto';
import { createSampleArray } from '../../src/frame/convert.js';
import type { RowSource, SampleArray } from '../../src/frame/frame.js';

/** All planes, one after another. */
export function wholeImage(rows: RowSource): SampleArray {
  const size = rows.width * rows.height;
  const out = createSampleArray(rows.sampleType, size * rows.planes);
  for (let plane = 0; plane < rows.planes; plane++) {
    rows.readRows(plane, 0, rows.height, out, plane * size);
  }
  return out;
}

/** SHA-256 of the samples in big-endian order, with every NaN as the quiet one. */
export function bigEndianDigest(samples: SampleArray): string {
  const copy = samples.slice();
  if (copy instanceof Float32Array || copy instanceof Float64Array) {
    for (let i = 0; i < copy.length; i++) if (Number.isNaN(copy[i])) copy[i] = Number.NaN;
  }
  const bytes = Buffer.from(copy.buffer);
  if (copy.BYTES_PER_ELEMENT === 2) bytes.swap16();
  else if (copy.BYTES_PER_ELEMENT === 4) bytes.swap32();
  else if (copy.BYTES_PER_ELEMENT === 8) bytes.swap64();
  return createHash('sha256').update(bytes).digest('hex');
}
