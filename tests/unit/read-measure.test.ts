import { describe, expect, test } from 'vitest';
import { createCatalogue } from '../../src/catalogue/catalogue.js';
import { FrameReadError } from '../../src/errors.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { jsonText, measureDocument } from '../../src/report/json.js';
import { readMeasureDocument } from '../../src/report/read-measure.js';
import { colourFixture, failedFixture, monoFixture } from '../helpers/frame-result.js';

function textWith(stars: number | null): string {
  const results = [failedFixture(), colourFixture(), monoFixture()];
  const catalogue = createCatalogue(stars ?? 0, ['R', 'G', 'B']);
  const lists = results.map(() => [{ file: 'a.fits', catalogue }]);
  return jsonText(
    measureDocument(results, null, DEFAULT_MEASURE_OPTIONS, {}, [], stars === null ? null : lists),
  );
}

function codeOf(text: string): [code: string, message: string, remedy: string] {
  try {
    readMeasureDocument(text, 'x.json');
  } catch (error) {
    expect(error).toBeInstanceOf(FrameReadError);
    const { code, message, remedy, path } = error as FrameReadError;
    expect(path).toBe('x.json');
    return [code, message, remedy];
  }
  throw new Error('no error');
}

describe('a measure document read back', () => {
  test('what was written comes back, fields of a later version included', () => {
    const text = textWith(5);
    expect(readMeasureDocument(text, 'x.json')).toEqual(JSON.parse(text));
    const later = text.replace('"version"', '"ofALaterVersion": 3,\n  "version"');
    expect(readMeasureDocument(later, 'x.json').frames).toHaveLength(3);
  });

  test('a header value that an earlier version did not know is null', () => {
    const earlier = JSON.parse(textWith(5));
    delete earlier.frames[1].metadata.airmass;
    const read = readMeasureDocument(JSON.stringify(earlier), 'x.json');
    expect(read.frames[1]?.metadata?.airmass).toBeNull();
  });

  const changed = (change: (document: ReturnType<typeof JSON.parse>) => void): string => {
    const document = JSON.parse(textWith(5));
    change(document);
    return JSON.stringify(document);
  };

  test('columns of unlike length, and widths that no star has, are faults of the record', () => {
    const list = (d: ReturnType<typeof JSON.parse>) => d.frames[1].starList[0];
    const faults: [RegExp, string][] = [
      [/columns\.x: 2 values for 5 stars/, changed((d) => list(d).columns.x.splice(2))],
      [/columns\.fwhm_G: a width below zero/, changed((d) => list(d).columns.fwhm_G.fill(-3))],
      [/G\.fwhmPx: a width of -3/, changed((d) => (d.frames[1].channels.G.fwhmPx.value = -3))],
    ];
    for (const [message, text] of faults) {
      expect(codeOf(text)).toEqual([
        'not-a-record',
        expect.stringMatching(message),
        expect.stringContaining('measure --with-stars'),
      ]);
    }
  });

  test('a channel that this version does not know is let pass, and not used', () => {
    const { frames } = readMeasureDocument(
      changed((d) => (d.frames[1].channels.Ha = {})),
      'x.json',
    );
    expect(Object.keys(frames[1]?.channels ?? {})).toEqual(['R', 'G', 'B']);
  });

  test('without stars: what to do', () => {
    const [code, message, remedy] = codeOf(textWith(null));
    expect(code).toBe('no-stars-in-record');
    expect(message).toMatch(/without the stars/);
    expect(remedy).toContain('measure --with-stars');
    expect(codeOf(textWith(0))[1]).toMatch(/no star was found/);
  });

  test('a result of `field` is named as such', () => {
    const [code, message, remedy] = codeOf('{"schema": "bluerim/field/1"}');
    expect(code).toBe('no-stars-in-record');
    expect(message).toContain('`field`');
    expect(remedy).toContain('measure --with-stars');
  });

  test.each([
    ['', 'not-json'],
    ['SIMPLE  =                    T', 'not-json'],
    ['null', 'not-a-record'],
    ['[1, 2]', 'not-a-record'],
    ['{"schema": 7}', 'not-a-record'],
    ['{"schema": "bluerim/compare/1"}', 'not-a-record'],
    ['{"schema": "bluerim/measure/1"}', 'not-a-record'],
    ['{"schema": "bluerim/measure/1", "frames": [null]}', 'not-a-record'],
  ])('%j is refused', (text, code) => {
    expect(codeOf(text)[0]).toBe(code);
  });

  test('a damaged list is refused with its place', () => {
    const [code, message] = codeOf(textWith(5).replace('"flags": [0,', '"flags": ["x",'));
    expect(code).toBe('not-a-record');
    expect(message).toMatch(/frames\.1\.starList\.0\.flags/);
  });
});
