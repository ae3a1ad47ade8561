/** Frames graded as they arrive in a folder. */
import { statSync } from 'node:fs';
import { basename } from 'node:path';
import type { FrameOverrides } from '../frame/frame.js';
import { contentKind } from '../frame/open.js';
import { gradeNight } from '../grade/grade.js';
import type { LookOptions } from '../grade/look.js';
import type { NightFrame } from '../grade/night-frame.js';
import type { GradedFrame, GradeOptions, Night, ReasonCode } from '../grade/result.js';
import { lookAtFile } from '../pool/look-file.js';
import { escapeControls } from '../report/escape.js';
import { fixed } from '../report/number.js';
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

/**
 * Watches until Ctrl-C. Each new frame is measured when it is complete, and gets one line; a warning is given when two in a row leave the
 * band for one reason. Frames that lie there already are measured first.
 * @returns the night as it stands at the end
 */
export async function watchFolder(
  task: WatchTask,
): Promise<{ night: Night; frames: NightFrame[] }> {
  const { default: chokidar } = await import('chokidar');
  const frames: NightFrame[] = [];
  const queue: string[] = [];
  const known = new Set<string>();
  let wake: () => void = () => {};
  let stopped = false;
  const watcher = chokidar.watch(task.folder, {
    depth: 0,
    ignored: (path) => /(^|[\\/])\.[^\\/]+$/.test(path) && path !== task.folder,
    awaitWriteFinish: { stabilityThreshold: SETTLED_MS, pollInterval: SETTLE_POLL_MS },
    usePolling: task.pollSeconds !== null,
    ...(task.pollSeconds !== null && {
      interval: 1000 * task.pollSeconds,
      binaryInterval: 1000 * task.pollSeconds,
    }),
  });
  watcher.on('add', (path) => {
    queue.push(path);
    wake();
  });
  watcher.on('error', (error) => task.terminal.message(`watching: ${String(error)}`));
  const stop = (): void => {
    if (stopped) process.exit(130);
    stopped = true;
    wake();
  };
  process.on('SIGINT', stop);
  task.terminal.message(`watching ${escapeControls(task.folder)}; Ctrl-C ends it and reports`);
  let night = gradeNight(frames, task.grading);
  try {
    for (;;) {
      const path = queue.shift();
      if (path === undefined) {
        if (stopped) break;
        await new Promise<void>((resolve) => {
          wake = resolve;
        });
        continue;
      }
      if (stopped) break;
      if (known.has(path) || !isFrame(path)) continue;
      known.add(path);
      const record = await lookAtFile({
        file: path,
        fault: null,
        options: task.options,
        overrides: task.overrides,
        verify: task.verify,
      });
      task.writer?.add(frames.length, record);
      frames.push(record);
      night = gradeNight(frames, task.grading);
      announce(night, task.terminal);
    }
  } finally {
    process.off('SIGINT', stop);
    await watcher.close();
  }
  return { night, frames };
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
