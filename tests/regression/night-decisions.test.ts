/** Decisions and sentences about a night that the frames did not bear out. */

import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { openFrame } from '../../src/frame/open.js';
import { DEFAULT_GRADE_OPTIONS, gradeNight } from '../../src/grade/grade.js';
import { lookAtFrame } from '../../src/grade/look.js';
import type { NightFrame } from '../../src/grade/night-frame.js';
import type { GradeOptions, Night } from '../../src/grade/result.js';
import { nightText } from '../../src/report/grade-table.js';
import { PLAIN_STYLE } from '../../src/report/layout.js';
import { makeNight, type Planted } from '../helpers/night.js';
import { nightFile } from '../helpers/night-files.js';
import { temporaryFolder } from '../helpers/run-bin.js';

const good = (n: number): Planted[] => Array.from({ length: n }, () => ({}));
const grade = (frames: NightFrame[], options: Partial<GradeOptions> = {}): Night =>
  gradeNight(frames, { ...DEFAULT_GRADE_OPTIONS, ...options });
const decisions = (night: Night): string[] => night.frames.map(({ decision }) => decision);
const text = (night: Night): string => nightText(night, 100, PLAIN_STYLE);

test('frames with too few stars to compare are doubtful, not kept unseen', () => {
  const night = grade(makeNight({ seed: 3, frames: good(6), stars: 4 }));
  expect(night.groups[0]?.reference).toBeNull();
  expect(decisions(night)).toEqual(Array(6).fill('doubtful'));
  expect(night.frames[0]?.reasons[0]?.text).toContain('only 4 stars measured, too few');
  // Nothing was compared with a reference: no sentence speaks of one.
  expect(night.story[0]).not.toContain('as good as the reference');
  expect(text(night)).not.toContain('min of reference frames');
});

test('an exposure of 0 beside a missing one dims no frame', () => {
  const frames = makeNight({ seed: 5, frames: good(8) });
  frames.forEach((frame, i) => {
    if (frame.metadata) frame.metadata.exposureSeconds = i % 2 ? 0 : null;
  });
  const night = grade(frames);
  expect(decisions(night)).toEqual(Array(8).fill('keep'));
  expect(text(night)).toContain('exposure not known');
  expect(text(night)).not.toContain('0 of 0 min');
});

test('a group in which too few frames have stars says so', () => {
  const night = grade(
    makeNight({ seed: 6, frames: [...good(3), { wide: 1.9 }, { noStars: true }] }),
  );
  expect(night.warnings.map(({ message }) => message).join()).toContain(
    '5 frames (4 with measured stars), too few to know what is usual',
  );
});

test('an event of dropped and doubtful frames counts each', () => {
  const night = grade(
    makeNight({
      seed: 7,
      frames: [...good(12), { wide: 1.9 }, { wide: 1.9 }, { wide: 1.22 }, ...good(4)],
    }),
  );
  expect(decisions(night).slice(12, 15)).toEqual(['drop', 'drop', 'doubtful']);
  expect(night.story.join(' ')).toContain('2 frames dropped, 1 doubtful.');
});

test('reasons from limits of one’s own are sentences and tell the value from the limit', () => {
  const frames = makeNight({ seed: 8, frames: good(3) });
  const [frame] = frames;
  if (frame) frame.fwhmPx = { value: 2.7004, low: 2.69, high: 2.71 };
  const night = grade(frames, { maxFwhmPx: 2.7 });
  expect(night.frames[0]?.reasons[0]?.text).toBe('stars 2.7004 px wide, your limit is at most 2.7');
});

test('a light frame stays one whatever was done to it', async () => {
  const plan = { seed: 9, frames: [{}], width: 300, height: 240, stars: 40 };
  const bytes = Buffer.from(nightFile(plan, 0).bytes);
  const at = bytes.indexOf('Light Frame');
  bytes.write('Light -dark', at, 'latin1');
  const file = join(temporaryFolder(), 'a.fits');
  writeFileSync(file, bytes);
  const frame = await openFrame(file);
  try {
    expect(lookAtFrame(frame, { seed: 1, halo: false }).imageType).toBe('light');
  } finally {
    frame.rows.close();
  }
});

test('widths that were not measured are not headed in arcsec', () => {
  const night = grade(makeNight({ seed: 10, frames: Array(5).fill({ noStars: true }) }));
  expect(text(night)).toMatch(/^ +UTC +px /m);
});
