/** Pages in a real browser: what every page must keep, checked with one call. */
import { existsSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import axe from 'axe-core';
import { type Browser, chromium, type Page } from 'playwright-core';
import { expect } from 'vitest';
import { temporaryFolder } from './run-bin.js';

const USUAL_PATHS = [
  process.env.BLUERIM_CHROMIUM ?? '',
  '/usr/bin/chromium',
  '/usr/bin/chromium-browser',
  '/usr/bin/google-chrome',
];

/** Path of a browser, or undefined: tests then skip. `BLUERIM_CHROMIUM` names another. */
export const BROWSER = USUAL_PATHS.find((path) => path !== '' && existsSync(path));

export function launchBrowser(): Promise<Browser> {
  return chromium.launch({ executablePath: BROWSER as string, args: ['--no-sandbox'] });
}

/** Longest page in bytes: what can still be mailed. */
const MOST_BYTES = 2 * 1024 * 1024;
/** Narrowest phone, CSS px. */
const PHONE = { width: 360, height: 740 };
const DESKTOP = { width: 1280, height: 900 };

/**
 * Opens the page as a file and checks: no message, no request but its own, no dialog, no rule of axe broken in light and
 * dark, no sideways scrolling on a phone, readable without scripts, prints. Returns the page, at desktop width, for further checks; the
 * caller closes it.
 */
export async function checkPage(browser: Browser, text: string): Promise<Page> {
  expect(Buffer.byteLength(text)).toBeLessThan(MOST_BYTES);
  const file = join(temporaryFolder(), 'page.html');
  writeFileSync(file, text);
  const address = pathToFileURL(file).href;
  const page = await browser.newPage({ viewport: DESKTOP });
  const seen: string[] = [];
  page.on('console', (message) => seen.push(`console: ${message.text()}`));
  page.on('pageerror', (error) => seen.push(`error: ${error.message}`));
  page.on('dialog', (dialog) => {
    seen.push(`dialog: ${dialog.message()}`);
    void dialog.dismiss();
  });
  page.on('request', (request) => {
    const url = request.url();
    if (url !== address && !url.startsWith('data:')) seen.push(`request: ${url}`);
  });
  await page.goto(address, { waitUntil: 'load' });
  await page.setViewportSize(PHONE);
  const overflow = await page.evaluate<number>(
    'document.documentElement.scrollWidth - document.documentElement.clientWidth',
  );
  expect(overflow, 'px beyond the width of a phone').toBeLessThanOrEqual(0);
  await page.setViewportSize(DESKTOP);
  const pdf = await page.pdf({ format: 'A4' });
  expect(pdf.subarray(0, 5).toString('latin1')).toBe('%PDF-');
  expect(seen.join('\n')).toBe('');

  // The checker is not part of the page: its policy would keep it out. Hence a second page without one.
  const open = await browser.newPage({ viewport: DESKTOP, bypassCSP: true });
  await open.goto(address);
  await open.addScriptTag({ content: axe.source });
  for (const colorScheme of ['light', 'dark'] as const) {
    await open.emulateMedia({ colorScheme });
    expect(await brokenRules(open), `axe, ${colorScheme}`).toEqual([]);
  }
  await open.close();
  return page;
}

/** Rules of axe that the page breaks, each with the elements. */
function brokenRules(page: Page): Promise<string[]> {
  return page.evaluate(async () => {
    const { axe } = globalThis as unknown as {
      axe: {
        run: () => Promise<{ violations: { id: string; nodes: { html: string }[] }[] }>;
      };
    };
    const { violations } = await axe.run();
    return violations.map(
      ({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html.slice(0, 160)).join(' | ')}`,
    );
  });
}
