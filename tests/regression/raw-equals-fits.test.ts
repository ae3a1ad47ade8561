/** The same samples as a camera raw file and as FITS give the same numbers, digit by digit. */
import { expect, test } from 'vitest';
import { encodeFits } from '../../src/frame/fits/write.js';
import { openFrame } from '../../src/frame/open.js';
import { measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { builtInScene } from '../../src/simulate/scenes.js';
import { simulate } from '../../src/simulate/simulate.js';
import { dngBytes } from '../helpers/dng-bytes.js';
import { temporaryFiles } from '../helpers/fits-bytes.js';

const write = temporaryFiles();

/** A margin of an odd number of rows and columns, as dark as the pedestal. */
const LEFT = 37;
const TOP = 5;
const PEDESTAL = 500;
const WHITE = 65_000;

test('a simulated mosaic of stars, measured from a DNG with margins and from FITS', async () => {
  const { frame } = simulate(builtInScene('small-achromat'));
  const { width, height } = frame;
  const data = frame.data as Uint16Array;
  const rawWidth = width + LEFT + 3;
  const rawHeight = height + TOP + 2;
  const samples = new Uint16Array(rawWidth * rawHeight).fill(PEDESTAL);
  for (let y = 0; y < height; y++) {
    const row = data.subarray(y * width, (y + 1) * width);
    samples.set(row, (y + TOP) * rawWidth + LEFT);
  }
  const raw = dngBytes({
    width: rawWidth,
    height: rawHeight,
    samples,
    compression: 'lossless-jpeg',
    place: 'sub',
    activeArea: [TOP, LEFT, TOP + height, LEFT + width],
    black: { rows: 1, columns: 1, levels: [PEDESTAL] },
    white: WHITE,
    exif: { exposure: [60, 1], focalLength: [480, 1], fNumber: [6, 1] },
  });
  const fits = encodeFits({ width, height, planes: 1, data }, [
    { keyword: 'BAYERPAT', value: 'RGGB' },
    { keyword: 'PEDESTAL', value: PEDESTAL },
    { keyword: 'SATURATE', value: WHITE },
    { keyword: 'EXPTIME', value: 60 },
    { keyword: 'INSTRUME', value: 'Invented Optics Star Box One' },
    { keyword: 'FOCALLEN', value: 480 },
    { keyword: 'APTDIA', value: 80 },
  ]);
  const fromRaw = await measured(write('stars.dng', raw));
  const fromFits = await measured(write('stars.fits', fits));
  expect(fromFits.numbers.status).toBe('ok');
  expect(fromFits.numbers.stars?.used).toBeGreaterThan(20);
  expect(fromFits.numbers.halo).not.toBeNull();
  expect(fromRaw.numbers).toEqual(fromFits.numbers);
  expect(fromRaw.catalogue.columns).toEqual(fromFits.catalogue.columns);
  expect(fromRaw.codes).toEqual([...fromFits.codes, 'lens-from-file'].sort());
}, 60_000);

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
