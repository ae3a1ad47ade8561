/** Opening files: what cannot be read says which file, what is wrong and what to do; what can be read is the right unit. */
import { mkdirSync, mkdtempSync, openSync, rmSync, truncateSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { FrameReadError, UnsupportedFormatError } from '../../src/errors.js';
import type { FrameOverrides } from '../../src/frame/frame.js';
import { openFrame } from '../../src/frame/open.js';
import { findData } from '../helpers/data-files.js';
import {
  card,
  headerBytes,
  imageCards,
  primaryCards,
  temporaryFiles,
  unitBytes,
} from '../helpers/fits-bytes.js';

const save = temporaryFiles();
const folder = mkdtempSync(join(tmpdir(), 'frames-open-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** The error of opening `path`; fails when it opens. */
async function failure(path: string, overrides: FrameOverrides = {}): Promise<FrameReadError> {
  const error = await openFrame(path, overrides).then(
    () => new Error(`${path} was opened`),
    (reason: unknown) => reason,
  );
  expect(error).toBeInstanceOf(FrameReadError);
  const readError = error as FrameReadError;
  expect(readError.path).toBe(path);
  expect(readError.message).not.toBe('');
  expect(readError.remedy).not.toBe('');
  return readError;
}

/** A 3 × 2 image of bytes 1 … 6. */
const SMALL = Uint8Array.from([1, 2, 3, 4, 5, 6]);
const smallUnit = () => unitBytes(primaryCards(8, [3, 2]), SMALL);

describe('paths', () => {
  test('a missing file', async () => {
    expect((await failure(join(folder, 'none.fits'))).code).toBe('missing');
  });

  test('a folder', async () => {
    const path = join(folder, 'inner.fits');
    mkdirSync(path);
    expect((await failure(path)).code).toBe('folder');
  });

  test('a path through a file', async () => {
    expect((await failure(join(save('f.fits', SMALL), 'x'))).code).toBe('missing');
  });

  test('an empty file', async () => {
    expect((await failure(save('empty.fits', new Uint8Array(0)))).code).toBe('empty');
  });

  test.skipIf(process.platform === 'win32')('a device', async () => {
    expect((await failure('/dev/null')).code).toBe('not-a-file');
  });

  test('no descriptor is left open after failures', async () => {
    const path = save('leak.fits', Buffer.from('text'));
    const before = openSync(path, 'r');
    for (let i = 0; i < 50; i++) await failure(path);
    // Descriptors are given out lowest first: a leak of 50 would show in the next number.
    expect(openSync(path, 'r') - before).toBeLessThan(10);
  });
});

describe('other content', () => {
  test('a text file with the name of a frame', async () => {
    const error = await failure(save('notes.fits', Buffer.from('exposures of tonight\n')));
    expect(error.code).toBe('not-a-frame');
    expect(error.message).toContain('text file');
  });

  test('unknown bytes', async () => {
    const error = await failure(save('noise.fits', Uint8Array.from([0, 1, 2, 3, 250])));
    expect(error.code).toBe('not-a-frame');
  });

  test.each([
    ['bzip2', Buffer.from('BZh91AY&SY'), 'bunzip2'],
    ['zip', Buffer.from('PK\u0003\u0004rest'), 'unpack'],
    ['HEIF', Buffer.from('\u0000\u0000\u0000\u0018ftypheic'), 'FITS'],
  ])('%s is named, with a remedy', async (name, bytes, remedy) => {
    const error = await failure(save(`${name}.fits`, bytes));
    expect(error).toBeInstanceOf(UnsupportedFormatError);
    expect(error.message).toContain(name);
    expect(error.remedy).toContain(remedy);
  });
});

describe('damaged headers', () => {
  test('no END in a cut header', async () => {
    const path = save('noend.fits', headerBytes(primaryCards(16, [10, 10]), false));
    expect((await failure(path)).code).toBe('no-end');
  });

  test('no END in front of pixels', async () => {
    const header = headerBytes(primaryCards(16, [10, 10]), false);
    const path = save('noend2.fits', Buffer.concat([header, Buffer.alloc(2880 * 3, 200)]));
    expect((await failure(path)).code).toBe('no-end');
  });

  test('an endless header is given up', async () => {
    const path = save('endless.fits', headerBytes(primaryCards(16, [10, 10]), false));
    // 20 MB of blank cards.
    writeFileSync(path, Buffer.alloc(2880 * 7000, ' '), { flag: 'a' });
    expect((await failure(path)).code).toBe('no-end');
  });

  test('a file of 100 bytes that begins like FITS', async () => {
    const path = save('stub.fits', Buffer.from('SIMPLE  =                    T'.padEnd(100)));
    expect((await failure(path)).code).toBe('no-end');
  });

  test.each([
    ['BITPIX missing', ['SIMPLE  =                    T', card('NAXIS', '0')]],
    ['BITPIX wrong', primaryCards(12, [3, 2])],
    ['NAXIS missing', ['SIMPLE  =                    T', card('BITPIX', '8')]],
    ['NAXIS negative', ['SIMPLE  = T', card('BITPIX', '8'), card('NAXIS', '-1')]],
    ['NAXIS huge', ['SIMPLE  = T', card('BITPIX', '8'), card('NAXIS', '100000000')]],
    ['NAXIS2 missing', primaryCards(8, [3, 2]).filter((c) => !c.startsWith('NAXIS2'))],
    ['NAXIS1 negative', primaryCards(8, [-3, 2])],
    ['NAXIS1 broken', primaryCards(8, [3.5, 2])],
    ['NAXIS1 text', primaryCards(8, [3, 2]).map((c) => c.replace(/ +3$/, " 'three'"))],
    ['BSCALE zero', [...primaryCards(8, [3, 2]), card('BSCALE', '0.0')]],
    ['BZERO text', [...primaryCards(8, [3, 2]), "BZERO   = 'many'"]],
    ['BSCALE NaN', [...primaryCards(8, [3, 2]), card('BSCALE', 'NaN')]],
  ])('%s', async (name, cards) => {
    const error = await failure(save(`${name}.fits`, unitBytes(cards, SMALL)));
    expect(error.code).toBe('bad-header');
    expect(error.message).toContain(name.split(' ')[0]);
  });
});

describe('sizes that lie', () => {
  test('NAXIS1 = 2^31', async () => {
    const error = await failure(save('wide.fits', unitBytes(primaryCards(16, [2 ** 31, 1000]))));
    expect(error.code).toBe('bad-size');
  });

  test('a product beyond 2^53', async () => {
    const axes = [3037000500, 3037000500];
    expect((await failure(save('over.fits', unitBytes(primaryCards(16, axes))))).code).toBe(
      'bad-size',
    );
    const many = Array.from({ length: 999 }, () => 1000);
    expect((await failure(save('many.fits', unitBytes(primaryCards(8, many))))).code).toBe(
      'bad-size',
    );
  });

  test('an axis length beyond 2^53', async () => {
    const cards = primaryCards(8, [3, 2]).map((c) => c.replace(/ +3$/, '99999999999999999999'));
    expect((await failure(save('axis.fits', unitBytes(cards)))).code).toBe('bad-header');
  });

  test('a size that fits no file but passes for a number', async () => {
    const error = await failure(save('large.fits', unitBytes(primaryCards(16, [900000, 900000]))));
    expect(error.code).toBe('truncated');
    expect(error.message).toContain('1620000000000 bytes');
  });

  test('truncated data: one byte too few', async () => {
    const path = save('cut.fits', unitBytes(primaryCards(8, [100, 100]), Buffer.alloc(10000)));
    truncateSync(path, 2880 + 9999);
    const error = await failure(path);
    expect(error.code).toBe('truncated');
    expect(error.message).toContain('9999');
  });

  test('missing fill after the data is no harm', async () => {
    const path = save(
      'unfilled.fits',
      Buffer.concat([headerBytes(primaryCards(8, [3, 2])), SMALL]),
    );
    const frame = await openFrame(path);
    const out = new Uint8Array(6);
    frame.rows.readRows(0, 0, 2, out);
    frame.rows.close();
    expect(out).toEqual(SMALL);
  });

  test('a file that shrinks after opening fails when read, and does not hang', async () => {
    const path = save('shrinks.fits', unitBytes(primaryCards(8, [100, 100]), Buffer.alloc(10000)));
    const frame = await openFrame(path);
    truncateSync(path, 5000);
    expect(() => frame.rows.readRows(0, 0, 100, new Uint8Array(10000))).toThrow(FrameReadError);
    frame.rows.close();
  });
});

describe('files without an image', () => {
  test.each([
    ['zero-size axis', primaryCards(8, [3, 0])],
    ['no axes', primaryCards(8, [])],
    ['one axis', primaryCards(8, [6])],
    ['one row', primaryCards(8, [6, 1])],
  ])('%s', async (name, cards) => {
    const error = await failure(save(`${name}.fits`, unitBytes(cards, SMALL)));
    expect(error.code).toBe('no-image');
    expect(error.message).toContain('unit 0');
  });

  test('tables only', async () => {
    const table = ["XTENSION= 'BINTABLE'", card('BITPIX', '8'), card('NAXIS', '2')];
    table.push(card('NAXIS1', '3'), card('NAXIS2', '2'), card('PCOUNT', '0'), card('GCOUNT', '1'));
    const file = Buffer.concat([unitBytes(primaryCards(8, [])), unitBytes(table, SMALL)]);
    const error = await failure(save('table.fits', file));
    expect(error.code).toBe('no-image');
    expect(error.message).toContain('unit 1: table');
  });

  test('a weight map alone is not measured unless asked for', async () => {
    const cards = [...imageCards(8, [3, 2]), "EXTNAME = 'WEIGHT  '"];
    const path = save(
      'weight.fits',
      Buffer.concat([unitBytes(primaryCards(8, [])), unitBytes(cards, SMALL)]),
    );
    const error = await failure(path);
    expect(error.code).toBe('no-image');
    expect(error.remedy).toContain('--hdu 1');
    const frame = await openFrame(path, { hdu: 1 });
    expect([frame.rows.width, frame.rows.height]).toEqual([3, 2]);
    frame.rows.close();
  });

  test('random groups', async () => {
    const cards = [...primaryCards(-32, [0, 3, 4]), 'GROUPS  =                    T'];
    cards.push(card('PCOUNT', '6'), card('GCOUNT', '10'));
    const error = await failure(save('groups.fits', unitBytes(cards, Buffer.alloc(720))));
    expect(error.message).toContain('random-groups');
  });

  test('a tile-compressed image of an unknown method', async () => {
    const table = ["XTENSION= 'BINTABLE'", card('BITPIX', '8'), card('NAXIS', '2')];
    table.push(card('NAXIS1', '8'), card('NAXIS2', '2'), card('PCOUNT', '0'), card('GCOUNT', '1'));
    table.push('ZIMAGE  =                    T', "ZCMPTYPE= 'ZEBRA_7 '", card('ZBITPIX', '8'));
    table.push(card('ZNAXIS', '2'), card('ZNAXIS1', '3'), card('ZNAXIS2', '2'));
    const path = save(
      'packed.fits',
      Buffer.concat([unitBytes(primaryCards(8, [])), unitBytes(table, new Uint8Array(16))]),
    );
    const error = await failure(path);
    expect(error).toBeInstanceOf(UnsupportedFormatError);
    expect(error.message).toContain('ZEBRA_7');
    expect((await failure(path, { hdu: 1 })).message).toContain('ZEBRA_7');
  });

  test('colours stored pixel by pixel', async () => {
    const path = save('pixels.fits', unitBytes(primaryCards(8, [3, 5, 4]), Buffer.alloc(60)));
    expect((await failure(path)).code).toBe('interleaved');
  });
});

describe('choice of the unit', () => {
  const line = unitBytes([...imageCards(8, [5])], new Uint8Array(5));
  const mask = unitBytes([...imageCards(8, [3, 2]), "EXTNAME = 'BAD_MASK'"], SMALL);
  const image = unitBytes([...imageCards(8, [2, 3]), "EXTNAME = 'SCI     '"], SMALL);
  const empty = unitBytes([
    ...primaryCards(8, []),
    card('EXPTIME', '30'),
    card('GAIN', '1.5 / [e-/ADU]'),
  ]);
  const codes = (warnings: readonly { code: string }[]) => warnings.map((w) => w.code);

  test('lines and masks are passed over with a note; the primary header is inherited', async () => {
    const path = save('order.fits', Buffer.concat([empty, line, mask, image]));
    const frame = await openFrame(path);
    frame.rows.close();
    expect([frame.rows.width, frame.rows.height]).toEqual([2, 3]);
    expect(codes(frame.warnings)).toEqual(['units-passed-over']);
    expect(frame.warnings[0]?.message).toContain('BAD_MASK');
    expect(frame.warnings[0]?.file).toBe(path);
    expect(frame.metadata.exposureSeconds).toBe(30);
  });

  test('INHERIT = F cuts the primary header off', async () => {
    const own = unitBytes([...imageCards(8, [2, 3]), 'INHERIT =                    F'], SMALL);
    const frame = await openFrame(save('inherit.fits', Buffer.concat([empty, own])));
    frame.rows.close();
    expect(frame.metadata.exposureSeconds).toBeNull();
  });

  test('several images: the first, with a note that names the others', async () => {
    const path = save('several.fits', Buffer.concat([empty, image, image, mask]));
    const frame = await openFrame(path);
    frame.rows.close();
    const note = frame.warnings.find((w) => w.code === 'several-images');
    expect(note?.message).toContain('--hdu (2)');
    const second = await openFrame(path, { hdu: 2 });
    second.rows.close();
    expect(codes(second.warnings)).toEqual([]);
  });

  test('a unit that is not there, or is no image', async () => {
    const path = save('few.fits', Buffer.concat([empty, line, image]));
    expect((await failure(path, { hdu: 7 })).code).toBe('no-such-hdu');
    expect((await failure(path, { hdu: -1 })).code).toBe('no-such-hdu');
    const error = await failure(path, { hdu: 1 });
    expect(error.code).toBe('no-image');
    expect(error.remedy).toContain('--hdu 2');
  });

  test('junk after the data is ignored', async () => {
    for (const junk of [Buffer.alloc(5000, 7), Buffer.alloc(2880, ' '), Buffer.alloc(2880)]) {
      const frame = await openFrame(save('junk.fits', Buffer.concat([smallUnit(), junk])));
      const out = new Uint8Array(6);
      frame.rows.readRows(0, 0, 2, out);
      frame.rows.close();
      expect(out).toEqual(SMALL);
      expect(frame.warnings).toEqual([]);
    }
  });

  test('SIMPLE = F is read with a warning', async () => {
    const cards = primaryCards(8, [3, 2]).with(0, 'SIMPLE  =                    F');
    const frame = await openFrame(save('simple.fits', unitBytes(cards, SMALL)));
    frame.rows.close();
    expect(codes(frame.warnings)).toEqual(['not-standard']);
  });

  test('axes of length 1 do not count; 3 planes are R, G, B; other cubes give their first plane', async () => {
    const shape = async (axes: number[]) => {
      const count = axes.reduce((a, b) => a * b, 1);
      const data = Uint8Array.from({ length: count }, (_, i) => i);
      const frame = await openFrame(save('cube.fits', unitBytes(primaryCards(8, axes), data)));
      const last = new Uint8Array(6);
      frame.rows.readRows(frame.rows.planes - 1, 0, 3, last);
      frame.rows.close();
      return {
        planes: frame.rows.planes,
        layout: frame.layout,
        first: last[0],
        codes: codes(frame.warnings),
      };
    };
    expect(await shape([2, 3, 1, 1])).toEqual({ planes: 1, layout: 'mono', first: 0, codes: [] });
    expect(await shape([2, 3, 3])).toEqual({ planes: 3, layout: 'rgb', first: 12, codes: [] });
    expect(await shape([2, 3, 1, 3])).toEqual({ planes: 3, layout: 'rgb', first: 12, codes: [] });
    const cube = { planes: 1, layout: 'mono', first: 0, codes: ['extra-planes'] };
    expect(await shape([2, 3, 4])).toEqual(cube);
    expect(await shape([2, 3, 2, 3])).toEqual(cube);
  });
});

describe('real files that are no plain image', () => {
  for (const [name, code] of [
    ['5_fits_conformance/Random_Groups.fits', 'unsupported-format'],
    ['5_fits_conformance/astropy_group_invalid.fits', 'no-image'],
    ['5_fits_conformance/astropy_verify.fits', 'no-image'],
    ['5_fits_conformance/longstrn.fits', 'no-image'],
    ['2_cfa/truncated_leica.dng', 'truncated'],
  ] as const) {
    const path = findData(name);
    test.skipIf(path === null)(`${name}: ${code}`, async () => {
      expect((await failure(path as string)).code).toBe(code);
    });
  }
});
