/** A watched folder in which files pause, change and get other names, and which goes and comes back. */
import {
  appendFileSync,
  copyFileSync,
  mkdirSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { basename, join } from 'node:path';
import { expect, test } from 'vitest';
import { nightFile } from '../helpers/night-files.js';
import { temporaryFolder } from '../helpers/run-bin.js';
import { type Watching, watching } from '../helpers/watching.js';

const plan = {
  seed: 51,
  frames: [{}, {}, { transparency: 0.5 }, {}],
  width: 300,
  height: 240,
  stars: 40,
};
const frame = (i: number): Uint8Array => nightFile(plan, i).bytes;

interface FilesWatched {
  seen: Watching['seen'];
  end: (signal: NodeJS.Signals) => Promise<{ code: number | null; files: string[] }>;
}

function watchingFolder(folder: string, cwd?: string): FilesWatched {
  const { seen, end } = watching(['--json', '--watch', folder], cwd);
  return {
    seen,
    end: async (signal) => {
      const { code, stdout } = await end(signal);
      const { frames } = JSON.parse(stdout) as { frames: { file: string }[] };
      return { code, files: frames.map(({ file }) => basename(file)) };
    },
  };
}

test('a frame whose writer paused, one that was replaced and one that got its name later count once', async () => {
  const folder = temporaryFolder();
  const { seen, end } = watchingFolder(folder);
  await seen('watching');
  const bytes = frame(0);
  const half = Math.floor(bytes.length / 2);
  writeFileSync(join(folder, 'slow.fits'), bytes.subarray(0, half));
  writeFileSync(join(folder, 'latest.fits'), frame(1));
  writeFileSync(join(folder, 'c.fits.tmp'), frame(3));
  await seen('slow.fits  drop');
  await seen('latest.fits  keep');
  await seen('c.fits.tmp  keep');
  appendFileSync(join(folder, 'slow.fits'), bytes.subarray(half));
  writeFileSync(join(folder, 'latest.fits'), frame(2));
  renameSync(join(folder, 'c.fits.tmp'), join(folder, 'c.fits'));
  await seen('slow.fits  keep');
  await seen('c.fits  keep');
  await seen('latest.fits  keep', 2);
  const { code, files } = await end('SIGINT');
  expect(code).toBe(0);
  expect(files.sort()).toEqual(['c.fits', 'latest.fits', 'slow.fits']);
}, 30_000);

test('a folder that goes is waited for, and a request to end gives the report', async () => {
  const out = temporaryFolder();
  const folder = join(out, 'night');
  mkdirSync(folder);
  writeFileSync(join(out, 'a.fits'), frame(0));
  writeFileSync(join(out, 'b.fits'), frame(1));
  copyFileSync(join(out, 'a.fits'), join(folder, 'a.fits'));
  const { seen, end } = watchingFolder('night/', out);
  await seen('a.fits  keep');
  rmSync(folder, { recursive: true });
  await seen('waiting for it to come back');
  mkdirSync(folder);
  await seen('is there again');
  copyFileSync(join(out, 'b.fits'), join(folder, 'b.fits'));
  await seen('b.fits  keep');
  const { code, files } = await end('SIGTERM');
  expect(code).toBe(0);
  expect(files).toEqual(['a.fits', 'b.fits']);
}, 30_000);
