/** Many tasks, one or several lanes: a lane takes the next task when it is done with one, so that nothing piles up however many there are. */

/** Does tasks, one at a time per lane. */
export interface Runner<Task, Outcome> {
  run: (task: Task) => Promise<Outcome>;
  end: () => Promise<void>;
}

/** Told after each task, in the order of completion; the lane waits for it. */
export type LaneListener<Outcome> = (outcome: Outcome, index: number) => void | Promise<void>;

/**
 * Runs every task. Outcomes come in the order of the tasks; those not begun when `stopped` turned true stay undefined, those begun are
 * finished.
 * @throws whatever a task or the listener throws, after the other lanes have finished theirs
 */
export async function runLanes<Task, Outcome>(
  tasks: readonly Task[],
  lanes: number,
  { run, end }: Runner<Task, Outcome>,
  listener: LaneListener<Outcome> = () => {},
  stopped: () => boolean = () => false,
): Promise<(Outcome | undefined)[]> {
  const outcomes = new Array<Outcome | undefined>(tasks.length).fill(undefined);
  let next = 0;
  let failed = false;
  const lane = async (): Promise<void> => {
    while (next < tasks.length && !failed && !stopped()) {
      const index = next++;
      try {
        const outcome = await run(tasks[index] as Task);
        outcomes[index] = outcome;
        await listener(outcome, index);
      } catch (error) {
        failed = true;
        throw error;
      }
    }
  };
  try {
    const ends = await Promise.allSettled(
      Array.from({ length: Math.max(1, Math.min(lanes, tasks.length)) }, lane),
    );
    for (const each of ends) if (each.status === 'rejected') throw each.reason;
  } finally {
    await end();
  }
  return outcomes;
}

/** Runs tasks on worker threads. @param worker file of the thread, beside this one */
export async function threadRunner<Task, Outcome>(
  worker: './worker.js' | './look-worker.js',
  threads: number,
): Promise<Runner<Task, Outcome>> {
  const { Piscina } = await import('piscina');
  const pool = new Piscina({
    filename: new URL(worker, import.meta.url).href,
    minThreads: threads,
    maxThreads: threads,
  });
  return {
    run: async (task) => (await pool.run(task)) as Outcome,
    end: () => pool.destroy(),
  };
}
