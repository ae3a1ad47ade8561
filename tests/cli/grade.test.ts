/** `bluerim grade` and `merge` as a user runs them: a small drawn night with planted faults. */
import { spawn } from 'node:child_process';
import {
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { writeNight } from '../helpers/night-files.js';
import { BIN, bluerim, temporaryFolder } from '../helpers/run-bin.js';

const PLAN = [
  ...Array.from({ length: 9 }, (_, i) => ({ shift: [i, -i] as [number, number] })),
  { transparency: 0.35 },
  { wide: 1.8 },
  { noStars: true },
];
let folder = '';
let files: string[] = [];

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'bluerim-night-'));
  files = writeNight({ seed: 31, frames: PLAN, width: 320, height: 260, stars: 45 }, folder).files;
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

interface Document {
  frames: { file: string; decision: string; weight: number | null; reasons: { code: string }[] }[];
  summary: { kept: number; dropped: number };
  complete: boolean;
  warnings: { code: string }[];
}

async function gradeJson(
  args: readonly string[],
): Promise<{ code: number | null; document: Document; stderr: string }> {
  const { code, stdout, stderr } = await bluerim(['grade', '--json', ...args]);
  return { code, document: JSON.parse(stdout) as Document, stderr };
}

describe('a folder', () => {
  test('gives a table with the story, decisions and reasons', async () => {
    const { code, stdout, stderr } = await bluerim(['grade', folder]);
    expect(code).toBe(0);
    expect(stderr).toBe('');
    expect(stdout).toMatch(
      /^The night\nInvented Cluster 5, G, 120 s: 12 frames, 9 kept, 3 dropped\./,
    );
    expect(stdout).toMatch(/sub-010\.fits +\S+ +drop/);
    expect(stdout).toContain('of the usual starlight');
    expect(stdout).toContain('no usable star');
  });

  test('writes its page, and merge the same one; a page that exists is kept', async () => {
    const out = temporaryFolder();
    const [own, merged, records] = ['own.html', 'merged.html', 'night.ndjson'].map((name) =>
      join(out, name),
    ) as [string, string, string];
    const run = await bluerim(['grade', '--html', own, '--ndjson', records, folder]);
    expect(run.code, run.stderr).toBe(0);
    const page = readFileSync(own, 'utf8');
    expect(page).toContain('12 frames, 9 kept, 3 dropped.');
    expect(page.match(/× drop<\/td>/g)).toHaveLength(3);
    expect(page.match(/<figure>/g)).toHaveLength(1);
    const shown = page.slice(page.indexOf('<body>'), page.indexOf('<script>'));
    expect(shown.match(/NaN|undefined|Infinity|\[object| style=/g)).toBeNull();
    const again = await bluerim(['merge', '--html', merged, records]);
    expect(again.code, again.stderr).toBe(0);
    expect(readFileSync(merged, 'utf8') === page).toBe(true);
    const refused = await bluerim(['merge', '--html', merged, records]);
    expect(refused.code).toBe(2);
    expect(refused.stderr).toContain('exists already');
  });

  test('drops what was planted, as JSON', async () => {
    const { code, document } = await gradeJson([folder]);
    expect(code).toBe(0);
    expect(document.frames.map(({ decision }) => decision)).toEqual(
      PLAN.map((_, i) => (i < 9 ? 'keep' : 'drop')),
    );
    expect(document.frames.slice(9).map(({ reasons }) => reasons[0]?.code)).toEqual([
      'low transparency',
      'wide stars',
      'no stars',
    ]);
    expect(document.complete).toBe(true);
  });
});

describe('the same night, whatever the way', () => {
  test('one thread or four', async () => {
    const one = await bluerim(['grade', '--json', '--jobs', '1', folder]);
    const four = await bluerim(['grade', '--json', '--jobs', '4', folder]);
    expect(four.stdout).toBe(one.stdout);
  });

  test('in shards, put together by merge', async () => {
    const out = temporaryFolder();
    const parts = [1, 2, 3].map((k) => join(out, `part${k}.ndjson`));
    for (const [k, part] of parts.entries()) {
      const { code } = await bluerim([
        'grade',
        '--shard',
        `${k + 1}/3`,
        '--ndjson',
        part,
        '-o',
        join(out, `${k}.txt`),
        folder,
      ]);
      expect(code).toBe(0);
    }
    const whole = await bluerim(['grade', '--json', folder]);
    // The order in which the parts are named changes nothing.
    const merged = await bluerim(['merge', '--json', ...[...parts].reverse()]);
    expect(merged.code).toBe(0);
    expect(merged.stdout).toBe(whole.stdout);
  });

  test('killed while it writes, then resumed', async () => {
    const out = temporaryFolder();
    const records = join(out, 'night.ndjson');
    await killedAfterLines(records, 4);
    const before = readFileSync(records, 'utf8');
    // As if the last line had been cut short.
    writeFileSync(records, before.slice(0, before.length - 40));
    const resumed = await bluerim(['grade', '--json', '--resume', records, folder]);
    expect(resumed.stderr).toMatch(/\d+ of 12 frames are known from/);
    const whole = await bluerim(['grade', '--json', folder]);
    expect(resumed.stdout).toBe(whole.stdout);
    // The file of records is whole now, and serves merge.
    const merged = await bluerim(['merge', '--json', records]);
    expect(merged.stdout).toBe(whole.stdout);
  });

  test('lines on stdout as they come', async () => {
    const { stdout, code } = await bluerim(['grade', '--ndjson', '-', folder]);
    expect(code).toBe(0);
    const lines = stdout
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line) as { schema: string });
    expect(lines[0]?.schema).toBe('bluerim/night-run/1');
    expect(lines.slice(1).every(({ schema }) => schema === 'bluerim/night-frame/1')).toBe(true);
    expect(lines).toHaveLength(13);
  });
});

describe('resuming', () => {
  test('measures changed files again, and new ones', async () => {
    const out = temporaryFolder();
    const night = join(out, 'night');
    mkdirSync(night);
    for (const file of files.slice(0, 6)) copyFileSync(file, join(night, file.slice(-12)));
    const records = join(out, 'r.ndjson');
    await bluerim(['grade', '--verify', '--ndjson', records, '-o', join(out, 'a.txt'), night]);
    // One replaced, one touched, one added.
    copyFileSync(files[10] as string, join(night, 'sub-002.fits'));
    utimesSync(join(night, 'sub-003.fits'), new Date(), new Date(Date.now() + 5000));
    copyFileSync(files[6] as string, join(night, 'sub-007.fits'));
    const { stderr, stdout } = await bluerim([
      'grade',
      '--json',
      '--verify',
      '--resume',
      records,
      night,
    ]);
    expect(stderr).toContain('4 of 7 frames are known');
    const document = JSON.parse(stdout) as Document;
    expect(document.frames[1]?.decision).toBe('drop');
  });

  test('refuses records that were measured otherwise, and files that are none', async () => {
    const out = temporaryFolder();
    const records = join(out, 'r.ndjson');
    await bluerim(['grade', '--ndjson', records, '-o', join(out, 'a.txt'), files[0] as string]);
    const other = await bluerim(['grade', '--seed', '7', '--resume', records, folder]);
    expect(other.code).toBe(2);
    expect(other.stderr).toContain('measured otherwise (seed)');
    const none = await bluerim(['grade', '--resume', files[0] as string, folder]);
    expect(none.code).not.toBe(0);
    expect(none.stderr).toContain('no file of records');
    const missing = await bluerim(['merge', join(out, 'nowhere.ndjson')]);
    expect(missing.stderr).toContain('there is no such file');
  });

  test('damaged lines are named and measured again', async () => {
    const out = temporaryFolder();
    const records = join(out, 'r.ndjson');
    await bluerim(['grade', '--ndjson', records, '-o', join(out, 'a.txt'), folder]);
    const lines = readFileSync(records, 'utf8').split('\n');
    lines[3] = lines[3]?.replace('"starsUsed":', '"starsUsed":"many","x":') ?? '';
    lines[5] = '{"schema":"bluerim/night-frame/1","order":4';
    writeFileSync(records, lines.join('\n'));
    const { stderr, stdout } = await bluerim(['grade', '--json', '--resume', records, folder]);
    expect(stderr).toContain('2 lines cannot be used');
    const whole = await bluerim(['grade', '--json', folder]);
    expect((JSON.parse(stdout) as Document).frames).toEqual(
      (JSON.parse(whole.stdout) as Document).frames,
    );
  });
});

describe('faults', () => {
  test('one unreadable frame never stops a night', async () => {
    const out = temporaryFolder();
    for (const file of files) copyFileSync(file, join(out, file.slice(-12)));
    writeFileSync(join(out, 'sub-013.fits'), readFileSync(files[0] as string).subarray(0, 3000));
    const { code, document } = await gradeJson([out]);
    expect(code).toBe(1);
    expect(document.frames).toHaveLength(13);
    expect(document.frames[12]).toMatchObject({
      decision: 'drop',
      reasons: [{ code: 'unreadable' }],
    });
    expect(document.summary.kept).toBe(9);
  });

  test('an empty folder, nothing at all, and a shard without records', async () => {
    const empty = await bluerim(['grade', temporaryFolder()]);
    expect(empty.code).toBe(1);
    expect(empty.stderr).toContain('no frame');
    expect((await bluerim(['grade'])).code).toBe(2);
    expect((await bluerim(['grade', '--shard', '1/2', folder])).code).toBe(2);
    const wrong = await bluerim(['grade', '--shard', '3/2', folder]);
    expect(wrong.code).toBe(2);
    expect(wrong.stderr).toContain('1 ≤ k ≤ n');
  });

  test('an existing file of records is kept', async () => {
    const records = join(temporaryFolder(), 'r.ndjson');
    writeFileSync(records, 'mine');
    const { code, stderr } = await bluerim(['grade', '--ndjson', records, folder]);
    expect(code).toBe(2);
    expect(stderr).toContain('exists already');
    expect(readFileSync(records, 'utf8')).toBe('mine');
  });

  test('Ctrl-C finishes the frame in hand and reports what is done', async () => {
    const records = join(temporaryFolder(), 'r.ndjson');
    const { code, stdout, stderr } = await interruptedAfterLines(records, 3);
    expect(code).toBe(130);
    expect(stderr).toContain('interrupted after');
    const document = JSON.parse(stdout) as Document;
    expect(document.complete).toBe(false);
    expect(document.frames.length).toBeGreaterThanOrEqual(2);
    expect(document.frames.length).toBeLessThan(12);
    // Every line that was begun is whole.
    const lines = readFileSync(records, 'utf8').trim().split('\n');
    expect(lines).toHaveLength(1 + document.frames.length);
    for (const line of lines) JSON.parse(line);
  });
});

/** Runs on one thread and sends a signal once the file of records has `lines` lines. */
function stoppedAfterLines(
  records: string,
  lines: number,
  signal: NodeJS.Signals,
): Promise<{ code: number | null; stdout: string; stderr: string }> {
  return new Promise((resolve) => {
    const child = spawn(process.execPath, [
      BIN,
      'grade',
      '--json',
      '--jobs',
      '1',
      '--ndjson',
      records,
      folder,
    ]);
    let stdout = '';
    let stderr = '';
    child.stdout.on('data', (text) => {
      stdout += text;
    });
    child.stderr.on('data', (text) => {
      stderr += text;
    });
    const watch = setInterval(() => {
      if (!existsSync(records)) return;
      if (readFileSync(records, 'utf8').split('\n').length > lines) {
        clearInterval(watch);
        child.kill(signal);
      }
    }, 2);
    child.on('close', (code) => {
      clearInterval(watch);
      resolve({ code, stdout, stderr });
    });
  });
}

const killedAfterLines = (records: string, lines: number) =>
  stoppedAfterLines(records, lines, 'SIGKILL');
const interruptedAfterLines = (records: string, lines: number) =>
  stoppedAfterLines(records, lines, 'SIGINT');
