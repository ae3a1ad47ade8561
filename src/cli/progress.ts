/** What a person at a terminal sees while frames are measured; nothing in pipes and logs. */
import { basename } from 'node:path';
import type { SingleBar } from 'cli-progress';
import { escapeControls } from '../report/escape.js';

/** A bar is shown only while at least this much is left to wait for. */
const WORTH_SHOWING_MS = 1000;

/** Back to the start of the line, and erase it (ECMA-48: CR, EL). */
const CLEAR_LINE = '\r\u001b[2K';

export interface Progress {
  /** One more frame is done. */
  step(): Promise<void>;
  /** Removes whatever is shown. Calling it twice is harmless. */
  stop(): void;
}

const SILENT: Progress = { step: async () => {}, stop: () => {} };

/**
 * Shows a line for the first frame, then a bar once it is known that more than a second is left. All on stderr and only
 * when `interactive`; everything is wiped at the end.
 */
export function startProgress(files: readonly string[], interactive: boolean): Progress {
  const [first] = files;
  if (!interactive || first === undefined) return SILENT;
  const total = files.length;
  const start = performance.now();
  let done = 0;
  let bar: SingleBar | null = null;
  let line = true;
  let stopped = false;
  process.stderr.write(`measuring ${escapeControls(basename(first)).slice(0, 60)} …`);
  const clearLine = (): void => {
    if (line) process.stderr.write(CLEAR_LINE);
    line = false;
  };
  return {
    step: async () => {
      done++;
      clearLine();
      const remaining = ((performance.now() - start) / done) * (total - done);
      if (bar === null && remaining > WORTH_SHOWING_MS) {
        const { default: progress } = await import('cli-progress');
        if (bar !== null || stopped) return;
        bar = new progress.SingleBar({
          format: 'measuring {bar} {value} of {total} frames, {eta_formatted} left',
          stream: process.stderr,
          barCompleteChar: '█',
          barIncompleteChar: '░',
          barsize: 30,
          // Nothing of the terminal's state is changed: Ctrl-C would leave it so.
          hideCursor: false,
          linewrap: true,
          clearOnComplete: true,
        });
        bar.start(total, done);
      }
      bar?.update(done);
    },
    stop: () => {
      stopped = true;
      clearLine();
      bar?.stop();
      bar = null;
    },
  };
}
