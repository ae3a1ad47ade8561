/** The documents of graded nights against the published schema, and the lines of records against themselves. */
import { Ajv2020 } from 'ajv/dist/2020.js';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { DEFAULT_GRADE_OPTIONS, gradeNight } from '../../src/grade/grade.js';
import { parseLine, readRecords, recordLine, runLine } from '../../src/grade/record-lines.js';
import { gradeDocument } from '../../src/report/grade-json.js';
import { nightText } from '../../src/report/grade-table.js';
import { jsonText } from '../../src/report/json.js';
import { PLAIN_STYLE } from '../../src/report/layout.js';
import { frameParameters } from '../../src/report/parameters.js';
import { jsonSchemaOf } from '../../src/report/schema.js';
import { makeNight } from '../helpers/night.js';

const frames = makeNight({
  seed: 3,
  frames: [
    ...Array.from({ length: 12 }, (_, i) => ({ ambientTemperatureC: 5 - i, wide: 1 + 0.02 * i })),
    { noStars: true },
    { transparency: 0.3 },
    { trail: true },
  ],
});
const parameters = { seed: 1, halo: true, ...frameParameters({}) };
const validate = new Ajv2020({ strict: true, allowUnionTypes: true }).compile(
  jsonSchemaOf('grade'),
);

describe('the document', () => {
  test.each([
    ['a night', frames],
    ['nothing', []],
    [
      'frames without stars',
      makeNight({ seed: 1, frames: [{ noStars: true }, { noStars: true }] }),
    ],
  ])('%s fits the schema', (_, records) => {
    const night = gradeNight(records, DEFAULT_GRADE_OPTIONS);
    const document = JSON.parse(
      jsonText(gradeDocument(night, parameters, DEFAULT_GRADE_OPTIONS, true)),
    );
    validate(document);
    expect(validate.errors ?? []).toEqual([]);
  });
});

describe('lines of records', () => {
  test('come back as they were', () => {
    const text =
      runLine('0.1.0', parameters) + frames.map((frame, i) => recordLine(i, frame)).join('');
    const read = readRecords(text);
    expect(read.faults).toEqual([]);
    expect(read.parameters).toEqual(parameters);
    expect(read.records.map(({ frame }) => frame)).toEqual(frames);
    expect(read.wholeBytes).toBe(Buffer.byteLength(text));
  });

  test('an interval without ends comes back as NaN, not as zero', () => {
    const frame = { ...frames[0], fwhmPx: { value: 3, low: Number.NaN, high: Number.NaN } };
    const parsed = parseLine(recordLine(0, frame as (typeof frames)[0]));
    expect(parsed).toMatchObject({ frame: { fwhmPx: { value: 3, low: Number.NaN } } });
  });

  test('a line cut short is left out, an earlier record of the same file gives way', () => {
    const first = recordLine(0, frames[0] as (typeof frames)[0]);
    const again = recordLine(0, { ...(frames[0] as (typeof frames)[0]), starsUsed: 7 });
    const text = runLine('0.1.0', {}) + first + again + first.slice(0, 200);
    const read = readRecords(text);
    expect(read.records).toHaveLength(1);
    expect(read.records[0]?.frame.starsUsed).toBe(7);
    expect(read.wholeBytes).toBe(Buffer.byteLength(text) - 200);
  });

  test('whatever is written in such a file, reading it never throws', () => {
    fc.assert(
      fc.property(fc.string(), fc.json(), (text, json) => {
        readRecords(`${text}\n${json}\n`);
        parseLine(text);
      }),
      { numRuns: 300, seed: 9 },
    );
  });

  test('a record with any one value replaced is read or refused, and what is read can be graded', () => {
    const line = JSON.parse(recordLine(0, frames[13] as (typeof frames)[0])) as {
      frame: Record<string, unknown>;
    };
    const keys = Object.keys(line.frame);
    fc.assert(
      fc.property(fc.constantFrom(...keys), fc.jsonValue(), (key, value) => {
        const changed = JSON.stringify({ ...line, frame: { ...line.frame, [key]: value } });
        const parsed = parseLine(changed);
        if (parsed !== null && 'frame' in parsed) gradeNight([parsed.frame], DEFAULT_GRADE_OPTIONS);
      }),
      { numRuns: 300, seed: 10 },
    );
  });
});

test('header text that a terminal would obey is shown, not sent', () => {
  const hostile = frames.slice(0, 6).map((frame, i) => ({
    ...frame,
    file: `sub\u001b[31m-${i}\u202e.fits`,
    metadata: frame.metadata && { ...frame.metadata, object: 'M\u001b]0;owned\u0007 \u202eevil' },
  }));
  const text = nightText(gradeNight(hostile, DEFAULT_GRADE_OPTIONS), 100, PLAIN_STYLE);
  // biome-ignore lint/suspicious/noControlCharactersInRegex: finding control characters is the purpose
  expect(text).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u007f-\u009f\u202e]/);
  expect(text).toContain('\\x1b');
});
