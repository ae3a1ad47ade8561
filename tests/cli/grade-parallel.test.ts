/** The recipe of docs/grading.md for GNU parallel, run as it stands there. Skipped where `parallel` is not GNU's, or not installed. */
import { execFileSync, spawnSync } from 'node:child_process';
import { chmodSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { delimiter, join } from 'node:path';
import { expect, test } from 'vitest';
import { writeNight } from '../helpers/night-files.js';
import { BIN, bluerim, temporaryFolder } from '../helpers/run-bin.js';

const GUIDE = new URL('../../docs/grading.md', import.meta.url);
const version = spawnSync('parallel', ['--version'], { encoding: 'utf8' });
const hasParallel = version.status === 0 && version.stdout.startsWith('GNU parallel');

/** The indented lines after "With GNU parallel:". */
function recipe(): string[] {
  const [, after = ''] = readFileSync(GUIDE, 'utf8').split('With GNU parallel:\n');
  const lines = after.trimStart().split('\n');
  const end = lines.findIndex((line) => line.trim() === '');
  return lines.slice(0, end).map((line) => line.trim());
}

test('the guide holds the recipe', () => {
  expect(recipe()).toHaveLength(2);
  expect(recipe()[0]).toMatch(/^parallel bluerim grade --shard/);
  expect(recipe()[1]).toMatch(/^bluerim merge/);
});

test.skipIf(!hasParallel)(
  'a night in four pieces by GNU parallel equals the single run',
  async () => {
    const out = temporaryFolder();
    writeNight(
      {
        seed: 71,
        frames: [...Array.from({ length: 7 }, () => ({})), { wide: 1.9 }, { transparency: 0.4 }],
        width: 300,
        height: 240,
        stars: 40,
      },
      join(out, 'night'),
    );
    const bin = join(out, 'bin');
    mkdirSync(bin);
    writeFileSync(join(bin, 'bluerim'), `#!/bin/sh\nexec "${process.execPath}" "${BIN}" "$@"\n`);
    chmodSync(join(bin, 'bluerim'), 0o755);
    // Its first run would ask for a citation: a folder of its own that says it has been asked.
    const home = join(out, 'home');
    mkdirSync(join(home, '.parallel'), { recursive: true });
    writeFileSync(join(home, '.parallel', 'will-cite'), '');
    const env = {
      ...process.env,
      HOME: home,
      PARALLEL_HOME: join(home, '.parallel'),
      PATH: `${bin}${delimiter}${process.env.PATH}`,
    };
    const run = (line: string): string =>
      execFileSync('sh', ['-c', line], { cwd: out, env, encoding: 'utf8', stdio: 'pipe' });
    const [measure = '', merge = ''] = recipe();
    run(measure);
    const merged = run(`${merge} --json`);
    const single = await bluerim(['grade', '--json', 'night'], { cwd: out });
    expect(single.code).toBe(0);
    expect(merged).toBe(single.stdout);
  },
  60_000,
);
