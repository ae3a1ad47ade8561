import { spawn } from 'node:child_process';
import {
  chmodSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { basename, join } from 'node:path';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import type { MeasureDocument } from '../../src/report/json.js';
import { jsonSchemaOf } from '../../src/report/schema.js';
import { findData } from '../helpers/data-files.js';
import { BIN, bluerim, temporaryFolder } from '../helpers/run-bin.js';
import { type StarFrame, starFrame, TELESCOPE_CARDS } from '../helpers/star-frame.js';

const TIMEOUT = 60_000;

const validate = new Ajv2020({ strict: true, allowUnionTypes: true }).compile(
  jsonSchemaOf('measure'),
);

function document(stdout: string): MeasureDocument {
  const parsed = JSON.parse(stdout);
  expect(validate(parsed), JSON.stringify(validate.errors)).toBe(true);
  return parsed;
}

/** A folder with frames in it. */
function folderWith(frames: Record<string, StarFrame>): string {
  const folder = temporaryFolder();
  for (const [name, options] of Object.entries(frames)) {
    writeFileSync(join(folder, name), starFrame(options));
  }
  return folder;
}

// biome-ignore lint/suspicious/noControlCharactersInRegex: looking for ESC is the purpose
const ESCAPE = /\u001b/;
// biome-ignore lint/suspicious/noControlCharactersInRegex: looking for them is the purpose
const CONTROL = /[\u0007\u001b\u202e]/;
/** Colour on and off, as this program writes it. */
// biome-ignore lint/suspicious/noControlCharactersInRegex: our own codes start with ESC
const OUR_COLOURS = /\u001b\[3[0-9]m/g;

describe('one frame', () => {
  test(
    'table on stdout, plain text in a pipe',
    async () => {
      const cwd = folderWith({ 'field.fits': { wider: { B: 1.5 }, cards: TELESCOPE_CARDS } });
      const run = await bluerim(['measure', 'field.fits'], { cwd });
      expect(run.code).toBe(0);
      expect(run.stdout).not.toMatch(ESCAPE);
      expect(run.stdout).toMatch(
        /^field\.fits\n192 × 160 px, colour mosaic RGGB \(from the header\), 1\.939″ per px\n/,
      );
      // Gaussian of σ 1.5 sampled at pixel centres: FWHM 2.355 × 1.5 = 3.53 px; blue 1.5 times wider.
      expect(run.stdout).toMatch(/^green +3\.[45]\d ± /m);
      expect(run.stdout).toMatch(/^blue +5\.[0-5]\d /m);
      expect(run.stdout).toMatch(/^blue − red +\+/m);
      expect(run.stdout).toMatch(/^stars +\d+ found, \d+ used/m);
      expect(run.stderr).not.toMatch(/error/);
    },
    TIMEOUT,
  );

  test(
    '--json: valid against the published schema, every option repeated',
    async () => {
      const cwd = folderWith({ 'field.fits': {} });
      const args = [
        '--json',
        '--seed',
        '7',
        '--max-stars',
        '40',
        '--zone',
        'centre',
        '--gain',
        '0.8',
      ];
      const run = await bluerim(['measure', 'field.fits', ...args], { cwd });
      expect(run.code).toBe(0);
      const { parameters, frames, combined } = document(run.stdout);
      expect(parameters).toMatchObject({
        seed: 7,
        maxStars: 40,
        zone: 'centre',
        gainElectronsPerAdu: 0.8,
        focalLengthMm: null,
      });
      expect(frames).toHaveLength(1);
      expect(frames[0]).toMatchObject({ status: 'ok', layout: 'cfa', scaleArcsecPerPx: null });
      expect(frames[0]?.metadata?.gainElectronsPerAdu).toBe(0.8);
      expect(frames[0]?.stars?.zone).toBe('centre');
      expect(combined).toBeNull();
    },
    TIMEOUT,
  );

  test(
    'what the user says wins over the header and gives the scale',
    async () => {
      const cwd = folderWith({ 'field.fits': { cards: TELESCOPE_CARDS } });
      const args = ['--focal-length', '800', '--aperture', '100', '--pixel-size', '7.52'];
      const run = await bluerim(['measure', 'field.fits', '--json', ...args], { cwd });
      const [frame] = document(run.stdout).frames;
      expect(frame?.metadata).toMatchObject({
        focalLengthMm: 800,
        apertureMm: 100,
        pixelSizeUm: 7.52,
      });
      // 206.265 × 7.52 / 800
      expect(frame?.scaleArcsecPerPx).toBeCloseTo(1.938891, 5);
    },
    TIMEOUT,
  );

  test(
    '--cfa none measures a mosaic as mono',
    async () => {
      const cwd = folderWith({ 'field.fits': {} });
      const run = await bluerim(['measure', 'field.fits', '--json', '--cfa', 'none'], { cwd });
      const [frame] = document(run.stdout).frames;
      expect(frame?.layout).toBe('mono');
      expect(Object.keys(frame?.channels ?? {})).toEqual(['L']);
      expect(frame?.halo).toBeNull();
    },
    TIMEOUT,
  );

  test(
    'the same input gives the same text',
    async () => {
      const cwd = folderWith({ 'field.fits': { seed: 9 } });
      const [one, two] = await Promise.all([
        bluerim(['measure', 'field.fits', '--json'], { cwd }),
        bluerim(['measure', 'field.fits', '--json'], { cwd }),
      ]);
      expect(one.stdout).toBe(two.stdout);
    },
    TIMEOUT,
  );

  test(
    'colour only where it is wanted',
    async () => {
      const cwd = folderWith({ 'field.fits': { pattern: null, width: 96, height: 96 } });
      const always = await bluerim(['measure', 'field.fits', '--color', 'always'], { cwd });
      expect(always.stdout).toMatch(ESCAPE);
      const file = await bluerim(
        ['measure', 'field.fits', '--color', 'always', '-o', 'report.txt'],
        { cwd },
      );
      expect(file.code).toBe(0);
      expect(readFileSync(join(cwd, 'report.txt'), 'utf8')).not.toMatch(ESCAPE);
    },
    TIMEOUT,
  );
});

describe('several frames', () => {
  const small: StarFrame = { pattern: null, width: 128, height: 128 };
  const frames = {
    'a.fits': { ...small, seed: 1 },
    'b.fits': { ...small, seed: 2 },
    'c.fits': { ...small, seed: 3 },
  };

  test(
    'a row each, a combined row; the same text whatever --jobs is',
    async () => {
      const cwd = folderWith(frames);
      const names = Object.keys(frames);
      const one = await bluerim(['measure', ...names, '--jobs', '1'], { cwd });
      const three = await bluerim(['measure', ...names, '--jobs', '3'], { cwd });
      expect(one.code).toBe(0);
      expect(one.stdout.match(/^[abc]\.fits/gm)).toEqual(names);
      expect(one.stdout).toMatch(/^3 combined/m);
      expect(three).toEqual(one);
    },
    TIMEOUT,
  );

  test(
    '--json and --stars do not depend on --jobs either',
    async () => {
      const cwd = folderWith(frames);
      const names = Object.keys(frames);
      const [one, two] = await Promise.all(
        ['1', '2'].map((jobs) =>
          bluerim(['measure', ...names, '--json', '--jobs', jobs, '--stars', `${jobs}.csv`], {
            cwd,
          }),
        ),
      );
      expect(two?.stdout).toBe(one?.stdout);
      const stars = readFileSync(join(cwd, '1.csv'), 'utf8');
      expect(readFileSync(join(cwd, '2.csv'), 'utf8')).toBe(stars);
      expect(stars.split('\r\n').length).toBeGreaterThan(3 * 20);
      const { combined, frames: records } = document(one?.stdout ?? '');
      expect(records.map((each) => each.file)).toEqual(names);
      expect(combined?.files).toEqual(names);
    },
    TIMEOUT,
  );

  test(
    'one bad frame does not stop the others',
    async () => {
      const cwd = folderWith({ 'a.fits': small, 'z.fits': { ...small, seed: 2 } });
      writeFileSync(join(cwd, 'bad.fits'), 'not a frame at all');
      mkdirSync(join(cwd, 'folder'));
      const names = ['a.fits', 'bad.fits', 'missing.fits', 'folder', 'z.fits'];
      for (const jobs of ['1', '2']) {
        const run = await bluerim(['measure', ...names, '--json', '--jobs', jobs], { cwd });
        expect(run.code).toBe(1);
        const { frames: records } = document(run.stdout);
        expect(records.map((each) => each.status)).toEqual([
          'ok',
          'failed',
          'failed',
          'failed',
          'ok',
        ]);
        for (const name of ['bad.fits', 'missing.fits', 'folder']) {
          expect(run.stderr).toMatch(new RegExp(`^error: ${name}: .+\\n  what to do: .+`, 'm'));
        }
        expect(records[3]?.error).toMatchObject({ code: 'folder' });
      }
    },
    TIMEOUT,
  );

  test(
    'the same file twice, under whatever name, is measured once',
    async () => {
      const cwd = folderWith({ 'a.fits': { pattern: null, width: 96, height: 96 } });
      symlinkSync('a.fits', join(cwd, 'link.fits'));
      const run = await bluerim(['measure', 'a.fits', './a.fits', 'link.fits', '--json'], { cwd });
      expect(run.code).toBe(0);
      const { frames: records, warnings } = document(run.stdout);
      expect(records.map((each) => each.file)).toEqual(['a.fits']);
      expect(warnings.filter((each) => each.code === 'same-file-twice')).toHaveLength(2);
      expect(run.stderr).toMatch(/^warning: \.\/a\.fits and 1 more: .*measured once/m);
    },
    TIMEOUT,
  );
});

describe('output files', () => {
  const small: StarFrame = { pattern: null, width: 96, height: 96 };

  test(
    '-o FILE.json writes JSON and keeps stdout empty',
    async () => {
      const cwd = folderWith({ 'a.fits': small });
      const run = await bluerim(['measure', 'a.fits', '-o', 'out.json'], { cwd });
      expect(run).toMatchObject({ code: 0, stdout: '' });
      expect(run.stderr).toContain('wrote out.json');
      document(readFileSync(join(cwd, 'out.json'), 'utf8'));
      expect(readdirSync(cwd).sort()).toEqual(['a.fits', 'out.json']);
    },
    TIMEOUT,
  );

  test(
    '-o - is stdout',
    async () => {
      const cwd = folderWith({ 'a.fits': small });
      const run = await bluerim(['measure', 'a.fits', '-o', '-'], { cwd });
      expect(run.stdout).toMatch(/^a\.fits/);
      expect(readdirSync(cwd)).toEqual(['a.fits']);
    },
    TIMEOUT,
  );

  test(
    'nothing is overwritten without --force',
    async () => {
      const cwd = folderWith({ 'a.fits': small });
      for (const option of ['-o', '--stars']) {
        writeFileSync(join(cwd, 'keep.csv'), 'precious');
        const refused = await bluerim(['measure', 'a.fits', option, 'keep.csv'], { cwd });
        expect(refused).toMatchObject({ code: 2, stdout: '' });
        expect(refused.stderr).toMatch(/keep\.csv: this file exists already.*\n.*--force/);
        expect(readFileSync(join(cwd, 'keep.csv'), 'utf8')).toBe('precious');
        const forced = await bluerim(['measure', 'a.fits', option, 'keep.csv', '--force'], { cwd });
        expect(forced.code).toBe(0);
        expect(readFileSync(join(cwd, 'keep.csv'), 'utf8')).not.toBe('precious');
      }
    },
    TIMEOUT,
  );

  test(
    'an output that cannot be written is refused before anything is measured',
    async () => {
      const cwd = folderWith({ 'a.fits': small });
      mkdirSync(join(cwd, 'folder'));
      for (const [target, fault] of [
        ['nowhere/out.json', 'the folder does not exist'],
        ['folder', 'this is a folder'],
        ['a.fits/out.json', 'the folder does not exist'],
      ]) {
        const run = await bluerim(['measure', 'missing.fits', '-o', target as string], { cwd });
        expect(run).toMatchObject({ code: 2, stdout: '' });
        expect(run.stderr).toContain(`error: ${target}: `);
        expect(run.stderr).toContain(fault);
        // The frame does not exist either: had it been opened, its error would be here.
        expect(run.stderr).not.toContain('missing.fits');
      }
      const both = await bluerim(['measure', 'a.fits', '-o', 's.csv', '--stars', 's.csv'], { cwd });
      expect(both.code).toBe(2);
    },
    TIMEOUT,
  );

  test.skipIf(process.getuid?.() === 0)(
    'a folder without permission is refused',
    async () => {
      const cwd = folderWith({ 'a.fits': small });
      mkdirSync(join(cwd, 'locked'));
      chmodSync(join(cwd, 'locked'), 0o500);
      const run = await bluerim(['measure', 'a.fits', '-o', 'locked/out.json'], { cwd });
      expect(run.code).toBe(2);
      expect(run.stderr).toContain('may not write');
    },
    TIMEOUT,
  );

  test.skipIf(!existsSync('/dev/full'))(
    'a full disk: exit 1, and the fault is named',
    async () => {
      const cwd = folderWith({ 'a.fits': small });
      const run = await bluerim(['measure', 'a.fits', '-o', '/dev/full'], { cwd });
      expect(run).toMatchObject({ code: 1, stdout: '' });
      expect(run.stderr).toMatch(/\/dev\/full: could not be written \(the disk is full\)/);
    },
    TIMEOUT,
  );

  test(
    'Ctrl-C leaves no file behind',
    async () => {
      const cwd = folderWith({ 'a.fits': {}, 'b.fits': { seed: 2 }, 'c.fits': { seed: 3 } });
      const child = spawn(
        process.execPath,
        [
          BIN,
          'measure',
          'a.fits',
          'b.fits',
          'c.fits',
          '--jobs',
          '1',
          '-o',
          'out.json',
          '--stars',
          's.csv',
        ],
        { cwd, stdio: 'ignore' },
      );
      await new Promise((resolve) => setTimeout(resolve, 700));
      child.kill('SIGINT');
      const [code, signal] = await new Promise<[number | null, NodeJS.Signals | null]>(
        (resolve) => {
          child.on('close', (...end) => resolve(end));
        },
      );
      // Ended by the signal itself, which shells report as 130, or by our own exit.
      expect(code ?? signal).toSatisfy((end: unknown) => end === 130 || end === 'SIGINT');
      expect(readdirSync(cwd).sort()).toEqual(['a.fits', 'b.fits', 'c.fits']);
    },
    TIMEOUT,
  );

  test(
    '--stars FILE.ecsv holds every candidate with its flags',
    async () => {
      const cwd = folderWith({ 'a.fits': {} });
      const run = await bluerim(['measure', 'a.fits', '--json', '--stars', 's.ecsv'], { cwd });
      const [frame] = document(run.stdout).frames;
      const rows = readFileSync(join(cwd, 's.ecsv'), 'utf8')
        .split('\n')
        .filter((line) => line.startsWith('"a.fits"'));
      expect(rows).toHaveLength(frame?.stars?.found ?? -1);
      const usable = rows.filter((row) => row.endsWith(',0,"usable"'));
      expect(usable).toHaveLength(frame?.stars?.used ?? -1);
    },
    TIMEOUT,
  );
});

describe('untrusted text', () => {
  test(
    'terminal commands in a file name and in its header are shown, not obeyed',
    async () => {
      const cwd = temporaryFolder();
      const name = 'evil\u001b[2J\u202etxt.fits';
      const frame = Buffer.from(starFrame({ pattern: null, width: 96, height: 96 }));
      // A raw ESC in the value of FILTER, which the writer would refuse: patched into the header block.
      const card = "FILTER  = 'V\u001b]0;owned\u0007'".padEnd(80);
      frame.write(card + 'END'.padEnd(80), frame.indexOf('END     '), 'latin1');
      writeFileSync(join(cwd, name), frame);
      for (const args of [[], ['--json'], ['--json', '--color', 'always']]) {
        const run = await bluerim(['measure', name, 'missing\u001b[1m.fits', ...args], { cwd });
        expect(run.code).toBe(1);
        expect(run.stdout).not.toMatch(CONTROL);
        expect(run.stderr.replace(OUR_COLOURS, '')).not.toMatch(CONTROL);
        if (args.length > 0) {
          expect(document(run.stdout).frames[0]).toMatchObject({
            file: name,
            metadata: { filter: 'V\u001b]0;owned\u0007' },
          });
        }
      }
    },
    TIMEOUT,
  );
});

describe('real frames', () => {
  const dslr = findData('2_cfa/dslr_cfa_200.fits');
  test.skipIf(dslr === null)(
    'a small cut of a real mosaic gives a valid document',
    async () => {
      const run = await bluerim(['measure', dslr as string, '--json']);
      expect(run.code).toBe(0);
      const [frame] = document(run.stdout).frames;
      expect(basename(frame?.file ?? '')).toBe('dslr_cfa_200.fits');
      expect(frame).toMatchObject({ status: 'ok', layout: 'cfa', width: 200, height: 200 });
      expect(frame?.sentence).not.toBe('');
    },
    TIMEOUT,
  );

  const dark = findData('2_cfa/osc_grbg_dark30s.fit');
  test.skipIf(dark === null)(
    'a dark frame full of hot pixels: no star, said plainly, exit 0',
    async () => {
      const run = await bluerim(['measure', dark as string, '--json']);
      expect(run.code).toBe(0);
      const [frame] = document(run.stdout).frames;
      expect(frame?.stars?.used).toBe(0);
      expect(frame?.halo).toBeNull();
      expect(frame?.channels.G?.fwhmPx).toBeNull();
      expect(frame?.sentence).toMatch(/no (usable )?star/i);
    },
    TIMEOUT,
  );
});
