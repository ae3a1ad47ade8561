import { createHash } from 'node:crypto';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { SCENE_NAMES } from '../../src/simulate/scenes.js';
import { bluerim, temporaryFolder } from '../helpers/run-bin.js';

const TIMEOUT = 120_000;

/** A scene that is rendered in a moment: a few pixels, no colour error. */
const TINY = {
  name: 'tiny Müller/../scene',
  telescope: { name: 'invented Röhre', colour: { kind: 'none' } },
  camera: { widthPx: 96, heightPx: 64, hotPixels: 2, cosmicRays: 0 },
  sky: { extentArcmin: [6, 5], starsPerSquareArcmin: 3, brightestMagnitude: 9 },
  rendering: { temperatureClasses: 1, sliceNm: 40, blurStepPx: 10 },
};

const digest = (path: string): string =>
  createHash('sha256').update(readFileSync(path)).digest('hex');

describe('simulate', () => {
  test('--list names every built-in scene', async () => {
    const run = await bluerim(['simulate', '--list']);
    expect(run).toMatchObject({ code: 0, stderr: '' });
    for (const name of SCENE_NAMES) expect(run.stdout).toMatch(new RegExp(`^${name} +[A-Z]`, 'm'));
  });

  test(
    'a scene from a file: frame and truth, the same every time, never overwritten',
    async () => {
      const cwd = temporaryFolder();
      writeFileSync(join(cwd, 'scene.json'), JSON.stringify(TINY));
      const first = await bluerim(['simulate', 'scene.json', '-o', 'a/b'], { cwd });
      expect(first.stderr).toBe('');
      expect(first.code).toBe(0);
      const frame = first.stdout.split('\n')[0] as string;
      expect(readdirSync(join(cwd, 'a/b')).sort()).toEqual([
        'tiny-M-ller-..-scene.fits',
        'truth.json',
      ]);
      const bytes = readFileSync(join(cwd, frame));
      expect(bytes.length % 2880).toBe(0);
      expect(bytes.toString('latin1', 0, 2880)).toContain("TELESCOP= 'invented R?hre'");
      const truth = JSON.parse(readFileSync(join(cwd, 'a/b/truth.json'), 'utf8'));
      expect(truth).toMatchObject({
        schema: 'bluerim/truth/1',
        scene: { camera: { widthPx: 96 } },
      });

      const again = await bluerim(['simulate', 'scene.json', '-o', 'a/b'], { cwd });
      expect(again).toMatchObject({ code: 2, stdout: '' });
      expect(again.stderr).toMatch(/exists already.*\n.*--force/);

      // The scene that truth.json repeats gives the same frame to the last bit.
      writeFileSync(join(cwd, 'copy.json'), JSON.stringify(truth.scene));
      const copy = await bluerim(['simulate', 'copy.json', '-o', 'copy'], { cwd });
      expect(copy.code).toBe(0);
      expect(digest(join(cwd, copy.stdout.split('\n')[0] as string))).toBe(
        digest(join(cwd, frame)),
      );

      const forced = await bluerim(['simulate', 'scene.json', '-o', 'a/b', '--force'], { cwd });
      expect(forced.code).toBe(0);
    },
    TIMEOUT,
  );

  test.each([
    ['not JSON', '{"name": ', /not JSON/],
    ['an unknown entry', JSON.stringify({ name: 'x', telescop: {} }), /telescop/],
    ['a value out of range', JSON.stringify({ name: 'x', camera: { widthPx: -1 } }), /widthPx/],
    ['no name', '{}', /name/],
    ['a list', '[]', /scene/],
  ])('a scene file with %s: exit 2 and what is wrong', async (_, text, fault) => {
    const cwd = temporaryFolder();
    writeFileSync(join(cwd, 'scene.json'), text);
    const run = await bluerim(['simulate', 'scene.json', '-o', 'out'], { cwd });
    expect(run).toMatchObject({ code: 2, stdout: '' });
    expect(run.stderr).toMatch(/^error: scene\.json: /);
    expect(run.stderr).toMatch(fault);
    expect(run.stderr).toContain('what to do: ');
    expect(readdirSync(cwd)).toEqual(['scene.json']);
  });

  test('a folder that cannot be made is refused before the work', async () => {
    const cwd = temporaryFolder();
    writeFileSync(join(cwd, 'in-the-way'), '');
    mkdirSync(join(cwd, 'full'));
    mkdirSync(join(cwd, 'full', 'truth.json'));
    for (const folder of ['in-the-way', 'in-the-way/deeper', 'full']) {
      const run = await bluerim(['simulate', 'control', '-o', folder], { cwd });
      expect(run).toMatchObject({ code: 2, stdout: '' });
      expect(run.stderr).toMatch(/^error: .*\n {2}what to do: /);
    }
  });
});

test('demo: three lenses, numbers beside the truth, pictures, the comparison; a second run reuses the frames', async () => {
  const cwd = temporaryFolder();
  const run = await bluerim(['demo'], { cwd });
  expect(run.code).toBe(0);
  expect(readdirSync(join(cwd, 'demo-output')).sort()).toEqual([
    'achromat.fits',
    'achromat.truth.json',
    'apo.fits',
    'apo.truth.json',
    'crops.svg',
    'demo-field.html',
    'demo.html',
    'demo.png',
    'differences.svg',
    'ed.fits',
    'ed.truth.json',
    'lenses.svg',
    'profiles.svg',
  ]);
  const png = readFileSync(join(cwd, 'demo-output', 'demo.png'));
  expect(png.subarray(1, 4).toString()).toBe('PNG');
  // Blue minus red, measured and true, of each lens: the halo within 2 points of truth.
  const rows = [
    ...run.stdout.matchAll(/^(achromat|ED|apochromat) +\+?(−?[\d.]+) ± [\d.]+ +\+?(−?[\d.]+)/gm),
  ];
  expect(rows.map((row) => row[1])).toEqual(['achromat', 'ED', 'apochromat']);
  const number = (text: string | undefined): number => Number(text?.replace('−', '-'));
  for (const [, , measured, truth] of rows) {
    expect(Math.abs(number(measured) - number(truth))).toBeLessThan(2);
  }
  expect(number(rows[0]?.[3])).toBeGreaterThan(number(rows[1]?.[3]));
  expect(number(rows[1]?.[3])).toBeGreaterThan(number(rows[2]?.[3]));

  // It ends with the comparison: the apochromat is better than the achromat wherever colour counts.
  const comparison = run.stdout.slice(
    run.stdout.indexOf('on the same', run.stdout.indexOf('true')),
  );
  expect(comparison).toMatch(/^halo blue − red, % .* apochromat$/m);
  expect(comparison).toMatch(/^bright targets by eye: apochromat$/m);
  expect(comparison.indexOf('In short')).toBeGreaterThan(comparison.indexOf('Which one for what?'));

  const second = await bluerim(['demo'], { cwd });
  expect(second.stderr).toContain('using the frames in demo-output');
  expect(second.stdout).toBe(run.stdout);
}, 300_000);
