/** The same samples as TIFF, in several forms, and as FITS give the same numbers, digit by digit. */
import { deflateSync } from 'node:zlib';
import { expect, test } from 'vitest';
import { encodeFits } from '../../src/frame/fits/write.js';
import { openFrame } from '../../src/frame/open.js';
import { measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { builtInScene } from '../../src/simulate/scenes.js';
import { simulate } from '../../src/simulate/simulate.js';
import { temporaryFiles } from '../helpers/fits-bytes.js';
import { changed, greyTags, type Tag, TYPE, tiffBytes } from '../helpers/tiff-bytes.js';

const write = temporaryFiles();

const CARDS = "BAYERPAT= 'RGGB'\nPEDESTAL= 500\nEXPTIME = 60\nFOCALLEN= 480\nAPTDIA  = 80\n";

test('a simulated mosaic of stars', async () => {
  const { frame } = simulate(builtInScene('small-achromat'));
  const { width, height } = frame;
  const data = frame.data as Uint16Array;
  const fits = encodeFits({ width, height, planes: 1, data }, [
    { keyword: 'BAYERPAT', value: 'RGGB' },
    { keyword: 'PEDESTAL', value: 500 },
    { keyword: 'EXPTIME', value: 60 },
    { keyword: 'FOCALLEN', value: 480 },
    { keyword: 'APTDIA', value: 80 },
  ]);
  const fromFits = await measured(write('stars.fits', fits));
  expect(fromFits.numbers.stars?.used).toBeGreaterThan(20);
  expect(fromFits.numbers.halo).not.toBeNull();

  const description: Tag = [270, TYPE.ascii, CARDS];
  const plain = Buffer.from(data.slice().buffer);
  const swapped = Buffer.from(plain).swap16();
  const white = Uint16Array.from(data, (value) => 65535 - value);
  const packed = deflateSync(plain);
  const tags = changed(greyTags(width, height), description);
  const forms: Record<string, Buffer> = {
    plain: tiffBytes({ pages: [tags], data: plain }),
    'big-endian': tiffBytes({ pages: [tags], data: swapped, little: false }),
    deflate: tiffBytes({
      pages: [changed(tags, [259, TYPE.short, [8]], [279, TYPE.long, [packed.length]])],
      data: packed,
    }),
    'white is zero': tiffBytes({
      pages: [changed(tags, [262, TYPE.short, [0]])],
      data: new Uint8Array(white.buffer),
    }),
  };
  for (const [name, bytes] of Object.entries(forms)) {
    const fromTiff = await measured(write(`${name}.tif`, bytes));
    expect(fromTiff.numbers, name).toEqual(fromFits.numbers);
    expect(fromTiff.catalogue.columns, name).toEqual(fromFits.catalogue.columns);
    expect(
      fromTiff.codes.filter((code) => code !== 'inverted'),
      name,
    ).toEqual(fromFits.codes);
  }
}, 120_000);

async function measured(path: string) {
  const frame = await openFrame(path, { pixelSizeUm: 3.76 });
  try {
    const { result, catalogue } = measureFrame(frame, DEFAULT_MEASURE_OPTIONS);
    const { file: _, warnings, ...numbers } = result;
    return { numbers, catalogue, codes: warnings.map((warning) => warning.code).sort() };
  } finally {
    frame.rows.close();
  }
}
