/** Speed of readers on one 26-megapixel frame of 16 bits: `npm run bench:formats`.
 *
 * The frame is seeded noise of a usual size (σ = 12) in every form, opened anew for each run; every row is read once. The best of
 * several runs, by the clock and in processor time of all threads (which other programs on the machine disturb less). Rates are of
 * unpacked samples. Read the ratios: all forms are timed in one run on one machine.
 */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { createSampleArray } from '../src/frame/convert.js';
import { encodeFits } from '../src/frame/fits/write.js';
import { openFrame } from '../src/frame/open.js';
import { createRandom, normal } from '../src/stats/random.js';
import { packFits } from '../tests/helpers/packed-fits.js';
import { environment, environmentLine } from './helpers/environment.js';
import { fixed, type TextTable, tableText } from './helpers/text-table.js';

const WIDTH = 6248;
const HEIGHT = 4176;
const RUNS = 5;
/** Of unpacked samples, on one thread. */
const RICE_TARGET_MB_PER_S = 150;

function noise(): Uint16Array {
  const random = createRandom(20261125);
  const data = new Uint16Array(WIDTH * HEIGHT);
  for (let i = 0; i < data.length; i++) data[i] = 2000 + Math.round(12 * normal(random));
  return data;
}

interface Times {
  wallMs: number;
  cpuMs: number;
}

/** Opens the file and reads every row once, in windows of 64 rows as the measurement does. */
async function readAll(path: string): Promise<Times> {
  const before = process.cpuUsage();
  const start = performance.now();
  const { rows } = await openFrame(path, { cfa: 'none' });
  const buffer = createSampleArray(rows.sampleType, 64 * rows.width);
  for (let y = 0; y < rows.height; y += 64) {
    rows.readRows(0, y, Math.min(64, rows.height - y), buffer);
  }
  rows.close();
  const { user, system } = process.cpuUsage(before);
  return { wallMs: performance.now() - start, cpuMs: (user + system) / 1000 };
}

async function main(): Promise<void> {
  const folder = mkdtempSync(join(tmpdir(), 'formats-'));
  try {
    const data = noise();
    // Stored with BZERO = 32768, as cameras' unsigned samples are.
    const stored = Int16Array.from(data, (value) => value - 32768);
    const pack = (method: 'RICE_1' | 'GZIP_1' | 'GZIP_2', tile: [number, number]) =>
      packFits({
        width: WIDTH,
        height: HEIGHT,
        bitpix: 16,
        samples: stored,
        tile,
        method,
        cards: ['BZERO   =                32768', 'BSCALE  =                    1'],
      });
    const plain = encodeFits({ width: WIDTH, height: HEIGHT, planes: 1, data });
    const forms: [string, () => Uint8Array][] = [
      ['plain', () => plain],
      ['RICE_1, rows', () => pack('RICE_1', [WIDTH, 1])],
      ['RICE_1, 100 × 100', () => pack('RICE_1', [100, 100])],
      ['GZIP_1, rows', () => pack('GZIP_1', [WIDTH, 1])],
      ['GZIP_2, rows', () => pack('GZIP_2', [WIDTH, 1])],
      ['whole file under gzip', () => gzipSync(plain)],
    ];
    const rows: TextTable['rows'] = [];
    for (const [name, make] of forms) {
      const path = join(folder, 'frame.fits');
      const bytes = make();
      writeFileSync(path, bytes);
      await readAll(path);
      const times: Times[] = [];
      for (let i = 0; i < RUNS; i++) times.push(await readAll(path));
      const wallMs = Math.min(...times.map((time) => time.wallMs));
      const cpuMs = Math.min(...times.map((time) => time.cpuMs));
      const rate = data.byteLength / 1e3 / cpuMs;
      rows.push([
        name,
        fixed(bytes.length / 1e6, 1),
        fixed(wallMs, 0),
        fixed(cpuMs, 0),
        fixed(data.byteLength / 1e3 / wallMs, 0),
        fixed(rate, 0),
      ]);
      if (name === 'RICE_1, rows') {
        const verdict = rate >= RICE_TARGET_MB_PER_S ? 'reached' : 'MISSED';
        console.log(`RICE_1 target of ${RICE_TARGET_MB_PER_S} MB/s of processor time: ${verdict}`);
      }
    }
    console.log(environmentLine(environment()));
    console.log(
      tableText({
        title: `reading ${WIDTH} × ${HEIGHT} samples of 16 bits`,
        columns: ['form', 'MB on disk', 'ms', 'CPU ms', 'MB/s', 'MB/s of CPU time'],
        rows,
      }),
    );
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

await main();
