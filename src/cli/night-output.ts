/** What `grade` and `merge` do with a graded night besides showing it: lists, tables for other programs, copies, links and moves. */
import { appendFileSync } from 'node:fs';
import { type Command, Option } from 'commander';
import { UsageError } from '../errors.js';
import type { Night } from '../grade/result.js';
import { htmlOption, OUTPUT } from './options.js';
import type { Terminal } from './terminal.js';

export interface NightOutputFlags {
  list?: string;
  csv?: string;
  parquet?: string;
  html?: string;
  output?: string;
  copyTo?: string;
  linkTo?: string;
  moveDroppedTo?: string;
  withDoubtful?: boolean;
  apply?: boolean;
  undoList?: string;
  force?: boolean;
}

const ACTING = 'Acting on it (only shown, until --apply is given):';
/** Planned actions that are shown. */
const SHOWN = 12;

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

/** Everything that can be refused is refused before the work. @throws UsageError, OutputError */
export async function checkNightOutputs(flags: NightOutputFlags): Promise<void> {
  const { checkFileTarget } = await import('./output.js');
  const files = [flags.list, flags.csv, flags.parquet, flags.html].filter(
    (file) => file !== undefined,
  );
  if (flags.html !== undefined && flags.html === flags.output) {
    throw new UsageError('--html and --output name the same file', 'give them different names');
  }
  if (new Set(files).size < files.length) {
    throw new UsageError('two outputs name the same file', 'give them different names');
  }
  for (const file of files) checkFileTarget(file, flags.force ?? false);
  const acts = [flags.copyTo, flags.linkTo, flags.moveDroppedTo].some((each) => each !== undefined);
  if ((flags.apply || flags.undoList !== undefined) && !acts) {
    throw new UsageError(
      'nothing to act on',
      'add --copy-to, --link-to or --move-dropped-to with a folder',
    );
  }
}

/** Writes what was asked for, and acts or shows what would be done. Returns whether all went well. */
export async function writeNightOutputs(
  night: Night,
  flags: NightOutputFlags,
  terminal: Terminal,
): Promise<boolean> {
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
  return act(night, flags, terminal);
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

async function act(night: Night, flags: NightOutputFlags, terminal: Terminal): Promise<boolean> {
  const { actionText, doActions, planActions, undoLine } = await import('./night-actions.js');
  const actions = planActions(night, {
    copyTo: flags.copyTo ?? null,
    linkTo: flags.linkTo ?? null,
    moveDroppedTo: flags.moveDroppedTo ?? null,
    withDoubtful: flags.withDoubtful ?? false,
  });
  if (actions.length === 0) return true;
  const blocked = actions.filter(({ obstacle }) => obstacle !== null);
  const free = actions.length - blocked.length;
  if (!flags.apply) {
    terminal.message(`${free} of ${actions.length} files would be brought to their place:`);
    for (const each of actions.slice(0, SHOWN)) terminal.message(`  ${actionText(each)}`);
    if (actions.length > SHOWN) terminal.message(`  … and ${actions.length - SHOWN} more`);
    terminal.message('nothing was done; add --apply to do it');
    return true;
  }
  const folder = flags.copyTo ?? flags.linkTo ?? flags.moveDroppedTo ?? '.';
  const { join } = await import('node:path');
  const list = flags.undoList ?? join(folder, 'bluerim-undo.ndjson');
  let made = 0;
  await doActions(actions, (done) => {
    // Each line at once: an interruption must not leave moves that nothing remembers.
    appendFileSync(list, undoLine(done));
    made++;
  });
  for (const each of blocked) terminal.message(actionText(each));
  terminal.message(
    `${made} file${made === 1 ? '' : 's'} brought to their place; \`bluerim undo ${list}\` takes it back`,
  );
  return blocked.every(({ obstacle }) => obstacle === 'it lies there already');
}
