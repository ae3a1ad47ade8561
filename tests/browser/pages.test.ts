/** Pages of `measure`, `field` and `compare` in a real browser. Skipped, visibly, where none is found. */
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { DEFAULT_COMPARE_OPTIONS } from '../../src/compare/options.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import type { FrameResult } from '../../src/measure/result.js';
import { compareDocument } from '../../src/report/compare-json.js';
import { comparePage } from '../../src/report/compare-page.js';
import { comparePictures } from '../../src/report/compare-pictures.js';
import { measureDocument } from '../../src/report/json.js';
import { measurePage } from '../../src/report/measure-page.js';
import { BROWSER, checkPage, launchBrowser } from '../helpers/browser.js';
import { comparisonFixture } from '../helpers/comparison.js';
import { fieldPageFixture } from '../helpers/field-page.js';
import { colourFixture, failedFixture, monoFixture } from '../helpers/frame-result.js';

/** Markup, quotes, a formula, a right-to-left override and a terminal escape, as a header might carry them. */
const HOSTILE = `=1+1"><script>document.title='owned'</script><img src=x onerror="alert(1)">'&lt;\u202etxt.\u001b[31m</h1>`;

function page(frames: FrameResult[]): string {
  return measurePage(measureDocument(frames, null, DEFAULT_MEASURE_OPTIONS, {}, []), []);
}

describe.skipIf(BROWSER === undefined)('in a browser', () => {
  let browser: Browser;
  beforeAll(async () => {
    browser = await launchBrowser();
  });
  afterAll(() => browser?.close());

  test('measure, one frame, whose names are hostile: they show as text', async () => {
    const frame = colourFixture(`${HOSTILE}.fits`);
    if (frame.metadata === null) throw new Error('the fixture has metadata');
    frame.metadata.object = HOSTILE;
    frame.sentence = HOSTILE;
    frame.warnings = [{ code: 'odd', message: HOSTILE }];
    const shown = await checkPage(browser, page([frame]));
    expect(await shown.title()).toContain('=1+1"><script>');
    expect(await shown.locator('script').count()).toBe(1);
    expect(await shown.locator('img').count()).toBe(0);
    const text = await shown.locator('#summary').textContent();
    expect(text).toBe(
      `=1+1"><script>document.title='owned'</script><img src=x onerror="alert(1)">'&lt;\\u{202e}txt.\\x1b[31m</h1>`,
    );
    // Three pictures, each with a name.
    expect(await shown.getByRole('img').count()).toBe(3);
    await shown.close();
  });

  test('measure, several frames, one failed', async () => {
    const shown = await checkPage(
      browser,
      page([colourFixture('a.fits'), monoFixture('b.fits'), failedFixture('c.fits')]),
    );
    expect(await shown.locator('#frames tbody tr').count()).toBe(3);
    await shown.close();
  });

  test('field; its table sorts by a click', async () => {
    const shown = await checkPage(browser, fieldPageFixture(HOSTILE));
    const table = shown.locator('table', { hasText: 'Stars of each cell' });
    const sizes = () => table.locator('tbody tr td:nth-child(4)').allInnerTexts();
    const before = (await sizes()).map(Number.parseFloat);
    expect(before.length).toBeGreaterThan(3);
    await table.getByRole('button', { name: 'FWHM' }).click();
    const sorted = (await sizes()).map(Number.parseFloat);
    expect(sorted).toEqual([...before].sort((a, b) => a - b));
    expect(sorted).not.toEqual(before);
    await shown.close();
  });

  test('compare, whose labels, files and sentences are hostile; letters lead to what is unfair', async () => {
    const labels = [HOSTILE, 'long', '日本の望遠鏡'];
    const comparison = comparisonFixture(labels);
    const [first] = comparison.telescopes;
    if (first === undefined) throw new Error('the fixture has telescopes');
    first.files = [`${HOSTILE}.fits`];
    first.failed = [{ file: HOSTILE, error: { code: 'odd', message: HOSTILE, remedy: HOSTILE } }];
    comparison.summary.push(HOSTILE);
    comparison.warnings = [{ code: 'odd', message: HOSTILE }];
    const telescopes = labels.map((label) => ({
      label,
      overrides: { apertureMm: 80 },
      seeingArcsec: null,
    }));
    const document = compareDocument(comparison, DEFAULT_COMPARE_OPTIONS, {}, telescopes);
    const pictures = comparePictures(comparison, { crops: [], images: [], brightest: 1 });
    const shown = await checkPage(browser, comparePage(document, pictures));
    expect(await shown.locator('script').count()).toBe(1);
    expect(await shown.locator('img').count()).toBe(0);
    expect(await shown.locator('#summary').textContent()).toContain('<img src=x onerror=');
    expect(await shown.locator('#pictures figure').count()).toBe(pictures.length);
    expect(pictures.length).toBe(3);

    const row = shown.locator('#rows tr', {
      has: shown.getByText('FWHM green, ″', { exact: true }),
    });
    const cells = await row.locator('td').allInnerTexts();
    expect(cells.slice(0, 3)).toEqual(['3.440 ± 0.031', '3.140 ± 0.031', '2.840 ± 0.031']);
    expect(cells[3]).toMatch(/^−0\.3\d+ ± 0\.04\d*\n日本の望遠鏡 − /);
    expect(cells[4]).toBe('日本の望遠鏡 (a)');
    expect(cells[5]).toBe('287');
    const target = await row.getByRole('link', { name: 'a', exact: true }).getAttribute('href');
    expect(await shown.locator(target as string).textContent()).toBe('(a) seeing');
    expect(await shown.locator('#method').textContent()).not.toContain('[object');
    await shown.close();
  });

  test('the checks can fail: an inline style and a picture from outside are seen', async () => {
    const good = page([monoFixture()]);
    const styled = good.replace('<main>', '<main style="margin:0">');
    await expect(checkPage(browser, styled)).rejects.toThrow(/console/);
    const outside = good.replace(
      '<main>',
      '<main><img alt="" src="https://example.invalid/a.png">',
    );
    await expect(checkPage(browser, outside)).rejects.toThrow(/console|request/);
    const wide = good.replace('<main>', `<main><pre>${'x'.repeat(400)}</pre>`);
    await expect(checkPage(browser, wide)).rejects.toThrow(/width of a phone/);
  });
});
