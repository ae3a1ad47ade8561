/** Output files: refused before the work when they cannot be written, and never left half-written. */
import {
  closeSync,
  existsSync,
  mkdirSync,
  openSync,
  renameSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { ToolError } from '../errors.js';

/** Exit code after Ctrl-C, as shells count it: 128 + signal 2. */
const INTERRUPTED = 130;

/** An output path that cannot be used; the work was not started (`refused`) or its result could not be kept. */
export class OutputError extends ToolError {
  readonly refused: boolean;
  constructor(refused: boolean, message: string, remedy: string, options?: ErrorOptions) {
    super(refused ? 'output-refused' : 'output-failed', message, remedy, options);
    this.refused = refused;
  }
}

function temporaryName(path: string): string {
  return join(dirname(path), `.${basename(path)}.${process.pid}.part`);
}

export function reason(cause: unknown): string {
  const code = (cause as NodeJS.ErrnoException).code;
  const words: Record<string, string> = {
    ENOENT: 'the folder does not exist',
    ENOTDIR: 'the folder does not exist',
    EACCES: 'this user may not write there',
    EPERM: 'this user may not write there',
    EROFS: 'the disk is read-only',
    ENOSPC: 'the disk is full',
    EISDIR: 'this is a folder',
    ENAMETOOLONG: 'the name is too long',
  };
  return words[code ?? ''] ?? code ?? String(cause);
}

/** A pipe, terminal or other device: written to directly, never replaced. */
function isDevice(path: string): boolean {
  return existsSync(path) && !statSync(path).isFile();
}

/**
 * Checks that `path` can be written: not a folder, not there already (unless `force`), its folder there and writable.
 * @throws OutputError
 */
export function checkFileTarget(path: string, force: boolean): void {
  if (existsSync(path)) {
    const status = statSync(path);
    if (status.isDirectory()) {
      throw new OutputError(true, `${path}: this is a folder`, 'name a file in it');
    }
    if (!status.isFile()) return;
    if (!force) {
      throw new OutputError(
        true,
        `${path}: this file exists already and is kept`,
        'give another name, or --force to replace it',
      );
    }
  }
  const trial = temporaryName(path);
  try {
    closeSync(openSync(trial, 'wx'));
  } catch (cause) {
    throw new OutputError(
      true,
      `${path}: cannot be written (${reason(cause)})`,
      'name a file in a folder that exists and that you may write to',
      { cause },
    );
  }
  rmSync(trial, { force: true });
}

/** Makes a folder and those above it, one by one: in a place like /proc, Node's own recursive way never comes back. */
function makeFolder(folder: string): void {
  if (statSync(folder, { throwIfNoEntry: false })?.isDirectory()) return;
  const above = dirname(folder);
  if (above !== folder) makeFolder(above);
  try {
    mkdirSync(folder);
  } catch (error) {
    // Made by somebody else in the meantime.
    if (!statSync(folder, { throwIfNoEntry: false })?.isDirectory()) throw error;
  }
}

/**
 * Makes the folder where needed and checks that `names` can be written into it.
 * @throws OutputError
 */
export function checkFolderTarget(folder: string, names: readonly string[], force: boolean): void {
  try {
    makeFolder(folder);
  } catch (cause) {
    const fault =
      (cause as NodeJS.ErrnoException).code === 'EEXIST'
        ? 'a file of that name is in the way'
        : reason(cause);
    throw new OutputError(
      true,
      `${folder}: the folder cannot be made (${fault})`,
      'name a folder that you may write to',
      { cause },
    );
  }
  for (const name of names) checkFileTarget(join(folder, name), force);
}

/**
 * Writes a whole file or none: into a temporary file beside it, which then takes its name. A signal in between removes
 * the temporary file. Devices and pipes are written to directly.
 * @throws OutputError
 */
export function writeWhole(path: string, data: string | Uint8Array): void {
  const temporary = temporaryName(path);
  try {
    if (isDevice(path)) {
      writeFileSync(path, data);
      return;
    }
    guarded(temporary, () => {
      writeFileSync(temporary, data);
      renameSync(temporary, path);
    });
  } catch (cause) {
    rmSync(temporary, { force: true });
    throw new OutputError(
      false,
      `${path}: could not be written (${reason(cause)})`,
      'free some space or name another folder, then run the command again',
      { cause },
    );
  }
}

const SIGNALS = ['SIGINT', 'SIGTERM', 'SIGHUP'] as const;

/** Calls `stop` when the run is asked to end. @returns what takes that back */
export function onSignals(stop: () => void): () => void {
  for (const signal of SIGNALS) process.on(signal, stop);
  return () => {
    for (const signal of SIGNALS) process.off(signal, stop);
  };
}

/**
 * Runs `write` with signals held back: they are delivered after it, when the file is whole or gone. (Node runs signal
 * handlers between synchronous calls, so none can interrupt `write` itself.)
 */
function guarded(temporary: string, write: () => void): void {
  const stop = (): void => {
    rmSync(temporary, { force: true });
    process.exit(INTERRUPTED);
  };
  const release = onSignals(stop);
  try {
    write();
  } finally {
    // Only after a turn of the event loop, so that a signal that came in meanwhile still stops the run.
    setImmediate(release);
  }
}
