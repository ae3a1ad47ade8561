/** Pixels of real FITS files against astropy (values frozen by fixtures/reference/fits.py, which names the versions). */
import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { createFloatReader, createSampleArray } from '../../src/frame/convert.js';
import type { RowSource } from '../../src/frame/frame.js';
import { openFrame } from '../../src/frame/open.js';
import { expectClose } from '../expect-close.js';
import { findData, fixture } from '../helpers/data-files.js';
import { temporaryFiles, unitBytes } from '../helpers/fits-bytes.js';

interface FrozenFrame {
  file: string;
  hdu: number;
  /** As numpy has it: slowest axis first. */
  shape: number[];
  sum: number;
  min: number | null;
  max: number | null;
  notFinite: number;
  probes: [number, number | string][];
  float64: string;
  float32: string;
}

const frozen: FrozenFrame[] = JSON.parse(
  readFileSync(fixture('reference/fits-pixels.json'), 'utf8'),
).frames;

/** Planes that the product reads of a cube that is neither mono nor R, G, B: the first only. */
const FIRST_PLANE_ONLY = new Set(['HST_WFPC_II.fits', 'tst0009.fits', 'tst0011.fits']);

/** All planes in double precision: zero + scale × stored, NaN for BLANK. */
function physicalValues(rows: RowSource): Float64Array {
  const { width, height, planes, scale, zero, blank } = rows;
  const native = createSampleArray(rows.sampleType, width * height * planes);
  for (let plane = 0; plane < planes; plane++) {
    rows.readRows(plane, 0, height, native, plane * width * height);
  }
  const values = new Float64Array(native.length);
  for (let i = 0; i < native.length; i++) {
    const stored = native[i] as number;
    values[i] = stored === blank || Number.isNaN(stored) ? Number.NaN : zero + scale * stored;
  }
  return values;
}

function digest(values: Float64Array | Float32Array): string {
  const bytes = new Uint8Array(values.buffer, values.byteOffset, values.byteLength);
  return createHash('sha256').update(bytes).digest('hex');
}

describe('pixels equal astropy 5.2.1', () => {
  for (const reference of frozen) {
    const path = findData(reference.file);
    const name = `${reference.file} unit ${reference.hdu}`;
    test.skipIf(path === null)(name, async () => {
      const frame = await openFrame(path as string, { hdu: reference.hdu, cfa: 'none' });
      const { rows } = frame;
      const values = physicalValues(rows);
      const floats = new Float32Array(values.length);
      const read = createFloatReader(rows);
      for (let plane = 0; plane < rows.planes; plane++) {
        read(plane, 0, rows.height, floats, plane * rows.width * rows.height);
      }
      rows.close();

      const [height, width] = reference.shape.slice(-2);
      expect([rows.width, rows.height]).toEqual([width, height]);
      for (const [index, value] of reference.probes) {
        if (index < values.length) expect(values[index]).toBe(Number(value));
      }
      const cube = FIRST_PLANE_ONLY.has(reference.file.split('/')[1] as string);
      if (cube) {
        expect(frame.warnings.map((w) => w.code)).toContain('extra-planes');
        expect(values.length).toBe((width as number) * (height as number));
        expectClose(floats, Float32Array.from(values), {});
        return;
      }
      let sum = 0;
      let notFinite = 0;
      let low = Number.POSITIVE_INFINITY;
      let high = Number.NEGATIVE_INFINITY;
      for (const value of values) {
        if (!Number.isFinite(value)) {
          notFinite++;
          continue;
        }
        sum += value;
        if (value < low) low = value;
        if (value > high) high = value;
      }
      // numpy's sum is exact (fsum); ours rounds once per pixel, to 1e-16 of sums up to 1e5 times larger.
      expectClose(sum, reference.sum, { rtol: 1e-10, atol: 1e-6 });
      if (reference.min !== null) expect([low, high]).toEqual([reference.min, reference.max]);
      expect(notFinite).toBe(reference.notFinite);
      expect(digest(values)).toBe(reference.float64);
      expect(digest(floats)).toBe(reference.float32);
    });
  }
});

describe('special values', () => {
  const save = temporaryFiles();
  const path = findData('5_fits_conformance/tst0007.fits');

  test.skipIf(path === null)(
    'NaN, infinities and denormals of the classic IEEE test unit',
    async () => {
      // The unit is one-dimensional (38 values): its samples are wrapped as an image of 19 × 2.
      const start = 2 * 2880; // the header fills two blocks
      const samples = readFileSync(path as string).subarray(start, start + 38 * 4);
      const cards = ['SIMPLE  = T', 'BITPIX  = -32', 'NAXIS   = 2', 'NAXIS1  = 19', 'NAXIS2  = 2'];
      const frame = await openFrame(save('ieee.fits', unitBytes(cards, samples)));
      const floats = new Float32Array(38);
      createFloatReader(frame.rows)(0, 0, 2, floats);
      frame.rows.close();
      // DataView reads big-endian by definition (ECMAScript): an independent twin of the byte swap.
      const view = new DataView(samples.buffer, samples.byteOffset);
      const expected = Float32Array.from({ length: 38 }, (_, i) => view.getFloat32(4 * i));
      expect(floats).toEqual(expected);
      expect(expected.some(Number.isNaN)).toBe(true);
      expect(expected.includes(Number.POSITIVE_INFINITY)).toBe(true);
    },
  );
});
