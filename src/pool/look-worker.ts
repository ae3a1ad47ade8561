/** Entry point of a worker thread: looks at one frame of a night per call. */
import type { NightFrame } from '../grade/night-frame.js';
import { type LookTask, lookAtFile } from './look-file.js';

export default function work(task: LookTask): Promise<NightFrame> {
  return lookAtFile(task);
}
