/** Acting on a graded night, only when asked: copies, links and moves that never overwrite, are verified, and can be undone. */
import { mkdirSync, readlinkSync, statSync, symlinkSync, unlinkSync } from 'node:fs';
import { basename, dirname, extname, join, resolve } from 'node:path';
import type { NightFrame } from '../grade/night-frame.js';
import type { Night } from '../grade/result.js';
import { digestOf } from '../pool/look-file.js';
import { escapeControls } from '../report/escape.js';
import type { Done } from './undo-list.js';
import { ActionError, copyVerified, lies, placeForMove, sameContent } from './verified-files.js';

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

/** The one obstacle that is none: what was asked for is so already. */
export const THERE_ALREADY = 'it lies there already';

/**
 * What would be done, in the order of the frames. Nothing is touched.
 * @param records what was measured: a file that has changed since is not the frame that was judged, and stays where it is
 */
export async function planActions(
  night: Night,
  records: readonly NightFrame[],
  request: ActionRequest,
): Promise<Action[]> {
  const { copyTo, linkTo, moveDroppedTo, withDoubtful } = request;
  const kept = night.frames.filter(
    ({ decision }) => decision === 'keep' || (withDoubtful && decision === 'doubtful'),
  );
  // A file that cannot be read, or a dark or flat, is no frame to be moved about.
  const dropped = night.frames.filter(
    ({ decision, error, group }) => decision === 'drop' && error === null && group !== null,
  );
  const measured = new Map(records.map((record) => [record.file, record]));
  const actions: Action[] = [];
  const taken = new Set<string>();
  const add = async (
    kind: ActionKind,
    frames: typeof kept,
    folder: string | null,
  ): Promise<void> => {
    if (folder === null) return;
    for (const { file } of frames) {
      const to = placeFor(file, folder, taken);
      const obstacle =
        (await changedSince(file, measured.get(file))) ?? (await inTheWay(kind, file, to));
      actions.push({ kind, from: file, to, obstacle });
    }
  };
  await add('copy', kept, copyTo);
  await add('link', kept, linkTo);
  await add('move', dropped, moveDroppedTo);
  return actions;
}

/** The place of one file: its own name, or with a number where another frame of this run has that name. */
function placeFor(from: string, folder: string, taken: Set<string>): string {
  const name = basename(from);
  const end = extname(name);
  const stem = name.slice(0, name.length - end.length);
  let to = join(folder, name);
  for (let n = 2; taken.has(resolve(to)); n++) to = join(folder, `${stem}-${n}${end}`);
  taken.add(resolve(to));
  return to;
}

/** Why the file is not the one that was measured; null = it is. Records come from other days, folders and machines. */
async function changedSince(file: string, record: NightFrame | undefined): Promise<string | null> {
  const now = statSync(file, { throwIfNoEntry: false });
  if (now === undefined || !now.isFile()) return 'it is not there any more';
  if (record === undefined) return 'it was not measured';
  const changed = 'it has changed since it was measured, or is another file of this name';
  if (now.size !== record.bytes) return changed;
  if (record.sha256 !== null) return (await digestOf(file)) === record.sha256 ? null : changed;
  return Math.round(now.mtimeMs) === record.modifiedMs ? null : changed;
}

async function inTheWay(kind: ActionKind, from: string, to: string): Promise<string | null> {
  if (resolve(from) === resolve(to)) return THERE_ALREADY;
  const there = lies(to);
  if (there === null) return null;
  const done =
    (kind === 'copy' && there.isFile() && (await sameContent(from, to))) ||
    (kind === 'link' && there.isSymbolicLink() && readlinkSync(to) === resolve(from));
  return done ? THERE_ALREADY : 'a file of this name is there already and is kept';
}

/** A line for people. */
export function actionText({ kind, from, to, obstacle }: Action): string {
  const what = `${kind} ${escapeControls(from)} → ${escapeControls(to)}`;
  return obstacle === null ? what : `not: ${what} (${obstacle})`;
}

/**
 * Does what has no obstacle, one after another. `done` is told when the file is at its new place and, of a move, before it leaves the old
 * one: whatever comes in between, nothing is lost and nothing is moved that the undo list does not hold. If `done` throws, the file stays
 * as it was.
 * @param stopped asked before each: true ends it
 * @returns how many were done
 * @throws ActionError at the first that fails; those before it stand
 */
export async function doActions(
  actions: readonly Action[],
  done: (action: Done) => void,
  stopped: () => boolean = () => false,
): Promise<number> {
  let made = 0;
  for (const { kind, from, to, obstacle } of actions) {
    if (obstacle !== null) continue;
    if (stopped()) break;
    let placed = false;
    try {
      mkdirSync(dirname(to), { recursive: true });
      if (kind === 'link') symlinkSync(resolve(from), to);
      else if (kind === 'copy') await copyVerified(from, to);
      else await placeForMove(from, to);
      placed = true;
      done({ kind, from: resolve(from), to: resolve(to) });
      if (kind === 'move') unlinkSync(from);
    } catch (cause) {
      if (placed) unlinkSync(to);
      if (cause instanceof ActionError) throw cause;
      const code = (cause as NodeJS.ErrnoException).code ?? String(cause);
      throw new ActionError(
        `${kind} of ${from} to ${to} failed (${code}); nothing was overwritten`,
        'mend it and run the same command again: what is done already is left as it is',
        { cause },
      );
    }
    made++;
  }
  return made;
}
