import { describe, expect, test } from 'vitest';
import { combineFrames } from '../../src/measure/combine.js';
import { frameText } from '../../src/report/frame-table.js';
import { framesText, shortNames } from '../../src/report/frames-table.js';
import { columnsText, PLAIN_STYLE, visibleWidth, wrap } from '../../src/report/layout.js';
import { reportText } from '../../src/report/table.js';
import { rejectionWords } from '../../src/report/words.js';
import { colourFixture, failedFixture, monoFixture } from '../helpers/frame-result.js';

const lines = (text: string): string[] => text.split('\n');

describe('one frame', () => {
  test.each([100, 80, 60])('no line is wider than %i characters', (width) => {
    for (const result of [colourFixture(), colourFixture('f', null), monoFixture()]) {
      for (const line of lines(frameText(result, width, PLAIN_STYLE))) {
        expect(visibleWidth(line), line).toBeLessThanOrEqual(width);
      }
    }
  });

  test('shows every number with the digits its error allows, px and arcsec', () => {
    const text = frameText(colourFixture(), 100, PLAIN_STYLE);
    // fixture: red 3.42 ± 0.031 px at 1.5 arcsec per px → 5.13 arcsec
    expect(text).toMatch(/^red +3\.42 ± 0\.03 /m);
    expect(text).toMatch(/^ {2}″ +5\.13 /m);
    expect(text).toContain('0.031 ± 0.004 112°');
    // 16.4 − (−0.8) = 17.2
    expect(text).toMatch(/^blue − red +\+16\.4 ± 0\.6 +−0\.8 +\+17\.2 ± 0\.6 +9\.1$/m);
    expect(text).toContain('61 ± 4 µm out of focus (f/8500)');
    expect(text).toContain('496 found, 321 used; left out: 84 blended with neighbours');
    expect(text.trimEnd().endsWith('blue light spreads well beyond red.')).toBe(true);
  });

  test('a mono frame shows no colour block', () => {
    const text = frameText(monoFixture(), 100, PLAIN_STYLE);
    expect(text).not.toMatch(/halo|tint|blue|colour/i);
    expect(text).toMatch(/^mono +3\.20 ± 0\.03/m);
  });

  test('sizes that were not measured leave no column and no zero', () => {
    const result = colourFixture('empty.fits', null);
    for (const channel of Object.values(result.channels)) {
      channel.fwhmPx = null;
      channel.hfdPx = null;
      channel.r50Px = null;
      channel.r80Px = null;
      channel.r90Px = null;
      channel.ellipticity = null;
    }
    result.halo = null;
    const text = frameText(result, 100, PLAIN_STYLE);
    expect(text).not.toContain('FWHM');
    expect(text).toMatch(/^red +2181\.4 +14\.21$/m);
  });

  test('no direction is given where roundness is not excluded', () => {
    const result = monoFixture();
    const channel = result.channels.L;
    if (channel === undefined) throw new Error('fixture without channel L');
    channel.ellipticity = { value: 0.01, low: 0, high: 0.02 };
    expect(frameText(result, 100, PLAIN_STYLE)).not.toContain('112°');
  });

  test('a path with terminal commands is shown, not obeyed', () => {
    const text = frameText(colourFixture('evil\u001b[2J\u202e.fits'), 100, PLAIN_STYLE);
    expect(text).toContain('evil\\x1b[2J\\u{202e}.fits');
    expect(text).not.toContain('\u001b');
  });
});

describe('several frames', () => {
  const results = [
    colourFixture('a.fits'),
    failedFixture('b.fits'),
    colourFixture('c.fits'),
    monoFixture('d.fits'),
  ];

  test('a row each in input order, a combined row, and the note', () => {
    const text = framesText(results, combineFrames(results), 100, PLAIN_STYLE);
    const rows = lines(text).filter((line) => /^(a|b|c|d)\.fits|^2 combined/.test(line));
    expect(rows.map((row) => row.split(/ {2,}/).slice(0, 2))).toEqual([
      ['a.fits', '321'],
      ['b.fits', 'failed'],
      ['c.fits', '321'],
      ['d.fits', '321'],
      ['2 combined', '642'],
    ]);
    expect(text).toContain('Note: 1 frame is of another layout and left out.');
  });

  test.each([100, 80, 60])('no line is wider than %i characters', (width) => {
    const long = results.map((each) => ({ ...each, file: `/a/very/long/path/to/${each.file}` }));
    for (const line of lines(framesText(long, combineFrames(long), width, PLAIN_STYLE))) {
      expect(visibleWidth(line), line).toBeLessThanOrEqual(width);
    }
  });

  test('data that is not linear is pointed out', () => {
    const bent = colourFixture('bent.fits');
    bent.linearity = { verdict: 'stretched', sizeTrendPercentPerDecade: null, reasons: [] };
    expect(framesText([bent, colourFixture()], null, 100, PLAIN_STYLE)).toContain('stretched');
    expect(framesText(results, null, 100, PLAIN_STYLE)).not.toContain('linear');
  });
});

test('the only frame failed: nothing on stdout', () => {
  expect(reportText([failedFixture()], null, 100, PLAIN_STYLE)).toBe('');
});

test('names: without folders where they stay distinct, the end kept where too long', () => {
  expect(shortNames(['/night/1/a.fits', 'b.fits', 'C:\\night\\c.fits'])).toEqual([
    'a.fits',
    'b.fits',
    'c.fits',
  ]);
  expect(shortNames(['/night/1/a.fits', '/night/2/a.fits'])).toEqual([
    '/night/1/a.fits',
    '/night/2/a.fits',
  ]);
  const [long] = shortNames([`light_${'x'.repeat(40)}_0001.fits`]);
  expect(long).toMatch(/^…x+_0001\.fits$/);
  expect(long).toHaveLength(32);
  expect(shortNames(['folder/'])).toEqual(['folder/']);
});

test('reasons are listed by count and unknown ones kept', () => {
  expect(rejectionWords({ edge: 2, saturated: 5, 'new reason': 3, trail: 0, 'hot pixel': 1 })).toBe(
    '5 saturated, 3 new reason, 2 at an edge, 1 hot pixel',
  );
});

describe('layout', () => {
  test('columns that do not fit follow below with the first column repeated', () => {
    const column = (head: string) => ({ head, cells: ['1234567890', 'x'] });
    const text = columnsText(
      [{ head: '', cells: ['red', 'blue'] }, column('one'), column('two'), column('three')],
      30,
      PLAIN_STYLE,
    );
    expect(text).toBe(
      [
        '      one         two',
        'red   1234567890  1234567890',
        'blue  x           x',
        '',
        '      three',
        'red   1234567890',
        'blue  x',
      ].join('\n'),
    );
  });

  test('wrap breaks at spaces only and keeps long words whole', () => {
    expect(wrap('aa bb cc verylongword', 6, 2)).toBe('aa bb\n  cc\n  verylongword');
  });

  test('our own colour codes take no width', () => {
    expect(visibleWidth('\u001b[31mred\u001b[39m')).toBe(3);
  });
});
