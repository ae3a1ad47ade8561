/** Samples of a TIFF page: rows straight from the file where it holds them as they are, else all strips or tiles unpacked into memory. */
import { FrameReadError } from '../../errors.js';
import { createSampleArray } from '../convert.js';
import { closeFile, type OpenFile, readFully } from '../file.js';
import type { FrameOverrides, RowSource, SampleArray, SampleType } from '../frame.js';
import { checkLimits } from '../limits.js';
import { checkWindow, createMemoryRows } from '../memory-rows.js';
import {
  blockBytes,
  blockRowSamples,
  blockRows,
  checkBlocks,
  countBlocks,
  storedBytes,
} from './blocks.js';
import { CodecFault, mostPackedBytes, unpackBlock } from './codecs.js';
import { halvesToFloats } from './half-floats.js';
import type { TiffPage } from './page.js';
import { undoFloatingPoint, undoHorizontal } from './predictors.js';

/** Bytes of pixel-interleaved rows that are read at a time. */
const PIECE_BYTES = 65536;

/** Element type of the rows. */
function sampleTypeOf({ storedType }: TiffPage): SampleType {
  return storedType === 'f16' ? 'f32' : storedType;
}

/** Largest number that the stored type can hold; null for floats. */
export function typeMaximumOf({ storedType }: TiffPage): number | null {
  switch (storedType) {
    case 'u8':
      return 255;
    case 'i8':
      return 127;
    case 'u16':
      return 65535;
    case 'i16':
      return 32767;
    case 'u32':
      return 4294967295;
    case 'i32':
      return 2147483647;
    default:
      return null;
  }
}

/**
 * The rows of the page. Where `inMemory` is true they do not need the file any more; otherwise they close it when they are closed.
 * @throws FrameReadError `too-large`, `truncated`, `damaged`; the file is then still open
 */
export function createTiffRows(
  file: OpenFile,
  page: TiffPage,
  overrides: FrameOverrides,
): { rows: RowSource; inMemory: boolean } {
  const { width, height, planes, compression, tiled, storedType } = page;
  const direct = compression === 'none' && !tiled && storedType !== 'f16';
  const elementBytes = createSampleArray(sampleTypeOf(page), 0).BYTES_PER_ELEMENT;
  // A strip or tile is unpacked as a whole, with the channels that are not kept: it counts as well.
  const unpacked = direct ? 0 : width * height * planes * elementBytes + blockBytes(page, 0);
  checkLimits(file.path, width, height, unpacked, overrides);
  checkBlocks(file, page);
  if (direct) return { rows: createStripRows(file, page), inMemory: false };
  const rows = createMemoryRows({
    width,
    height,
    planes,
    sampleType: sampleTypeOf(page),
    samples: unpackPage(file, page),
    interleave: page.planar ? 'plane' : 'pixel',
    ...lightScale(page),
  });
  return { rows, inMemory: true };
}

/** Physical value = zero + scale × stored: more light, larger number. */
function lightScale(page: TiffPage): { scale: number; zero: number } {
  return page.inverted ? { scale: -1, zero: typeMaximumOf(page) as number } : { scale: 1, zero: 0 };
}

/** Little-endian in place. */
function toNative(bytes: Uint8Array, size: number, littleEndian: boolean): void {
  if (littleEndian || size === 1) return;
  const buffer = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.length);
  if (size === 2) buffer.swap16();
  else if (size === 4) buffer.swap32();
  else buffer.swap64();
}

/** A row source over uncompressed strips. */
function createStripRows(file: OpenFile, page: TiffPage): RowSource {
  const { width, height, planes, planar, blockHeight, offsets, littleEndian } = page;
  const sampleType = sampleTypeOf(page);
  const size = storedBytes(page.storedType);
  const { perPlane } = countBlocks(page);
  const channels = planar ? 1 : page.samplesPerPixel;
  const rowBytes = width * channels * size;
  const rowsAtOnce = Math.max(1, Math.min(height, Math.floor(PIECE_BYTES / rowBytes)));
  const mixed =
    channels === 1 ? null : createSampleArray(sampleType, rowsAtOnce * width * channels);
  let open = true;

  /** Fills `target` with whole rows from `y` on, all within one strip. */
  const read = (target: Uint8Array, plane: number, y: number) => {
    const strip = (planar ? plane * perPlane : 0) + Math.floor(y / blockHeight);
    const start = (offsets[strip] as number) + (y % blockHeight) * rowBytes;
    readFully(file, target, 0, target.length, start);
    toNative(target, size, littleEndian);
  };

  return {
    width,
    height,
    planes,
    sampleType,
    ...lightScale(page),
    blank: null,
    readRows(plane, y0, count, out, at = 0) {
      checkWindow(this, plane, y0, count, out, at);
      if (!open) {
        throw new FrameReadError('closed', file.path, 'the frame is closed', 'open it again');
      }
      for (let done = 0; done < count; ) {
        const y = y0 + done;
        const rows = Math.min(count - done, rowsAtOnce, blockHeight - (y % blockHeight));
        const to = at + done * width;
        if (mixed === null) {
          read(bytesOf(out, to, rows * width), plane, y);
        } else {
          read(bytesOf(mixed, 0, rows * width * channels), plane, y);
          pickChannel(mixed, plane, channels, rows * width, out, to);
        }
        done += rows;
      }
    },
    close() {
      if (!open) return;
      open = false;
      closeFile(file);
    },
  };
}

function bytesOf(samples: SampleArray, from: number, count: number): Uint8Array {
  const { buffer, byteOffset, BYTES_PER_ELEMENT: size } = samples;
  return new Uint8Array(buffer, byteOffset + from * size, count * size);
}

/** One channel of pixel-interleaved samples. One element type in nearly every process, so the loop stays monomorphic. */
function pickChannel(
  mixed: SampleArray,
  channel: number,
  channels: number,
  count: number,
  out: SampleArray,
  at: number,
): void {
  for (let i = 0, from = channel; i < count; i++, from += channels) {
    out[at + i] = mixed[from] as number;
  }
}

/** Unpacks all strips or tiles of the channels that are kept. */
function unpackPage(file: OpenFile, page: TiffPage): SampleArray {
  const { width, height, planes, planar, blockWidth, blockHeight, storedType } = page;
  const out = createSampleArray(sampleTypeOf(page), width * height * planes);
  const channels = planar ? 1 : page.samplesPerPixel;
  const kept = planar ? 1 : planes;
  const counts = countBlocks(page);
  // 64-bit elements: aligned for every view of it.
  const buffer = new ArrayBuffer(Math.ceil(blockBytes(page, 0) / 8) * 8);
  const native = nativeView(page, buffer);
  for (let i = 0; i < counts.perPlane * counts.planes; i++) {
    const inPlane = i % counts.perPlane;
    const x0 = (inPlane % counts.across) * blockWidth;
    const y0 = Math.floor(inPlane / counts.across) * blockHeight;
    unpackInto(file, page, i, new Uint8Array(buffer, 0, blockBytes(page, inPlane)));
    const block = storedType === 'f16' ? halvesToFloats(new Uint16Array(buffer)) : native;
    const plane = planar ? Math.floor(i / counts.perPlane) * width * height : 0;
    const columns = Math.min(blockWidth, width - x0);
    const rows = Math.min(blockRows(page, inPlane), height - y0);
    for (let row = 0; row < rows; row++) {
      const from = row * blockRowSamples(page);
      const to = plane + ((y0 + row) * width + x0) * kept;
      if (kept === channels) out.set(block.subarray(from, from + columns * kept), to);
      else dropChannels(block, from, channels, columns, kept, out, to);
    }
  }
  return out;
}

function nativeView(page: TiffPage, buffer: ArrayBuffer): SampleArray {
  const sample = createSampleArray(sampleTypeOf(page), 0);
  const View = sample.constructor as new (buffer: ArrayBuffer) => SampleArray;
  return new View(buffer);
}

function dropChannels(
  block: SampleArray,
  from: number,
  channels: number,
  columns: number,
  kept: number,
  out: SampleArray,
  to: number,
): void {
  for (let x = 0; x < columns; x++) {
    for (let k = 0; k < kept; k++) {
      out[to + x * kept + k] = block[from + x * channels + k] as number;
    }
  }
}

/** Reads strip or tile `index` and makes native samples of it. */
function unpackInto(file: OpenFile, page: TiffPage, index: number, block: Uint8Array): void {
  // Damaged or hostile files can claim that every strip is as long as the file.
  const length = Math.min(page.byteCounts[index] as number, mostPackedBytes(block.length));
  const packed = new Uint8Array(length);
  readFully(file, packed, 0, packed.length, page.offsets[index] as number);
  try {
    unpackBlock(page.compression, packed, block, blockBytes(page, 0));
  } catch (error) {
    if (!(error instanceof CodecFault)) throw error;
    throw new FrameReadError(
      'damaged',
      file.path,
      `${page.tiled ? 'tile' : 'strip'} ${index} of the TIFF file cannot be unpacked: ${error.message}`,
      'copy or save it again; the file is damaged',
      { cause: error },
    );
  }
  const size = storedBytes(page.storedType);
  const rowSamples = blockRowSamples(page);
  const stride = page.planar ? 1 : page.samplesPerPixel;
  if (page.predictor === 'floating-point') {
    undoFloatingPoint(block, size, rowSamples, stride);
    return;
  }
  toNative(block, size, page.littleEndian);
  if (page.predictor === 'horizontal') undoHorizontal(block, size, rowSamples, stride);
}
