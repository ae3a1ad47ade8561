/** Frames graded as they arrive in a folder. */
import { existsSync, statSync } from 'node:fs';
import { basename, resolve } from 'node:path';
import type { FSWatcher } from 'chokidar';
import type { FrameOverrides } from '../frame/frame.js';
import { contentKind } from '../frame/open.js';
import { gradeNight } from '../grade/grade.js';
import type { LookOptions } from '../grade/look.js';
import type { NightFrame } from '../grade/night-frame.js';
import type { GradedFrame, GradeOptions, Night, ReasonCode } from '../grade/result.js';
import { identityOf, lookAtFile } from '../pool/look-file.js';
import { escapeControls } from '../report/escape.js';
import { fixed } from '../report/number.js';
import { onSignals } from './output.js';
import type { RecordWriter } from './record-file.js';
import type { Terminal } from './terminal.js';

export interface WatchTask {
  folder: string;
  options: LookOptions;
  overrides: FrameOverrides;
  grading: GradeOptions;
  verify: boolean;
  /** Ask again and again instead of waiting for the system's word: for network folders, s. Null = the system's word. */
  pollSeconds: number | null;
  writer: RecordWriter | null;
  terminal: Terminal;
}

/** A file counts as complete when its size stood still for so long, ms. */
const SETTLED_MS = 1500;
const SETTLE_POLL_MS = 250;
/** Frames in a row beyond the night's band before the warning. */
const IN_A_ROW = 2;

/** What a run of bad frames means to the person at the telescope. */
const ALARMS: Partial<Record<ReasonCode, string>> = {
  'wide stars': 'focus or seeing has left its band',
  'elongated stars': 'guiding has left its band',
  'low transparency': 'transparency has left its band: cloud, haze or dew',
  'bright sky': 'the sky has become bright',
  'few stars': 'stars are missing: cloud, or a shifted field',
  'no stars': 'no stars: cloud, a closed cover, or focus lost',
  'no match': 'the field cannot be recognised',
};

/** How often the folder itself is looked for, ms: who watches it is not told when it goes. */
const FOLDER_POLL_MS = 1000;

/**
 * Watches until Ctrl-C or another signal to end. Each new frame is measured when it is complete, and gets one line; a warning is given
 * when two in a row leave the band for one reason. Frames that lie there already are measured first. A file that changes afterwards is
 * measured again and counts once; so does a frame that got another name. A folder that goes is waited for.
 * @returns the night as it stands at the end
 */
export async function watchFolder(
  task: WatchTask,
): Promise<{ night: Night; frames: NightFrame[] }> {
  const { message } = task.terminal;
  const name = escapeControls(task.folder);
  let frames: NightFrame[] = [];
  let measured = 0;
  const queue: string[] = [];
  let wake: () => void = () => {};
  let stopped = false;
  const arrived = (path: string): void => {
    if (!queue.includes(path)) queue.push(path);
    wake();
  };
  let watcher = await watcherOf(task, arrived);
  let isThere = true;
  // This also keeps the program alive when the folder goes and nothing else is waited for.
  const timer = setInterval(() => {
    const now = existsSync(task.folder);
    if (now === isThere) return;
    isThere = now;
    if (!now) {
      message(`${name} is not there any more; waiting for it to come back`);
      return;
    }
    message(`${name} is there again`);
    void watcher
      .close()
      .then(() => watcherOf(task, arrived))
      .then((fresh) => {
        watcher = fresh;
        if (stopped) void watcher.close();
      });
  }, FOLDER_POLL_MS);
  const stop = (): void => {
    if (stopped) process.exit(130);
    stopped = true;
    wake();
  };
  const release = onSignals(stop);
  message(`watching ${name}; Ctrl-C ends it and reports`);
  let night = gradeNight(frames, task.grading);
  try {
    while (!stopped) {
      const path = queue.shift();
      if (path === undefined) {
        await new Promise<void>((resolve) => {
          wake = resolve;
        });
        continue;
      }
      const record = await newRecord(path, frames, task);
      if (record === null) continue;
      task.writer?.add(measured++, record);
      frames = [...frames.filter((earlier) => !isReplaced(earlier, record)), record];
      night = gradeNight(frames, task.grading);
      announce(night, task.terminal);
    }
  } finally {
    clearInterval(timer);
    release();
    await watcher.close();
  }
  return { night, frames };
}

async function watcherOf(
  { folder, pollSeconds, terminal }: WatchTask,
  arrived: (path: string) => void,
): Promise<FSWatcher> {
  const { default: chokidar } = await import('chokidar');
  const watcher = chokidar.watch(folder, {
    depth: 0,
    ignored: (path) => basename(path).startsWith('.') && resolve(path) !== resolve(folder),
    awaitWriteFinish: { stabilityThreshold: SETTLED_MS, pollInterval: SETTLE_POLL_MS },
    usePolling: pollSeconds !== null,
    ...(pollSeconds !== null && {
      interval: 1000 * pollSeconds,
      binaryInterval: 1000 * pollSeconds,
    }),
  });
  watcher.on('add', arrived);
  // A program that paused while it wrote, or that gives every frame one name.
  watcher.on('change', arrived);
  watcher.on('error', (error) => terminal.message(`watching: ${escapeControls(String(error))}`));
  return watcher;
}

/** The record of a frame that is new or has changed; null for others, and for files that went while they were read. */
async function newRecord(
  path: string,
  frames: readonly NightFrame[],
  { options, overrides, verify }: WatchTask,
): Promise<NightFrame | null> {
  if (!isFrame(path)) return null;
  const earlier = frames.find(({ file }) => file === path);
  if (earlier !== undefined) {
    const { bytes, modifiedMs } = await identityOf(path, false);
    if (bytes === earlier.bytes && modifiedMs === earlier.modifiedMs) return null;
  }
  const record = await lookAtFile({ file: path, fault: null, options, overrides, verify });
  return record.status === 'ok' || existsSync(path) ? record : null;
}

/** Whether `record` stands for the earlier one: the same name, or the same file under a new name. */
function isReplaced(earlier: NightFrame, record: NightFrame): boolean {
  if (earlier.file === record.file) return true;
  return (
    earlier.bytes === record.bytes &&
    earlier.modifiedMs === record.modifiedMs &&
    !existsSync(earlier.file)
  );
}

/** Camera frames only: pictures and texts lie beside them. */
function isFrame(path: string): boolean {
  try {
    return statSync(path).isFile() && contentKind(path) === 'frame';
  } catch {
    return false;
  }
}

/** One line for the newest frame, and a warning when it is one of a run. */
function announce(night: Night, { message, messageStyle }: Terminal): void {
  const frame = night.frames.at(-1);
  if (frame === undefined) return;
  message(statusLine(frame, night));
  const alarm = alarmOf(night);
  if (alarm !== null) message(messageStyle.warn(`  warning: ${alarm}`));
}

/** `22:41 sub-017.fits  keep  FWHM 2.7 px  ellipticity 0.03  starlight 98 %  kept 16 of 18`. */
function statusLine(frame: GradedFrame, night: Night): string {
  const parts = [
    frame.startMs === null ? '--:--' : new Date(frame.startMs).toISOString().slice(11, 16),
    escapeControls(basename(frame.file)),
    frame.decision,
  ];
  if (frame.fwhmPx !== null) parts.push(`FWHM ${fixed(frame.fwhmPx.value, 1)} px`);
  if (frame.ellipticity !== null) parts.push(`ellipticity ${fixed(frame.ellipticity.value, 2)}`);
  if (frame.transparency !== null) {
    parts.push(`starlight ${fixed(100 * frame.transparency.value, 0)} %`);
  }
  parts.push(`kept ${night.summary.kept} of ${night.frames.length}`);
  return parts.join('  ');
}

/** The reason that the last frames share, in words; null when the newest is kept or alone. */
export function alarmOf(night: Night): string | null {
  const last = night.frames.slice(-IN_A_ROW);
  const code = last.at(-1)?.reasons[0]?.code;
  if (code === undefined || last.length < IN_A_ROW) return null;
  const shared = last.every(({ reasons }) => reasons.some((each) => each.code === code));
  return shared ? (ALARMS[code] ?? null) : null;
}
