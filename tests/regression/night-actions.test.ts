/** Files that acting on a night, or taking it back, once lost, overwrote, or moved without remembering it. */
import {
  copyFileSync,
  existsSync,
  linkSync,
  lstatSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  symlinkSync,
  unlinkSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { type Action, doActions } from '../../src/cli/night-actions.js';
import { undoActions } from '../../src/cli/undo-list.js';
import { SIX_OF_EIGHT, writeNight } from '../helpers/night-files.js';
import { bluerim, temporaryFolder } from '../helpers/run-bin.js';

let made = '';
let files: string[] = [];
/** Records of `files`. */
let records = '';

beforeAll(async () => {
  made = mkdtempSync(join(tmpdir(), 'bluerim-lost-'));
  files = writeNight(SIX_OF_EIGHT, join(made, 'night')).files;
  records = await recordsOf(join(made, 'night'), made);
});
afterAll(() => rmSync(made, { recursive: true, force: true }));

async function recordsOf(night: string, folder = temporaryFolder()): Promise<string> {
  const out = join(folder, 'r.ndjson');
  const { code } = await bluerim([
    'grade',
    '--no-halo',
    '--ndjson',
    out,
    '-o',
    `${out}.txt`,
    night,
  ]);
  expect(code).toBe(0);
  return out;
}

/** A night of its own to move about, with its records; 007 and 008 are dropped. */
function ownNight(): { out: string; night: string; list: string } {
  const out = temporaryFolder();
  const night = join(out, 'night');
  mkdirSync(night);
  for (const file of files) {
    const copy = join(night, basename(file));
    copyFileSync(file, copy);
    utimesSync(copy, statSync(file).atimeMs / 1000, statSync(file).mtimeMs / 1000);
  }
  const list = join(out, 'r.ndjson');
  writeFileSync(list, readFileSync(records, 'utf8').replaceAll(join(made, 'night'), night));
  return { out, night, list };
}

const names = (folder: string): string[] => readdirSync(folder).sort();
const undoLine = (kind: string, from: string, to: string): string =>
  `${JSON.stringify({ schema: 'bluerim/undo/1', kind, from, to })}\n`;
const move = (list: string, away: string, ...more: string[]) =>
  bluerim([
    'merge',
    '--move-dropped-to',
    away,
    '--apply',
    '-o',
    `${list}.json`,
    '--force',
    ...more,
    list,
  ]);

describe('the undo list', () => {
  test('that cannot be written stops everything before a file is moved', async () => {
    const { out, night, list } = ownNight();
    const away = join(out, 'away');
    const run = await move(list, away, '--undo-list', join(out, 'nowhere', 'u.ndjson'));
    expect(run.code).toBe(2);
    expect(run.stderr).not.toContain('fault in bluerim');
    expect(names(night)).toHaveLength(8);
  });

  test('is no file of the user’s', async () => {
    const { out, night, list } = ownNight();
    const precious = join(out, 'precious.txt');
    writeFileSync(precious, 'precious\n');
    const run = await move(list, join(out, 'away'), '--undo-list', precious);
    expect(run.code).toBe(2);
    expect(run.stderr).toContain('no undo list');
    expect(readFileSync(precious, 'utf8')).toBe('precious\n');
    expect(names(night)).toHaveLength(8);
  });

  test('is there when nothing is kept and the folder for kept frames is not made', async () => {
    const { out, night, list } = ownNight();
    const away = join(out, 'away');
    const run = await move(list, away, '--copy-to', join(out, 'keep'), '--min-stars', '5000');
    expect(run.code).toBe(0);
    expect(names(night)).toEqual([]);
    const undo = await bluerim(['undo', join(away, 'bluerim-undo.ndjson')]);
    expect(undo.code).toBe(0);
    expect(names(night)).toHaveLength(8);
  });

  test('that does not take a line leaves the file where it was', async () => {
    const out = temporaryFolder();
    const from = join(out, 'a.fits');
    writeFileSync(from, 'frame');
    for (const kind of ['move', 'copy', 'link'] as const) {
      const action: Action = { kind, from, to: join(out, 'away', 'a.fits'), obstacle: null };
      const full = (): never => {
        throw new Error('ENOSPC');
      };
      await expect(doActions([action], full)).rejects.toThrow('failed');
      expect(readFileSync(from, 'utf8')).toBe('frame');
      expect(names(join(out, 'away'))).toEqual([]);
    }
  });

  test('knows of a move before the file leaves its old place', async () => {
    const out = temporaryFolder();
    const from = join(out, 'a.fits');
    const to = join(out, 'b.fits');
    writeFileSync(from, 'frame');
    let both = false;
    await doActions([{ kind: 'move', from, to, obstacle: null }], () => {
      both = existsSync(from) && existsSync(to);
    });
    expect(both).toBe(true);
    expect(names(out)).toEqual(['b.fits']);
  });
});

describe('taking back', () => {
  test.each([
    ['two names on one disk', (from: string, to: string) => linkSync(from, to)],
    ['a copy on another disk', (from: string, to: string) => copyFileSync(from, to)],
  ])('a move that was killed half-way: %s', async (_, half) => {
    const out = temporaryFolder();
    const [from, to, list] = ['a.fits', 'b.fits', 'u.ndjson'].map((name) => join(out, name)) as [
      string,
      string,
      string,
    ];
    writeFileSync(from, 'frame');
    half(from, to);
    writeFileSync(list, undoLine('move', from, to));
    expect(await undoActions(list)).toEqual({ undone: 1, before: 0, left: [] });
    expect(names(out)).toEqual(['a.fits', 'u.ndjson']);
  });

  test('removes no file that replaced a link', async () => {
    const { out, list } = ownNight();
    const folder = join(out, 'links');
    await bluerim(['merge', '--link-to', folder, '--apply', '-o', join(out, 't.txt'), list]);
    unlinkSync(join(folder, 'sub-001.fits'));
    writeFileSync(join(folder, 'sub-001.fits'), 'my edit');
    const undo = await bluerim(['undo', join(folder, 'bluerim-undo.ndjson')]);
    expect(undo.code).toBe(1);
    expect(undo.stderr).toContain('not the link that was made');
    expect(readFileSync(join(folder, 'sub-001.fits'), 'utf8')).toBe('my edit');
  });

  test('removes no copy that is the only one left', async () => {
    const out = temporaryFolder();
    const [from, to, list] = ['a.fits', 'b.fits', 'u.ndjson'].map((name) => join(out, name)) as [
      string,
      string,
      string,
    ];
    writeFileSync(to, 'frame');
    // The user replaced the original by a link to the copy, to save space.
    symlinkSync(to, from);
    writeFileSync(list, undoLine('copy', from, to));
    const { left } = await undoActions(list);
    expect(left).toHaveLength(1);
    expect(readFileSync(from, 'utf8')).toBe('frame');
    // An edited list that names one file twice.
    writeFileSync(list, undoLine('copy', to, to) + undoLine('move', to, to));
    expect((await undoActions(list)).left).toHaveLength(2);
    expect(readFileSync(to, 'utf8')).toBe('frame');
  });

  test('twice is no fault, nor after acting again', async () => {
    const { out, night, list } = ownNight();
    const away = join(out, 'away');
    const undo = join(away, 'bluerim-undo.ndjson');
    for (let round = 0; round < 2; round++) {
      expect((await move(list, away)).code).toBe(0);
      expect(names(night)).toHaveLength(6);
      expect((await bluerim(['undo', undo])).code).toBe(0);
      expect(names(night)).toHaveLength(8);
    }
    const again = await bluerim(['undo', undo]);
    expect(again.code).toBe(0);
    expect(again.stderr).toContain('0 files taken back; 4 had been taken back before');
  });

  test('makes the old folder anew', async () => {
    const { out, night, list } = ownNight();
    const away = join(out, 'away');
    await move(list, away);
    rmSync(night, { recursive: true });
    expect((await bluerim(['undo', join(away, 'bluerim-undo.ndjson')])).code).toBe(0);
    expect(names(night)).toEqual(['sub-007.fits', 'sub-008.fits']);
  });

  test('says when the file is no undo list', async () => {
    const none = await bluerim(['undo', files[0] as string]);
    expect(none.code).toBe(1);
    expect(none.stderr).toContain('no undo list');
    expect(none.stderr.trim().split('\n')).toHaveLength(2);
  });
});

describe('moving', () => {
  test('a symbolic link leaves it leading where it led, there and back', async () => {
    const { out, night } = ownNight();
    mkdirSync(join(out, 'store'));
    const stored = join(out, 'store', 'sub-007.fits');
    copyFileSync(files[6] as string, stored);
    unlinkSync(join(night, 'sub-007.fits'));
    symlinkSync('../store/sub-007.fits', join(night, 'sub-007.fits'));
    const list = await recordsOf(night);
    const away = join(out, 'far', 'away');
    expect((await move(list, away)).code).toBe(0);
    expect(lstatSync(join(away, 'sub-007.fits')).isSymbolicLink()).toBe(true);
    expect(readFileSync(join(away, 'sub-007.fits')).equals(readFileSync(stored))).toBe(true);
    await bluerim(['undo', join(away, 'bluerim-undo.ndjson')]);
    expect(readFileSync(join(night, 'sub-007.fits')).equals(readFileSync(stored))).toBe(true);
  });

  test('leaves files alone that are not those that were measured', async () => {
    const { out, night, list } = ownNight();
    // Records of another day: the same name, another frame.
    writeFileSync(join(night, 'sub-007.fits'), readFileSync(files[0] as string));
    unlinkSync(join(night, 'sub-008.fits'));
    unlinkSync(join(night, 'sub-001.fits'));
    const away = join(out, 'away');
    const run = await move(list, away, '--link-to', join(out, 'links'));
    expect(run.code).toBe(1);
    expect(run.stderr).toContain('has changed since it was measured');
    expect(run.stderr).toContain('it is not there any more');
    expect(existsSync(away)).toBe(false);
    expect(names(join(out, 'links'))).toEqual([
      'bluerim-undo.ndjson',
      ...[2, 3, 4, 5, 6].map((n) => `sub-00${n}.fits`),
    ]);
  });

  test('leaves darks and flats where they are', async () => {
    const { out, list } = ownNight();
    writeFileSync(
      list,
      readFileSync(list, 'utf8').replaceAll('"imageType":"light"', '"imageType":"flat"'),
    );
    const run = await move(list, join(out, 'away'));
    expect(run.code).toBe(0);
    expect(existsSync(join(out, 'away'))).toBe(false);
  });

  test('is refused for one shard, and into the folder of the kept frames', async () => {
    const night = join(made, 'night');
    const out = temporaryFolder();
    const shard = await bluerim([
      'grade',
      '--shard',
      '1/2',
      '--ndjson',
      join(out, 'r'),
      '--move-dropped-to',
      join(out, 'a'),
      '--apply',
      night,
    ]);
    expect(shard.code).toBe(2);
    const one = await bluerim(['merge', '--copy-to', out, '--move-dropped-to', `${out}/`, records]);
    expect(one.code).toBe(2);
  });
});

test('copies keep the time of the frame, and copying again is no fault', async () => {
  const { out, night } = ownNight();
  const time = new Date('2026-01-02T03:04:05Z');
  for (const name of names(night)) utimesSync(join(night, name), time, time);
  const list = await recordsOf(night);
  const keep = join(out, 'keep');
  const copy = () =>
    bluerim(['merge', '--copy-to', keep, '--apply', '-o', join(out, 't.txt'), '--force', list]);
  expect((await copy()).code).toBe(0);
  expect(statSync(join(keep, 'sub-001.fits')).mtimeMs).toBe(time.getTime());
  const again = await copy();
  expect(again.code).toBe(0);
  expect(again.stderr).toContain('6 files lay there already');
});

test('a link that leads nowhere is in the way of a copy, and the others are copied', async () => {
  const folder = temporaryFolder();
  symlinkSync('/nowhere/at/all', join(folder, 'sub-001.fits'));
  const out = join(temporaryFolder(), 't.txt');
  const run = await bluerim(['merge', '--copy-to', folder, '--apply', '-o', out, records]);
  expect(run.code).toBe(1);
  expect(names(folder)).toHaveLength(7);
});

test('no output is written over another', async () => {
  const same = join(temporaryFolder(), 'x.txt');
  for (const args of [
    ['merge', '-o', same, '--list', same],
    ['merge', '--csv', records, '--force', '--undo-list', records, '--copy-to', 'k'],
    ['grade', '--ndjson', same, '-o', same],
    ['grade', '--resume', records, '--csv', records, '--force'],
  ]) {
    const run = await bluerim([...args, args[0] === 'merge' ? records : join(made, 'night')]);
    expect(run.code, args.join(' ')).toBe(2);
    expect(run.stderr).toContain('two outputs name the same file');
  }
  expect(existsSync(same)).toBe(false);
});
