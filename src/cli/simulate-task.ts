/** Renders scenes into FITS files with their truth beside them, on one or several threads. */
import { join } from 'node:path';
import { encodeFits } from '../frame/fits/write.js';
import type { Scene } from '../simulate/scene.js';
import { simulate } from '../simulate/simulate.js';
import type { Truth } from '../simulate/truth.js';
import { writeWhole } from './output.js';

/** Plain data: it travels to a worker. */
export interface SimulateTask {
  scene: Scene;
  folder: string;
  frameName: string;
  truthName: string;
}

export interface Rendered {
  frameFile: string;
  truthFile: string;
  truth: Truth;
}

/** FITS headers hold printable ASCII only (FITS Standard 4.0, section 4.2.1). */
function asciiOnly(value: string | number | boolean): string | number | boolean {
  return typeof value === 'string' ? value.replace(/[^\x20-\x7e]/g, '?') : value;
}

/**
 * Simulates one exposure and writes frame and truth.
 * @throws ParameterError for a scene that cannot be simulated, OutputError when a file cannot be written.
 */
export function renderToFolder(task: SimulateTask): Rendered {
  const { frame, cards, truth } = simulate(task.scene);
  const frameFile = join(task.folder, task.frameName);
  const truthFile = join(task.folder, task.truthName);
  const plain = cards.map((card) => ({ ...card, value: asciiOnly(card.value) }));
  writeWhole(frameFile, encodeFits(frame, plain));
  writeWhole(truthFile, `${JSON.stringify(truth)}\n`);
  return { frameFile, truthFile, truth };
}

/** Renders all tasks on up to `threads` threads; results in input order. */
export async function renderAll(
  tasks: readonly SimulateTask[],
  threads: number,
  finished: (task: SimulateTask) => void,
): Promise<Rendered[]> {
  if (threads < 2 || tasks.length < 2) {
    return tasks.map((task) => {
      const rendered = renderToFolder(task);
      finished(task);
      return rendered;
    });
  }
  const { Piscina } = await import('piscina');
  const count = Math.min(threads, tasks.length);
  const pool = new Piscina({
    filename: new URL('./simulate-worker.js', import.meta.url).href,
    minThreads: count,
    maxThreads: count,
  });
  try {
    return await Promise.all(
      tasks.map(async (task) => {
        const rendered = (await pool.run(task)) as Rendered;
        finished(task);
        return rendered;
      }),
    );
  } finally {
    await pool.destroy();
  }
}
