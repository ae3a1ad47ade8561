/** Frames that are damaged, empty of stars or simply wrong, as seen from the command line: a clear word, no trace, no loss. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { encodeFits } from '../../src/frame/fits/write.js';
import type { MeasureDocument } from '../../src/report/json.js';
import { createRandom, normal } from '../../src/stats/random.js';
import { bluerim, type Run, temporaryFolder } from '../helpers/run-bin.js';
import { type StarFrame, starFrame } from '../helpers/star-frame.js';

const TIMEOUT = 60_000;
const small: StarFrame = { pattern: null, width: 128, height: 128 };

/** A header of these cards, filled to 2880 bytes. */
function header(cards: readonly string[], end = true): Buffer {
  const text = [...cards, ...(end ? ['END'] : [])].map((card) => card.padEnd(80)).join('');
  return Buffer.from(text.padEnd(Math.ceil(text.length / 2880) * 2880));
}

const size = (bitpix: number, width: number | string, height: number | string): string[] => [
  'SIMPLE  =                    T',
  `BITPIX  = ${String(bitpix).padStart(20)}`,
  'NAXIS   =                    2',
  `NAXIS1  = ${String(width).padStart(20)}`,
  `NAXIS2  = ${String(height).padStart(20)}`,
];

async function measure(bytes: Uint8Array, ...args: string[]): Promise<Run> {
  const cwd = temporaryFolder();
  writeFileSync(join(cwd, 'frame.fits'), bytes);
  return bluerim(['measure', 'frame.fits', ...args], { cwd });
}

/** Every error of a frame names the file, the fault and the remedy, on two lines and without a stack trace. */
function expectFault(run: Run, fault: RegExp): void {
  expect(run.stderr).toMatch(/^error: frame\.fits: .+\n {2}what to do: .+\n$/m);
  expect(run.stderr).toMatch(fault);
  expect(run.stderr).not.toMatch(/\n {4}at |fault in bluerim/);
  expect(run).toMatchObject({ code: 1, stdout: '' });
}

describe('files that are no frame', () => {
  test.each<[string, Uint8Array, RegExp]>([
    ['empty', new Uint8Array(0), /empty/],
    ['text', Buffer.from('Dear diary, tonight the seeing was fine.\n'), /text file/],
    ['zeros', new Uint8Array(10000), /not that of a frame/],
    ['a PNG', Buffer.from('89504e470d0a1a0a0000000d49484452', 'hex'), /PNG/],
    ['a header without END', header(size(16, 10, 10), false), /END/],
    ['data cut short', starFrame(small).subarray(0, 2880 * 4), /early|truncated|bytes/],
    ['only a header', starFrame(small).subarray(0, 2880), /early|truncated|bytes/],
    [
      'NAXIS1 = 2³¹',
      Buffer.concat([header(size(16, 2 ** 31, 10)), Buffer.alloc(2880)]),
      /2147483648/,
    ],
    ['NAXIS1 = −5', Buffer.concat([header(size(16, -5, 10)), Buffer.alloc(2880)]), /NAXIS1|-5/],
    ['NAXIS1 = 1E3', Buffer.concat([header(size(16, 'X', 10)), Buffer.alloc(2880)]), /NAXIS1/],
    ['zero-size axes', header(size(16, 0, 0)), /no two-dimensional image|zero|0 × 0/i],
    ['BITPIX = 17', Buffer.concat([header(size(17, 10, 10)), Buffer.alloc(2880)]), /BITPIX|17/],
  ])(
    '%s',
    async (_, bytes, fault) => {
      expectFault(await measure(bytes), fault);
    },
    TIMEOUT,
  );

  test('a missing file and a folder', async () => {
    const cwd = temporaryFolder();
    mkdirSync(join(cwd, 'night'));
    const run = await bluerim(['measure', 'night', 'nothing.fits'], { cwd });
    expect(run.code).toBe(1);
    expect(run.stderr).toMatch(
      /^error: night: no frame in this folder\n {2}what to do: name a folder/m,
    );
    expect(run.stderr).toMatch(/^error: nothing\.fits: no such file/m);
  });
});

describe('frames without a usable star: a result that says so, never a zero', () => {
  const plain = (fill: (i: number) => number): Uint8Array =>
    encodeFits({
      width: 128,
      height: 128,
      planes: 1,
      data: Float32Array.from({ length: 128 * 128 }, (_, i) => fill(i)),
    });

  test.each<[string, Uint8Array]>([
    ['all NaN', plain(() => Number.NaN)],
    ['all infinite', plain(() => Number.POSITIVE_INFINITY)],
    ['constant', plain(() => 1000)],
    ['all zero', plain(() => 0)],
    [
      'all saturated',
      encodeFits({
        width: 128,
        height: 128,
        planes: 1,
        data: new Uint16Array(128 * 128).fill(65535),
      }),
    ],
    ['a ramp', plain((i) => i % 128)],
    ['noise only', starFrame({ ...small, spacing: 0 })],
    ['a mosaic of noise only', starFrame({ width: 128, height: 128, spacing: 0 })],
    [
      '8 × 8 px',
      encodeFits({ width: 8, height: 8, planes: 1, data: new Uint16Array(64).fill(100) }),
    ],
    ['one sample', encodeFits({ width: 1, height: 1, planes: 1, data: new Uint16Array(1) })],
    [
      'one row',
      encodeFits({ width: 500, height: 1, planes: 1, data: new Uint16Array(500).fill(100) }),
    ],
  ])(
    '%s',
    async (_, bytes) => {
      const run = await measure(bytes, '--json');
      expect(run.stderr).not.toMatch(/fault in bluerim|\n {4}at /);
      const { frames } = JSON.parse(run.stdout) as MeasureDocument;
      const [frame] = frames;
      if (frame?.status === 'failed') {
        // Refusing is an answer too, when it names fault and remedy.
        expectFault({ ...run, stdout: '' }, /./);
        expect(frame.error?.message).not.toBe('');
        return;
      }
      expect(run.code).toBe(0);
      expect(frame?.stars?.used).toBe(0);
      expect(frame?.sentence).toMatch(/no (usable )?stars?/i);
      for (const channel of Object.values(frame?.channels ?? {})) {
        expect(channel).toMatchObject({
          fwhmPx: null,
          hfdPx: null,
          r80Px: null,
          ellipticity: null,
          profile: null,
        });
      }
      expect(frame?.halo).toBeNull();
      const table = await measure(bytes);
      expect(table.code).toBe(0);
      expect(table.stdout).toMatch(/no (usable )?stars?/i);
      expect(table.stdout).not.toMatch(/NaN|Infinity|undefined|null/);
    },
    TIMEOUT,
  );

  test(
    'three stars: measured or plainly not, with wide intervals and no crash',
    async () => {
      const run = await measure(starFrame({ ...small, stars: 3, spacing: 40 }), '--json');
      expect(run.code).toBe(0);
      const [frame] = (JSON.parse(run.stdout) as MeasureDocument).frames;
      expect(frame?.stars?.found).toBeGreaterThanOrEqual(3);
      const fwhm = frame?.channels.L?.fwhmPx;
      if (fwhm) {
        // Gaussian of σ 1.5: 3.53 px
        expect(fwhm.low).toBeLessThan(3.6);
        expect(fwhm.high).toBeGreaterThan(3.46);
      } else expect(frame?.warnings.length).toBeGreaterThan(0);
      expect(run.stderr).not.toMatch(/fault in bluerim/);
    },
    TIMEOUT,
  );

  test.each<[string, (random: () => number) => number]>([
    ['one value in every blue sample', () => 500],
    ['noise of 8 ADU in every blue sample', (random) => Math.round(500 + 8 * normal(random))],
  ])(
    'one colour missing (%s): the others stand, the halo is not invented',
    async (_, fill) => {
      const frame = Buffer.from(starFrame({ spacing: 20 }));
      const random = createRandom(3);
      // RGGB: the blue sites are the odd columns of odd rows. Stored = physical − 32768 (BZERO).
      const start = frame.length - Math.ceil((192 * 160 * 2) / 2880) * 2880;
      for (let y = 1; y < 160; y += 2) {
        for (let x = 1; x < 192; x += 2) {
          frame.writeInt16BE(fill(random) - 32768, start + 2 * (y * 192 + x));
        }
      }
      const run = await measure(frame, '--json');
      expect(run.stderr).not.toMatch(/fault in bluerim/);
      const [result] = (JSON.parse(run.stdout) as MeasureDocument).frames;
      expect(result?.status).toBe('ok');
      // Gaussian of σ 1.5 px sampled at pixel centres: 3.53 px.
      expect(result?.channels.G?.fwhmPx?.value ?? Number.NaN).toBeCloseTo(3.53, 1);
      expect(result?.channels.B?.fwhmPx ?? null).toBeNull();
      expect(result?.halo?.blueMinusRed.excessPercent ?? null).toBeNull();
      expect(result?.halo?.level ?? 'cannot tell').toBe('cannot tell');
      expect(result?.sentence).not.toMatch(/blue (rim|halo)/);
    },
    TIMEOUT,
  );
});
