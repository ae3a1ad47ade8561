/** Many files, one or several threads, results in input order. */
import { stat } from 'node:fs/promises';
import { type Runner, runLanes, threadRunner } from './lanes.js';
import { type MeasureOutcome, type MeasureTask, measureFile } from './measure-file.js';

/** Told after each file, in the order of completion; the next file waits for it on a single thread. */
export type OutcomeListener = (outcome: MeasureOutcome, index: number) => void | Promise<void>;

/** A worker takes 40–200 ms to start. It is worth that for this many bytes of files: a megabyte of stars takes about a second. */
const WORTHWHILE_BYTES = 1e6;

/**
 * How many threads to use when the user gives no number: one per file up to `cores`, but a single one where all files
 * together are done sooner than workers start.
 */
export async function chooseJobs(files: readonly string[], cores: number): Promise<number> {
  if (files.length < 2 || cores < 2) return 1;
  const sizes = await Promise.all(
    files.map((file) =>
      stat(file).then(
        ({ size }) => size,
        () => 0,
      ),
    ),
  );
  const bytes = sizes.reduce((a, b) => a + b, 0);
  return Math.max(1, Math.min(files.length, cores, Math.floor(bytes / WORTHWHILE_BYTES)));
}

/** Measures every task on `jobs` threads (1 = this one). The outcome of a task does not depend on `jobs`. */
export async function measureAll(
  tasks: readonly MeasureTask[],
  jobs: number,
  listener: OutcomeListener = () => {},
): Promise<MeasureOutcome[]> {
  const threads = Math.min(jobs, tasks.length);
  const runner: Runner<MeasureTask, MeasureOutcome> =
    threads < 2
      ? { run: measureFile, end: async () => {} }
      : await threadRunner('./worker.js', threads);
  // Nothing stops these lanes: every outcome is there.
  return (await runLanes(tasks, threads, runner, listener)) as MeasureOutcome[];
}
