/** Reading of 16-bit samples, by far the most frequent: through a small memory of their own, where they are put right eight at a time. */
import { createKernels, type Kernels } from '../../simd/kernels.js';
import { type OpenFile, readFully } from '../file.js';

/** Bytes read and put right at a time: they stay in the second-level cache. */
const PIECE_BYTES = 65536;

/** Made with the first frame of that type, kept for the next. */
let words: { kernels: Kernels; bytes: Uint8Array } | null = null;

/**
 * Fills `target` with big-endian 16-bit samples from file position `position`, in the machine's own order, their sign bits flipped
 * if asked for.
 * @throws FrameReadError when the file ends first or cannot be read
 */
export function readWords(
  file: OpenFile,
  target: Uint8Array,
  position: number,
  flipSign: boolean,
): void {
  if (!words) {
    const kernels = createKernels(PIECE_BYTES);
    words = { kernels, bytes: new Uint8Array(kernels.buffer, 0, PIECE_BYTES) };
  }
  const { kernels, bytes } = words;
  for (let from = 0; from < target.length; from += PIECE_BYTES) {
    const length = Math.min(PIECE_BYTES, target.length - from);
    readFully(file, bytes, 0, length, position + from);
    kernels.swap16(0, length >> 1, flipSign ? 0x8000 : 0);
    target.set(length === PIECE_BYTES ? bytes : bytes.subarray(0, length), from);
  }
}
