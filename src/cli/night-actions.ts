/** Acting on a graded night, only when asked: copies, links and moves that never overwrite, are verified, and can be undone. */
import { createHash } from 'node:crypto';
import {
  constants,
  copyFileSync,
  createReadStream,
  existsSync,
  linkSync,
  mkdirSync,
  readFileSync,
  rmSync,
  statSync,
  symlinkSync,
  unlinkSync,
} from 'node:fs';
import { basename, dirname, extname, join, resolve } from 'node:path';
import { ToolError, UsageError } from '../errors.js';
import type { Night } from '../grade/result.js';
import { escapeControls } from '../report/escape.js';

export type ActionKind = 'copy' | 'link' | 'move';

/** One file to bring to another place. */
export interface Action {
  kind: ActionKind;
  from: string;
  to: string;
  /** Why it will not be done; null = it will. */
  obstacle: string | null;
}

export interface ActionRequest {
  copyTo: string | null;
  linkTo: string | null;
  moveDroppedTo: string | null;
  /** Doubtful frames go with the kept ones. */
  withDoubtful: boolean;
}

/** A file that could not be brought to its place. */
class ActionError extends ToolError {
  constructor(message: string, remedy: string, options?: ErrorOptions) {
    super('action-failed', message, remedy, options);
  }
}

/** What would be done, in the order of the frames. Nothing is touched. @throws UsageError when two requests exclude each other */
export function planActions(night: Night, request: ActionRequest): Action[] {
  const { copyTo, linkTo, moveDroppedTo, withDoubtful } = request;
  if (copyTo !== null && linkTo !== null && resolve(copyTo) === resolve(linkTo)) {
    throw new UsageError('--copy-to and --link-to name one folder', 'choose one of them');
  }
  const kept = night.frames.filter(
    ({ decision }) => decision === 'keep' || (withDoubtful && decision === 'doubtful'),
  );
  // A file that cannot be read is no frame to be moved about.
  const dropped = night.frames.filter(
    ({ decision, error }) => decision === 'drop' && error === null,
  );
  const actions: Action[] = [];
  const taken = new Set<string>();
  const add = (kind: ActionKind, files: readonly string[], folder: string): void => {
    for (const from of files) actions.push(planOne(kind, from, folder, taken));
  };
  const paths = (frames: typeof kept): string[] => frames.map(({ file }) => file);
  if (copyTo !== null) add('copy', paths(kept), copyTo);
  if (linkTo !== null) add('link', paths(kept), linkTo);
  if (moveDroppedTo !== null) add('move', paths(dropped), moveDroppedTo);
  return actions;
}

/** The place of one file: its own name, or with a number where another frame of this run has that name. */
function planOne(kind: ActionKind, from: string, folder: string, taken: Set<string>): Action {
  const name = basename(from);
  const end = extname(name);
  const stem = name.slice(0, name.length - end.length);
  let to = join(folder, name);
  for (let n = 2; taken.has(resolve(to)); n++) to = join(folder, `${stem}-${n}${end}`);
  taken.add(resolve(to));
  let obstacle: string | null = null;
  if (resolve(from) === resolve(to)) obstacle = 'it lies there already';
  else if (existsSync(to)) obstacle = 'a file of this name is there already and is kept';
  return { kind, from, to, obstacle };
}

const DOING: Readonly<Record<ActionKind, string>> = { copy: 'copy', link: 'link', move: 'move' };

/** A line for people. */
export function actionText({ kind, from, to, obstacle }: Action): string {
  const what = `${DOING[kind]} ${escapeControls(from)} → ${escapeControls(to)}`;
  return obstacle === null ? what : `not: ${what} (${obstacle})`;
}

/** A move that was made: what takes it back. */
export interface Done {
  kind: ActionKind;
  from: string;
  to: string;
}

/**
 * Does what has no obstacle, one after another; each is told to `done` as soon as it is finished, so that the undo list is right even
 * after an interruption. Copies are compared with the original before they get their name.
 * @throws ActionError at the first that fails; those before it stand
 */
export async function doActions(
  actions: readonly Action[],
  done: (action: Done) => void,
): Promise<void> {
  for (const { kind, from, to, obstacle } of actions) {
    if (obstacle !== null) continue;
    try {
      mkdirSync(dirname(to), { recursive: true });
      if (kind === 'link') symlinkSync(resolve(from), to);
      else if (kind === 'copy') await copyVerified(from, to);
      else await moveVerified(from, to);
    } catch (cause) {
      if (cause instanceof ActionError) throw cause;
      const code = (cause as NodeJS.ErrnoException).code ?? String(cause);
      throw new ActionError(
        `${kind} of ${from} to ${to} failed (${code}); nothing was overwritten`,
        'mend it and run the same command again: what is done already is left as it is',
        { cause },
      );
    }
    done({ kind, from: resolve(from), to: resolve(to) });
  }
}

/** A copy under a passing name, compared by SHA-256, then given its name without replacing anything. */
async function copyVerified(from: string, to: string): Promise<void> {
  const part = join(dirname(to), `.${basename(to)}.${process.pid}.part`);
  try {
    copyFileSync(from, part, constants.COPYFILE_EXCL);
    if ((await sha256(part)) !== (await sha256(from))) {
      throw new ActionError(
        `the copy of ${from} differs from the original`,
        'check the disk and its cable; the copy was removed',
      );
    }
    nameWithoutReplacing(part, to);
  } finally {
    rmSync(part, { force: true });
  }
}

/** A second name fails when there is a file already, as a rename would not; where the disk knows no second names, an exclusive copy does. */
function nameWithoutReplacing(part: string, to: string): void {
  try {
    linkSync(part, to);
  } catch (cause) {
    if ((cause as NodeJS.ErrnoException).code === 'EEXIST') throw cause;
    copyFileSync(part, to, constants.COPYFILE_EXCL);
  }
}

/** On one disk a second name and the first removed; otherwise a verified copy, then the original removed. */
async function moveVerified(from: string, to: string): Promise<void> {
  try {
    linkSync(from, to);
  } catch (cause) {
    if ((cause as NodeJS.ErrnoException).code === 'EEXIST') throw cause;
    await copyVerified(from, to);
  }
  unlinkSync(from);
}

async function sha256(file: string): Promise<string> {
  const hash = createHash('sha256');
  for await (const chunk of createReadStream(file)) hash.update(chunk as Buffer);
  return hash.digest('hex');
}

/** A line of the undo list. */
export function undoLine(action: Done): string {
  return `${JSON.stringify({ schema: 'bluerim/undo/1', ...action })}\n`;
}

/**
 * Takes back what an undo list holds, last first: moved files return to their old place when that is free, copies and links are removed
 * while they are still what they were.
 * @returns one sentence per line that could not be taken back
 * @throws ActionError when the list cannot be read
 */
export async function undoActions(list: string): Promise<{ undone: number; left: string[] }> {
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
  const left: string[] = [];
  let undone = 0;
  for (const line of text.split('\n').reverse()) {
    if (line.trim() === '') continue;
    const entry = parseUndo(line);
    if (entry === null) left.push('a line of the list is damaged');
    else {
      const reason = await takeBack(entry);
      if (reason === null) undone++;
      else left.push(`${escapeControls(entry.to)}: ${reason}`);
    }
  }
  return { undone, left };
}

function parseUndo(line: string): Done | null {
  try {
    const { schema, kind, from, to } = JSON.parse(line) as Record<string, unknown>;
    if (schema !== 'bluerim/undo/1' || typeof from !== 'string' || typeof to !== 'string')
      return null;
    return kind === 'copy' || kind === 'link' || kind === 'move' ? { kind, from, to } : null;
  } catch {
    return null;
  }
}

/** Null when it was taken back, else why not. */
async function takeBack({ kind, from, to }: Done): Promise<string | null> {
  try {
    if (!existsSync(to)) return 'it is not there any more';
    if (kind === 'move') {
      if (existsSync(from)) return `its old place ${escapeControls(from)} is taken`;
      await moveVerified(to, from);
      return null;
    }
    if (kind === 'copy') {
      if (!existsSync(from)) return 'the original is gone, so the copy is kept';
      const same =
        statSync(from).size === statSync(to).size && (await sha256(from)) === (await sha256(to));
      if (!same) return 'it differs from the original now and is kept';
    }
    unlinkSync(to);
    return null;
  } catch (cause) {
    return String((cause as NodeJS.ErrnoException).code ?? cause);
  }
}
