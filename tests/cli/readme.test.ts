/**
 * The outputs shown in README.md are what the program prints. `UPDATE_DOCS=1 npx vitest run tests/cli/readme.test.ts` writes
 * them anew, that of the demonstration and its picture included (which otherwise would be made twice in every test run).
 */
import { copyFileSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { type NightFilesPlan, writeNight } from '../helpers/night-files.js';
import { bluerim, ROOT, type Run, temporaryFolder } from '../helpers/run-bin.js';

const README = join(ROOT, 'README.md');
const UPDATE = process.env.UPDATE_DOCS === '1';

/** Pictures of the demonstration that README.md shows, and where they are kept. */
const DEMO_PICTURES = [
  ['demo.png', 'demo.png'],
  ['profiles.svg', 'demo-profiles.svg'],
] as const;

/** `run:` lines only run; `output:` lines show what is printed, from a given line on where `from "…"` stands, and up to one where `to "…"` does. */
const MARK =
  /<!-- (run|output)(?: from "([^"]+)")?(?: to "([^"]+)")?: bluerim ([^>]+) -->\n(?:```text\n([\s\S]*?)```\n)?/g;

/** The night that README.md grades. */
const DRAWN_NIGHT: NightFilesPlan = {
  seed: 61,
  width: 400,
  height: 300,
  stars: 60,
  seeingScatter: 0.02,
  frames: Array.from({ length: 14 }, (_, i) => ({
    shift: [2 * i, (3 * i) % 7] as [number, number],
    ...((i === 3 || i === 4) && { transparency: 0.45 }),
    ...(i === 6 && { ellipticity: 0.22 }),
    ...(i === 8 && { wide: 1.6 }),
    ...(i === 10 && { trail: true }),
    ...(i >= 9 && { turnDeg: 180 }),
  })),
};

/** Words and numbers. A number counts as equal within two in its last digit, or 2 %: machines may round the last bit differently. */
function expectSameReport(actual: string, shown: string): void {
  const words = (text: string): string[] => text.split(/\s+/).filter((word) => word !== '');
  const numberIn = /[+−-]?\d+(?:\.\d+)?/g;
  const mask = (word: string): string => word.replace(numberIn, '#');
  const numbers = (text: string): string[] =>
    words(text).flatMap((word) => word.match(numberIn) ?? []);
  expect(words(actual).map(mask)).toEqual(words(shown).map(mask));
  const expected = numbers(shown);
  numbers(actual).forEach((text, i) => {
    const value = Number(text.replace('−', '-'));
    const wanted = Number((expected[i] ?? '').replace('−', '-'));
    const digits = (expected[i]?.split('.')[1] ?? '').length;
    expect(
      Math.abs(value - wanted),
      `${text} where README.md has ${expected[i]}`,
    ).toBeLessThanOrEqual(Math.max(2.1 * 10 ** -digits, 0.02 * Math.abs(wanted)));
  });
}

test('README.md shows what the program prints', { timeout: 240_000 }, async () => {
  const cwd = temporaryFolder();
  let text = readFileSync(README, 'utf8');
  if (text.includes('<!-- drawn: night -->')) writeNight(DRAWN_NIGHT, join(cwd, 'night'));
  const marks = [...text.matchAll(MARK)];
  expect(marks.length).toBeGreaterThanOrEqual(3);
  /** A command that is shown in parts runs once. */
  const runs = new Map<string, Run>();
  for (const [whole, kind, from, to, line = '', shown = ''] of marks) {
    const args = line.split(' ');
    if (args[0] === 'demo' && !UPDATE) continue;
    const run = runs.get(line) ?? (await bluerim(args, { cwd }));
    runs.set(line, run);
    expect(run.code, run.stderr).toBe(0);
    if (kind === 'run') continue;
    const start = from === undefined ? 0 : run.stdout.indexOf(from);
    expect(start).toBeGreaterThanOrEqual(0);
    const end = to === undefined ? run.stdout.length : run.stdout.indexOf(to, start);
    expect(end).toBeGreaterThan(start);
    const printed = run.stdout.slice(start, end).trimEnd();
    if (UPDATE) {
      const [mark] = whole.split('\n');
      text = text.replace(whole, () => `${mark}\n\`\`\`text\n${printed}\n\`\`\`\n`);
      if (args[0] === 'demo') {
        for (const [made, kept] of DEMO_PICTURES) {
          copyFileSync(join(cwd, 'demo-output', made), join(ROOT, 'docs', kept));
        }
      }
    } else {
      expectSameReport(printed, shown);
    }
  }
  if (UPDATE) writeFileSync(README, text);
});
