/** Files of records that were put together, cut short, damaged or edited, and what was once concluded from them. */
import { spawn } from 'node:child_process';
import {
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { readRecords } from '../../src/grade/record-lines.js';
import { writeNight } from '../helpers/night-files.js';
import { BIN, bluerim, temporaryFolder } from '../helpers/run-bin.js';

let made = '';
let night = '';
let files: string[] = [];
let whole = '';

beforeAll(async () => {
  made = mkdtempSync(join(tmpdir(), 'bluerim-records-'));
  night = join(made, 'night');
  files = writeNight(
    {
      seed: 61,
      frames: [...Array.from({ length: 6 }, () => ({})), { wide: 1.9 }],
      width: 300,
      height: 240,
      stars: 40,
    },
    night,
  ).files;
  whole = join(made, 'whole.ndjson');
  await grade('--ndjson', whole, night);
});
afterAll(() => rmSync(made, { recursive: true, force: true }));

const grade = (...args: string[]) => bluerim(['grade', '--no-halo', '-o', '/dev/null', ...args]);
const merge = (...args: string[]) => bluerim(['merge', '--json', ...args]);

interface Document {
  complete: boolean;
  frames: { file: string; decision: string }[];
  warnings: { code: string; message: string }[];
}
const read = (text: string): Document => JSON.parse(text) as Document;

test('a part that is not named is missed, and nothing is moved for it', async () => {
  const out = temporaryFolder();
  const parts = [1, 2, 3].map((k) => join(out, `p${k}`));
  for (const [k, part] of parts.entries()) {
    const { stderr } = await grade('--shard', `${k + 1}/3`, '--ndjson', part, night);
    expect(stderr).toContain('of 7 frames: what is said of the night is about this shard');
  }
  const all = await merge(...parts);
  expect(all.code).toBe(0);
  expect(read(all.stdout).complete).toBe(true);
  const away = join(out, 'away');
  const two = await merge(
    '--move-dropped-to',
    away,
    '--apply',
    parts[0] as string,
    parts[2] as string,
  );
  expect(two.code).toBe(1);
  expect(read(two.stdout).complete).toBe(false);
  expect(two.stderr).toContain('2 of 7 frames have no record here');
  expect(existsSync(away)).toBe(false);
});

test('an interrupted file is missed too, and lines that cannot be used are left out in so many words', async () => {
  const out = temporaryFolder();
  const lines = readFileSync(whole, 'utf8').split('\n');
  writeFileSync(join(out, 'cut'), `${lines.slice(0, 5).join('\n')}\n`);
  const cut = await merge(join(out, 'cut'));
  expect(cut.code).toBe(1);
  expect(cut.stderr).toContain('3 of 7 frames have no record here');
  writeFileSync(join(out, 'bad'), lines.with(2, '{}').join('\n'));
  const bad = await merge(join(out, 'bad'));
  expect(bad.code).toBe(1);
  expect(bad.stderr).toContain('they are left out');
  expect(bad.stderr).not.toContain('measured again');
});

test('records of runs with other options in one file are refused', async () => {
  const out = temporaryFolder();
  const other = join(out, 'other');
  await grade('--seed', '9', '--ndjson', other, night);
  const mixed = join(out, 'mixed');
  writeFileSync(mixed, readFileSync(whole, 'utf8') + readFileSync(other, 'utf8'));
  const run = await merge(mixed);
  expect(run.code).toBe(2);
  expect(run.stderr).toContain('measured otherwise (seed)');
});

test('damaged bytes do not shift the place where the file goes on', async () => {
  const out = temporaryFolder();
  const bytes = readFileSync(whole);
  const second = bytes.indexOf(10, bytes.indexOf(10) + 1);
  bytes.fill(0xff, second - 40, second - 30);
  expect(readRecords(bytes).wholeBytes).toBe(bytes.length);
  const file = join(out, 'r');
  writeFileSync(file, bytes);
  expect((await grade('--resume', file, night)).code).toBe(0);
  const after = readFileSync(file);
  expect(after.includes(0)).toBe(false);
  expect(readRecords(after).records).toHaveLength(7);
});

test('a date beyond all dates is a fault of its line, not of the program', async () => {
  const file = join(temporaryFolder(), 'r');
  writeFileSync(file, readFileSync(whole, 'utf8').replace(/"startMs":\d+/, '"startMs":1e20'));
  const run = await merge(file);
  expect(run.stderr).toContain('frame.startMs');
  expect(run.stderr).not.toContain('fault in bluerim');
});

test('a night that grew at its beginning, gone on with, merges as if measured at once', async () => {
  const out = temporaryFolder();
  const folder = join(out, 'night');
  mkdirSync(folder);
  for (const file of files.slice(2)) copyFileSync(file, join(folder, basename(file)));
  const records = join(out, 'r');
  await grade('--ndjson', records, folder);
  for (const file of files.slice(0, 2)) copyFileSync(file, join(folder, basename(file)));
  await grade('--resume', records, '--ndjson', join(out, '.', 'r'), folder);
  const once = await bluerim(['grade', '--no-halo', '--json', folder]);
  const merged = await merge(records);
  expect(merged.code).toBe(0);
  expect(merged.stdout).toBe(once.stdout);
});

test('the reference frame may be named by another path', async () => {
  const run = await merge(
    '--reference',
    join(made, '.', 'night', '..', 'night', 'sub-002.fits'),
    whole,
  );
  expect(read(run.stdout).warnings.map(({ code }) => code)).not.toContain('reference-unused');
  const other = await merge('--reference', `${made}/./night/sub-002.fits`, whole);
  expect(read(other.stdout).warnings.map(({ code }) => code)).not.toContain('reference-unused');
});

test('records on a pipe that closes early end without a trace', async () => {
  const closed = await new Promise<{ code: number | null; stderr: string }>((resolve) => {
    const child = spawn(process.execPath, [BIN, 'grade', '--no-halo', '--ndjson', '-', night]);
    let stderr = '';
    child.stderr.on('data', (text) => {
      stderr += text;
    });
    child.stdout.destroy();
    child.on('close', (code) => resolve({ code, stderr }));
  });
  expect(closed).toEqual({ code: 0, stderr: '' });
});

test.skipIf(!existsSync('/dev/full'))('records on a full disk end without a trace', async () => {
  const full = await grade('--ndjson', '/dev/full', night);
  expect(full.code).toBe(1);
  expect(full.stderr).toContain('the disk is full');
  expect(full.stderr).not.toContain('fault in bluerim');
});
