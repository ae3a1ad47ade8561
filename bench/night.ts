/** Grading on drawn nights: `npm run bench:night [-- --quick] [--seed S] [--json] [--save]`.
 *
 * Decisions and weights against what was planted, speed on one and two workers, memory for 20 and 2,000 frames, the same answer whatever
 * the workers and after a kill. The program that runs is the built one: `npm run build` first. Targets that are missed are printed as
 * missed.
 */
import { spawn } from 'node:child_process';
import {
  existsSync,
  linkSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { createRandom, normal } from '../src/stats/random.js';
import type { Planted } from '../tests/helpers/night.js';
import { type NightTruth, writeNight } from '../tests/helpers/night-files.js';
import { environment, environmentLine } from './helpers/environment.js';
import { saveTables } from './helpers/save.js';
import { fixed, type TextTable, tableText } from './helpers/text-table.js';
import { referenceFrame } from './speed/reference-frame.js';

const BIN = fileURLToPath(new URL('../bin/bluerim.js', import.meta.url));
const QUICK = process.argv.includes('--quick');
const SEED = Number(process.argv[process.argv.indexOf('--seed') + 1] || 0) || 907;
const NIGHTS = QUICK ? 1 : 4;
const FRAMES = 50;

const KINDS = {
  'wide stars': (r: () => number): Planted => ({ wide: 1.45 + 0.8 * r() }),
  'elongated stars': (r: () => number): Planted => ({ ellipticity: 0.16 + 0.2 * r() }),
  cloud: (r: () => number): Planted => ({ transparency: 0.1 + 0.5 * r() }),
  'bright sky': (r: () => number): Planted => ({ sky: 5 + 5 * r() }),
  'no stars': (): Planted => ({ noStars: true }),
  'another field': (): Planted => ({ otherField: true }),
} as const;
type Kind = keyof typeof KINDS | 'good';

/** Every good frame differs too: seeing, light, sky, place; some carry a trail; half the night lies beyond the meridian. */
function goodFrame(random: () => number, index: number): Planted {
  return {
    shift: [3 * normal(random), 3 * normal(random)],
    turnDeg: index >= FRAMES / 2 ? 180 : 0,
    transparency: 0.93 + 0.07 * random(),
    sky: 1 + 0.3 * random(),
    ...(random() < 0.08 && { trail: true }),
  };
}

interface Drawn {
  kinds: Kind[];
  truths: NightTruth[];
  folder: string;
}

function drawNight(root: string, night: number): Drawn {
  const random = createRandom(SEED + 101 * night);
  const names = Object.keys(KINDS) as (keyof typeof KINDS)[];
  const share = 0.15 + 0.2 * random();
  const kinds: Kind[] = [];
  const frames = Array.from({ length: FRAMES }, (_, i): Planted => {
    const good = goodFrame(random, i);
    if (random() >= share) {
      kinds.push('good');
      return good;
    }
    // Two frames of another field are no field of their own.
    const others = kinds.filter((kind) => kind === 'another field').length;
    const able = others >= 2 ? names.filter((name) => name !== 'another field') : names;
    const kind = able[Math.floor(random() * able.length)] as keyof typeof KINDS;
    kinds.push(kind);
    return { ...good, ...KINDS[kind](random) };
  });
  const folder = join(root, `night-${night}`);
  const layout = night % 2 === 0 ? ('mono' as const) : ('cfa' as const);
  const { truths } = writeNight({ seed: SEED + night, frames, layout }, folder);
  return { kinds, truths, folder };
}

interface Run {
  code: number | null;
  stdout: string;
  seconds: number;
  /** Peak memory of the process, MiB. */
  mib: number;
}

const RSS = `data:text/javascript,process.on("exit",()=>process._rawDebug("RSS "+process.resourceUsage().maxRSS))`;

function bluerim(args: readonly string[], killAfter: (() => boolean) | null = null): Promise<Run> {
  return new Promise((resolve) => {
    const start = performance.now();
    const child = spawn(process.execPath, ['--import', RSS, BIN, ...args]);
    let stdout = '';
    let stderr = '';
    child.stdout.on('data', (text) => {
      stdout += text;
    });
    child.stderr.on('data', (text) => {
      stderr += text;
    });
    const watch =
      killAfter === null
        ? null
        : setInterval(() => {
            if (killAfter()) child.kill('SIGKILL');
          }, 2);
    child.on('close', (code) => {
      if (watch !== null) clearInterval(watch);
      const mib = Number(/RSS (\d+)/.exec(stderr)?.[1] ?? Number.NaN) / 1024;
      resolve({ code, stdout, seconds: (performance.now() - start) / 1000, mib });
    });
  });
}

interface Frame {
  file: string;
  decision: string;
  weight: number | null;
  reasons: { code: string }[];
  trails: unknown[];
}

function correlation(a: readonly number[], b: readonly number[]): number {
  const mean = (values: readonly number[]): number =>
    values.reduce((sum, value) => sum + value, 0) / values.length;
  const [ma, mb] = [mean(a), mean(b)];
  let ab = 0;
  let aa = 0;
  let bb = 0;
  a.forEach((value, i) => {
    ab += (value - ma) * (b[i] - mb);
    aa += (value - ma) ** 2;
    bb += (b[i] - mb) ** 2;
  });
  return ab / Math.sqrt(aa * bb);
}

async function decisions(root: string): Promise<TextTable[]> {
  const counts = new Map<Kind, { all: number; keep: number; doubtful: number; drop: number }>();
  const correlations: number[] = [];
  let falseTrails = 0;
  for (let night = 0; night < NIGHTS; night++) {
    const { kinds, truths, folder } = drawNight(root, night);
    const { stdout } = await bluerim(['grade', '--json', folder]);
    const { frames } = JSON.parse(stdout) as { frames: Frame[] };
    const known: number[] = [];
    const found: number[] = [];
    frames.forEach((frame, i) => {
      const kind = kinds[i] as Kind;
      const entry = counts.get(kind) ?? { all: 0, keep: 0, doubtful: 0, drop: 0 };
      entry.all++;
      entry[frame.decision as 'keep' | 'doubtful' | 'drop']++;
      counts.set(kind, entry);
      if (frame.weight !== null) {
        known.push((truths[i] as NightTruth).weight);
        found.push(frame.weight);
      }
      if (frame.trails.length > 0) falseTrails++;
    });
    correlations.push(correlation(known, found));
  }
  const good = counts.get('good') ?? { all: 0, keep: 0, doubtful: 0, drop: 0 };
  const bad = [...counts.entries()].filter(([kind]) => kind !== 'good').map(([, entry]) => entry);
  const sum = (pick: (entry: typeof good) => number): number =>
    bad.reduce((total, entry) => total + pick(entry), 0);
  const recall = sum(({ drop }) => drop) / sum(({ all }) => all);
  const lowest = Math.min(...correlations);
  const falseDrops = good.drop / good.all;
  return [
    {
      title: `Decisions on ${NIGHTS * FRAMES} frames of ${NIGHTS} nights`,
      columns: ['planted', 'frames', 'keep', 'doubtful', 'drop'],
      rows: [...counts.entries()].map(([kind, e]) => [kind, e.all, e.keep, e.doubtful, e.drop]),
    },
    {
      title: 'Against the targets',
      columns: ['quantity', 'value', 'target', ''],
      rows: [
        ['spoiled frames dropped, %', fixed(100 * recall, 1), '≥ 98', verdict(recall >= 0.98)],
        ['good frames dropped, %', fixed(100 * falseDrops, 1), '≤ 2', verdict(falseDrops <= 0.02)],
        ['good frames called doubtful, %', fixed((100 * good.doubtful) / good.all, 1), '–', ''],
        [
          'correlation of weight with true signal-to-noise squared, worst night',
          fixed(lowest, 4),
          '≥ 0.99',
          verdict(lowest >= 0.99),
        ],
        ['frames with a trail noted', falseTrails, '–', ''],
      ],
    },
  ];
}

function verdict(reached: boolean): string {
  return reached ? 'reached' : 'missed';
}

/** The same answer on one and four workers, and after a kill in the middle. */
async function sameness(root: string): Promise<TextTable> {
  const { folder } = drawNight(root, 90);
  const one = await bluerim(['grade', '--json', '--jobs', '1', folder]);
  const four = await bluerim(['grade', '--json', '--jobs', '4', folder]);
  const records = join(root, 'killed.ndjson');
  const lines = (): number =>
    existsSync(records) ? readFileSync(records, 'utf8').split('\n').length : 0;
  await bluerim(['grade', '--ndjson', records, folder], () => lines() > FRAMES / 2);
  const written = lines();
  const resumed = await bluerim(['grade', '--json', '--resume', records, folder]);
  return {
    title: 'The same answer',
    columns: ['way', 'same to the last byte'],
    rows: [
      ['4 workers against 1', verdict(four.stdout === one.stdout)],
      [
        `killed (−9) after ${written - 2} of ${FRAMES} frames, then resumed`,
        verdict(resumed.stdout === one.stdout),
      ],
    ],
  };
}

/** Many names for one large frame: what is timed is reading and measuring, not drawing. */
async function speed(root: string): Promise<TextTable> {
  const frame = referenceFrame(() => {});
  const folder = join(root, 'large');
  mkdirSync(folder);
  const count = QUICK ? 6 : 16;
  for (let i = 0; i < count; i++) {
    const name = join(folder, `sub-${i}.fits`);
    try {
      linkSync(frame, name);
    } catch {
      writeFileSync(name, readFileSync(frame));
    }
  }
  const rate = async (jobs: number, extra: readonly string[]): Promise<number> => {
    let best = 0;
    for (let run = 0; run < (QUICK ? 1 : 3); run++) {
      const { seconds } = await bluerim([
        'grade',
        '--json',
        '--jobs',
        String(jobs),
        ...extra,
        folder,
      ]);
      best = Math.max(best, count / seconds);
    }
    return best;
  };
  const rows: TextTable['rows'] = [];
  for (const [words, extra] of [
    ['with the halo', []],
    ['--no-halo', ['--no-halo']],
  ] as const) {
    const one = await rate(1, extra);
    const two = await rate(2, extra);
    rows.push([
      words,
      fixed(one, 2),
      fixed(two, 2),
      fixed(two / one, 2),
      '≥ 1.6',
      verdict(two / one >= 1.6),
    ]);
  }
  return {
    title: `Frames of 26 megapixels per second, best of ${QUICK ? 1 : 3} runs of ${count}, start of the program included`,
    columns: ['form', '1 worker', '2 workers', 'ratio', 'target', ''],
    rows,
  };
}

async function memory(root: string): Promise<TextTable> {
  const folder = join(root, 'night-91');
  const frames = Array.from({ length: 20 }, () => ({}));
  writeNight({ seed: SEED + 91, frames, width: 300, height: 240, stars: 40 }, folder);
  const many = join(root, 'many');
  const few = join(root, 'few');
  mkdirSync(many);
  mkdirSync(few);
  const total = QUICK ? 300 : 2000;
  for (let i = 0; i < total; i++) {
    const source = join(folder, `sub-${String((i % 20) + 1).padStart(3, '0')}.fits`);
    linkSync(source, join(many, `sub-${i}.fits`));
    if (i < 20) linkSync(source, join(few, `sub-${i}.fits`));
  }
  const small = await bluerim(['grade', '-o', join(root, 'few.txt'), '--jobs', '2', few]);
  const large = await bluerim(['grade', '-o', join(root, 'many.txt'), '--jobs', '2', many]);
  const ratio = large.mib / small.mib;
  return {
    title: 'Peak memory, two workers',
    columns: ['frames', 'MiB', 'ratio', 'target', ''],
    rows: [
      [20, fixed(small.mib, 0), '', '', ''],
      [total, fixed(large.mib, 0), fixed(ratio, 2), '≤ 1.10', verdict(ratio <= 1.1)],
    ],
  };
}

const root = mkdtempSync(join(tmpdir(), 'bluerim-night-'));
try {
  const at = process.argv.indexOf('--only');
  const wanted = at < 0 ? null : process.argv[at + 1];
  const tables: TextTable[] = [];
  const parts = { decisions, sameness, memory, speed };
  for (const [name, make] of Object.entries(parts)) {
    if (wanted !== null && wanted !== name) continue;
    tables.push(...[await make(root)].flat());
  }
  const where = environment();
  if (process.argv.includes('--json')) {
    process.stdout.write(`${JSON.stringify({ environment: where, tables }, null, 2)}\n`);
  } else {
    const text = [environmentLine(where), ...tables.map(tableText)].join('\n\n');
    process.stdout.write(`${text}\n`);
    if (process.argv.includes('--save')) saveTables('night', text);
  }
} finally {
  rmSync(root, { recursive: true, force: true });
}
