/** Whole files under gzip: unpacked into memory, with a limit, and opened as the file inside (RFC 1952). */
import { createGunzip } from 'node:zlib';
import { FrameReadError } from '../errors.js';
import { closeFile, memoryFile, type OpenFile, readFully } from './file.js';
import { openFits, recognisesFits } from './fits/open-fits.js';
import type { Frame, FrameOverrides } from './frame.js';
import { checkUnpackedBytes, DEFAULT_MAX_BYTES } from './limits.js';

/** Bytes of the packed file that are read at a time. */
const PIECE_BYTES = 1 << 18;
/** Deflate packs at most 1032 : 1 (two bits for a run of 258 bytes). */
const LARGEST_RATIO = 1032;
/** Bytes that show whether FITS is inside. */
const HEAD_BYTES = 80;
const MIN_CAPACITY = 1 << 16;

/** True for the first bytes of a gzip file with the only method there is, deflate. */
export function recognisesGzip(head: Uint8Array): boolean {
  return head[0] === 0x1f && head[1] === 0x8b && head[2] === 8;
}

/**
 * Opens a FITS file under gzip. Several members count as one file; zeros behind the last one are ignored. The packed file is
 * closed, the frame reads from memory.
 * @throws FrameReadError `too-large` as soon as more than the allowed bytes come out, `truncated` or `damaged` when the stream is,
 * `not-a-frame` when it holds something else than FITS; and what the FITS reader throws
 */
export async function openGzip(file: OpenFile, overrides: FrameOverrides): Promise<Frame> {
  const bytes = await unpack(file, overrides);
  // The memory stands for the file from here on; on failure the caller closes the packed file.
  const frame = openFits(memoryFile(file.path, bytes), overrides);
  closeFile(file);
  return frame;
}

async function unpack(file: OpenFile, overrides: FrameOverrides): Promise<Uint8Array> {
  const out = new GrowingBytes(guessedSize(file, overrides));
  const gunzip = createGunzip({ chunkSize: PIECE_BYTES });
  let failure: unknown = null;
  gunzip.on('error', (error: unknown) => {
    failure ??= error;
  });
  gunzip.on('data', (chunk: Buffer) => {
    if (failure !== null) return;
    try {
      checkUnpackedBytes(file.path, out.length + chunk.length, overrides);
      out.append(chunk);
      checkContent(file.path, out);
    } catch (error) {
      failure = error;
      gunzip.destroy();
    }
  });
  // Ends after the last member, also when zeros follow it (then without taking them, or reporting them as written).
  let over = false;
  const end = new Promise<void>((resolve) => {
    for (const event of ['end', 'close', 'error']) {
      gunzip.once(event, () => {
        over = true;
        resolve();
      });
    }
  });
  try {
    for (let at = 0; at < file.size && !over; at += PIECE_BYTES) {
      const piece = new Uint8Array(Math.min(PIECE_BYTES, file.size - at));
      readFully(file, piece, 0, piece.length, at);
      // The next piece waits until this one is unpacked: only one is ever in flight.
      const written = new Promise<void>((resolve) => {
        gunzip.write(piece, () => resolve());
      });
      await Promise.race([written, end]);
    }
    if (!over) gunzip.end();
    await end;
  } finally {
    gunzip.destroy();
  }
  if (failure !== null) throw unpackError(file, failure);
  if (!out.checked) throw noFits(file.path);
  return out.bytes();
}

/** Something else than FITS is refused after its first bytes, not after two gigabytes. */
function checkContent(path: string, out: GrowingBytes): void {
  if (out.checked || out.length < HEAD_BYTES) return;
  out.checked = true;
  if (!recognisesFits(out.bytes())) throw noFits(path);
}

function noFits(path: string): FrameReadError {
  return new FrameReadError(
    'not-a-frame',
    path,
    'the gzip file holds no FITS image; supported under gzip: FITS',
    'unpack it and give the frames in it: gunzip -k FILE',
  );
}

function unpackError(file: OpenFile, failure: unknown): unknown {
  if (failure instanceof FrameReadError) return failure;
  const code = (failure as NodeJS.ErrnoException).code ?? String(failure);
  if (code === 'Z_BUF_ERROR') {
    return new FrameReadError(
      'truncated',
      file.path,
      'the gzip file ends too early',
      'copy or save it again; the transfer was probably cut off',
      { cause: failure },
    );
  }
  return new FrameReadError(
    'damaged',
    file.path,
    `the gzip file cannot be unpacked (${code})`,
    'it is damaged: copy or save it again',
    { cause: failure },
  );
}

/** The last four bytes claim the size modulo 2^32. They may lie (or belong to the last of several members): only a first guess. */
function guessedSize(file: OpenFile, overrides: FrameOverrides): number {
  if (file.size < 18) return MIN_CAPACITY;
  const tail = Buffer.alloc(4);
  readFully(file, tail, 0, 4, file.size - 4);
  const limit = Math.min(overrides.maxBytes ?? DEFAULT_MAX_BYTES, file.size * LARGEST_RATIO);
  return Math.max(MIN_CAPACITY, Math.min(tail.readUInt32LE(0), limit));
}

/** Bytes that grow by half when they do not suffice. Memory that is never written is never touched. */
class GrowingBytes {
  length = 0;
  checked = false;
  #bytes: Buffer;

  constructor(capacity: number) {
    this.#bytes = Buffer.allocUnsafeSlow(capacity);
  }

  append(chunk: Uint8Array): void {
    const needed = this.length + chunk.length;
    if (needed > this.#bytes.length) {
      const larger = Buffer.allocUnsafeSlow(Math.ceil(Math.max(needed, this.#bytes.length * 1.5)));
      larger.set(this.bytes());
      this.#bytes = larger;
    }
    this.#bytes.set(chunk, this.length);
    this.length = needed;
  }

  bytes(): Uint8Array {
    return this.#bytes.subarray(0, this.length);
  }
}
