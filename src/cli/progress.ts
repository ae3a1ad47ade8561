/** A progress bar on stderr, only for a person at a terminal and only while there is more than a second to wait. */
import type { SingleBar } from 'cli-progress';

const WORTH_SHOWING_MS = 1000;

export interface Progress {
  /** One more frame is done. */
  step(): Promise<void>;
  /** Removes the bar. Calling it twice is harmless. */
  stop(): void;
}

const SILENT: Progress = { step: async () => {}, stop: () => {} };

/** Counts `total` frames from now on. Silent when nobody watches or there is only one. */
export function startProgress(total: number, interactive: boolean): Progress {
  if (!interactive || total < 2) return SILENT;
  const start = performance.now();
  let done = 0;
  let bar: SingleBar | null = null;
  let stopped = false;
  return {
    step: async () => {
      done++;
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
          hideCursor: false,
          clearOnComplete: true,
        });
        bar.start(total, done);
      }
      bar?.update(done);
    },
    stop: () => {
      stopped = true;
      bar?.stop();
      bar = null;
    },
  };
}
