/** `bluerim compare LABEL=FILE.json`: telescopes known by what `measure --with-stars` wrote, alone and beside frames. */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { CompareDocument } from '../../src/report/compare-json.js';
import { compareDocumentSchema } from '../../src/report/schema-compare.js';
import { bluerim } from '../helpers/run-bin.js';

const TIMEOUT = 120_000;
let cwd: string;

beforeAll(async () => {
  cwd = mkdtempSync(join(tmpdir(), 'bluerim-test-'));
  for (const scene of ['small-ed', 'small-control']) {
    const made = await bluerim(['simulate', scene, '-o', '.', '--force'], { cwd });
    expect(made.code, made.stderr).toBe(0);
    const args = ['measure', '--with-stars', '--halo-radius', '16', '-o', `${scene}.json`];
    const measured = await bluerim([...args, `${scene}.fits`], { cwd });
    expect(measured.code, measured.stderr).toBe(0);
  }
}, TIMEOUT);

afterAll(() => rmSync(cwd, { recursive: true, force: true }));

const quantity = ({ rows }: CompareDocument, name: string) =>
  rows.find((row) => row.quantity === name);

describe('records', () => {
  test(
    'two records: the document is valid, colours differ, what needs pixels says so',
    async () => {
      const args = ['compare', '--json', 'ed=small-ed.json', 'plain=small-control.json'];
      const run = await bluerim(args, { cwd });
      expect(run.code, run.stderr).toBe(0);
      const document = JSON.parse(run.stdout) as CompareDocument;
      compareDocumentSchema.parse(document);
      expect(document.telescopes.map(({ hasPixels }) => hasPixels)).toEqual([false, false]);
      // docs/simulation.md: 10.2 % against −1.4 %, whatever R_max within a point.
      const halo = quantity(document, 'halo blue minus red');
      expect(halo?.verdict).toBe('plain');
      expect(Math.abs((halo?.values.ed?.value ?? Number.NaN) - 10.2)).toBeLessThan(2);
      expect(quantity(document, 'corner illumination')?.reason).toMatch(
        /ed, plain came as a record/,
      );
    },
    TIMEOUT,
  );

  test(
    'a record beside a frame: the frame is measured within the record’s angle',
    async () => {
      const args = ['compare', '--json', 'ed=small-ed.json', 'plain=small-control.fits'];
      const run = await bluerim(args, { cwd });
      expect(run.code, run.stderr).toBe(0);
      const document = JSON.parse(run.stdout) as CompareDocument;
      compareDocumentSchema.parse(document);
      expect(document.telescopes.map(({ hasPixels }) => hasPixels)).toEqual([false, true]);
      expect(quantity(document, 'halo blue minus red')?.verdict).toBe('plain');
      expect(quantity(document, 'fwhm blue, single stars')?.scope).toBe('same stars');
      const text = await bluerim(['compare', 'ed=small-ed.json', 'plain=small-control.fits'], {
        cwd,
      });
      expect(text.code, text.stderr).toBe(0);
      expect(text.stdout).toMatch(/single\s+stars/);
    },
    TIMEOUT,
  );

  test(
    'records that will not do: exit 1, the file and what to do; frames and a record mixed: exit 2',
    async () => {
      const whole = readFileSync(join(cwd, 'small-ed.json'), 'utf8');
      const without = JSON.parse(whole);
      for (const frame of without.frames) delete frame.starList;
      writeFileSync(join(cwd, 'without.json'), JSON.stringify(without));
      writeFileSync(join(cwd, 'field.json'), '{"schema": "bluerim/field/1"}');
      writeFileSync(join(cwd, 'half.json'), whole.slice(0, 5000));
      const cases: [string, RegExp][] = [
        ['without.json', /without the stars/],
        ['field.json', /`field`/],
        ['half.json', /no JSON document/],
        ['nothing.json', /no such file/],
      ];
      for (const [file, message] of cases) {
        const run = await bluerim(['compare', 'ed=small-ed.json', `other=${file}`], { cwd });
        expect(run.code).toBe(1);
        expect(run.stdout).toBe('');
        expect(run.stderr).toContain(file);
        expect(run.stderr).toMatch(message);
        expect(run.stderr).toMatch(/what to do: /);
      }
      const mixed = ['compare', 'ed=small-ed.json', 'small-ed.fits', 'plain=small-control.json'];
      const run = await bluerim(mixed, { cwd });
      expect(run.code).toBe(2);
      expect(run.stderr).toMatch(/ed has frames and a record/);
    },
    TIMEOUT,
  );
});
