/** `bluerim compare` from the command line: text, JSON, pictures, faults. What it finds is tested with the comparison. */
import { existsSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { CompareDocument } from '../../src/report/compare-json.js';
import { compareDocumentSchema } from '../../src/report/schema-compare.js';
import { bluerim, temporaryFolder } from '../helpers/run-bin.js';
import { starFrame, TELESCOPE_CARDS } from '../helpers/star-frame.js';

const TIMEOUT = 120_000;
const SIZE = { width: 320, height: 256, cards: TELESCOPE_CARDS };
/** One field through two invented telescopes: blue is 1.6 times as wide in the second. */
const GOOD = starFrame(SIZE);
const BLUE = starFrame({ ...SIZE, wider: { B: 1.6 } });
/** Another field. */
const ELSEWHERE = starFrame({ ...SIZE, seed: 77 });
// biome-ignore lint/suspicious/noControlCharactersInRegex: colour codes are looked for
const COLOUR = /\u001b\[/;

function folderWith(frames: Record<string, Uint8Array | string>): string {
  const cwd = temporaryFolder();
  for (const [name, bytes] of Object.entries(frames)) writeFileSync(join(cwd, name), bytes);
  return cwd;
}

describe('compare', () => {
  test(
    'the wider blue loses, as text and as JSON; the rest is not decided',
    async () => {
      const cwd = folderWith({ 'a.fits': GOOD, 'b.fits': BLUE });
      const run = await bluerim(['compare', 'good=a.fits', 'blue=b.fits', '-o', 'c.json'], { cwd });
      expect(run.code, run.stderr).toBe(0);
      expect(run.stdout).toBe('');
      const document = JSON.parse(readFileSync(join(cwd, 'c.json'), 'utf8')) as CompareDocument;
      compareDocumentSchema.parse(document);
      expect(document.telescopes.map(({ label, files }) => [label, files])).toEqual([
        ['good', ['a.fits']],
        ['blue', ['b.fits']],
      ]);
      const row = (name: string) => document.rows.find(({ quantity }) => quantity === name);
      expect(row('fwhm blue')?.verdict).toBe('good');
      expect(row('halo blue minus red')?.verdict).toBe('good');
      expect(row('fwhm green')?.verdict).toBe('no difference shown');
      // σ = 1.5 px, the pixel in quadrature by 2.3548/√12 px; 1.939 arcsec per px; within 4 %.
      const size = Math.sqrt((2.3548 * 1.5) ** 2 + 2.3548 ** 2 / 12) * 1.939;
      expect(Math.abs((row('fwhm green')?.values.good?.value ?? 0) / size - 1)).toBeLessThan(0.04);

      const text = await bluerim(['compare', 'good=a.fits', 'blue=b.fits'], { cwd });
      expect(text.stdout).toMatch(/^good and blue on the same \d+ stars/);
      expect(text.stdout).toMatch(/^halo blue − red, % .* good( \(\w+\))?$/m);
      const order = ['Is it fair?', 'Row by row', 'Which one for what?', 'In short'];
      const places = order.map((heading) => text.stdout.indexOf(heading));
      expect(places.every((place, i) => place > (places[i - 1] ?? 0))).toBe(true);
      expect(text.stdout).not.toMatch(COLOUR);
    },
    TIMEOUT,
  );

  test(
    'one telescope called two names: no verdict; pictures are whole, safe, and not overwritten',
    async () => {
      const cwd = folderWith({ 'a.fits': GOOD });
      const hostile = '<b>&"\u202e\u001b[31mx';
      const args = ['compare', `${hostile}=a.fits`, 'other=./a.fits', '--svg', 'pictures'];
      args.push('--html', 'page.html');
      const run = await bluerim([...args, '--color', 'always'], { cwd });
      expect(run.code, run.stderr).toBe(0);
      expect(run.stdout).toMatch(COLOUR);
      expect(run.stdout).not.toContain('\u001b[31mx');
      expect(run.stdout).not.toContain('\u202e');
      expect(run.stdout).toContain('none shown');
      expect(run.stdout).not.toMatch(/^FWHM green.* other/m);
      const names = readdirSync(join(cwd, 'pictures')).sort();
      expect(names).toEqual(['crops.svg', 'differences.svg', 'lenses.svg', 'profiles.svg']);
      for (const name of names) {
        const svg = readFileSync(join(cwd, 'pictures', name), 'utf8');
        expect(svg).toMatch(/^<svg xmlns="http:\/\/www\.w3\.org\/2000\/svg"[\s\S]*<\/svg>\n$/);
        expect(svg).toMatch(/<title>[^<]+<\/title><desc>[^<]+<\/desc>/);
        expect(svg).toContain('&lt;b&gt;');
        expect(svg).not.toMatch(/<b>|\u202e/);
        expect(svg).not.toContain('\u001b');
        expect(svg.match(/https?:/g)).toHaveLength(1);
        expect(svg).not.toMatch(/NaN|undefined|Infinity/);
      }
      const page = readFileSync(join(cwd, 'page.html'), 'utf8');
      expect(run.stderr).toContain('wrote page.html');
      expect(page).toMatch(/^<!DOCTYPE html>[\s\S]*<\/html>\n$/);
      expect(page).toContain('&lt;b&gt;');
      // The page's own script asks whether a cell is NaN; everything else must not hold such words.
      const shown = page.replace(/<script>[^<]*<\/script>/, '');
      expect(shown).toContain('<footer>');
      expect(shown).not.toContain('<script');
      expect(shown).not.toMatch(/<b>|\u202e| style=|NaN|undefined|Infinity|\[object/);
      expect(page).not.toContain('\u001b');
      expect(page.match(/<svg class="drawing/g)).toHaveLength(4);
      const again = await bluerim(args, { cwd });
      expect(again).toMatchObject({ code: 2, stdout: '' });
      expect(again.stderr).toContain('exists already');
    },
    TIMEOUT,
  );

  test(
    'what the user says of one telescope counts for it alone; one bad frame stops nothing',
    async () => {
      const cwd = folderWith({ 'a.fits': GOOD, 'b.fits': BLUE, 'bad.fits': 'SIMPLE  = oh' });
      const run = await bluerim(
        'compare good=a.fits bad.fits blue=b.fits --telescope blue:aperture=100,seeing=2.5 --json'.split(
          ' ',
        ),
        { cwd },
      );
      expect(run.code).toBe(1);
      expect(run.stderr).toMatch(/^error: bad\.fits: .+\n {2}what to do: /m);
      const document = JSON.parse(run.stdout) as CompareDocument;
      compareDocumentSchema.parse(document);
      expect(document.telescopes.map(({ apertureMm }) => apertureMm)).toEqual([80, 100]);
      expect(document.telescopes[0]?.failed.map(({ file }) => file)).toEqual(['bad.fits']);
      expect(document.parameters.telescopes.map(({ seeingArcsec }) => seeingArcsec)).toEqual([
        null,
        2.5,
      ]);
    },
    TIMEOUT,
  );

  test(
    'telescopes that look elsewhere are not compared',
    async () => {
      const cwd = folderWith({ 'a.fits': GOOD, 'b.fits': ELSEWHERE });
      const run = await bluerim(['compare', 'one=a.fits', 'other=b.fits', '-o', 'c.txt'], { cwd });
      expect(run).toMatchObject({ code: 1, stdout: '' });
      expect(run.stderr).toMatch(
        /^error: it is not sure that the stars of other are those of one: .+/m,
      );
      expect(run.stderr).toContain('what to do: ');
      expect(existsSync(join(cwd, 'c.txt'))).toBe(false);
      const missing = await bluerim(['compare', 'one=a.fits', 'other=nothing.fits'], { cwd });
      expect(missing).toMatchObject({ code: 1, stdout: '' });
      expect(missing.stderr).toContain('nothing.fits: no such file');
    },
    TIMEOUT,
  );

  test.each([
    [[], /no telescope is named/],
    [['a.fits', 'b.fits'], /which telescope is it from/],
    [['a=a.fits'], /only one telescope/],
    [['a=a.fits', 'a=b.fits'], /two telescopes are called a/],
    [['a=a.fits', 'b=b.fits', '--telescope', 'c:gain=1'], /no telescope of that name/],
    [['a=a.fits', 'b=b.fits', '--confidence', '95'], /from 0\.5 to 0\.9999/],
    [['a=a.fits', 'b=b.fits', '--max-stars', '2'], /at least 3/],
    [['a=a.fits', 'b=b.fits', '-o', '/'], /folder/],
    [['a=a.fits', 'b=b.fits', '-o', 'c.html', '--html', 'c.html'], /name the same file/],
  ])('%j: exit 2, nothing on stdout, and what to do', async (args, message) => {
    const run = await bluerim(['compare', ...args], { cwd: temporaryFolder() });
    expect(run).toMatchObject({ code: 2, stdout: '' });
    expect(run.stderr).toMatch(message);
    expect(run.stderr).toContain('what to do: ');
  });
});
