/** The SIMD kernels against their plain twins, bit by bit, and against the text they are assembled from. */
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import wabt from 'wabt';
import { createKernels, createLayout, type Kernels } from '../../src/simd/kernels.js';
import { KERNEL_BYTES } from '../../src/simd/kernels-bytes.js';
import { createPlainKernels } from '../../src/simd/plain.js';
import { createRandom } from '../../src/stats/random.js';

const BYTES = 65536;

/** The same work on both, from the same random memory; both memories afterwards. */
function both(seed: number, fill: 'words' | 'floats', work: (kernels: Kernels) => unknown) {
  const pair = [createKernels(BYTES), createPlainKernels(BYTES)];
  const results = pair.map((kernels) => {
    const random = createRandom(seed);
    if (fill === 'words') {
      const words = new Uint16Array(kernels.buffer, 0, BYTES / 2);
      for (let i = 0; i < words.length; i++) words[i] = Math.floor(65536 * random());
    } else {
      const floats = new Float32Array(kernels.buffer, 0, BYTES / 4);
      for (let i = 0; i < floats.length; i++) floats[i] = (random() - 0.5) * 10 ** (6 * random());
    }
    return work(kernels);
  });
  return {
    results,
    memories: pair.map((kernels) => Buffer.from(kernels.buffer, 0, BYTES).toString('base64')),
  };
}

function expectEqual({ results, memories }: ReturnType<typeof both>): void {
  expect(results[0]).toBe(results[1]);
  expect(memories[0] === memories[1]).toBe(true);
}

const seeds = fc.integer({ min: 0, max: 2 ** 31 });
const columns = fc.integer({ min: 1, max: 500 });
const runs = { numRuns: 40 };

describe('SIMD kernels', () => {
  test('are the assembled text', async () => {
    const path = fileURLToPath(new URL('../../src/simd/kernels.wat', import.meta.url));
    const module = (await wabt()).parseWat('kernels.wat', readFileSync(path, 'utf8'), {
      simd: true,
    });
    expect(Buffer.from(module.toBinary({}).buffer).toString('base64')).toBe(KERNEL_BYTES);
  });

  test('run here: the comparisons below compare two things', () => {
    expect(createKernels(16).swap16).not.toBe(createPlainKernels(16).swap16);
    expect(String(createKernels(16).swap16)).toContain('[native code]');
  });

  test('bytes are swapped and signs flipped', () => {
    fc.assert(
      fc.property(seeds, columns, fc.constantFrom(0, 0x8000), (seed, count, flip) => {
        expectEqual(both(seed, 'words', (kernels) => kernels.swap16(32, count, flip)));
      }),
      runs,
    );
    const kernels = createKernels(64);
    const bytes = new Uint8Array(kernels.buffer, 0, 64);
    bytes.set([0x12, 0x34, 0x80, 0x00]);
    kernels.swap16(0, 2, 0x8000);
    expect([...new Uint16Array(kernels.buffer, 0, 3)]).toEqual([0x9234, 0, 0]);
  });

  test('cells of a mosaic, also with a background or weights that are no numbers', () => {
    const weight = fc.oneof(fc.float({ min: -2, max: 2, noNaN: true }), fc.constant(Number.NaN));
    fc.assert(
      fc.property(seeds, columns, fc.tuple(weight, weight, weight, weight), (seed, n, w) => {
        const layout = createLayout();
        const top = layout.take(4 * n + 16);
        const bottom = layout.take(4 * n + 16);
        const background = layout.take(4 * n + 16);
        const out = layout.take(4 * n + 16);
        expectEqual(
          both(seed, 'words', (kernels) => {
            // Any bits as background: NaN and infinities among them.
            kernels.cells16(top, bottom, background, out, n, ...w);
          }),
        );
      }),
      runs,
    );
  });

  test('filters along rows and across rows, with the groups that reach the threshold', () => {
    fc.assert(
      fc.property(seeds, columns, fc.integer({ min: 1, max: 9 }), (seed, n, half) => {
        const layout = createLayout();
        const kernel = layout.take(4 * (half + 1));
        const padded = layout.take(4 * (n + 2 * half) + 16) + 4 * half;
        const out = layout.take(4 * n + 16);
        expectEqual(
          both(seed, 'floats', (kernels) => kernels.filterRow(padded, kernel, half, out, n)),
        );
        const list = layout.take(4 * (2 * half + 1));
        const hits = layout.take(4 * n + 16);
        const start = layout.take(4 * (n + 40));
        expectEqual(
          both(seed, 'floats', (kernels) => {
            const rows = new Int32Array(kernels.buffer, list, 2 * half + 1);
            // Overlapping rows: only addresses matter.
            for (let j = 0; j < rows.length; j++) rows[j] = start + 4 * j;
            return kernels.filterColumns(list, kernel, half, out, n, 100, hits);
          }),
        );
      }),
      runs,
    );
  });

  test('moments, ranks and neighbours in rank of a list that ends with NaN', () => {
    // Small integers make ties; both signs turn the order of the bits round.
    const value = fc.oneof(
      fc.integer({ min: -4, max: 4 }).map((v) => v + 0.5),
      fc.float({ min: -65536, max: 65536, noNaN: true }).filter((v) => v !== 0),
    );
    fc.assert(
      fc.property(fc.array(value, { minLength: 1, maxLength: 70 }), fc.nat(), (list, pick) => {
        const count = (list.length + 3) & ~3;
        const sorted = Float32Array.from(list).sort();
        const rank = pick % list.length;
        const answers = [createKernels(1024), createPlainKernels(1024)].map((kernels) => {
          const values = new Float32Array(kernels.buffer, 32, count);
          values.fill(Number.NaN);
          values.set(list);
          const found = kernels.select(32, count, rank, sorted[0], sorted[list.length - 1]);
          kernels.moments(32, count, 1.5, -3, found, 0);
          return [
            found,
            kernels.select(32, count, rank, -Infinity, Infinity),
            kernels.below(32, count, found),
            kernels.largestBelow(32, count, found),
            ...new Float64Array(kernels.buffer, 0, 3),
          ];
        });
        expect(answers[0]).toEqual(answers[1]);
        const [found, again, below, before] = answers[0] as number[];
        expect(found).toBe(sorted[rank]);
        expect(again).toBe(found);
        expect(below).toBe(sorted.findIndex((v) => v >= (found as number)));
        expect(before).toBe(below === 0 ? -Infinity : sorted[(below as number) - 1]);
      }),
    );
  });

  test('straight lines between nodes', () => {
    fc.assert(
      fc.property(seeds, fc.integer({ min: 1, max: 60 }), (seed, pieces) => {
        expectEqual(both(seed, 'floats', (kernels) => kernels.ramp(0, 1024, pieces)));
      }),
      runs,
    );
  });
});
