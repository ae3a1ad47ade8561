/** Positioned synchronous reads from a path, or from bytes that stand for one, with an error that names fault and remedy for each way
 * they can fail.
 */
import { closeSync, fstatSync, openSync, readSync } from 'node:fs';
import { FrameReadError } from '../errors.js';

/** An open regular file, or bytes in memory (an unpacked file) that are read in the same way. */
export interface OpenFile {
  readonly path: string;
  /** Descriptor of the file; null when `bytes` stand for it. */
  readonly fd: number | null;
  readonly bytes?: Uint8Array;
  /** Bytes. */
  readonly size: number;
}

/**
 * Opens a regular, non-empty file for reading.
 * @throws FrameReadError with code `missing`, `folder`, `no-permission`, `not-a-file`, `empty` or `unreadable`.
 */
export function openFile(path: string): OpenFile {
  let fd: number;
  try {
    fd = openSync(path, 'r');
  } catch (cause) {
    throw openError(path, cause);
  }
  try {
    const status = fstatSync(fd);
    if (status.isDirectory()) {
      throw new FrameReadError(
        'folder',
        path,
        'this is a folder, not a frame',
        'name the files in it, for example FOLDER/*.fits',
      );
    }
    if (!status.isFile()) {
      throw new FrameReadError(
        'not-a-file',
        path,
        'this is a device, pipe or socket; frames are read at random positions',
        'save the frame to an ordinary file first',
      );
    }
    if (status.size === 0) {
      throw new FrameReadError(
        'empty',
        path,
        'the file is empty (0 bytes)',
        'copy or save it again; the transfer was probably cut off',
      );
    }
    return { path, fd, size: status.size };
  } catch (error) {
    closeSync(fd);
    throw error;
  }
}

function openError(path: string, cause: unknown): FrameReadError {
  const code = (cause as NodeJS.ErrnoException).code;
  if (code === 'ENOENT' || code === 'ENOTDIR') {
    return new FrameReadError('missing', path, 'no such file', 'check the name and the folder', {
      cause,
    });
  }
  if (code === 'EISDIR') {
    return new FrameReadError(
      'folder',
      path,
      'this is a folder, not a frame',
      'name the files in it, for example FOLDER/*.fits',
      { cause },
    );
  }
  if (code === 'EACCES' || code === 'EPERM') {
    return new FrameReadError(
      'no-permission',
      path,
      'the file may not be read by this user',
      'change its permissions or copy it to a folder of your own',
      { cause },
    );
  }
  return new FrameReadError(
    'unreadable',
    path,
    `the file cannot be opened (${code ?? String(cause)})`,
    'check the disk and the path',
    { cause },
  );
}

/**
 * Fills `target[from … from + length − 1]` from file position `position`.
 * @throws FrameReadError `truncated` when the file ends first, `unreadable` when the system reports a fault.
 */
export function readFully(
  file: OpenFile,
  target: Uint8Array,
  from: number,
  length: number,
  position: number,
): void {
  let done = 0;
  while (done < length) {
    let got: number;
    try {
      got = readSome(file, target, from + done, length - done, position + done);
    } catch (cause) {
      const code = (cause as NodeJS.ErrnoException).code ?? String(cause);
      throw new FrameReadError(
        'unreadable',
        file.path,
        `reading failed at byte ${position + done} (${code})`,
        'check the disk or the network drive, then try again',
        { cause },
      );
    }
    if (got === 0) {
      throw new FrameReadError(
        'truncated',
        file.path,
        `the file ends at byte ${position + done}, ${length - done} bytes too early`,
        'copy or save it again; the transfer was probably cut off',
      );
    }
    done += got;
  }
}

function readSome(
  file: OpenFile,
  target: Uint8Array,
  from: number,
  length: number,
  position: number,
): number {
  if (file.fd !== null) return readSync(file.fd, target, from, length, position);
  const part = file.bytes?.subarray(position, position + length) ?? new Uint8Array(0);
  target.set(part, from);
  return part.length;
}

/** Bytes in memory that are read like the file at `path`, for messages. */
export function memoryFile(path: string, bytes: Uint8Array): OpenFile {
  return { path, fd: null, bytes, size: bytes.length };
}

/** Closes the file; closing twice must be prevented by the caller. */
export function closeFile(file: OpenFile): void {
  if (file.fd !== null) closeSync(file.fd);
}
