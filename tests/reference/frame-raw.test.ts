/** Camera raw files against libraw's own tool: fixtures/reference/raw.json, made by raw.ts beside it. */
import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { describe, expect, test, vi } from 'vitest';
import { openFrame } from '../../src/frame/open.js';
import { findData, fixture } from '../helpers/data-files.js';
import { temporaryFiles } from '../helpers/fits-bytes.js';
import { RAW_CASES, RAW_WIDTH, rawBytes } from '../helpers/raw-cases.js';

interface Frozen {
  file: string;
  samples: string;
}
const { cases } = JSON.parse(readFileSync(fixture('reference/raw.json'), 'utf8')) as {
  cases: Record<string, Frozen>;
};
const write = temporaryFiles();
/** Each file starts a thread: 0.2 s on an idle machine, seconds on an overloaded one. */
vi.setConfig({ testTimeout: 30_000 });

function sha256(bytes: Uint8Array): string {
  return createHash('sha256').update(bytes).digest('hex');
}

/** The samples as the frozen digest takes them: 16 bits, high byte first. */
function digest(samples: Uint16Array): string {
  return sha256(Buffer.from(samples.buffer, 0, samples.byteLength).swap16());
}

async function read(path: string) {
  const frame = await openFrame(path);
  const { width, height } = frame.rows;
  const samples = new Uint16Array(width * height);
  frame.rows.readRows(0, 0, height, samples);
  frame.rows.close();
  return { frame, samples };
}

describe('synthetic files: samples of libraw and of what was written', () => {
  test.each(RAW_CASES.map((each) => [each.name, each] as const))('%s', async (name, each) => {
    const { content, visible, pattern } = each;
    const bytes = rawBytes(each);
    const frozen = cases[name] as Frozen;
    expect(sha256(bytes)).toBe(frozen.file);
    const { frame, samples } = await read(write(`${name}.dng`, bytes));
    expect(frame).toMatchObject({ format: 'raw', probablyProcessed: false });
    expect([frame.rows.width, frame.rows.height]).toEqual([
      visible.right - visible.left,
      visible.bottom - visible.top,
    ]);
    expect(frame.layout).toBe(pattern === null ? 'mono' : 'cfa');
    expect(frame.cfa?.pattern ?? null).toBe(pattern);
    // Where the margin is wide enough, its level (600 ± 31 as written) is measured, and said.
    const wide = visible.left >= 24;
    expect(frame.warnings.map((w) => w.code)).toEqual(wide ? ['pedestal-measured'] : []);
    const { pedestalAdu } = frame.metadata;
    if (wide) expect(Math.abs((pedestalAdu as number) - 600)).toBeLessThan(3);
    else expect(pedestalAdu).toBeNull();
    const curve = content.linearisation;
    const expected: number[] = [];
    for (let y = visible.top; y < visible.bottom; y++) {
      for (let x = visible.left; x < visible.right; x++) {
        const stored = content.samples[y * RAW_WIDTH + x] as number;
        expected.push(curve === undefined ? stored : (curve[stored] as number));
      }
    }
    expect([...samples]).toEqual(expected);
    expect(digest(samples)).toBe(frozen.samples);
  });
});

describe('real files', () => {
  const path = findData('2_cfa/canon_uncompressed.dng');
  test.skipIf(path === null)('an uncompressed DNG of 14 packed bits', async () => {
    const frozen = cases.canon_uncompressed as Frozen;
    expect(sha256(readFileSync(path as string))).toBe(frozen.file);
    const { frame, samples } = await read(path as string);
    // Active area of the file: 1734 × 1156; its black and white level 2056 and 15000 (the data set's INDEX.md).
    expect([frame.rows.width, frame.rows.height]).toEqual([1734, 1156]);
    expect(frame.cfa).toEqual({ pattern: 'RGGB', source: 'header', redBlueKnown: true });
    expect(frame.metadata).toMatchObject({ pedestalAdu: 2056, saturationAdu: 15000 });
    // Its Exif directory holds zeros only, which are no exposure.
    expect(frame.metadata).toMatchObject({ exposureSeconds: null, focalLengthMm: null });
    expect(digest(samples)).toBe(frozen.samples);
  });

  const cut = findData('2_cfa/truncated_leica.dng');
  test.skipIf(cut === null)('a DNG cut to its first 100,000 bytes', async () => {
    await expect(openFrame(cut as string)).rejects.toMatchObject({
      code: 'truncated',
      message: expect.stringContaining('100000'),
      remedy: expect.stringContaining('copy it from the camera again'),
    });
  });
});
