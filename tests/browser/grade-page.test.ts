/** The page of a graded night in a real browser. Skipped, visibly, where none is found. */
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { gradeNight } from '../../src/grade/grade.js';
import type { GradeOptions } from '../../src/grade/result.js';
import { gradeDocument } from '../../src/report/grade-json.js';
import { gradePage } from '../../src/report/grade-page.js';
import { frameParameters } from '../../src/report/parameters.js';
import { BROWSER, checkPage, launchBrowser } from '../helpers/browser.js';
import { makeNight, type Planted } from '../helpers/night.js';

const HOSTILE = `=1+1"><script>document.title='owned'</script><img src=x onerror="alert(1)">'&lt;\u202etxt.\u001b[31m</h1>`;
const OPTIONS: GradeOptions = {
  strictness: 'normal',
  maxFwhmArcsec: null,
  maxFwhmPx: null,
  maxEllipticity: null,
  minTransparency: null,
  maxBackgroundAdu: null,
  minStars: null,
  reference: null,
};

/** Frames number 9, 19, … are wide, 14, 24, … under cloud, the last without stars. */
function plan(frames: number): Planted[] {
  return Array.from({ length: frames }, (_, i): Planted => {
    if (i === frames - 1) return { noStars: true };
    if (i % 10 === 9) return { wide: 1.8 };
    return i % 10 === 4 && i > 10 ? { transparency: 0.4 } : { shift: [i % 7, -(i % 5)] };
  });
}

/**
 * @param text stands wherever a record carries text from outside
 * @param nights the graded frames are listed so often, under other names
 */
function page(frames: number, text: string, nights = 1): string {
  const night = makeNight({ seed: 41, frames: plan(frames), stars: 60, object: `Field ${text}` });
  for (const frame of night) {
    frame.file = `${text}/${frame.file}${text}`;
    frame.warnings = [{ code: 'odd', message: text, file: frame.file }];
  }
  const graded = gradeNight(night, OPTIONS);
  graded.warnings.push(...night.flatMap(({ warnings }) => warnings));
  const once = graded.frames;
  graded.frames = Array.from({ length: nights }, (_, k) =>
    once.map((frame) => ({ ...frame, file: k === 0 ? frame.file : `${k}-${frame.file}${k}` })),
  ).flat();
  const parameters = { seed: 1, halo: true, ...frameParameters({}) };
  return gradePage(gradeDocument(graded, parameters, OPTIONS, true));
}

describe.skipIf(BROWSER === undefined)('the page of a night in a browser', () => {
  let browser: Browser;
  beforeAll(async () => {
    browser = await launchBrowser();
  });
  afterAll(() => browser?.close());

  test('hostile names show as text; marks of each decision; every frame has a row', async () => {
    const shown = await checkPage(browser, page(40, HOSTILE));
    expect(await shown.title()).toContain('<script>');
    expect(await shown.locator('script').count()).toBe(1);
    expect(await shown.locator('img').count()).toBe(0);
    expect(await shown.locator('#frames tbody tr').count()).toBe(40);
    const dropped = await shown.locator('#frames tbody tr', { hasText: '× drop' }).count();
    // Three wide ones, one without stars, three under cloud.
    expect(dropped).toBe(7);
    // Discs and crosses: no line of the drawing tells decisions by colour alone.
    expect(await shown.locator('#pictures path.s1[d$="h0"]').count()).toBe(5);
    expect(await shown.locator('#pictures path.s3[d*="l8 8m0-8l-8 8"]').count()).toBe(5);
    // The same warning of forty frames is told once.
    expect(await shown.locator('#warnings li').filter({ hasText: '40 frames' }).count()).toBe(1);
    await shown.close();
  });
});

describe('a long night', () => {
  test('2000 frames with long names stay below 2 MB; what is left out is told', () => {
    const text = page(40, 'long-name-'.repeat(12), 50);
    expect(Buffer.byteLength(text)).toBeLessThan(2 * 1024 * 1024);
    expect(text).toContain('800 of 2000 frames are left out here');
    // All frames that are not kept are among those shown.
    expect(text.match(/× drop<\/td>/g)?.length).toBe(7 * 50);
  });
});
