/** What `grade` does with its answer: lists, tables, copies, links, moves, and taking them back. */
import {
  copyFileSync,
  existsSync,
  lstatSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { parquetReadObjects } from 'hyparquet';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { SIX_OF_EIGHT, writeNight } from '../helpers/night-files.js';
import { bluerim, temporaryFolder } from '../helpers/run-bin.js';

let made = '';
/** Records of the night: measured once, decided many times. */
let records = '';
let files: string[] = [];

beforeAll(async () => {
  made = mkdtempSync(join(tmpdir(), 'bluerim-act-'));
  files = writeNight(SIX_OF_EIGHT, join(made, 'night')).files;
  records = join(made, 'r.ndjson');
  const { code } = await bluerim([
    'grade',
    '--ndjson',
    records,
    '-o',
    join(made, 't.txt'),
    join(made, 'night'),
  ]);
  expect(code).toBe(0);
});
afterAll(() => rmSync(made, { recursive: true, force: true }));

const names = (folder: string): string[] => readdirSync(folder).sort();

test('lists and tables', async () => {
  const out = temporaryFolder();
  const list = join(out, 'kept.txt');
  const csv = join(out, 'night.csv');
  const parquet = join(out, 'night.parquet');
  const { code } = await bluerim([
    'merge',
    '-o',
    join(out, 'a.json'),
    '--list',
    list,
    '--csv',
    csv,
    '--parquet',
    parquet,
    records,
  ]);
  expect(code).toBe(0);
  const document = JSON.parse(readFileSync(join(out, 'a.json'), 'utf8')) as {
    frames: { file: string; weight: number | null; decision: string; startMs: number }[];
  };
  const lines = readFileSync(list, 'utf8').trim().split('\n');
  expect(lines).toHaveLength(6);
  lines.forEach((line, i) => {
    const [weight, path] = line.split('\t');
    expect(path).toBe(files[i]);
    expect(Number(weight)).toBeCloseTo(document.frames[i]?.weight ?? Number.NaN, 3);
  });
  const rows = readFileSync(csv, 'utf8').trim().split('\r\n');
  expect(rows).toHaveLength(9);
  expect(rows[0]).toMatch(/^file,decision,reasons,weight,group,start_utc,/);
  expect(rows[7]).toContain('wide stars');
  // The Parquet file says the same as the JSON document.
  const bytes = readFileSync(parquet);
  const table = (await parquetReadObjects({
    file: bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength),
  })) as Record<string, unknown>[];
  expect(table.map((row) => row.decision)).toEqual(document.frames.map(({ decision }) => decision));
  // The JSON document rounds to seven digits.
  document.frames.forEach(({ weight, startMs }, i) => {
    const row = table[i] as { weight: number | null; start_utc: Date };
    if (weight === null) expect(row.weight ?? null).toBeNull();
    else expect((row.weight ?? Number.NaN) / weight).toBeCloseTo(1, 5);
    expect(row.start_utc.getTime()).toBe(startMs);
  });
});

describe('copying', () => {
  test('is only shown without --apply', async () => {
    const folder = join(temporaryFolder(), 'keep');
    const { stderr, code } = await bluerim(['merge', '--copy-to', folder, records]);
    expect(code).toBe(0);
    expect(stderr).toContain('6 of 6 files would be brought to their place');
    expect(stderr).toContain('nothing was done');
    expect(existsSync(folder)).toBe(false);
  });

  test('copies what is kept, byte for byte, and can be taken back', async () => {
    const folder = join(temporaryFolder(), 'keep');
    const { stderr, code } = await bluerim(['merge', '--copy-to', folder, '--apply', records]);
    expect(code).toBe(0);
    expect(stderr).toContain('6 files brought to their place');
    const kept = files.slice(0, 6).map((file) => basename(file));
    expect(names(folder)).toEqual(['bluerim-undo.ndjson', ...kept]);
    for (const file of files.slice(0, 6)) {
      expect(readFileSync(join(folder, basename(file))).equals(readFileSync(file))).toBe(true);
    }
    // One copy was changed since: it is no copy any more, and stays.
    writeFileSync(join(folder, 'sub-002.fits'), 'mine now');
    const undo = await bluerim(['undo', join(folder, 'bluerim-undo.ndjson')]);
    expect(undo.code).toBe(1);
    expect(undo.stderr).toContain('differs from the original');
    expect(names(folder)).toEqual(['bluerim-undo.ndjson', 'sub-002.fits']);
    expect(files.every((file) => existsSync(file))).toBe(true);
  });

  test('never overwrites', async () => {
    const folder = temporaryFolder();
    writeFileSync(join(folder, 'sub-003.fits'), 'precious');
    const { stderr, code } = await bluerim(['merge', '--copy-to', folder, '--apply', records]);
    expect(code).toBe(1);
    expect(stderr).toContain('is there already and is kept');
    expect(readFileSync(join(folder, 'sub-003.fits'), 'utf8')).toBe('precious');
    expect(names(folder)).toHaveLength(7);
    expect(names(folder).some((name) => name.endsWith('.part'))).toBe(false);
  });
});

test('links point to the frames', async () => {
  const folder = join(temporaryFolder(), 'links');
  await bluerim(['merge', '--link-to', folder, '--apply', records]);
  const link = join(folder, 'sub-001.fits');
  expect(lstatSync(link).isSymbolicLink()).toBe(true);
  expect(readFileSync(link).equals(readFileSync(files[0] as string))).toBe(true);
  const undo = await bluerim(['undo', join(folder, 'bluerim-undo.ndjson')]);
  expect(undo.code).toBe(0);
  expect(existsSync(files[0] as string)).toBe(true);
  expect(existsSync(link)).toBe(false);
});

test('dropped frames are moved out of the way, and return', async () => {
  const out = temporaryFolder();
  const night = join(out, 'night');
  mkdirSync(night);
  for (const file of files) copyFileSync(file, join(night, basename(file)));
  const away = join(out, 'away');
  const { code } = await bluerim([
    'grade',
    '--move-dropped-to',
    away,
    '--apply',
    '-o',
    join(out, 'a.txt'),
    night,
  ]);
  expect(code).toBe(0);
  expect(names(away)).toEqual(['bluerim-undo.ndjson', 'sub-007.fits', 'sub-008.fits']);
  expect(names(night)).toHaveLength(6);
  // The old place of one is taken by now.
  writeFileSync(join(night, 'sub-007.fits'), 'new');
  const undo = await bluerim(['undo', join(away, 'bluerim-undo.ndjson')]);
  expect(undo.code).toBe(1);
  expect(readFileSync(join(night, 'sub-007.fits'), 'utf8')).toBe('new');
  expect(readFileSync(join(night, 'sub-008.fits')).equals(readFileSync(files[7] as string))).toBe(
    true,
  );
});

test('frames of one name from two folders both arrive', async () => {
  const out = temporaryFolder();
  for (const part of ['a', 'b']) {
    mkdirSync(join(out, part));
    for (const file of files.slice(0, 3)) copyFileSync(file, join(out, part, basename(file)));
  }
  const folder = join(out, 'keep');
  await bluerim([
    'grade',
    '--copy-to',
    folder,
    '--apply',
    '-o',
    join(out, 't.txt'),
    join(out, 'a'),
    join(out, 'b'),
  ]);
  expect(names(folder)).toEqual([
    'bluerim-undo.ndjson',
    'sub-001-2.fits',
    'sub-001.fits',
    'sub-002-2.fits',
    'sub-002.fits',
    'sub-003-2.fits',
    'sub-003.fits',
  ]);
});

test('what makes no sense is refused before the work', async () => {
  const nothing = await bluerim(['merge', '--apply', records]);
  expect(nothing.code).toBe(2);
  const same = await bluerim(['merge', '--list', 'x.txt', '--csv', 'x.txt', records]);
  expect(same.code).toBe(2);
  const undo = await bluerim(['undo', join(made, 'nowhere')]);
  expect(undo.code).toBe(1);
  expect(undo.stderr).toContain('cannot be read');
});
