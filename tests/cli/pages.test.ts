/** Pages and pictures from the command line: written whole, refused early, complete. What a browser makes of them: tests/browser. */
import { existsSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { BROWSER, checkPage, launchBrowser } from '../helpers/browser.js';
import { bluerim, temporaryFolder } from '../helpers/run-bin.js';
import { starFrame, TELESCOPE_CARDS } from '../helpers/star-frame.js';

const FRAME = starFrame({ pattern: 'RGGB', width: 400, height: 320, cards: TELESCOPE_CARDS });
/** A name that would be markup. */
const NAME = 'a"<b>&.fits';

function folder(): string {
  const cwd = temporaryFolder();
  writeFileSync(join(cwd, NAME), FRAME);
  return cwd;
}

/** What must hold for any page: one file, nothing from outside, numbers where there are numbers. */
function expectSelfContained(page: string): void {
  expect(page.startsWith('<!DOCTYPE html>')).toBe(true);
  // The namespace of SVG is not written in HTML, so no address is left at all.
  expect(page.match(/https?:|(?:src|href|action)="(?!data:|#)[^"]*"/g)).toBeNull();
  const shown = page.slice(page.indexOf('<body>'), page.indexOf('<script>'));
  expect(shown.match(/NaN|undefined|Infinity|\[object/g)).toBeNull();
  const policy = "default-src 'none'; img-src data:; style-src 'sha256-";
  expect(page.includes(policy)).toBe(true);
  expect(page.match(/<b>| style=| on[a-z]+="/g)).toBeNull();
}

describe('pages and pictures', () => {
  test('measure writes a page, SVG and PNG; a second run keeps them', async () => {
    const cwd = folder();
    const args = ['measure', '--html', 'p.html', '--svg', 'v', '--png', 'n', NAME];
    const run = await bluerim(args, { cwd });
    expect(run.code, run.stderr).toBe(0);
    const page = readFileSync(join(cwd, 'p.html'), 'utf8');
    expectSelfContained(
      page.replaceAll(/data:image\/(?:webp|png);base64,[A-Za-z0-9+/=]+/g, 'data:'),
    );
    expect(page.includes('a&quot;&lt;b&gt;&amp;.fits')).toBe(true);
    // Three curves, the stamps, the frame.
    expect(page.match(/<figure>/g)).toHaveLength(5);
    const names = ['contrast', 'encircled', 'profiles'];
    expect(readdirSync(join(cwd, 'v')).sort()).toEqual(names.map((name) => `${name}.svg`));
    expect(readdirSync(join(cwd, 'n')).sort()).toEqual(names.map((name) => `${name}.png`));
    const svg = readFileSync(join(cwd, 'v', 'profiles.svg'), 'utf8');
    const [, width] = svg.match(/ width="(\d+)"/) ?? [];
    const png = await sharp(join(cwd, 'n', 'profiles.png')).metadata();
    // Two pixels for each unit.
    expect(png.width).toBe(2 * Number(width));
    const again = await bluerim(args, { cwd });
    expect(again.code).toBe(2);
    expect(again.stderr).toContain('exists already');
    expect(readFileSync(join(cwd, 'p.html'), 'utf8') === page).toBe(true);
  });

  test('letters appear in PNG: the line of the title is not empty', async () => {
    const cwd = folder();
    const run = await bluerim(['measure', '--png', 'n', NAME], { cwd });
    expect(run.code, run.stderr).toBe(0);
    const title = await sharp(join(cwd, 'n', 'profiles.png'))
      .extract({ left: 2 * 74, top: 2 * 6, width: 2 * 180, height: 2 * 18 })
      .greyscale()
      .raw()
      .toBuffer();
    const dark = title.filter((value) => value < 100).length;
    // A line of 25 bold letters covers some hundredths of its box; an empty one nothing, boxes of missing letters about as much.
    expect(dark / title.length).toBeGreaterThan(0.03);
  });

  test('field writes its page', async () => {
    const cwd = folder();
    const run = await bluerim(['field', '--html', 'f.html', '--png', 'n', NAME], { cwd });
    expect(run.code, run.stderr).toBe(0);
    const page = readFileSync(join(cwd, 'f.html'), 'utf8');
    expectSelfContained(page.replaceAll(/data:image\/png;base64,[A-Za-z0-9+/=]+/g, 'data:'));
    expect(existsSync(join(cwd, 'n', 'whiskers.png'))).toBe(true);
  });

  test('a page that cannot be written is refused before the work', async () => {
    const cwd = folder();
    const run = await bluerim(['measure', '--html', 'nowhere/p.html', NAME], { cwd });
    expect(run.code).toBe(2);
    expect(run.stdout).toBe('');
    const same = await bluerim(['measure', '--html', 'p.html', '-o', 'p.html', NAME], { cwd });
    expect(same.code).toBe(2);
    expect(existsSync(join(cwd, 'p.html'))).toBe(false);
  });

  test.skipIf(BROWSER === undefined)('the page with the frame’s image, in a browser', async () => {
    const cwd = folder();
    const run = await bluerim(['measure', '--html', 'p.html', NAME], { cwd });
    expect(run.code, run.stderr).toBe(0);
    const browser = await launchBrowser();
    try {
      const page = await checkPage(browser, readFileSync(join(cwd, 'p.html'), 'utf8'));
      const image = page.locator('figure img');
      await image.scrollIntoViewIfNeeded();
      const decoded = "document.querySelector('figure img').naturalWidth";
      await page.waitForFunction(`${decoded} > 0`);
      expect(await page.evaluate<number>(decoded)).toBe(Number(await image.getAttribute('width')));
    } finally {
      await browser.close();
    }
  });
});
