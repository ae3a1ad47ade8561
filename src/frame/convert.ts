/** Rows as physical values in 32-bit floats: zero + scale × stored, and NaN for BLANK.
 * The line converter is chosen once per source; each is one loop over one sample type.
 */
import type { RowSource, SampleArray, SampleType } from './frame.js';

/** Samples converted at a time: the native buffer stays in the cache. */
const PIECE_SAMPLES = 32768;

/** Reads rows as physical values. */
export interface FloatReader {
  (plane: number, y0: number, count: number, out: Float32Array, at?: number): void;
  /** The rows themselves where their stored samples are unsigned 16-bit numbers and are the physical values. */
  readonly stored16?: RowSource;
}

/**
 * Makes a reader of physical values. It writes `count` rows of `plane` from row `y0` on into `out`, row-major, starting at element
 * `at` (default 0). Computed in double precision, rounded once. The native buffer is made once, here: a few rows long.
 * @throws RangeError from the reader when the window lies outside the frame or `out` is too short.
 */
export function createFloatReader(source: RowSource): FloatReader {
  const { width, scale, zero, blank, sampleType } = source;
  const asStored = scale === 1 && zero === 0 && blank === null;
  if (asStored && sampleType === 'f32') {
    return (plane, y0, count, out, at = 0) => source.readRows(plane, y0, count, out, at);
  }
  const rowsAtOnce = Math.max(1, Math.min(source.height, Math.floor(PIECE_SAMPLES / width)));
  const native = createSampleArray(sampleType, rowsAtOnce * width);
  const convert = CONVERTERS[sampleType] as Converter<SampleArray>;

  const read: FloatReader = (plane, y0, count, out, at = 0) => {
    if (!Number.isInteger(at) || at < 0 || at + count * width > out.length) {
      throw new RangeError(
        `${count} rows of ${width} samples from element ${at} do not fit into ${out.length} elements`,
      );
    }
    for (let done = 0; done < count; done += rowsAtOnce) {
      const rows = Math.min(rowsAtOnce, count - done);
      const target = at + done * width;
      source.readRows(plane, y0 + done, rows, native);
      // The engine's own conversion is about ten times as fast as any loop.
      if (asStored) out.set(native.subarray(0, rows * width), target);
      else convert(native, rows * width, scale, zero, blank, out, target);
    }
  };
  return asStored && sampleType === 'u16' ? Object.assign(read, { stored16: source }) : read;
}

/** A zero-filled array of the kind that carries `sampleType`. */
export function createSampleArray(sampleType: SampleType, length: number): SampleArray {
  return new ARRAY_TYPES[sampleType](length);
}

/** The array class that carries each sample type. */
export const ARRAY_TYPES = {
  u8: Uint8Array,
  i8: Int8Array,
  u16: Uint16Array,
  i16: Int16Array,
  u32: Uint32Array,
  i32: Int32Array,
  i64: Float64Array,
  f32: Float32Array,
  f64: Float64Array,
} as const;

type Converter<T> = (
  from: T,
  length: number,
  scale: number,
  zero: number,
  blank: number | null,
  out: Float32Array,
  at: number,
) => void;

// The bodies are alike on purpose: one function per type keeps each loop monomorphic (fed six array kinds, one shared loop
// runs 6–18 times slower).

function convertU8(
  from: Uint8Array,
  length: number,
  scale: number,
  zero: number,
  blank: number | null,
  out: Float32Array,
  at: number,
): void {
  if (blank === null) {
    for (let i = 0; i < length; i++) out[at + i] = zero + scale * (from[i] as number);
    return;
  }
  for (let i = 0; i < length; i++) {
    const stored = from[i] as number;
    out[at + i] = stored === blank ? Number.NaN : zero + scale * stored;
  }
}

function convertI8(
  from: Int8Array,
  length: number,
  scale: number,
  zero: number,
  blank: number | null,
  out: Float32Array,
  at: number,
): void {
  if (blank === null) {
    for (let i = 0; i < length; i++) out[at + i] = zero + scale * (from[i] as number);
    return;
  }
  for (let i = 0; i < length; i++) {
    const stored = from[i] as number;
    out[at + i] = stored === blank ? Number.NaN : zero + scale * stored;
  }
}

function convertU16(
  from: Uint16Array,
  length: number,
  scale: number,
  zero: number,
  blank: number | null,
  out: Float32Array,
  at: number,
): void {
  if (blank === null) {
    for (let i = 0; i < length; i++) out[at + i] = zero + scale * (from[i] as number);
    return;
  }
  for (let i = 0; i < length; i++) {
    const stored = from[i] as number;
    out[at + i] = stored === blank ? Number.NaN : zero + scale * stored;
  }
}

function convertI16(
  from: Int16Array,
  length: number,
  scale: number,
  zero: number,
  blank: number | null,
  out: Float32Array,
  at: number,
): void {
  if (blank === null) {
    for (let i = 0; i < length; i++) out[at + i] = zero + scale * (from[i] as number);
    return;
  }
  for (let i = 0; i < length; i++) {
    const stored = from[i] as number;
    out[at + i] = stored === blank ? Number.NaN : zero + scale * stored;
  }
}

function convertU32(
  from: Uint32Array,
  length: number,
  scale: number,
  zero: number,
  blank: number | null,
  out: Float32Array,
  at: number,
): void {
  if (blank === null) {
    for (let i = 0; i < length; i++) out[at + i] = zero + scale * (from[i] as number);
    return;
  }
  for (let i = 0; i < length; i++) {
    const stored = from[i] as number;
    out[at + i] = stored === blank ? Number.NaN : zero + scale * stored;
  }
}

function convertI32(
  from: Int32Array,
  length: number,
  scale: number,
  zero: number,
  blank: number | null,
  out: Float32Array,
  at: number,
): void {
  if (blank === null) {
    for (let i = 0; i < length; i++) out[at + i] = zero + scale * (from[i] as number);
    return;
  }
  for (let i = 0; i < length; i++) {
    const stored = from[i] as number;
    out[at + i] = stored === blank ? Number.NaN : zero + scale * stored;
  }
}

function convertF32(
  from: Float32Array,
  length: number,
  scale: number,
  zero: number,
  blank: number | null,
  out: Float32Array,
  at: number,
): void {
  if (blank === null) {
    for (let i = 0; i < length; i++) out[at + i] = zero + scale * (from[i] as number);
    return;
  }
  for (let i = 0; i < length; i++) {
    const stored = from[i] as number;
    out[at + i] = stored === blank ? Number.NaN : zero + scale * stored;
  }
}

function convertF64(
  from: Float64Array,
  length: number,
  scale: number,
  zero: number,
  blank: number | null,
  out: Float32Array,
  at: number,
): void {
  if (blank === null) {
    for (let i = 0; i < length; i++) out[at + i] = zero + scale * (from[i] as number);
    return;
  }
  for (let i = 0; i < length; i++) {
    const stored = from[i] as number;
    out[at + i] = stored === blank ? Number.NaN : zero + scale * stored;
  }
}

const CONVERTERS = {
  u8: convertU8,
  i8: convertI8,
  u16: convertU16,
  i16: convertI16,
  u32: convertU32,
  i32: convertI32,
  i64: convertF64,
  f32: convertF32,
  f64: convertF64,
} as const;
