/** Writer and reader are inverse to each other; any window of rows equals the same part of the whole. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { createFloatReader, createSampleArray } from '../../src/frame/convert.js';
import { parseCard } from '../../src/frame/fits/cards.js';
import { FitsHeader } from '../../src/frame/fits/header.js';
import { encodeFits, formatCard, type WritableSamples } from '../../src/frame/fits/write.js';
import { openFrame } from '../../src/frame/open.js';
import { temporaryFiles } from '../helpers/fits-bytes.js';

const save = temporaryFiles();

const ARRAYS = [
  Uint8Array,
  Int8Array,
  Uint16Array,
  Int16Array,
  Uint32Array,
  Int32Array,
  Float32Array,
  Float64Array,
] as const;

/** An image with random bytes as samples (NaN payloads and denormals included). */
const images = fc
  .record({
    kind: fc.nat(ARRAYS.length - 1),
    width: fc.integer({ min: 2, max: 40 }),
    height: fc.integer({ min: 2, max: 30 }),
    planes: fc.constantFrom(1, 3),
    bytes: fc.uint8Array({ minLength: 64, maxLength: 64 }),
  })
  .map(({ kind, width, height, planes, bytes }) => {
    const Kind = ARRAYS[kind] as (typeof ARRAYS)[number];
    const data = new Kind(width * height * planes) as WritableSamples;
    const raw = new Uint8Array(data.buffer);
    for (let i = 0; i < raw.length; i++) raw[i] = ((bytes[i % 64] as number) + 37 * (i >> 6)) & 255;
    return { width, height, planes, data };
  });

/** Equal to the last bit, NaN payloads included. */
function sameBytes(a: ArrayBufferView, b: ArrayBufferView): boolean {
  const bytes = (v: ArrayBufferView) => Buffer.from(v.buffer, v.byteOffset, v.byteLength);
  return bytes(a).equals(bytes(b));
}

test('what is written is read, whole and in windows', async () => {
  await fc.assert(
    fc.asyncProperty(images, fc.nat(), fc.nat(), fc.nat(5), async (image, a, b, at) => {
      const { width, height, planes, data } = image;
      const frame = await openFrame(save('image.fits', encodeFits(image)), { cfa: 'none' });
      const { rows } = frame;
      try {
        expect([rows.width, rows.height, rows.planes]).toEqual([width, height, planes]);
        const size = width * height;
        const whole = createSampleArray(rows.sampleType, size * planes);
        for (let plane = 0; plane < planes; plane++)
          rows.readRows(plane, 0, height, whole, plane * size);
        expect(sameBytes(whole, data)).toBe(true);

        const plane = a % planes;
        const y0 = a % height;
        const count = b % (height - y0 + 1);
        const part = createSampleArray(rows.sampleType, at + count * width);
        rows.readRows(plane, y0, count, part, at);
        const start = plane * size + y0 * width;
        expect(sameBytes(part.subarray(at), data.subarray(start, start + count * width))).toBe(
          true,
        );

        const floats = new Float32Array(at + count * width);
        createFloatReader(rows)(plane, y0, count, floats, at);
        const expected = Float32Array.from(data.subarray(start, start + count * width));
        expect(floats.subarray(at)).toEqual(expected);
      } finally {
        rows.close();
      }
    }),
    { numRuns: 150, seed: 20261125 },
  );
});

const printable = fc.string({
  unit: fc.integer({ min: 32, max: 126 }).map((c) => String.fromCharCode(c)),
  maxLength: 200,
});

test('strings of any length and any printable characters come back, but for trailing blanks', () => {
  fc.assert(
    fc.property(printable, printable, (value, comment) => {
      // An '&' at the very end of a string that needs no continuation is text (§4.2.1.2).
      const text = formatCard({ keyword: 'TEXT', value, comment });
      expect(text.length % 80).toBe(0);
      const header = new FitsHeader(text.match(/.{80}/g) ?? []);
      expect(header.find('TEXT')?.value).toBe(value.trimEnd());
    }),
    { numRuns: 500, seed: 20261125 },
  );
});

test('numbers come back exactly', () => {
  const numbers = fc.oneof(
    fc.double({ noNaN: true, noDefaultInfinity: true }),
    fc.integer(),
    fc.maxSafeInteger(),
  );
  fc.assert(
    fc.property(numbers, (value) => {
      const card = parseCard(formatCard({ keyword: 'VALUE', value }));
      expect(card.problem).toBeNull();
      expect(card.value === value).toBe(true);
    }),
    { numRuns: 500, seed: 20261125 },
  );
});

test('no card image makes the parser fail', () => {
  fc.assert(
    fc.property(fc.string({ unit: 'binary', maxLength: 80 }), (image) => {
      const card = parseCard(image);
      expect(['value', 'comment', 'continue', 'end']).toContain(card.kind);
    }),
    { numRuns: 1000, seed: 20261125 },
  );
});
