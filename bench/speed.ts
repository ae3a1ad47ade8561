/** Speed and memory on one 26-megapixel mosaic frame: `npm run bench:speed [-- --quick] [--json] [--save]`.
 *
 * Everything is timed warm, in one run on one machine: read the ratios. Where /usr/bin/python3 has sep, its background and
 * extraction run on the same file in the same run.
 */
import { spawnSync } from 'node:child_process';
import { closeSync, fstatSync, openSync, readSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { buildBackground } from '../src/detect/background.js';
import { planChannels } from '../src/detect/lattice.js';
import { findPeaks } from '../src/detect/peaks.js';
import { createFloatReader } from '../src/frame/convert.js';
import { openFrame } from '../src/frame/open.js';
import { measureFrame } from '../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../src/measure/options.js';
import { environment, environmentLine } from './helpers/environment.js';
import { saveTables } from './helpers/save.js';
import { fixed, type TextTable, tableText } from './helpers/text-table.js';
import { referenceFrame } from './speed/reference-frame.js';

/** Targets of the product: at least so many times faster than sep at full resolution, at most so much memory. */
const FASTER_THAN_SEP = 3;
const MEMORY_MIB = 150;

interface Timing {
  name: string;
  minimum: number;
  median: number;
}

function summarise(name: string, times: readonly number[]): Timing {
  const sorted = [...times].sort((a, b) => a - b);
  return { name, minimum: sorted[0], median: sorted[sorted.length >> 1] };
}

/** Runs three times for warmth (the engine goes on optimising), then `runs` times. */
function time(name: string, runs: number, work: () => void): Timing {
  for (let i = 0; i < 3; i++) work();
  const times: number[] = [];
  for (let i = 0; i < runs; i++) {
    const start = performance.now();
    work();
    times.push(performance.now() - start);
  }
  return summarise(name, times);
}

function readInto(path: string, buffer: Buffer): void {
  const file = openSync(path, 'r');
  let done = 0;
  while (done < buffer.length) {
    const count = readSync(file, buffer, done, buffer.length - done, done);
    if (count === 0) break;
    done += count;
  }
  closeSync(file);
}

function fileSize(path: string): number {
  const file = openSync(path, 'r');
  const { size } = fstatSync(file);
  closeSync(file);
  return size;
}

const here = (name: string): string => fileURLToPath(new URL(name, import.meta.url));

/** Peak resident memory in MiB: of Node alone, and of Node measuring the frame with the built package. */
function peakMemory(path: string): { node: number; measuring: number } | null {
  const prepared = spawnSync(process.execPath, [here('../scripts/prepare.mjs')], {
    encoding: 'utf8',
  });
  if (prepared.status !== 0) return null;
  // Linux counts the memory of the process that starts a program as the program's own until its first step: a small shell in between
  // keeps this benchmark's memory out of the numbers.
  const run = (args: string[]): number => {
    const child =
      process.platform === 'win32'
        ? spawnSync(process.execPath, args, { encoding: 'utf8' })
        : spawnSync('/bin/sh', ['-c', '"$0" "$@"; exit $?', process.execPath, ...args], {
            encoding: 'utf8',
          });
    return child.status === 0 ? Number(child.stdout) / 1024 : Number.NaN;
  };
  const print = 'process.stdout.write(String(process.resourceUsage().maxRSS))';
  return { node: run(['-e', print]), measuring: run([here('speed/peak-memory.mjs'), path]) };
}

interface SepTimes {
  version: string;
  full: { times: number[]; sources: number };
  binned: { times: number[]; sources: number };
}

/** Null where there is no python3 with sep. */
function sepTimes(path: string, runs: number): SepTimes | null {
  const run = spawnSync('/usr/bin/python3', [here('speed/sep_extract.py'), path, String(runs)], {
    encoding: 'utf8',
  });
  if (run.error || run.status !== 0) return null;
  return JSON.parse(run.stdout) as SepTimes;
}

async function main(args: readonly string[]): Promise<void> {
  const quick = args.includes('--quick');
  const runs = quick ? 3 : 9;
  const progress = (text: string): void => {
    process.stderr.write(`${text}\n`);
  };
  const path = referenceFrame(progress);
  const frame = await openFrame(path);
  const { width, height } = frame.rows;
  const plan = planChannels(frame);
  const read = createFloatReader(frame.rows);
  const timings: Timing[] = [];
  const add = (name: string, work: () => void): Timing => {
    progress(name);
    const timing = time(name, runs, work);
    timings.push(timing);
    return timing;
  };

  const buffer = Buffer.alloc(fileSize(path));
  const reading = add('read the file into a reused buffer', () => readInto(path, buffer));
  const rows = new Float32Array(width * 16);
  add('all rows as physical values, 16 at a time', () => {
    for (let y = 0; y < height; y += 16) read(0, y, Math.min(16, height - y), rows);
  });
  let mesh = buildBackground(read, plan, width, height, 1);
  add('background mesh', () => {
    mesh = buildBackground(read, plan, width, height, 1);
  });
  let sources = 0;
  add('peak search', () => {
    sources = findPeaks(read, plan, mesh, width, height, 3, 5).length;
  });
  let result = measureFrame(frame, DEFAULT_MEASURE_OPTIONS).result;
  const whole = add('whole measurement, three channels', () => {
    result = measureFrame(frame, DEFAULT_MEASURE_OPTIONS).result;
  });
  frame.rows.close();
  progress('peak memory');
  const memory = peakMemory(path);
  progress('sep');
  const sep = sepTimes(path, runs);
  if (sep) {
    timings.push(summarise('sep: background and extraction, full resolution', sep.full.times));
    timings.push(summarise('sep: the same on 2 × 2 bins', sep.binned.times));
  }

  const ratio = (index: number): number | null =>
    sep ? timings[timings.length - index].median / whole.median : null;
  const fasterFull = ratio(2);
  const fasterBinned = ratio(1);
  const memoryAbove = memory ? memory.measuring - memory.node : null;
  const machine = environment();
  const counts = {
    peaks: sources,
    found: result.stars?.found ?? 0,
    used: result.stars?.used ?? 0,
    sepFull: sep?.full.sources ?? null,
    sepBinned: sep?.binned.sources ?? null,
  };
  const ratios = {
    timesReading: whole.median / reading.median,
    sepFullOverWhole: fasterFull,
    sepBinnedOverWhole: fasterBinned,
    memoryAboveNodeMiB: memoryAbove,
  };
  if (args.includes('--json')) {
    const document = { environment: machine, width, height, runs, timings, counts, ratios };
    process.stdout.write(`${JSON.stringify(document, null, 1)}\n`);
    return;
  }
  const verdict = (reached: boolean | null): string =>
    reached === null ? 'not measured' : reached ? 'reached' : 'missed';
  const tables: TextTable[] = [
    {
      title: `Warm times of ${runs} runs, ms: ${width} × ${height} mosaic, 16 bits`,
      columns: ['work', 'minimum', 'median'],
      rows: timings.map(({ name, minimum, median }) => [name, fixed(minimum, 0), fixed(median, 0)]),
    },
    {
      title: 'Ratios (medians) and memory',
      columns: ['quantity', 'value', 'target', ''],
      rows: [
        ['whole measurement over reading the file', fixed(ratios.timesReading, 1), '–', ''],
        [
          `sep ${sep?.version ?? ''} at full resolution over the whole measurement`,
          fixed(fasterFull ?? Number.NaN, 2),
          `≥ ${FASTER_THAN_SEP}`,
          verdict(fasterFull === null ? null : fasterFull >= FASTER_THAN_SEP),
        ],
        [
          'sep on 2 × 2 bins over the whole measurement',
          fixed(fasterBinned ?? Number.NaN, 2),
          '–',
          '',
        ],
        [
          "peak memory above Node's own, MiB",
          fixed(memoryAbove ?? Number.NaN, 0),
          `≤ ${MEMORY_MIB}`,
          verdict(memoryAbove === null ? null : memoryAbove <= MEMORY_MIB),
        ],
        ["Node's own (node -e), MiB", fixed(memory?.node ?? Number.NaN, 0), '–', ''],
      ],
    },
    {
      title: 'Sources',
      columns: ['who', 'count'],
      rows: [
        ['peaks above 5 σ', counts.peaks],
        ['measurement: found', counts.found],
        ['measurement: used', counts.used],
        ['sep, full resolution', counts.sepFull],
        ['sep, 2 × 2 bins', counts.sepBinned],
      ],
    },
  ];
  const text = [environmentLine(machine), ...tables.map(tableText)].join('\n\n');
  process.stdout.write(`${text}\n`);
  if (args.includes('--save')) saveTables('speed', text);
}

await main(process.argv.slice(2));
