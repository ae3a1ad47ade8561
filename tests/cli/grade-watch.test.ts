/** `grade --watch`: frames graded as they arrive; half-written files wait, pictures are passed over, Ctrl-C reports. */
import { appendFileSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, test } from 'vitest';
import { alarmOf } from '../../src/cli/watch.js';
import { DEFAULT_GRADE_OPTIONS, gradeNight } from '../../src/grade/grade.js';
import { makeNight } from '../helpers/night.js';
import { nightFile } from '../helpers/night-files.js';
import { bluerim, temporaryFolder } from '../helpers/run-bin.js';
import { watching } from '../helpers/watching.js';

const plan = {
  seed: 51,
  frames: [{}, {}, {}, { wide: 1.9 }],
  width: 300,
  height: 240,
  stars: 40,
};

test.each([[[]], [['--poll', '0.3']]])('a folder that fills (%j)', async (extra) => {
  const folder = join(temporaryFolder(), 'night');
  mkdirSync(folder);
  const records = join(temporaryFolder(), 'r.ndjson');
  writeFileSync(join(folder, 'a.fits'), nightFile(plan, 0).bytes);
  const { seen, end } = watching(['--watch', folder, '--json', '--ndjson', records, ...extra]);
  await seen('a.fits  keep');
  // A capture program that writes slowly: the frame must not be read before it is whole.
  const bytes = nightFile(plan, 1).bytes;
  const half = Math.floor(bytes.length / 2);
  writeFileSync(join(folder, 'b.fits'), bytes.subarray(0, half));
  await sleep(700);
  appendFileSync(join(folder, 'b.fits'), bytes.subarray(half));
  writeFileSync(join(folder, 'notes.txt'), 'clear skies');
  await seen('b.fits  keep');
  const { code, stdout, stderr } = await end('SIGINT');
  expect(code).toBe(0);
  const document = JSON.parse(stdout) as { frames: { file: string; decision: string }[] };
  expect(document.frames.map(({ decision }) => decision)).toEqual(['keep', 'keep']);
  expect(readFileSync(records, 'utf8').trim().split('\n')).toHaveLength(3);
  expect(stderr).toContain('kept 2 of 2');
});

test('a warning when two frames in a row leave the band for one reason, not for one alone', () => {
  const good = Array.from({ length: 8 }, () => ({}));
  const one = gradeNight(
    makeNight({ seed: 2, frames: [...good, { wide: 1.8 }] }),
    DEFAULT_GRADE_OPTIONS,
  );
  expect(alarmOf(one)).toBeNull();
  const two = gradeNight(
    makeNight({ seed: 2, frames: [...good, { wide: 1.8 }, { wide: 1.9 }] }),
    DEFAULT_GRADE_OPTIONS,
  );
  expect(alarmOf(two)).toContain('focus');
  const over = gradeNight(
    makeNight({ seed: 2, frames: [...good, { wide: 1.8 }, { wide: 1.9 }, {}] }),
    DEFAULT_GRADE_OPTIONS,
  );
  expect(alarmOf(over)).toBeNull();
});

test('what does not go together is refused', async () => {
  const missing = await bluerim(['grade', '--watch', join(temporaryFolder(), 'nowhere')]);
  expect(missing.code).toBe(2);
  expect(missing.stderr).toContain('no such folder');
  const both = await bluerim(['grade', '--watch', temporaryFolder(), 'x.fits']);
  expect(both.code).toBe(2);
  const poll = await bluerim(['grade', '--poll', '2', 'x.fits']);
  expect(poll.code).toBe(2);
});
