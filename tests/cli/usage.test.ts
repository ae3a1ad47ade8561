import { spawnSync } from 'node:child_process';
import { cpSync, mkdirSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { VERSION } from '../../src/version.js';
import { bluerim, ROOT, temporaryFolder } from '../helpers/run-bin.js';

const SUN =
  /Caution: never point a telescope or finder at or near the Sun without a\ncertified full-aperture solar filter/;

describe('help', () => {
  test('without arguments: help on stderr, exit 2', async () => {
    const run = await bluerim([]);
    expect(run).toMatchObject({ code: 2, stdout: '' });
    expect(run.stderr).toContain('Usage: bluerim');
  });

  test.each([
    [['--help']],
    [['help']],
    [['measure', '--help']],
    [['help', 'measure']],
    [['simulate', '--help']],
    [['demo', '--help']],
    [['compare', '--help']],
    [['expect', '--help']],
  ])('%j: on stdout, exit 0, with the caution about the Sun, no line over 80', async (args) => {
    const run = await bluerim(args);
    expect(run).toMatchObject({ code: 0, stderr: '' });
    expect(run.stdout).toMatch(SUN);
    for (const line of run.stdout.split('\n'))
      expect([...line].length, line).toBeLessThanOrEqual(80);
  });

  test('measure: every option, units, defaults, examples, in groups', async () => {
    const { stdout } = await bluerim(['measure', '--help']);
    const options =
      'cfa hdu focal-length aperture pixel-size gain saturation zone max-stars halo-radius halo-anyway seed jobs json output stars with-stars force color';
    for (const option of options.split(' ')) expect(stdout).toContain(`--${option}`);
    const running = stdout.replace(/\s+/g, ' ');
    for (const word of [
      'mm',
      'µm',
      'ADU',
      `default: ${DEFAULT_MEASURE_OPTIONS.maxStars}`,
      'default: "all"',
      'Examples:',
    ]) {
      expect(running).toContain(word);
    }
    for (const group of ['Measuring:', 'Output:']) expect(stdout).toContain(`\n${group}\n`);
  });

  test('the version is that of package.json', async () => {
    expect(await bluerim(['--version'])).toMatchObject({
      code: 0,
      stdout: `${VERSION}\n`,
      stderr: '',
    });
  });
});

describe('a command line that makes no sense: exit 2, nothing on stdout, and what to do', () => {
  test.each([
    [['frobnicate'], /unknown command 'frobnicate'/],
    [['mesure', 'a.fits'], /Did you mean measure\?/],
    [['measure'], /no frame is named/],
    [['measure', '--sed', '1', 'a.fits'], /Did you mean .*--seed/],
    [['measure', '--seed', '-1', 'a.fits'], /whole number from 0 to 4294967295/],
    [['measure', '--seed', '1.5', 'a.fits'], /whole number/],
    [['measure', '--jobs', '0', 'a.fits'], /whole number from 1/],
    [['measure', '--hdu', 'x', 'a.fits'], /whole number/],
    [['measure', '--max-stars', '2', 'a.fits'], /at least 3/],
    [['measure', '--focal-length', '0', 'a.fits'], /number above 0/],
    [['measure', '--focal-length', '400mm', 'a.fits'], /no unit/],
    [['measure', '--pixel-size', '3,76', 'a.fits'], /point for decimals/],
    [['measure', '--gain', '', 'a.fits'], /number above 0/],
    [['measure', '--cfa', 'RGBG', 'a.fits'], /RGGB, BGGR, GRBG, GBRG, none/],
    [['measure', '--zone', 'edge', 'a.fits'], /all, centre/],
    [['measure', '--color', 'pink', 'a.fits'], /auto, always, never/],
    [['measure', '--stars', 'stars.txt', 'a.fits'], /\.csv or \.ecsv/],
    [['measure', '--with-stars', 'a.fits'], /--json or -o FILE\.json/],
    [['schema'], /missing required argument/],
    [['schema', 'nothing'], /Allowed choices are measure/],
    [['simulate'], /no scene/],
    [['simulate', 'achromat'], /add -o FOLDER/],
    [['simulate', 'no-such-scene', '-o', 'x'], /no built-in scene and no file/],
  ])('%j', async (args, message) => {
    const run = await bluerim(args, { cwd: temporaryFolder() });
    expect(run.code).toBe(2);
    expect(run.stdout).toBe('');
    expect(run.stderr).toMatch(message);
    expect(run.stderr).toContain('what to do: ');
    expect(run.stderr).not.toMatch(/\n {4}at /);
  });
});

describe('an installation with parts missing', () => {
  /** A copy of the program in a folder of its own, without its packages. */
  function copy(): string {
    const folder = temporaryFolder();
    mkdirSync(join(folder, 'bin'));
    cpSync(join(ROOT, 'bin', 'bluerim.js'), join(folder, 'bin', 'bluerim.js'));
    writeFileSync(join(folder, 'package.json'), '{"type":"module"}');
    return folder;
  }

  test('not built: says so, exit 2', async () => {
    const run = await bluerim(['--help'], { bin: join(copy(), 'bin', 'bluerim.js') });
    expect(run).toMatchObject({ code: 2, stdout: '' });
    expect(run.stderr).toContain('not built yet');
    expect(run.stderr).toContain('npm run build');
  });

  test('built, but a part is missing: names it, exit 2', async () => {
    const folder = copy();
    cpSync(join(ROOT, 'dist'), join(folder, 'dist'), { recursive: true });
    rmSync(join(folder, 'dist', 'errors.js'));
    const run = await bluerim(['--help'], { bin: join(folder, 'bin', 'bluerim.js') });
    expect(run).toMatchObject({ code: 2, stdout: '' });
    expect(run.stderr).toContain('a part of bluerim is missing');
    expect(run.stderr).toContain('npm ci');
  });

  test('called through a link, as npm installs it', async () => {
    const folder = temporaryFolder();
    symlinkSync(join(ROOT, 'bin', 'bluerim.js'), join(folder, 'bluerim'));
    const run = await bluerim(['--version'], { bin: join(folder, 'bluerim') });
    expect(run).toMatchObject({ code: 0, stdout: `${VERSION}\n` });
  });
});

test('schema: JSON Schema on stdout, nothing else', async () => {
  const run = await bluerim(['schema', 'measure']);
  expect(run).toMatchObject({ code: 0, stderr: '' });
  expect(JSON.parse(run.stdout)).toMatchObject({
    $schema: 'https://json-schema.org/draft/2020-12/schema',
    type: 'object',
  });
});

test.skipIf(process.platform === 'win32')('a reader that closes the pipe early is no error', () => {
  const bin = join(ROOT, 'bin', 'bluerim.js');
  const script = `"${process.execPath}" "${bin}" schema measure | head -n 1; echo "\${PIPESTATUS[0]}"`;
  const run = spawnSync('bash', ['-c', script], { encoding: 'utf8' });
  expect(run.stderr).toBe('');
  expect(run.stdout).toBe('{\n0\n');
});

test('the docs name the exit codes that the help names', async () => {
  const { stdout } = await bluerim(['--help']);
  expect(stdout).toMatch(/Exit codes: 0 done; 1 .*; 2 /s);
  const docs = readFileSync(join(ROOT, 'docs', 'exit-codes.md'), 'utf8');
  for (const code of [0, 1, 2, 130]) expect(docs).toMatch(new RegExp(`^\\| ${code} \\|`, 'm'));
});
