/** The camera raw decoder, compiled to WebAssembly (package libraw-wasm 1.6.0), as its own module behaves: the package's index
 * wants a browser. Only `decode-worker.ts` loads it, in a thread of its own.
 */
import { readFileSync } from 'node:fs';

/** What the decoder says about a file: the fields that are used here. Numbers not in the file are 0. */
export interface RawMetadata {
  raw_width: number;
  raw_height: number;
  /** The visible area within the raw one. */
  left_margin: number;
  top_margin: number;
  width: number;
  height: number;
  /** How the picture is to be turned for display: bits 0 and 1 mirror, bit 2 exchanges rows and columns. Never carried out. */
  flip: number;
  /** Mosaic of the visible area as a bit field, see `mosaic.ts`; 0: none, 9: X-Trans, 1: 16 × 16. Signed. */
  filters: number;
  /** Names of the colours 0 … 3. */
  cdesc: string;
  /** Colours per pixel (full colour) or of the mosaic. */
  colors: number;
  is_foveon: number;
  /** Images in the file. */
  raw_count: number;
  camera_make: string;
  camera_model: string;
  shutter: number;
  iso_speed: number;
  /** f-number. */
  aperture: number;
  /** mm */
  focal_len: number;
  /** Seconds; made from the camera's wall clock as if it stood in this machine's time zone. */
  timestamp: number;
  color_data: { black: number; maximum: number };
}

/** Samples of the raw area, row-major without gaps. */
export interface RawSamples {
  raw_width: number;
  raw_height: number;
  data: Uint16Array;
}

/** One file being decoded. Its methods throw objects that say nothing; the decoder's complaints come as printed lines. */
export interface LibRawInstance {
  /** Reads the structure of the file, not yet the samples. */
  open(bytes: Uint8Array, settings: object): void;
  metadata(full: boolean): RawMetadata;
  rawImageData(): RawSamples | undefined;
  delete(): void;
}

interface LibRawModule {
  LibRaw: new () => LibRawInstance;
}

type CreateModule = (options: {
  wasmBinary: Uint8Array;
  print: (line: string) => void;
  printErr: (line: string) => void;
}) => Promise<LibRawModule>;

/**
 * Loads and compiles the decoder (about 40 ms); `print` receives the lines it would write to the terminal.
 * The module's memory only grows: it is freed with the thread.
 */
export async function loadLibRaw(print: (line: string) => void): Promise<LibRawModule> {
  const url = import.meta.resolve('libraw-wasm/dist/libraw.js');
  const { default: create } = (await import(url)) as { default: CreateModule };
  const wasmBinary = readFileSync(new URL('libraw.wasm', url));
  return create({ wasmBinary, print, printErr: print });
}
