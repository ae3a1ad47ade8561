/** Rows of a frame that a decoder has unpacked as a whole: formats whose files cannot be read at random positions. */
import { ARRAY_TYPES } from './convert.js';
import type { RowSource, SampleArray, SampleType } from './frame.js';

/** What was unpacked. */
export interface MemoryImage {
  width: number;
  height: number;
  planes: number;
  sampleType: SampleType;
  /** Samples of all planes in the file's own type, row-major. */
  samples: SampleArray;
  /** 'pixel': R G B R G B …; 'plane': all of R, then all of G, then all of B. With one plane both are the same. */
  interleave: 'pixel' | 'plane';
  scale?: number;
  zero?: number;
  blank?: number | null;
}

/**
 * A row source over samples in memory.
 * @throws RangeError when `samples` is of the wrong type or does not hold width × height × planes elements
 */
export function createMemoryRows(image: MemoryImage): RowSource {
  const { width, height, planes, sampleType, interleave } = image;
  const type = ARRAY_TYPES[sampleType];
  if (!(image.samples instanceof type) || image.samples.length < width * height * planes) {
    throw new RangeError(`${width} × ${height} × ${planes} samples of type ${sampleType} expected`);
  }
  let samples: SampleArray | null = image.samples;
  return {
    width,
    height,
    planes,
    sampleType,
    scale: image.scale ?? 1,
    zero: image.zero ?? 0,
    blank: image.blank ?? null,
    readRows(plane, y0, count, out, at = 0) {
      if (samples === null) throw new RangeError('the frame is closed');
      checkWindow(this, plane, y0, count, out, at);
      if (planes === 1 || interleave === 'plane') {
        const from = (plane * height + y0) * width;
        out.set(samples.subarray(from, from + count * width), at);
        return;
      }
      let from = y0 * width * planes + plane;
      for (let i = at; i < at + count * width; i++) {
        out[i] = samples[from] as number;
        from += planes;
      }
    },
    close() {
      samples = null;
    },
  };
}

/**
 * Checks a request for rows.
 * @throws RangeError when the window lies outside the frame or `out` is of the wrong type or too short
 */
export function checkWindow(
  source: Pick<RowSource, 'width' | 'height' | 'planes' | 'sampleType'>,
  plane: number,
  y0: number,
  count: number,
  out: SampleArray,
  at: number,
): void {
  const { width, height, planes, sampleType } = source;
  if (!Number.isInteger(plane) || plane < 0 || plane >= planes) {
    throw new RangeError(`plane ${plane} of ${planes}`);
  }
  const inside = Number.isInteger(y0) && Number.isInteger(count) && y0 >= 0 && count >= 0;
  if (!inside || y0 + count > height) {
    throw new RangeError(`rows ${y0} to ${y0 + count - 1} of ${height}`);
  }
  if (!(out instanceof ARRAY_TYPES[sampleType])) {
    throw new RangeError(`the buffer must be of type ${ARRAY_TYPES[sampleType].name}`);
  }
  if (!Number.isInteger(at) || at < 0 || at + count * width > out.length) {
    throw new RangeError(
      `${count} rows of ${width} samples from element ${at} do not fit into ${out.length} elements`,
    );
  }
}
