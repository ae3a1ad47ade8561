/** The list of what `grade --apply` did, and taking it back. Lists may be edited, cut short or used twice: nothing in them is trusted. */
import {
  closeSync,
  mkdirSync,
  openSync,
  readFileSync,
  readlinkSync,
  unlinkSync,
  writeSync,
} from 'node:fs';
import { dirname, isAbsolute } from 'node:path';
import { escapeControls } from '../report/escape.js';
import type { ActionKind } from './night-actions.js';
import { ActionError, lies, moveVerified, sameContent, sameFile } from './verified-files.js';

const UNDO_SCHEMA = 'bluerim/undo/1';

/** Something that was done: what takes it back. Paths are absolute. */
export interface Done {
  kind: ActionKind;
  from: string;
  to: string;
}

export interface UndoList {
  /** Writes one line at once. @throws ActionError when the disk does not take it */
  add(action: Done): void;
  close(): void;
}

/** Why a file cannot go on as an undo list; null = it can, or is not there yet. */
export function undoListFault(path: string): string | null {
  const there = lies(path);
  if (there === null) return null;
  if (!there.isFile()) return 'this is no file';
  const [first = ''] = readFileSync(path, 'utf8').split('\n');
  return there.size === 0 || parseUndo(first) !== null
    ? null
    : 'this is no undo list and is kept as it is';
}

/** Opens a list to go on with, before anything is done. @throws ActionError when it cannot be written or is another file */
export function openUndoList(path: string): UndoList {
  const fail = (cause: unknown): ActionError =>
    new ActionError(
      `${path}: the undo list cannot be written (${(cause as NodeJS.ErrnoException).code ?? cause}); what is not on the list was not done`,
      'name a file that you may write to with --undo-list',
      { cause },
    );
  let fd: number;
  try {
    mkdirSync(dirname(path), { recursive: true });
    const fault = undoListFault(path);
    if (fault !== null) {
      throw new ActionError(`${path}: ${fault}`, 'name another file with --undo-list');
    }
    const before = lies(path) === null ? '' : readFileSync(path, 'utf8');
    fd = openSync(path, 'a');
    // The last line may have been cut short when the power failed.
    if (before !== '' && !before.endsWith('\n')) writeSync(fd, '\n');
  } catch (cause) {
    throw cause instanceof ActionError ? cause : fail(cause);
  }
  return {
    add: (action) => {
      try {
        writeSync(fd, `${JSON.stringify({ schema: UNDO_SCHEMA, ...action })}\n`);
      } catch (cause) {
        throw fail(cause);
      }
    },
    close: () => closeSync(fd),
  };
}

export interface Undone {
  undone: number;
  /** Taken back before: nothing to do. */
  before: number;
  /** One sentence for each that could not be taken back. */
  left: string[];
}

/**
 * Takes back what an undo list holds, last first: moved files return to their old place when that is free, copies and links are removed
 * while they are still what they were.
 * @throws ActionError when the list cannot be read or is none
 */
export async function undoActions(list: string): Promise<Undone> {
  let text: string;
  try {
    text = readFileSync(list, 'utf8');
  } catch (cause) {
    throw new ActionError(
      `${list}: cannot be read (${(cause as NodeJS.ErrnoException).code ?? cause})`,
      'name the list that --undo-list wrote',
      { cause },
    );
  }
  const lines = text
    .split('\n')
    .map((line, index) => ({ entry: parseUndo(line), number: index + 1, line }))
    .filter(({ line }) => line.trim() !== '');
  if (lines.length > 0 && lines.every(({ entry }) => entry === null)) {
    throw new ActionError(
      `${list}: this is no undo list: none of its lines can be used`,
      'name the list that --undo-list wrote',
    );
  }
  const found: Undone = { undone: 0, before: 0, left: [] };
  for (const { entry, number } of lines.reverse()) {
    if (entry === null) {
      found.left.push(`line ${number} of the list is damaged`);
      continue;
    }
    const outcome = await takeBack(entry);
    if (outcome === 'undone') found.undone++;
    else if (outcome === 'before') found.before++;
    else found.left.push(`${escapeControls(entry.to)}: ${outcome.kept}`);
  }
  return found;
}

function parseUndo(line: string): Done | null {
  try {
    const { schema, kind, from, to } = JSON.parse(line) as Record<string, unknown>;
    if (schema !== UNDO_SCHEMA || typeof from !== 'string' || typeof to !== 'string') return null;
    if (!isAbsolute(from) || !isAbsolute(to)) return null;
    return kind === 'copy' || kind === 'link' || kind === 'move' ? { kind, from, to } : null;
  } catch {
    return null;
  }
}

type Outcome = 'undone' | 'before' | { kept: string };

async function takeBack({ kind, from, to }: Done): Promise<Outcome> {
  try {
    if (kind === 'move') return await takeBackMove(from, to);
    const there = lies(to);
    if (there === null) return 'before';
    if (kind === 'link') {
      if (!there.isSymbolicLink() || readlinkSync(to) !== from) {
        return { kept: 'it is not the link that was made and is kept' };
      }
    } else {
      if (lies(from) === null) return { kept: 'the original is gone, so the copy is kept' };
      if (!there.isFile()) return { kept: 'it is not the copy that was made and is kept' };
      if (sameFile(from, to)) return { kept: 'the original leads to it now, so it is kept' };
      if (!(await sameContent(from, to))) {
        return { kept: 'it differs from the original now and is kept' };
      }
    }
    unlinkSync(to);
    return 'undone';
  } catch (cause) {
    return { kept: faultText(cause) };
  }
}

async function takeBackMove(from: string, to: string): Promise<Outcome> {
  const [old, there] = [lies(from), lies(to)];
  if (there === null) return old === null ? { kept: 'it is not there any more' } : 'before';
  if (old === null) {
    mkdirSync(dirname(from), { recursive: true });
    await moveVerified(to, from);
    return 'undone';
  }
  // A move that was cut off half-way left the file under both names.
  if (old.isFile() && there.isFile() && !sameFile(from, to) && (await sameContent(from, to))) {
    unlinkSync(to);
    return 'undone';
  }
  return { kept: `its old place ${escapeControls(from)} is taken` };
}

function faultText(cause: unknown): string {
  const { code } = cause as NodeJS.ErrnoException;
  if (code === 'EACCES' || code === 'EPERM') return 'this user may not change it';
  if (code === 'ENOENT') return 'what it leads to is not there any more';
  return code ?? (cause instanceof Error ? cause.message : String(cause));
}
