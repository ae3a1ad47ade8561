/** From the names of a night's frames to their records: threads, resumed records, shards, Ctrl-C. */
import { availableParallelism } from 'node:os';
import type { FrameOverrides } from '../frame/frame.js';
import type { LookOptions } from '../grade/look.js';
import type { NightFrame } from '../grade/night-frame.js';
import { digestOf, identityOf, type LookTask, lookAtAll } from '../pool/look-file.js';
import { chooseJobs } from '../pool/pool.js';
import type { Input } from './inputs.js';
import { startProgress } from './progress.js';
import type { LoadedRecords, RecordWriter } from './record-file.js';

export interface NightTask {
  inputs: readonly Input[];
  options: LookOptions;
  overrides: FrameOverrides;
  verify: boolean;
  jobs: number | null;
  /** Which part of the list: every `of`-th frame, beginning with the `part`-th. */
  shard: { part: number; of: number };
  resumed: LoadedRecords | null;
  writer: RecordWriter | null;
  interactive: boolean;
  message: (text: string) => void;
}

export interface NightRecords {
  /** In the order of the inputs, with their place in the whole list. */
  records: { order: number; frame: NightFrame }[];
  reused: number;
  /** True after Ctrl-C: frames that were not begun have no record. */
  interrupted: boolean;
}

/** Measures what is not known yet. Records are written as they come and returned in the order of the inputs. */
export async function gatherRecords(task: NightTask): Promise<NightRecords> {
  const { inputs, shard, writer } = task;
  const mine = inputs
    .map((input, order) => ({ ...input, order }))
    .filter(({ order }) => order % shard.of === shard.part - 1);
  const known = await knownRecords(mine, task);
  const missing = mine.filter(({ order }) => !known.has(order));
  const reused = known.size;
  // A new file holds every record, also those that came from another one.
  // One that goes on is told of frames that stand at another place in the list now: `merge` sorts by it.
  const places = new Map(
    writer?.continues ? task.resumed?.records.map(({ frame, order }) => [frame.file, order]) : [],
  );
  if (writer !== null) {
    for (const [order, frame] of known) {
      if (places.get(frame.file) !== order) writer.add(order, frame);
    }
  }
  const tasks = missing.map(
    ({ file, fault }): LookTask => ({
      file,
      fault,
      options: task.options,
      overrides: task.overrides,
      verify: task.verify,
    }),
  );
  const files = missing.map(({ file }) => file);
  const jobs = task.jobs ?? (await chooseJobs(files, availableParallelism()));
  const progress = startProgress(files, task.interactive);
  const stop = watchForStop(task.message);
  try {
    const outcomes = await lookAtAll(
      tasks,
      jobs,
      (record, index) => {
        writer?.add((missing[index] as { order: number }).order, record);
        return progress.step();
      },
      stop.stopped,
    );
    outcomes.forEach((record, index) => {
      if (record !== undefined) known.set((missing[index] as { order: number }).order, record);
    });
  } finally {
    progress.stop();
    stop.end();
  }
  const records = [...known.entries()]
    .sort(([a], [b]) => a - b)
    .map(([order, frame]) => ({ order, frame }));
  return { records, reused, interrupted: stop.stopped() };
}

/** Records of an earlier run that still hold: the file has the same size and time, with `verify` also the same content. */
async function knownRecords(
  mine: readonly { file: string; order: number }[],
  { resumed, verify }: NightTask,
): Promise<Map<number, NightFrame>> {
  const known = new Map<number, NightFrame>();
  if (resumed === null) return known;
  const byFile = new Map(resumed.records.map(({ frame }) => [frame.file, frame]));
  for (const { file, order } of mine) {
    const record = byFile.get(file);
    // What failed may have been repaired or arrived since.
    if (record === undefined || record.status !== 'ok') continue;
    const now = await identityOf(file, false);
    if (now.bytes === null || now.bytes !== record.bytes) continue;
    if (now.modifiedMs !== record.modifiedMs) continue;
    if (verify && (record.sha256 === null || (await digestOf(file)) !== record.sha256)) continue;
    known.set(order, record);
  }
  return known;
}

/** The first Ctrl-C lets the frames in hand finish; the second ends the program at once. */
function watchForStop(message: (text: string) => void): {
  stopped: () => boolean;
  end: () => void;
} {
  let stopped = false;
  const listener = (): void => {
    if (stopped) process.exit(130);
    stopped = true;
    message('stopping after the frames in hand; Ctrl-C again to stop at once');
  };
  process.on('SIGINT', listener);
  return {
    stopped: () => stopped,
    end: () => {
      process.off('SIGINT', listener);
    },
  };
}
