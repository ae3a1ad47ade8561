/** Copies, links and moves that never overwrite and never lose a file, whatever interrupts them. */
import { createHash } from 'node:crypto';
import {
  closeSync,
  constants,
  copyFileSync,
  createReadStream,
  fsyncSync,
  linkSync,
  lstatSync,
  openSync,
  readlinkSync,
  realpathSync,
  rmSync,
  type Stats,
  statSync,
  symlinkSync,
  unlinkSync,
  utimesSync,
} from 'node:fs';
import { basename, dirname, isAbsolute, join, relative, resolve } from 'node:path';
import { ToolError } from '../errors.js';

/** A file that could not be brought to its place, or a list of such doings that cannot be used. */
export class ActionError extends ToolError {
  constructor(message: string, remedy: string, options?: ErrorOptions) {
    super('action-failed', message, remedy, options);
  }
}

/** What lies at a path, links not followed; null = nothing. */
export function lies(path: string): Stats | null {
  return lstatSync(path, { throwIfNoEntry: false }) ?? null;
}

/** SHA-256 of a file's content. @throws whatever reading throws */
async function digest(file: string): Promise<string> {
  const hash = createHash('sha256');
  for await (const chunk of createReadStream(file)) hash.update(chunk as Buffer);
  return hash.digest('hex');
}

/** Two files of equal content. @throws whatever reading throws */
export async function sameContent(a: string, b: string): Promise<boolean> {
  const [first, second] = [statSync(a), statSync(b)];
  if (!first.isFile() || !second.isFile() || first.size !== second.size) return false;
  return (await digest(a)) === (await digest(b));
}

/** Two paths that lead to one file through links: whoever removes one of them may remove the only one. */
export function sameFile(a: string, b: string): boolean {
  return realpathSync(a) === realpathSync(b);
}

/**
 * A copy under a passing name, with the times of the original, compared by SHA-256 and written through to the disk, then given its name
 * without replacing anything.
 */
export async function copyVerified(from: string, to: string): Promise<void> {
  const part = join(dirname(to), `.${basename(to)}.${process.pid}.part`);
  try {
    copyFileSync(from, part, constants.COPYFILE_EXCL);
    if (!(await sameContent(part, from))) {
      throw new ActionError(
        `the copy of ${from} differs from the original`,
        'check the disk and its cable; the copy was removed',
      );
    }
    keepTimes(from, part);
    writeThrough(part);
    nameWithoutReplacing(part, to);
  } finally {
    rmSync(part, { force: true });
  }
}

/** The frame's time tells it from others: `--resume` goes by it. Disks that hold no times are no fault. */
function keepTimes(from: string, to: string): void {
  try {
    const { atimeMs, mtimeMs } = statSync(from);
    utimesSync(to, atimeMs / 1000, mtimeMs / 1000);
  } catch {}
}

/** So that a move across disks does not remove the original while the copy is in memory only. */
function writeThrough(file: string): void {
  let fd: number | null = null;
  try {
    fd = openSync(file, 'r');
    fsyncSync(fd);
  } catch {
    // Some systems refuse this for files opened for reading: then their own schedule holds.
  } finally {
    if (fd !== null) closeSync(fd);
  }
}

/** A second name fails when there is a file already, as a rename would not; where the disk knows no second names, an exclusive copy does. */
function nameWithoutReplacing(part: string, to: string): void {
  try {
    linkSync(part, to);
  } catch (cause) {
    if ((cause as NodeJS.ErrnoException).code === 'EEXIST') throw cause;
    copyFileSync(part, to, constants.COPYFILE_EXCL);
    keepTimes(part, to);
  }
}

/**
 * The first half of a move: the file is there under both names. On one disk by a second name, otherwise by a verified copy; a symbolic
 * link is made anew so that it still leads where it led. The second half is `unlinkSync(from)`.
 */
export async function placeForMove(from: string, to: string): Promise<void> {
  if (lies(from)?.isSymbolicLink()) {
    symlinkSync(linkTextAt(from, to), to);
    return;
  }
  try {
    linkSync(from, to);
  } catch (cause) {
    const { code } = cause as NodeJS.ErrnoException;
    if (code === 'EEXIST' || code === 'ENOENT') throw cause;
    await copyVerified(from, to);
  }
}

/** The text of a link that leads from `to` where the link at `from` leads. */
function linkTextAt(from: string, to: string): string {
  const text = readlinkSync(from);
  if (isAbsolute(text)) return text;
  const target = resolve(realpathSync(dirname(from)), text);
  return relative(realpathSync(dirname(to)), target);
}

/** Both halves of a move at once. */
export async function moveVerified(from: string, to: string): Promise<void> {
  await placeForMove(from, to);
  unlinkSync(from);
}
