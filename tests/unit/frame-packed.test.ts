/** Tile-compressed FITS beside its uncompressed copy: header, scaling, limits, and what damage is called. */
import { describe, expect, test } from 'vitest';
import { FrameReadError } from '../../src/errors.js';
import type { FrameOverrides } from '../../src/frame/frame.js';
import { openFrame } from '../../src/frame/open.js';
import { fixture } from '../helpers/data-files.js';
import {
  card,
  imageCards,
  primaryCards,
  temporaryFiles,
  unitBytes,
} from '../helpers/fits-bytes.js';
import { packFits } from '../helpers/packed-fits.js';
import { wholeImage } from '../helpers/sample-digest.js';

const save = temporaryFiles();

const WIDTH = 40;
const HEIGHT = 30;
const SAMPLES = Int16Array.from({ length: WIDTH * HEIGHT }, (_, i) => ((i * 37) % 501) - 250);
const INPUT = {
  width: WIDTH,
  height: HEIGHT,
  bitpix: 16 as const,
  samples: SAMPLES,
  tile: [16, 9] as const,
  method: 'RICE_1' as const,
};

async function failure(bytes: Uint8Array, overrides: FrameOverrides = {}): Promise<FrameReadError> {
  const work = async () => {
    const frame = await openFrame(save('bad.fits', bytes), { cfa: 'none', ...overrides });
    try {
      wholeImage(frame.rows);
    } finally {
      frame.rows.close();
    }
  };
  const error = await work().then(
    () => new Error('it was read'),
    (reason: unknown) => reason,
  );
  expect(error).toBeInstanceOf(FrameReadError);
  return error as FrameReadError;
}

/** The file with the text of one card replaced. */
function withCard(bytes: Buffer, from: string, to: string): Buffer {
  const at = bytes.indexOf(from.padEnd(80), 0, 'latin1');
  expect(at).toBeGreaterThan(0);
  const copy = Buffer.from(bytes);
  copy.write(to.padEnd(80), at, 'latin1');
  return copy;
}

describe('the same frame, packed and plain', () => {
  const extra = [
    card('EXPTIME', '30.0'),
    card('TELESCOP', "'Invented'"),
    card('ZENITH', '12.5'),
    card('BLANK', '-250'),
  ];
  const big = Buffer.from(SAMPLES.buffer.slice(0)).swap16();

  test.each([
    ['as stored', []],
    ['unsigned', [card('BZERO', '32768'), card('BSCALE', '1')]],
    ['scaled', [card('BZERO', '100.5'), card('BSCALE', '-0.25')]],
  ])('%s', async (_name, scaling) => {
    const cards = [...scaling, ...extra];
    const plainBytes = unitBytes([...primaryCards(16, [WIDTH, HEIGHT]), ...cards], big);
    const plain = await openFrame(save('plain.fits', plainBytes));
    const packed = await openFrame(save('packed.fits', packFits({ ...INPUT, cards })));
    const { sampleType, scale, zero, blank } = plain.rows;
    expect(packed.rows).toMatchObject({ sampleType, scale, zero, blank });
    expect(wholeImage(packed.rows)).toEqual(wholeImage(plain.rows));
    expect(packed.metadata).toEqual(plain.metadata);
    expect(packed.typeMaximumAdu).toBe(plain.typeMaximumAdu);
    expect(packed.warnings.map((w) => w.code)).toEqual(plain.warnings.map((w) => w.code));
    plain.rows.close();
    packed.rows.close();
  });

  test('fpack moves the primary image into an extension', async () => {
    const frame = await openFrame(fixture('packed/primary.fz.gz'));
    frame.rows.close();
    expect([frame.rows.width, frame.rows.height, frame.rows.sampleType]).toEqual([37, 23, 'u16']);
    expect(frame.metadata).toMatchObject({
      exposureSeconds: 30,
      filter: 'G',
      object: 'invented field',
    });
    expect(frame.typeMaximumAdu).toBe(65535);
    expect(frame.warnings).toEqual([]);
  });

  test('ZBLANK of integers is BLANK', async () => {
    const cards = [card('ZBLANK', '-250')];
    const frame = await openFrame(save('blank.fits', packFits({ ...INPUT, cards })));
    frame.rows.close();
    expect(frame.rows.blank).toBe(-250);
  });

  test('a tile value for missing pixels other than BLANK becomes BLANK', async () => {
    const cards = [card('ZBLANK', '-249'), card('BLANK', '-32768')];
    const frame = await openFrame(save('blanks.fits', packFits({ ...INPUT, cards })));
    const samples = wholeImage(frame.rows);
    frame.rows.close();
    expect(samples).toEqual(SAMPLES.map((value) => (value === -249 ? -32768 : value)));
  });

  test('a packed weight map is passed over', async () => {
    const map = packFits({ ...INPUT, cards: ["EXTNAME = 'WEIGHT  '"] });
    const image = unitBytes(imageCards(16, [WIDTH, HEIGHT]), big);
    const frame = await openFrame(save('map.fits', Buffer.concat([map, image])));
    frame.rows.close();
    expect(frame.warnings.map((w) => w.code)).toEqual(['units-passed-over']);
    expect(frame.warnings[0]?.message).toContain('unit 2: image');
  });
});

test.each(['GZIP_1', 'GZIP_2', 'NOCOMPRESS'] as const)(
  '64-bit integers with %s',
  async (method) => {
    const samples = Float64Array.from(SAMPLES, (value) => value * 2 ** 40 + 1);
    const bytes = packFits({ ...INPUT, method, bitpix: 64, samples });
    const frame = await openFrame(save('long.fits', bytes));
    expect(frame.rows.sampleType).toBe('i64');
    expect(wholeImage(frame.rows)).toEqual(samples);
    frame.rows.close();
    const rice = withCard(bytes, `ZCMPTYPE= '${method}'`, "ZCMPTYPE= 'RICE_1'");
    expect((await failure(rice)).code).toBe('unsupported-format');
    const four = withCard(rice, card('ZVAL2', '8'), card('ZVAL2', '4'));
    expect((await failure(four)).message).toContain('64-bit');
  },
);

test('BYTEPIX missing means 4 bytes, whatever ZBITPIX says', async () => {
  // Packed as 32-bit integers, declared as an image of 16 bits: what cfitsio wrote until 2009.
  const bytes = packFits({ ...INPUT, bitpix: 32, samples: Int32Array.from(SAMPLES) });
  const without = withCard(
    withCard(bytes, card('ZBITPIX', '32'), card('ZBITPIX', '16')),
    card('ZVAL2', '4'),
    'COMMENT',
  );
  const frame = await openFrame(save('old.fits', without));
  expect(wholeImage(frame.rows)).toEqual(SAMPLES);
  frame.rows.close();
});

describe('damage', () => {
  const good = packFits(INPUT);

  test('a tile is named, with a remedy', async () => {
    // The descriptor of the fourth tile: no bytes.
    const bytes = Buffer.from(good);
    const table = 2880 + Math.ceil(bytes.indexOf('END '.padEnd(80), 2880) / 2880 - 1) * 2880;
    bytes.writeInt32BE(0, table + 3 * 8);
    const error = await failure(bytes);
    expect(error.code).toBe('damaged');
    expect(error.message).toContain('tile 4 of 12 in unit 1');
    expect(error.remedy).not.toBe('');
    bytes.writeInt32BE(2 ** 30, table + 3 * 8);
    expect((await failure(bytes)).message).toContain('outside the unit');
    bytes.writeInt32BE(-5, table + 3 * 8);
    expect((await failure(bytes)).message).toContain('outside the unit');
    bytes.writeInt32BE(3, table + 3 * 8);
    expect((await failure(bytes)).message).toContain('ends early');
  });

  test.each([
    ['ZBITPIX', card('ZBITPIX', '16'), card('ZBITPIX', '17')],
    ['ZNAXIS1', card('ZNAXIS1', '40'), card('ZNAXIS1', '-40')],
    ['ZTILE1', card('ZTILE1', '16'), card('ZTILE1', '0')],
    ['ZVAL1', card('ZVAL1', '32'), card('ZVAL1', '1E9')],
    ['ZVAL2', card('ZVAL2', '2'), card('ZVAL2', '3')],
    ['tiles', card('ZTILE2', '9'), card('ZTILE2', '10')],
    ['TFORM1', "TFORM1  = '1PB     '", "TFORM1  = '1Z      '"],
  ])('%s makes no sense', async (name, from, to) => {
    const error = await failure(withCard(good, from, to));
    expect(error.code).toBe('bad-header');
    expect(error.message).toContain(name);
  });

  test('a small file that claims a large frame', async () => {
    const cards = [card('ZNAXIS1', '1000000'), card('ZNAXIS2', '1000000')];
    let bytes = withCard(good, card('ZNAXIS1', '40'), cards[0] as string);
    bytes = withCard(bytes, card('ZNAXIS2', '30'), cards[1] as string);
    expect((await failure(bytes)).code).toBe('too-large');
    // Raised on request; the table of 12 tiles then speaks against it.
    expect((await failure(bytes, { maxPixels: 2e12 })).code).toBe('bad-header');
  });

  test('one tile larger than the limit is not allocated', async () => {
    const whole = packFits({ ...INPUT, tile: [WIDTH, HEIGHT] });
    const error = await failure(whole, { maxBytes: WIDTH * HEIGHT * 2 - 1 });
    expect(error.code).toBe('too-large');
    expect(error.remedy).toContain('--max-bytes');
  });

  test('a tile that inflates to more than it may hold', async () => {
    const other = packFits({ ...INPUT, method: 'GZIP_1', tile: [WIDTH, HEIGHT] });
    const smaller = withCard(
      withCard(other, card('ZNAXIS2', '30'), card('ZNAXIS2', '5')),
      card('ZTILE2', '30'),
      card('ZTILE2', '5'),
    );
    expect((await failure(smaller)).message).toContain('more samples than the tile has');
  });

  test('a cut file', async () => {
    expect((await failure(good.subarray(0, good.length - 2880))).code).toBe('truncated');
  });

  test('a closed frame is not read', async () => {
    const frame = await openFrame(save('closed.fits', good));
    frame.rows.close();
    frame.rows.close();
    expect(() => wholeImage(frame.rows)).toThrow(FrameReadError);
  });
});
