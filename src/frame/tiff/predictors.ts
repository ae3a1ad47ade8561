/** Predictors, undone in place: horizontal differencing (TIFF 6.0 section 14) and the floating-point predictor (Technical Note 3). */

export type TiffPredictor = 'none' | 'horizontal' | 'floating-point';

/** Bytes of one sample. */
export type SampleBytes = 1 | 2 | 4 | 8;

/**
 * Undoes horizontal differencing: every sample was replaced by its difference to the one `stride` before it, as unsigned integers
 * modulo 2^bits, floating-point samples too.
 * @param block rows of `rowSamples` samples in the machine's byte order; starts at a multiple of 8 bytes
 * @param stride samples of one pixel
 */
export function undoHorizontal(
  block: Uint8Array,
  bytes: SampleBytes,
  rowSamples: number,
  stride: number,
): void {
  const { buffer, byteOffset } = block;
  const count = block.length / bytes;
  if (bytes === 1) sumBytes(block, rowSamples, stride);
  else if (bytes === 2) sumShorts(new Uint16Array(buffer, byteOffset, count), rowSamples, stride);
  else if (bytes === 4) sumLongs(new Uint32Array(buffer, byteOffset, count), rowSamples, stride);
  else sumDoubles(new BigUint64Array(buffer, byteOffset, count), rowSamples, stride);
}

// One function per type keeps each loop monomorphic.

function sumBytes(data: Uint8Array, rowSamples: number, stride: number): void {
  for (let start = 0; start < data.length; start += rowSamples) {
    const end = start + rowSamples;
    for (let i = start + stride; i < end; i++) {
      data[i] = (data[i] as number) + (data[i - stride] as number);
    }
  }
}

function sumShorts(data: Uint16Array, rowSamples: number, stride: number): void {
  for (let start = 0; start < data.length; start += rowSamples) {
    const end = start + rowSamples;
    for (let i = start + stride; i < end; i++) {
      data[i] = (data[i] as number) + (data[i - stride] as number);
    }
  }
}

function sumLongs(data: Uint32Array, rowSamples: number, stride: number): void {
  for (let start = 0; start < data.length; start += rowSamples) {
    const end = start + rowSamples;
    for (let i = start + stride; i < end; i++) {
      data[i] = (data[i] as number) + (data[i - stride] as number);
    }
  }
}

function sumDoubles(data: BigUint64Array, rowSamples: number, stride: number): void {
  for (let start = 0; start < data.length; start += rowSamples) {
    const end = start + rowSamples;
    for (let i = start + stride; i < end; i++) {
      data[i] = (data[i] as bigint) + (data[i - stride] as bigint);
    }
  }
}

/**
 * Undoes the floating-point predictor: in each row all highest bytes come first, then all second ones, …, and bytes were replaced by
 * differences. Leaves samples in little-endian order, whatever the order of the file.
 * @param block rows of `rowSamples` samples
 * @param stride samples of one pixel
 */
export function undoFloatingPoint(
  block: Uint8Array,
  bytes: SampleBytes,
  rowSamples: number,
  stride: number,
): void {
  const rowBytes = rowSamples * bytes;
  const planes = new Uint8Array(rowBytes);
  for (let start = 0; start < block.length; start += rowBytes) {
    planes.set(block.subarray(start, start + rowBytes));
    for (let i = stride; i < rowBytes; i++) {
      planes[i] = (planes[i] as number) + (planes[i - stride] as number);
    }
    for (let k = 0; k < bytes; k++) {
      const plane = (bytes - 1 - k) * rowSamples;
      for (let i = 0, to = start + k; i < rowSamples; i++, to += bytes) {
        block[to] = planes[plane + i] as number;
      }
    }
  }
}
