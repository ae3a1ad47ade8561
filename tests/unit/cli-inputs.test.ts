/** From names to frames: folders, patterns, lists. */
import { mkdirSync, symlinkSync, writeFileSync } from 'node:fs';
import { join, relative } from 'node:path';
import { describe, expect, it } from 'vitest';
import { expandInputs } from '../../src/cli/inputs.js';
import { encodeFits } from '../../src/frame/fits/write.js';
import { temporaryFolder } from '../helpers/run-bin.js';

const FITS = encodeFits({
  width: 4,
  height: 4,
  planes: 1,
  data: new Uint8Array(16),
});

/** A folder with frames, other files, a hidden file and a folder inside. */
function night(): string {
  const folder = temporaryFolder();
  mkdirSync(join(folder, 'deep'));
  for (const name of ['sub10.fits', 'sub2.fits', 'noending', '.hidden.fits', 'deep/sub1.fits']) {
    writeFileSync(join(folder, name), FITS);
  }
  writeFileSync(join(folder, 'notes.txt'), 'clear until two');
  return folder;
}

async function filesOf(names: string[], recursive = false, list = ''): Promise<string[]> {
  const { inputs } = await expandInputs(names, recursive, () => list);
  return inputs.filter(({ fault }) => fault === null).map(({ file }) => file);
}

describe('expandInputs', () => {
  it('takes the frames of a folder by content, numbers by value, hidden files and other files left out', async () => {
    const folder = night();
    const { inputs, warnings } = await expandInputs([folder], false);
    expect(inputs.map(({ file }) => relative(folder, file))).toEqual([
      'noending',
      'sub2.fits',
      'sub10.fits',
    ]);
    expect(warnings).toEqual([
      {
        code: 'no-frames-passed-over',
        message: 'passed over notes.txt: not a frame that is read',
        file: folder,
      },
    ]);
  });

  it('enters folders only when asked, and never through links', async () => {
    const folder = night();
    symlinkSync(folder, join(folder, 'deep', 'loop'));
    const files = await filesOf([folder], true);
    expect(files.map((file) => relative(folder, file))).toEqual([
      'noending',
      'sub2.fits',
      'sub10.fits',
      join('deep', 'sub1.fits'),
    ]);
  });

  it('says what an empty folder lacks, and lets other names go on', async () => {
    const folder = night();
    const empty = join(folder, 'empty');
    const outer = join(folder, 'outer');
    mkdirSync(empty);
    mkdirSync(join(outer, 'inner'), { recursive: true });
    const { inputs } = await expandInputs([empty, outer, join(folder, 'sub2.fits')], false);
    expect(inputs.map(({ fault }) => fault?.message ?? null)).toEqual([
      'no frame in this folder',
      'no frame in this folder',
      null,
    ]);
    expect(inputs[1]?.fault?.remedy).toContain('--recursive');
  });

  it('expands patterns that the shell left alone; a file of that very name wins', async () => {
    const folder = night();
    writeFileSync(join(folder, 'a[1].fits'), FITS);
    expect((await filesOf([join(folder, 'sub*.fits')])).map((f) => relative(folder, f))).toEqual([
      'sub2.fits',
      'sub10.fits',
    ]);
    expect(await filesOf([join(folder, 'a[1].fits')])).toEqual([join(folder, 'a[1].fits')]);
    const { inputs } = await expandInputs([join(folder, '*.nothing')], false);
    expect(inputs[0]?.fault?.code).toBe('no-match');
  });

  it('reads lists by line or by NUL, with spaces and non-ASCII names kept', async () => {
    const folder = night();
    const names = ['Ödland 1.fits', '日本.fits', ' leading.fits'].map((name) => join(folder, name));
    for (const name of names) writeFileSync(name, FITS);
    expect(await filesOf(['-'], false, `${names.join('\r\n')}\n\n`)).toEqual(names);
    expect(await filesOf(['-'], false, `${names.join('\0')}\0`)).toEqual(names);
    await expect(expandInputs(['-', '-'], false, () => '')).rejects.toThrow(/more than once/);
  });

  it('lists a file once under however many names', async () => {
    const folder = night();
    const link = join(folder, 'link.fits');
    symlinkSync(join(folder, 'sub2.fits'), link);
    const { inputs, warnings } = await expandInputs([join(folder, 'sub2.fits'), link], false);
    expect(inputs).toHaveLength(1);
    expect(warnings[0]).toMatchObject({ code: 'same-file-twice', file: link });
  });

  it('keeps a missing name: opening it gives the error', async () => {
    expect(await filesOf(['/nowhere/at/all.fits'])).toEqual(['/nowhere/at/all.fits']);
  });
});
