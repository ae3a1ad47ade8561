/** The file of records that `grade --ndjson` writes and `--resume` and `merge` read. */
import { closeSync, openSync, readFileSync, statSync, truncateSync, writeSync } from 'node:fs';
import { ToolError, UsageError } from '../errors.js';
import type { NightFrame } from '../grade/night-frame.js';
import { type ReadRecords, readRecords, recordLine, runLine } from '../grade/record-lines.js';
import { VERSION } from '../version.js';
import { OutputError, reason } from './output.js';

/** A text file larger than this is no list of records that fits in memory. */
const MOST_BYTES = 500e6;
/** Damaged lines that a message names. */
const NAMED_FAULTS = 3;
/** Waiting without work for a pipe that is full. */
const PAUSE = new Int32Array(new SharedArrayBuffer(4));
const PAUSE_MS = 5;

/** A file of records that cannot be read. */
class RecordFileError extends ToolError {
  constructor(message: string, remedy: string, options?: ErrorOptions) {
    super('records-unreadable', message, remedy, options);
  }
}

export interface LoadedRecords extends ReadRecords {
  path: string;
  /** About lines that could not be used, without an end; or null. */
  doubt: string | null;
  /** Frames of the list that its runs were part of; null when unknown. */
  wholeNight: number | null;
}

/** @throws RecordFileError when it is missing, no text, or holds no record */
export function loadRecords(path: string): LoadedRecords {
  let content: Buffer;
  try {
    const { size } = statSync(path);
    if (size > MOST_BYTES) {
      throw new RecordFileError(
        `${path}: ${Math.round(size / 1e6)} MB are more than a list of records holds`,
        'name the file that --ndjson wrote',
      );
    }
    content = readFileSync(path);
  } catch (cause) {
    if (cause instanceof RecordFileError) throw cause;
    const code = (cause as NodeJS.ErrnoException).code;
    throw new RecordFileError(
      `${path}: cannot be read (${code === 'ENOENT' ? 'there is no such file' : (code ?? cause)})`,
      'name the file that --ndjson wrote',
      { cause },
    );
  }
  const read = readRecords(content);
  if (read.parameters === null) {
    throw new RecordFileError(
      `${path}: this is no file of records: its opening line is missing`,
      'name the file that --ndjson wrote',
    );
  }
  for (const run of read.runs) requireSameParameters(path, run, read.parameters);
  const { faults } = read;
  const doubt =
    faults.length === 0
      ? null
      : `${faults.length} line${faults.length === 1 ? '' : 's'} cannot be used (${faults
          .slice(0, NAMED_FAULTS)
          .map(({ line, fault }) => `line ${line}: ${fault}`)
          .join('; ')}${faults.length > NAMED_FAULTS ? '; …' : ''})`;
  return { ...read, path, doubt, wholeNight: read.runs.at(-1)?.frames ?? null };
}

/** Two runs' records go together only when they were measured alike. @throws UsageError naming what differs */
export function requireSameParameters(
  path: string,
  found: Pick<ReadRecords, 'parameters' | 'version'>,
  wanted: Record<string, unknown>,
): void {
  const parameters = found.parameters ?? {};
  const keys = [...new Set([...Object.keys(parameters), ...Object.keys(wanted)])].sort();
  const different = keys.filter(
    (key) => JSON.stringify(parameters[key]) !== JSON.stringify(wanted[key]),
  );
  if (found.version !== VERSION) different.push(`version ${found.version}`);
  if (different.length > 0) {
    throw new UsageError(
      `${path}: its records were measured otherwise (${different.join(', ')})`,
      'give the same options as then, or measure all frames anew into another file',
    );
  }
}

export interface RecordWriter {
  /** True when it goes on in a file that holds records already. */
  readonly continues: boolean;
  /** Writes one record at once, so that an interruption loses at most the line being written. */
  add(order: number, record: NightFrame): void;
  close(): void;
}

/**
 * Opens a new file of records. The caller has checked that it may be written.
 * @param path `-` = stdout
 * @param frames of the whole list; null when nobody knows
 * @throws OutputError
 */
export function createRecords(
  path: string,
  parameters: Record<string, unknown>,
  frames: number | null,
): RecordWriter {
  const fd = path === '-' ? 1 : opened(path, () => openSync(path, 'w'));
  writeAll(path, fd, runLine(VERSION, parameters, frames));
  return writer(path, fd, false);
}

/** Goes on in a file of records, after its last whole line. @throws OutputError */
export function continueRecords(loaded: LoadedRecords, frames: number): RecordWriter {
  const { path, wholeBytes, parameters, wholeNight } = loaded;
  const fd = opened(path, () => {
    truncateSync(path, wholeBytes);
    return openSync(path, 'a');
  });
  if (frames !== wholeNight) writeAll(path, fd, runLine(VERSION, parameters ?? {}, frames));
  return writer(path, fd, true);
}

function opened(path: string, open: () => number): number {
  try {
    return open();
  } catch (cause) {
    throw new OutputError(
      true,
      `${path}: cannot be written (${reason(cause)})`,
      'name a file that you may write to with --ndjson',
      { cause },
    );
  }
}

function writer(path: string, fd: number, continues: boolean): RecordWriter {
  let open = true;
  return {
    continues,
    add: (order, record) => writeAll(path, fd, recordLine(order, record)),
    close: () => {
      if (open && fd !== 1) closeSync(fd);
      open = false;
    },
  };
}

function writeAll(path: string, fd: number, text: string): void {
  const bytes = Buffer.from(text);
  let done = 0;
  while (done < bytes.length) {
    try {
      done += writeSync(fd, bytes, done);
    } catch (cause) {
      const { code } = cause as NodeJS.ErrnoException;
      // A full pipe asks for patience.
      if (code === 'EAGAIN') Atomics.wait(PAUSE, 0, 0, PAUSE_MS);
      // The reader has what it wants.
      else if (code === 'EPIPE' && fd === 1) process.exit(0);
      else {
        throw new OutputError(
          false,
          `${path}: could not be written (${reason(cause)})`,
          'make room, then go on with --resume: all whole lines are kept',
          { cause },
        );
      }
    }
  }
}
