/** Entry point of a worker thread: renders one scene and writes it. */
import { type Rendered, renderToFolder, type SimulateTask } from './simulate-task.js';

export default async function work(task: SimulateTask): Promise<Rendered> {
  return renderToFolder(task);
}
