import { readFileSync } from 'node:fs';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, test } from 'vitest';
import type * as z from 'zod';
import { createCatalogue } from '../../src/catalogue/catalogue.js';
import { FLAG } from '../../src/catalogue/flags.js';
import { catalogueOfRecord, type StarListRecord } from '../../src/catalogue/star-list-record.js';
import { combineFrames } from '../../src/measure/combine.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import type { FrameResult } from '../../src/measure/result.js';
import {
  jsonReady,
  jsonText,
  type MeasureDocument,
  measureDocument,
} from '../../src/report/json.js';
import { jsonSchemaOf, type measureDocumentSchema } from '../../src/report/schema.js';
import { VERSION } from '../../src/version.js';
import { colourFixture, failedFixture, monoFixture } from '../helpers/frame-result.js';

/** True only if every document that the code can build is one that the schema describes; the compiler decides. */
type Described = MeasureDocument extends z.input<typeof measureDocumentSchema> ? true : never;
const described: Described = true;

const ajv = new Ajv2020({ strict: true, allowUnionTypes: true, allErrors: true });
const validate = ajv.compile(jsonSchemaOf('measure'));

function document(results: FrameResult[]): unknown {
  const text = jsonText(
    measureDocument(
      results,
      combineFrames(results),
      DEFAULT_MEASURE_OPTIONS,
      { cfa: 'RGGB', focalLengthMm: 400 },
      [{ code: 'run', message: 'of the run' }],
    ),
  );
  return JSON.parse(text);
}

function expectValid(value: unknown): void {
  expect(validate(value), JSON.stringify(validate.errors, null, 2)).toBe(true);
}

describe('measure document', () => {
  test('the record and the schema agree in their types', () => {
    expect(described).toBe(true);
  });

  test('is valid for colour, mono and failed frames together', () => {
    expectValid(document([colourFixture(), colourFixture('b'), monoFixture(), failedFixture()]));
  });

  test('stars come back as they went in, and a failed frame has none', () => {
    const catalogue = createCatalogue(3, ['R', 'G', 'B']);
    (catalogue.columns.x as Float64Array).set([1.25, 2.5, 3]);
    (catalogue.columns.fwhm_G as Float64Array).set([2, Number.NaN, 4]);
    catalogue.flags.set([0, FLAG.saturated | FLAG.edge, FLAG.faint]);
    const results = [colourFixture(), failedFixture()];
    const text = jsonText(
      measureDocument(
        results,
        null,
        DEFAULT_MEASURE_OPTIONS,
        {},
        [],
        [[{ file: 'a.fits', catalogue }], []],
      ),
    );
    const read = JSON.parse(text) as { frames: { starList?: StarListRecord[] }[] };
    expectValid(read);
    expect(read.frames[1]).not.toHaveProperty('starList');
    const record = read.frames[0]?.starList?.[0] as StarListRecord;
    expect(record.file).toBe('a.fits');
    expect(record.units.x).toBe('pix');
    expect(record.columns.fwhm_G).toEqual([2, null, 4]);
    expect(record.flagBits.edge).toBe(FLAG.edge);
    expect(catalogueOfRecord(record)).toEqual(catalogue);
  });

  test('flags of a record go by name: other bits are translated, unknown ones make a star unusable', () => {
    const record: StarListRecord = {
      file: 'a.fits',
      channels: ['L'],
      units: { x: 'pix' },
      columns: { x: [1, 2, 3], 'a column of later': [7, 8, 9] },
      flags: [0, 64, 128],
      flagBits: { edge: 64, 'a flag of later': 128 },
    };
    const { flags, columns } = catalogueOfRecord(record);
    expect([...flags]).toEqual([0, FLAG.edge, FLAG['poor fit']]);
    expect(columns).not.toHaveProperty('a column of later');
    expect(Number.isNaN((columns.y as Float64Array)[0])).toBe(true);
    expect(() => catalogueOfRecord({ ...record, columns: { x: [1, 2] } })).toThrow(RangeError);
  });

  test('is valid with nothing measured anywhere', () => {
    const bare = colourFixture('bare', null);
    const holes = JSON.parse(
      JSON.stringify(jsonReady(bare), (_, each) =>
        typeof each === 'object' && each !== null && 'low' in each && 'value' in each ? null : each,
      ),
    );
    expectValid(document([holes]));
  });

  test('an unknown field or a missing one is refused', () => {
    const good = document([colourFixture()]) as { frames: Record<string, unknown>[] };
    const extra = structuredClone(good);
    (extra.frames[0] as Record<string, unknown>).surprise = 1;
    expect(validate(extra)).toBe(false);
    const short = structuredClone(good);
    delete (short.frames[0] as Record<string, unknown>).stars;
    expect(validate(short)).toBe(false);
  });

  test('repeats every option and states the pixel origin', () => {
    const { parameters, version, schema } = document([colourFixture()]) as Record<string, unknown>;
    expect(schema).toBe('bluerim/measure/1');
    expect(version).toBe(VERSION);
    expect(parameters).toMatchObject({
      zone: 'all',
      maxStars: DEFAULT_MEASURE_OPTIONS.maxStars,
      seed: 1,
      cfa: 'RGGB',
      focalLengthMm: 400,
      apertureMm: null,
    });
    expect((parameters as { pixelOrigin: string }).pixelOrigin).toMatch(
      /^0-based.*centre of the first stored pixel/,
    );
  });

  test('gathers the warnings of the run and of each frame, with its file', () => {
    const doubtful = colourFixture('doubtful.fits');
    doubtful.warnings = [{ code: 'few-stars', message: 'only 12 stars' }];
    const { warnings } = document([doubtful]) as { warnings: unknown };
    expect(warnings).toEqual([
      { code: 'run', message: 'of the run' },
      { code: 'few-stars', message: 'only 12 stars', file: 'doubtful.fits' },
    ]);
  });

  test('describes every field', () => {
    const missing: string[] = [];
    const walk = (node: unknown, path: string): void => {
      if (node === null || typeof node !== 'object') return;
      const { properties } = node as { properties?: Record<string, object> };
      for (const [name, field] of Object.entries(properties ?? {})) {
        if (!('description' in field)) missing.push(`${path}.${name}`);
      }
      for (const [key, value] of Object.entries(node)) walk(value, `${path}.${key}`);
    };
    walk(jsonSchemaOf('measure'), '');
    expect(missing).toEqual([]);
  });
});

describe('JSON text', () => {
  test('not measured becomes null, whole and in arrays', () => {
    expect(
      jsonReady({
        a: Number.NaN,
        b: [1, Number.POSITIVE_INFINITY],
        c: { value: Number.NaN, low: 1, high: 2 },
        d: { value: 1, low: Number.NaN, high: 2 },
        e: new Float64Array([1, Number.NaN]),
        f: undefined,
        g: -0,
      }),
    ).toEqual({
      a: null,
      b: [1, null],
      c: null,
      d: { value: 1, low: null, high: 2 },
      e: [1, null],
      g: 0,
    });
    expect(JSON.parse(jsonText({ list: [Number.NaN, 1.5], none: [], empty: {} }))).toEqual({
      list: [null, 1.5],
      none: [],
      empty: {},
    });
  });

  test('keeps seven digits, and every digit of whole numbers', () => {
    expect(jsonReady(1 / 3)).toBe(0.3333333);
    expect(jsonReady(123456789012)).toBe(123456789012);
    expect(jsonReady(1.23456789e-9)).toBe(1.234568e-9);
  });

  test('carries no raw terminal control, and gives back the same string', () => {
    const text = jsonText({ object: 'M\u001b[2J\u009b\u202e13' });
    // biome-ignore lint/suspicious/noControlCharactersInRegex: looking for them is the test
    expect(text).not.toMatch(/[\u001b\u009b\u202e]/);
    expect(JSON.parse(text)).toEqual({ object: 'M\u001b[2J\u009b\u202e13' });
  });

  test('a key called __proto__ stays a key', () => {
    const record = JSON.parse('{"__proto__": 3}');
    expect(Object.keys(jsonReady(record) as object)).toEqual(['__proto__']);
  });
});

test('the version is that of package.json', () => {
  const file = new URL('../../package.json', import.meta.url);
  expect(VERSION).toBe(JSON.parse(readFileSync(file, 'utf8')).version);
});
