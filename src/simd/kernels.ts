/** The whole-frame loops with their memory: WebAssembly with SIMD, or the same loops in plain TypeScript where that is missing.
 *
 * Callers lay out rows in `buffer` and name them by byte address. Both forms give the same bits, so that a result does not depend on the
 * machine. SIMD takes a third of the time or less: one pass over a 26-megapixel frame touches 80 MB.
 */
import { KERNEL_BYTES } from './kernels-bytes.js';
import { createPlainKernels } from './plain.js';

export interface Kernels {
  /** The memory that addresses refer to. */
  readonly buffer: ArrayBuffer;
  /** Swaps the bytes of `count` 16-bit samples in place and XORs each with the low half of `flip`. */
  swap16(at: number, count: number, flip: number): void;
  /**
   * Row of 2 × 2 cells of two rows of unsigned 16-bit samples: (w0 a + w1 b) + (w2 c + w3 d) − background, 0 where not finite.
   * Writes whole groups of four cells.
   */
  cells16(
    top: number,
    bottom: number,
    background: number,
    out: number,
    columns: number,
    w0: number,
    w1: number,
    w2: number,
    w3: number,
  ): void;
  /**
   * Symmetric filter along a row. `kernel`: half + 1 weights from the middle outwards; `padded`: first sample, with `half` samples before it
   * and after the last group of four.
   */
  filterRow(padded: number, kernel: number, half: number, out: number, columns: number): void;
  /**
   * The same filter across rows: `rows` lists the addresses of 2 half + 1 rows. Lists at `hits` the first column of each group of four
   * that reaches `threshold`, and returns their number.
   */
  filterColumns(
    rows: number,
    kernel: number,
    half: number,
    out: number,
    columns: number,
    threshold: number,
    hits: number,
  ): number;
  /**
   * Writes, as three doubles at `out`, sum, sum of squares and number of value − centre over the 32-bit values in low … high. NaN is never
   * inside; `count` is even.
   */
  moments(at: number, count: number, centre: number, low: number, high: number, out: number): void;
  /**
   * The 32-bit value with `rank` smaller ones; it must lie in low … high (32-bit values). `count` is a multiple of four; NaN counts as
   * larger than anything. O(count × 32) at most, without a branch on the data.
   */
  select(at: number, count: number, rank: number, low: number, high: number): number;
  /** Number of values below `limit`, and the largest of them (−∞ where there is none); `count` and NaN as for `select`. */
  below(at: number, count: number, limit: number): number;
  largestBelow(at: number, count: number, limit: number): number;
  /** Straight lines between nodes eight columns apart; `nodes` holds intervals + 1 values. */
  ramp(nodes: number, out: number, intervals: number): void;
}

/** The part of WebAssembly that is used; its types come with browsers' libraries only. */
interface WebAssemblyApi {
  Module: new (bytes: Uint8Array) => object;
  Instance: new (
    module: object,
  ) => { exports: Omit<Kernels, 'buffer'> & { memory: WebAssemblyMemory } };
}

interface WebAssemblyMemory {
  buffer: ArrayBuffer;
  grow(pages: number): number;
}

const PAGE_BYTES = 65536;

let compiled: object | null | undefined;

/** The compiled module, once per thread; null where WebAssembly or its SIMD is missing. */
function compiledModule(api: WebAssemblyApi | undefined): object | null {
  if (compiled === undefined) {
    try {
      compiled = api ? new api.Module(Buffer.from(KERNEL_BYTES, 'base64')) : null;
    } catch {
      compiled = null;
    }
  }
  return compiled;
}

/** Kernels with at least `bytes` of memory of their own, zero-filled. */
export function createKernels(bytes: number): Kernels {
  const api = (globalThis as { WebAssembly?: WebAssemblyApi }).WebAssembly;
  const module = compiledModule(api);
  if (!api || !module) return createPlainKernels(bytes);
  const { memory, ...functions } = new api.Instance(module).exports;
  memory.grow(Math.max(0, Math.ceil(bytes / PAGE_BYTES) - 1));
  return { buffer: memory.buffer, ...functions };
}

/** Lays out arrays one after the other, each on a 16-byte boundary. */
export function createLayout(): { take(bytes: number): number; readonly size: number } {
  let size = 0;
  return {
    take(bytes) {
      const at = size;
      size += Math.ceil(bytes / 16) * 16;
      return at;
    },
    get size() {
      return size;
    },
  };
}
