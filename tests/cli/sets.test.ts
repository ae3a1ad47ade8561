/** Filter sets, folders and lists from the command line. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { MeasureDocument } from '../../src/report/json.js';
import { measureDocumentSchema } from '../../src/report/schema.js';
import { bluerim, type Run, temporaryFolder } from '../helpers/run-bin.js';
import { starFrame, TELESCOPE_CARDS } from '../helpers/star-frame.js';

const TIMEOUT = 60_000;
/** Blue stars wider than green ones: σ in px through each filter. */
const SIGMA = { R: 1.6, G: 1.5, B: 2.2 } as const;

interface SetCards {
  filter?: string | null;
  dateObs?: string;
}

function frameOf(channel: 'R' | 'G' | 'B', cards: SetCards = {}): Uint8Array {
  const filter = cards.filter === undefined ? channel : cards.filter;
  return starFrame({
    pattern: null,
    sigma: SIGMA[channel],
    cards: [
      ...TELESCOPE_CARDS,
      ...(filter === null ? [] : [{ keyword: 'FILTER', value: filter }]),
      { keyword: 'OBJECT', value: 'invented cluster' },
      { keyword: 'DATE-OBS', value: cards.dateObs ?? '2026-03-01T21:00:00' },
    ],
  });
}

/** A folder with one frame per filter. */
function setFolder(cards: Partial<Record<'R' | 'G' | 'B', SetCards>> = {}): string {
  const cwd = temporaryFolder();
  for (const channel of ['R', 'G', 'B'] as const) {
    writeFileSync(join(cwd, `${channel.toLowerCase()}.fits`), frameOf(channel, cards[channel]));
  }
  return cwd;
}

const parse = (run: Run): MeasureDocument => JSON.parse(run.stdout) as MeasureDocument;

describe('--set', () => {
  test(
    'three named frames become one record with the wider blue in it',
    async () => {
      const cwd = setFolder();
      const names = ['R=r.fits', 'G=g.fits', 'B=b.fits'];
      const run = await bluerim(['measure', '--json', '--stars', 's.csv', '--set', ...names], {
        cwd,
      });
      expect(run.code, run.stderr).toBe(0);
      const document = parse(run);
      measureDocumentSchema.parse(document);
      const [frame] = document.frames;
      expect(frame?.file).toBe(names.join(' '));
      expect(frame?.layout).toBe('set');
      // FWHM of a Gaussian: 2.3548 σ; the pixel widens it a little.
      for (const channel of ['R', 'G', 'B'] as const) {
        const { fwhmPx } = frame?.channels[channel] ?? {};
        const expected = 2.3548 * Math.sqrt(SIGMA[channel] ** 2);
        expect(Math.abs((fwhmPx?.value ?? 0) / expected - 1), channel).toBeLessThan(0.04);
      }
      expect(frame?.halo?.blueMinusRed.excessPercent.low).toBeGreaterThan(5);
      expect(frame?.registration?.B.shiftPx).toBeLessThan(0.1);
      const text = await bluerim(['measure', '--set', ...names], { cwd });
      expect(text.stdout).toContain('three mono frames through filters');
      expect(text.stdout).toMatch(/registered +on green: red by \d+ stars/);
      expect(text.stderr).toContain('each filter has its own exposure');
    },
    TIMEOUT,
  );

  test(
    'a folder is sorted by FILTER in the order of time; a name that contradicts is reported',
    async () => {
      const cwd = temporaryFolder();
      const folder = join(cwd, 'night');
      mkdirSync(folder);
      for (const [name, channel, filter, minute] of [
        ['one.fits', 'R', 'Red', '00'],
        ['two.fits', 'G', 'Johnson V', '02'],
        ['three.fits', 'B', 'B', '04'],
        ['late_r.fits', 'G', 'green', '12'],
        ['late2.fits', 'B', 'blue', '14'],
        ['late3.fits', 'R', 'red', '10'],
        ['narrow.fits', 'R', 'Ha', '20'],
        ['rest.fits', 'G', 'G', '30'],
      ] as const) {
        writeFileSync(
          join(folder, name),
          frameOf(channel, { filter, dateObs: `2026-03-01T21:${minute}:00` }),
        );
      }
      const run = await bluerim(['measure', '--json', '--set', 'night'], { cwd });
      expect(run.code, run.stderr).toBe(0);
      const document = parse(run);
      expect(document.frames.map(({ setFiles }) => setFiles)).toEqual([
        { R: 'night/one.fits', G: 'night/two.fits', B: 'night/three.fits' },
        { R: 'night/late3.fits', G: 'night/late_r.fits', B: 'night/late2.fits' },
      ]);
      expect(document.combined?.layout).toBe('set');
      const codes = document.warnings.map(({ code, file }) => `${code} ${file}`);
      expect(codes).toContain('filter-contradiction night/late_r.fits');
      expect(codes).toContain('no-set-filter night/narrow.fits');
      expect(codes).toContain('set-incomplete night');
    },
    TIMEOUT,
  );

  test(
    'names decide when asked to, or when no header tells the filter',
    async () => {
      const cwd = setFolder({ R: { filter: 'g' }, G: { filter: null }, B: { filter: 'g' } });
      const byName = await bluerim(['measure', '--json', '--filter-from', 'name', '--set', '.'], {
        cwd,
      });
      expect(parse(byName).frames[0]?.setFiles).toEqual({ R: 'r.fits', G: 'g.fits', B: 'b.fits' });
      const byHeader = await bluerim(['measure', '--set', '.'], { cwd });
      expect(byHeader.code).toBe(1);
      expect(byHeader.stderr).toContain('error: .: no red, green and blue mono frame');
      expect(byHeader.stderr).toContain("the header names the filter 'g', the file name says R");
    },
    TIMEOUT,
  );

  test.each<[string, string[], RegExp]>([
    ['an incomplete set', ['R=r.fits', 'G=g.fits'], /--set lacks B/],
    ['an unknown channel', ['L=r.fits'], /--set L=r\.fits: no channel and no folder/],
  ])('%s is a usage error', async (_, values, fault) => {
    const run = await bluerim(['measure', '--set', ...values], { cwd: setFolder() });
    expect(run.code).toBe(2);
    expect(run.stderr).toMatch(fault);
  });

  test(
    'a missing or colour frame fails the set and names the file',
    async () => {
      const cwd = setFolder();
      writeFileSync(join(cwd, 'osc.fits'), starFrame());
      const missing = await bluerim(
        ['measure', '--set', 'R=r.fits', 'G=nothing.fits', 'B=b.fits'],
        { cwd },
      );
      expect(missing.code).toBe(1);
      expect(missing.stderr).toMatch(/nothing\.fits: no such file/);
      const colour = await bluerim(['measure', '--set', 'R=r.fits', 'G=osc.fits', 'B=b.fits'], {
        cwd,
      });
      expect(colour.stderr).toMatch(/osc\.fits: a filter set is made of mono frames/);
    },
    TIMEOUT,
  );
});

test('nothing named is a usage error', async () => {
  const run = await bluerim(['measure']);
  expect(run.code).toBe(2);
  expect(run.stderr).toContain('no frame is named');
});
