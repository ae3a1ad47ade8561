/** A night's frames graded, on records of invented nights (tests/helpers/night.ts) whose faults are known. */
import { describe, expect, test } from 'vitest';
import { DEFAULT_GRADE_OPTIONS, gradeNight } from '../../src/grade/grade.js';
import type { NightFrame } from '../../src/grade/night-frame.js';
import type { GradeOptions, Night } from '../../src/grade/result.js';
import { weightOf, weightParts } from '../../src/grade/weight.js';
import { createRandom } from '../../src/stats/random.js';
import { makeNight, type Planted } from '../helpers/night.js';

const good = (n: number): Planted[] => Array.from({ length: n }, () => ({}));
const grade = (frames: NightFrame[], options: Partial<GradeOptions> = {}): Night =>
  gradeNight(frames, { ...DEFAULT_GRADE_OPTIONS, ...options });
const decisions = (night: Night): string[] => night.frames.map((frame) => frame.decision);

describe('faults of single frames', () => {
  const plan: Planted[] = [
    ...good(12),
    { wide: 1.9 },
    { ellipticity: 0.35 },
    { transparency: 0.35 },
    { sky: 8 },
    { noStars: true },
    { otherField: true },
    ...good(12),
    { trail: true },
  ];
  const night = grade(makeNight({ seed: 4, frames: plan }));

  test.each([
    [12, 'wide stars'],
    [13, 'elongated stars'],
    [14, 'low transparency'],
    [15, 'bright sky'],
    [16, 'no stars'],
    [17, 'no match'],
  ])('frame %d is dropped for %s', (index, code) => {
    const frame = night.frames[index];
    expect(frame?.decision).toBe('drop');
    expect(frame?.reasons[0]?.code).toBe(code);
    expect(frame?.reasons[0]?.text.length).toBeGreaterThan(20);
  });

  test('the good frames are kept, a trail is a note and no fault', () => {
    const kept = night.frames.filter((_, i) => i < 12 || i > 17);
    expect(kept.every((frame) => frame.decision === 'keep')).toBe(true);
    expect(kept.at(-1)?.notes).toEqual(['a trail crosses the frame']);
    expect(night.story.join(' ')).toContain('1 frame shows a trail');
    expect(night.summary.lookAt.map(({ file }) => file)).toContain('sub-031.fits');
  });

  test('reasons carry value, limit and usual', () => {
    const reason = night.frames[12]?.reasons[0];
    expect(reason).toMatchObject({ kind: 'night', severity: 'drop', unit: 'px' });
    expect(reason?.value).toBeGreaterThan(5);
    expect(reason?.usual).toBeCloseTo(3, 0);
    expect(reason?.limit).toBeGreaterThan(3.6);
    expect(reason?.limit).toBeLessThan(5);
  });

  test('exposure is added up', () => {
    const { summary } = night;
    expect(summary).toMatchObject({ kept: 25, doubtful: 0, dropped: 6 });
    expect(summary.totalSeconds).toBe(31 * 120);
    expect(summary.keptSeconds).toBe(25 * 120);
    const sum = night.frames
      .filter(({ decision }) => decision === 'keep')
      .reduce((total, { weight }) => total + 120 * (weight ?? 0), 0);
    expect(summary.effectiveSeconds).toBeCloseTo(sum, 9);
    const cloud = summary.lost.find(({ cause }) => cause === 'low transparency');
    expect(cloud?.droppedSeconds).toBeGreaterThan(0);
  });
});

test('a night with two fifths of its frames under cloud keeps its good frames and drops the rest', () => {
  const random = createRandom(9);
  const frames = Array.from(
    { length: 60 },
    (_, i): Planted => (i >= 20 && i < 44 ? { transparency: 0.15 + 0.4 * random() } : {}),
  );
  const night = grade(makeNight({ seed: 9, frames }));
  night.frames.forEach((frame, i) => {
    expect(frame.decision, frame.file).toBe(i >= 20 && i < 44 ? 'drop' : 'keep');
  });
  expect(
    night.story.some((line) => /^From \d\d:\d\d to \d\d:\d\d UTC starlight was dimmed/.test(line)),
  ).toBe(true);
  expect(night.summary.gain?.change).toContain('clear sky');
});

test('a steady night drops nothing, however small its scatter', () => {
  const night = grade(makeNight({ seed: 2, frames: good(40), seeingScatter: 0.002 }));
  expect(new Set(decisions(night))).toEqual(new Set(['keep']));
});

test('names and order decide nothing', () => {
  const random = createRandom(5);
  const plan = Array.from(
    { length: 24 },
    (_, i): Planted => (i % 5 === 0 ? { wide: 1.2 + random() } : {}),
  );
  const frames = makeNight({ seed: 12, frames: plan });
  const first = grade(frames);
  const order = frames.map((_, i) => i).sort((a, b) => ((a * 7) % 24) - ((b * 7) % 24));
  const shuffled = grade(
    order.map((i) => ({ ...(frames[i] as NightFrame), file: `z${order.indexOf(i)}` })),
  );
  order.forEach((i, k) => {
    const { file: _, ...before } = first.frames[i] as (typeof first.frames)[number];
    const { file: __, ...after } = shuffled.frames[k] as (typeof first.frames)[number];
    expect(after).toEqual(before);
  });
  expect(shuffled.summary.effectiveSeconds).toBeCloseTo(first.summary.effectiveSeconds, 9);
});

describe('groups', () => {
  test('filters, exposures and targets are graded apart; spelling does not divide them', () => {
    const night = grade([
      ...makeNight({ seed: 1, frames: good(8), filter: 'Red' }),
      ...makeNight({ seed: 2, frames: good(8), filter: 'red ' }),
      ...makeNight({ seed: 3, frames: good(8), filter: 'G' }),
      ...makeNight({ seed: 3, frames: good(8), filter: 'G', exposureSeconds: 30 }),
    ]);
    // The two reds show different skies: their stars divide them.
    expect(night.groups.map((group) => group.frames).sort()).toEqual([8, 8, 8, 8]);
    expect(decisions(night).every((decision) => decision === 'keep')).toBe(true);
    expect(night.groups.some((group) => group.name === 'Invented Cluster 5, G, 30 s')).toBe(true);
  });

  test('targets without names are told apart by their stars', () => {
    const night = grade([
      ...makeNight({ seed: 21, frames: good(10), object: null }),
      ...makeNight({ seed: 22, frames: good(7), object: null }),
    ]);
    expect(night.groups.map((group) => group.frames).sort((a, b) => a - b)).toEqual([7, 10]);
    expect(decisions(night).every((decision) => decision === 'keep')).toBe(true);
    expect(night.groups[1]?.name).toContain('field 2');
  });

  test('dark frames and unreadable files are dropped, the others go on', () => {
    const frames = makeNight({ seed: 3, frames: good(8) });
    const dark = { ...(frames[2] as NightFrame), imageType: 'dark' as const };
    const broken: NightFrame = {
      ...(frames[3] as NightFrame),
      status: 'failed',
      error: { code: 'unreadable', message: 'the file ends early', remedy: 'copy it again' },
    };
    const night = grade([dark, broken, ...frames.slice(4)]);
    expect(night.frames[0]?.reasons[0]?.code).toBe('not a night frame');
    expect(night.frames[1]?.reasons[0]).toMatchObject({
      code: 'unreadable',
      text: 'the file ends early',
    });
    expect(night.groups).toHaveLength(1);
    expect(night.groups[0]?.frames).toBe(4);
  });

  test('few frames are not judged by each other', () => {
    const night = grade(makeNight({ seed: 6, frames: [{}, {}, { wide: 1.7 }] }));
    expect(decisions(night)).toEqual(['keep', 'keep', 'keep']);
    expect(night.warnings.map(({ code }) => code)).toContain('few-frames');
  });

  test('nothing at all, and only frames without stars', () => {
    expect(grade([])).toMatchObject({ frames: [], groups: [], summary: { kept: 0 } });
    const night = grade(makeNight({ seed: 1, frames: [{ noStars: true }, { noStars: true }] }));
    expect(decisions(night)).toEqual(['drop', 'drop']);
    expect(night.groups[0]?.reference).toBeNull();
  });
});

describe('options', () => {
  const frames = makeNight({
    seed: 8,
    frames: [...good(15), { wide: 1.2 }, { wide: 1.6 }],
    seeingScatter: 0.02,
  });

  test('strictness moves the limits', () => {
    expect(decisions(grade(frames, { strictness: 'lenient' })).slice(15)).toEqual(['keep', 'drop']);
    expect(decisions(grade(frames, { strictness: 'strict' })).slice(15)).toEqual(['drop', 'drop']);
    expect(decisions(grade(frames)).slice(15)).toEqual(['doubtful', 'drop']);
  });

  test('a fixed limit takes the place of the night’s own', () => {
    // 1.5 arcsec per px: 6 arcsec are 4 px, between the two wide frames.
    const night = grade(frames, { maxFwhmArcsec: 6 });
    expect(decisions(night).slice(15)).toEqual(['keep', 'drop']);
    expect(night.frames[16]?.reasons[0]).toMatchObject({ kind: 'fixed', unit: 'arcsec', limit: 6 });
    expect(decisions(grade(frames, { minStars: 1e6 })).every((each) => each === 'drop')).toBe(true);
    expect(
      decisions(grade(frames, { maxEllipticity: 0.001 })).every((each) => each === 'drop'),
    ).toBe(true);
  });

  test('the reference can be chosen; a name that is not there is a warning', () => {
    const night = grade(frames, { reference: 'sub-007.fits' });
    expect(night.groups[0]?.reference).toBe('sub-007.fits');
    expect(night.frames[6]?.weight).toBeCloseTo(1, 12);
    expect(grade(frames, { reference: 'nowhere.fits' }).warnings[0]?.code).toBe('reference-unused');
  });
});

describe('weight', () => {
  test('is the squared signal-to-noise, worked by hand', () => {
    // T = 0.8, noise 12 for 10, area 30 for 20 px²: 0.64 · (100/144) · (20/30) = 0.296296…
    const frames = makeNight({ seed: 1, frames: good(2) });
    const reference = { ...(frames[0] as NightFrame), noiseAdu: 10, starAreaPx: 20 };
    const frame = { ...(frames[1] as NightFrame), noiseAdu: 12, starAreaPx: 30 };
    const parts = weightParts(frame, reference, 0.8);
    expect(parts && weightOf(parts)).toBeCloseTo(0.64 * (100 / 144) * (2 / 3), 12);
    expect(weightParts({ ...frame, noiseAdu: null }, reference, 0.8)).toBeNull();
    expect(weightParts(frame, reference, null)).toBeNull();
  });

  test('follows the planted light, sky and size with a correlation above 0.99', () => {
    const random = createRandom(31);
    const plan = Array.from(
      { length: 50 },
      (): Required<Pick<Planted, 'transparency' | 'sky' | 'wide'>> => ({
        transparency: 0.6 + 0.4 * random(),
        sky: 1 + random(),
        wide: 1 + 0.3 * random(),
      }),
    );
    const night = grade(makeNight({ seed: 31, frames: plan, seeingScatter: 0 }));
    const truth = plan.map(({ transparency, sky, wide }) => transparency ** 2 / (sky * wide ** 2));
    const found = night.frames.map(({ weight }) => weight ?? Number.NaN);
    const mean = (values: number[]): number => values.reduce((a, b) => a + b, 0) / values.length;
    const a = mean(truth);
    const b = mean(found);
    const sum = (f: (i: number) => number): number => truth.reduce((s, _, i) => s + f(i), 0);
    const r =
      sum((i) => ((truth[i] as number) - a) * ((found[i] as number) - b)) /
      Math.sqrt(
        sum((i) => ((truth[i] as number) - a) ** 2) * sum((i) => ((found[i] as number) - b) ** 2),
      );
    expect(r).toBeGreaterThan(0.99);
  });
});

describe('the story', () => {
  test('a meridian turn, a refocus and a drift are told with their times', () => {
    const plan = Array.from(
      { length: 40 },
      (_, i): Planted => ({
        turnDeg: i >= 25 ? 180 : 0,
        wide: i < 12 ? 1.22 : 1,
        shift: [i * 1.5, 0],
      }),
    );
    const night = grade(makeNight({ seed: 77, frames: plan, seeingScatter: 0.01 }));
    const text = night.story.join('\n');
    expect(text).toContain('UTC the field turned by half a turn');
    expect(text).toMatch(/The field drifted by \d\d\.\d px per hour along x/);
    expect(text).not.toContain('jumped');
    expect(text).toMatch(/At \d\d:\d\d UTC the stars became narrower at once/);
    expect(night.frames[30]?.meridianTurned).toBe(true);
    expect(Math.abs(night.frames[30]?.rotationDeg ?? 0)).toBeCloseTo(180, 0);
  });

  test('moonlight and a focus that follows the temperature', () => {
    const plan = Array.from(
      { length: 30 },
      (_, i): Planted => ({
        sky: 1 + i * 0.02,
        wide: 1 + i * 0.005,
        ambientTemperatureC: 10 - i * 0.2,
      }),
    );
    const night = grade(makeNight({ seed: 78, frames: plan, seeingScatter: 0.005 }));
    const text = night.story.join('\n');
    expect(text).toContain('The sky grew brighter steadily');
    expect(text).toContain('widened as it grew colder');
    expect(decisions(night).every((each) => each === 'keep')).toBe(true);
  });
});
