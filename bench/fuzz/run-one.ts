/** The process that opens damaged files: told a number, it makes the file, opens it, reads every row of every plane, and reports. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { FrameReadError } from '../../src/errors.js';
import { createSampleArray } from '../../src/frame/convert.js';
import type { Frame } from '../../src/frame/frame.js';
import { openFrame } from '../../src/frame/open.js';
import { createRandom } from '../../src/stats/random.js';
import { damage } from './damage.js';
import { type Group, seeds } from './seeds.js';

/** What became of one input. */
export interface Outcome {
  number: number;
  format: string;
  name: string;
  /** 'read', the code of a proper error, or 'FAULT'. */
  result: string;
  message: string;
  /** MiB of the process afterwards. */
  memory: number;
}

/** Limits of the run: a frame may not claim more. */
const MAX_PIXELS = 4_000_000;
const MAX_BYTES = 64_000_000;

const group = process.argv[2] as Group;
const ALL = seeds(group);
const folder = mkdtempSync(join(tmpdir(), 'fuzz-'));
process.on('exit', () => rmSync(folder, { recursive: true, force: true }));

async function run(number: number, seed: number): Promise<Outcome> {
  const random = createRandom(seed * 1_000_003 + number);
  const source = ALL[Math.floor(random() * ALL.length)] as (typeof ALL)[number];
  const path = join(folder, 'damaged');
  writeFileSync(path, damage(source.bytes(), random, group === 'fits'));
  // Any unit, or none named.
  const hdu = random() < 0.6 ? 1 + Math.floor(random() * 8) : undefined;
  let result = 'read';
  let message = '';
  try {
    const frame = await open(path, hdu);
    try {
      const { rows } = frame;
      const buffer = createSampleArray(rows.sampleType, rows.width);
      for (let plane = 0; plane < rows.planes; plane++) {
        for (let y = 0; y < rows.height; y++) rows.readRows(plane, y, 1, buffer);
      }
    } finally {
      frame.rows.close();
    }
  } catch (error) {
    const proper = error instanceof FrameReadError && error.remedy !== '' && error.message !== '';
    result = proper ? error.code : 'FAULT';
    if (!proper) message = error instanceof Error ? (error.stack ?? error.message) : String(error);
  }
  const memory = Math.round(process.memoryUsage().rss / 2 ** 20);
  return { number, format: source.format, name: source.name, result, message, memory };
}

/** Falls back to the frame's own choice where there is no such unit. */
async function open(path: string, hdu: number | undefined): Promise<Frame> {
  const limits = { maxPixels: MAX_PIXELS, maxBytes: MAX_BYTES };
  if (hdu === undefined) return openFrame(path, limits);
  try {
    return await openFrame(path, { ...limits, hdu });
  } catch (error) {
    if (error instanceof FrameReadError && error.code === 'no-such-hdu') {
      return openFrame(path, limits);
    }
    throw error;
  }
}

process.on('message', ({ number, seed }: { number: number; seed: number }) => {
  void run(number, seed).then((outcome) => process.send?.(outcome));
});
process.send?.('ready');
