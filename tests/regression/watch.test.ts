/** A watched folder in which files pause, change and get other names, and which goes and comes back. */
import { spawn } from 'node:child_process';
import {
  appendFileSync,
  copyFileSync,
  mkdirSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { basename, join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, onTestFinished, test } from 'vitest';
import { nightFile } from '../helpers/night-files.js';
import { BIN, temporaryFolder } from '../helpers/run-bin.js';

const plan = {
  seed: 51,
  frames: [{}, {}, { transparency: 0.5 }, {}],
  width: 300,
  height: 240,
  stars: 40,
};
const frame = (i: number): Uint8Array => nightFile(plan, i).bytes;

interface Watching {
  /** Waits until stderr says it so often. */
  seen: (text: string, times?: number) => Promise<void>;
  end: (signal: NodeJS.Signals) => Promise<{ code: number | null; files: string[] }>;
}

function watching(folder: string, cwd?: string): Watching {
  const child = spawn(process.execPath, [BIN, 'grade', '--json', '--watch', folder], { cwd });
  onTestFinished(() => {
    child.kill('SIGKILL');
  });
  let stdout = '';
  let stderr = '';
  child.stdout.on('data', (text) => {
    stdout += text;
  });
  child.stderr.on('data', (text) => {
    stderr += text;
  });
  const closed = new Promise<number | null>((resolve) => {
    child.on('close', resolve);
  });
  return {
    seen: async (text, times = 1) => {
      while (stderr.split(text).length <= times) {
        if (child.exitCode !== null) throw new Error(`ended (${child.exitCode}): ${stderr}`);
        await sleep(20);
      }
    },
    end: async (signal) => {
      child.kill(signal);
      const code = await closed;
      const { frames } = JSON.parse(stdout) as { frames: { file: string }[] };
      return { code, files: frames.map(({ file }) => basename(file)) };
    },
  };
}

test('a frame whose writer paused, one that was replaced and one that got its name later count once', async () => {
  const folder = temporaryFolder();
  const { seen, end } = watching(folder);
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
  const { seen, end } = watching('night/', out);
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
