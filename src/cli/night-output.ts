/** What `grade` and `merge` do with a graded night besides showing it: lists, tables for other programs, copies, links and moves. */
import { statSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { type Command, Option } from 'commander';
import { UsageError } from '../errors.js';
import type { NightFrame } from '../grade/night-frame.js';
import type { Night } from '../grade/result.js';
import { escapeControls } from '../report/escape.js';
import type { Action } from './night-actions.js';
import { htmlOption, OUTPUT } from './options.js';
import type { Terminal } from './terminal.js';

export interface NightOutputFlags {
  list?: string;
  csv?: string;
  parquet?: string;
  html?: string;
  copyTo?: string;
  linkTo?: string;
  moveDroppedTo?: string;
  withDoubtful?: boolean;
  apply?: boolean;
  undoList?: string;
  force?: boolean;
  /** Other files of the same run, which must not be written over. */
  output?: string;
  ndjson?: string;
  resume?: string;
}

const UNDO_LIST = 'bluerim-undo.ndjson';

const ACTING = 'Acting on it (only shown, until --apply is given):';
/** Planned actions that are shown. */
const SHOWN = 12;
/** Exit code after Ctrl-C, as shells count it: 128 + signal 2. */
const INTERRUPTED = 130;

export function addNightOutputs(command: Command): void {
  const add = (group: string, flags: string, meaning: string): void => {
    command.addOption(new Option(flags, meaning).helpGroup(group));
  };
  add(
    OUTPUT,
    '--list <file>',
    'write the kept frames with their weights, one a line: weight, tab, path',
  );
  add(OUTPUT, '--csv <file>', 'write one row per frame as CSV');
  add(OUTPUT, '--parquet <file>', 'the same as an Apache Parquet file');
  command.addOption(htmlOption());
  add(ACTING, '--copy-to <folder>', 'copy the kept frames; copies are verified');
  add(ACTING, '--link-to <folder>', 'link the kept frames (symbolic links)');
  add(ACTING, '--move-dropped-to <folder>', 'move the dropped frames out of the way');
  add(ACTING, '--with-doubtful', 'doubtful frames go with the kept ones, also in --list');
  add(ACTING, '--apply', 'really copy, link or move. Nothing is ever overwritten');
  add(
    ACTING,
    '--undo-list <file>',
    'write what was done, for `bluerim undo` (default: bluerim-undo.ndjson in the folder written to)',
  );
}

/** Everything that can be refused is refused before the work. @param records files that are read @throws UsageError, OutputError */
export async function checkNightOutputs(
  flags: NightOutputFlags,
  records: readonly string[] = [],
): Promise<void> {
  const { checkFileTarget } = await import('./output.js');
  const files = [flags.list, flags.csv, flags.parquet, flags.html].filter(
    (file) => file !== undefined,
  );
  checkDistinct([
    ...files,
    flags.output,
    flags.undoList,
    flags.resume,
    ...new Set(records.map((file) => resolve(file))),
    // Records may go on in the file that they come from.
    samePath(flags.ndjson, flags.resume) ? undefined : flags.ndjson,
  ]);
  for (const file of files) checkFileTarget(file, flags.force ?? false);
  const { copyTo, linkTo, moveDroppedTo } = flags;
  const folders = [copyTo, linkTo, moveDroppedTo].filter((each) => each !== undefined);
  if ((flags.apply || flags.undoList !== undefined) && folders.length === 0) {
    throw new UsageError(
      'nothing to act on',
      'add --copy-to, --link-to or --move-dropped-to with a folder',
    );
  }
  if (new Set(folders.map((each) => resolve(each))).size < folders.length) {
    throw new UsageError(
      '--copy-to, --link-to and --move-dropped-to name one folder',
      'give each a folder of its own',
    );
  }
  if (!flags.apply) return;
  const { undoListFault } = await import('./undo-list.js');
  for (const list of flags.undoList ? [flags.undoList] : folders.map(listIn)) {
    const fault = undoListFault(list);
    if (fault !== null) throw new UsageError(`${list}: ${fault}`, 'name another with --undo-list');
    if (flags.undoList !== undefined) checkFileTarget(list, true);
  }
}

function listIn(folder: string): string {
  return join(folder, UNDO_LIST);
}

/** Two names of one file, as far as the paths say. */
export function samePath(a: string | undefined, b: string | undefined): boolean {
  return a !== undefined && b !== undefined && resolve(a) === resolve(b);
}

/** Devices and `-` take more than one output; a file does not. */
function checkDistinct(names: readonly (string | undefined)[]): void {
  const files = names.filter(
    (name) =>
      name !== undefined &&
      name !== '-' &&
      (statSync(name, { throwIfNoEntry: false })?.isFile() ?? true),
  ) as string[];
  if (new Set(files.map((file) => resolve(file))).size < files.length) {
    throw new UsageError(
      'two outputs name the same file, or one that is read',
      'give them different names',
    );
  }
}

/** Writes what was asked for, and acts or shows what would be done. @returns the exit code of that part: 0, 1 or 130 */
export async function writeNightOutputs(
  night: Night,
  records: readonly NightFrame[],
  flags: NightOutputFlags,
  terminal: Terminal,
): Promise<number> {
  const { writeWhole } = await import('./output.js');
  const write = (file: string, content: string | Uint8Array): void => {
    writeWhole(file, content);
    terminal.message(`wrote ${file}`);
  };
  if (flags.list !== undefined) write(flags.list, keptList(night, flags.withDoubtful ?? false));
  if (flags.csv !== undefined) {
    const { nightCsv } = await import('../report/grade-columns.js');
    write(flags.csv, nightCsv(night));
  }
  if (flags.parquet !== undefined) {
    const { nightParquet } = await import('../report/grade-columns.js');
    write(flags.parquet, await nightParquet(night));
  }
  return act(night, records, flags, terminal);
}

/** Weight and path of the kept frames. A path with a line break would be two lines: it is refused. */
function keptList(night: Night, withDoubtful: boolean): string {
  const kept = night.frames.filter(
    ({ decision }) => decision === 'keep' || (withDoubtful && decision === 'doubtful'),
  );
  const broken = kept.find(({ file }) => /[\r\n]/.test(file));
  if (broken !== undefined) {
    throw new UsageError(
      '--list: the name of a frame holds a line break',
      'rename the frame, or use --csv',
    );
  }
  return kept
    .map(({ file, weight }) => `${weight === null ? '' : weight.toPrecision(5)}\t${file}\n`)
    .join('');
}

async function act(
  night: Night,
  records: readonly NightFrame[],
  flags: NightOutputFlags,
  terminal: Terminal,
): Promise<number> {
  const { actionText, planActions, THERE_ALREADY } = await import('./night-actions.js');
  const actions = await planActions(night, records, {
    copyTo: flags.copyTo ?? null,
    linkTo: flags.linkTo ?? null,
    moveDroppedTo: flags.moveDroppedTo ?? null,
    withDoubtful: flags.withDoubtful ?? false,
  });
  if (actions.length === 0) return 0;
  const free = actions.filter(({ obstacle }) => obstacle === null);
  if (!flags.apply) {
    terminal.message(`${free.length} of ${actions.length} files would be brought to their place:`);
    for (const each of actions.slice(0, SHOWN)) terminal.message(`  ${actionText(each)}`);
    if (actions.length > SHOWN) terminal.message(`  … and ${actions.length - SHOWN} more`);
    terminal.message('nothing was done; add --apply to do it');
    return 0;
  }
  const blocked = actions.filter(({ obstacle }) => obstacle !== null && obstacle !== THERE_ALREADY);
  const there = actions.length - free.length - blocked.length;
  const whole = await carryOut(free, flags.undoList, terminal);
  for (const each of blocked) terminal.message(actionText(each));
  if (there > 0) terminal.message(`${files(there)} lay there already`);
  if (!whole) return INTERRUPTED;
  return blocked.length === 0 ? 0 : 1;
}

/** Does it all, unless a signal comes: then the file in hand is finished. Returns whether all was done. */
async function carryOut(
  actions: readonly Action[],
  undoList: string | undefined,
  terminal: Terminal,
): Promise<boolean> {
  const [first] = actions;
  if (first === undefined) return true;
  const { doActions } = await import('./night-actions.js');
  const { onSignals } = await import('./output.js');
  const { openUndoList } = await import('./undo-list.js');
  const path = undoList ?? listIn(dirname(first.to));
  const list = openUndoList(path);
  let made = 0;
  let stopped = false;
  const release = onSignals(() => {
    stopped = true;
  });
  try {
    await doActions(
      actions,
      (done) => {
        list.add(done);
        made++;
      },
      () => stopped,
    );
  } finally {
    release();
    list.close();
    if (made > 0) {
      terminal.message(
        `${files(made)} brought to ${made === 1 ? 'its' : 'their'} place; \`bluerim undo ${escapeControls(path)}\` takes it back`,
      );
    }
  }
  if (stopped) {
    terminal.message(`stopped: ${files(actions.length - made)} stayed where they were`);
  }
  return !stopped;
}

function files(n: number): string {
  return `${n} file${n === 1 ? '' : 's'}`;
}
