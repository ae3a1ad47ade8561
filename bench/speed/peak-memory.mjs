/** Measures one frame with the built package and prints the peak of this process's memory in KiB: `node peak-memory.mjs FRAME`. */
import { DEFAULT_MEASURE_OPTIONS, measureFrame, openFrame } from '../../dist/index.js';

const frame = await openFrame(process.argv[2]);
measureFrame(frame, DEFAULT_MEASURE_OPTIONS);
frame.rows.close();
process.stdout.write(String(process.resourceUsage().maxRSS));
