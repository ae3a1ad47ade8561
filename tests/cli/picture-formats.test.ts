/** TIFF, PNG and JPEG from the command line: pages, pictures under suspicion, names that contradict the content. */
import { copyFileSync } from 'node:fs';
import { join } from 'node:path';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { memoryFile } from '../../src/frame/file.js';
import { openFits } from '../../src/frame/fits/open-fits.js';
import type { MeasureDocument } from '../../src/report/json.js';
import { findData, fixture } from '../helpers/data-files.js';
import { bluerim, temporaryFolder } from '../helpers/run-bin.js';
import { wholeImage } from '../helpers/sample-digest.js';
import { starFrame } from '../helpers/star-frame.js';

const TIMEOUT = 120_000;

async function measured(cwd: string, ...args: string[]) {
  const run = await bluerim(['measure', '--json', ...args], { cwd });
  expect(run.code, run.stderr).toBe(0);
  const document = JSON.parse(run.stdout) as MeasureDocument;
  const [frame] = document.frames;
  if (frame?.status !== 'ok') throw new Error(run.stderr);
  return { run, document, frame, codes: frame.warnings.map((warning) => warning.code) };
}

/** Made-up stars in 8 bits and three planes: the noise is one step, the brightest star nearly white. */
async function starPicture(format: 'png' | 'jpeg', path: string) {
  const { rows } = openFits(
    memoryFile('x.fits', starFrame({ pattern: null, spacing: 20, peak: 1500 })),
    {},
  );
  const samples = wholeImage(rows) as Uint16Array;
  const { width, height } = rows;
  const bytes = Uint8Array.from({ length: 3 * width * height }, (_, i) =>
    Math.min(255, (samples[Math.floor(i / 3)] as number) / 8),
  );
  const raw = { width, height, channels: 3 as const };
  await sharp(bytes, { raw }).toFormat(format, { quality: 95 }).toFile(path);
}

describe('TIFF', () => {
  test(
    '--page chooses; a page that does not exist is an error of that frame',
    async () => {
      const path = fixture('tiff/three-pages.tif');
      const { document, codes } = await measured('.', path, '--page', '2');
      expect(document.parameters.page).toBe(2);
      expect(codes).not.toContain('several-images');
      expect((await measured('.', path)).codes).toContain('several-images');
      const run = await bluerim(['measure', path, '--page', '4']);
      expect(run).toMatchObject({ code: 1, stdout: '' });
      expect(run.stderr).toMatch(/no page 4; the file has 3.*\n {2}what to do: choose --page/);
      expect((await bluerim(['measure', path, '--page', '0'])).code).toBe(2);
    },
    TIMEOUT,
  );

  const linear = findData('6_derived/sdss_rgb16_linear.tif');
  test.skipIf(linear === null)(
    'a real linear frame of three planes gives halo numbers',
    async () => {
      const { frame, codes } = await measured('.', linear as string);
      expect(frame).toMatchObject({ width: 400, height: 400, layout: 'rgb' });
      expect(frame.stars?.used).toBeGreaterThan(50);
      expect(frame.halo).not.toBeNull();
      // The stars of this reprojected survey frame are about a pixel wide.
      expect(codes).toContain('undersampled');
    },
    TIMEOUT,
  );
});

describe.each(['png', 'jpeg'] as const)('%s', (format) => {
  test(
    'halo numbers only on request, then with a warning; never called stretched for the file type alone',
    async () => {
      const cwd = temporaryFolder();
      await starPicture(format, join(cwd, 'stars.fits'));
      const { frame, codes } = await measured(cwd, 'stars.fits');
      expect(frame).toMatchObject({ width: 192, height: 160, layout: 'rgb', halo: null });
      expect(frame.stars?.used).toBeGreaterThan(20);
      expect(frame.linearity?.verdict).not.toBe('linear');
      expect(codes).toEqual(expect.arrayContaining(['name-and-content', 'halo-withheld']));
      const stretched = frame.linearity?.verdict === 'stretched';
      expect(frame.sentence?.includes('has been stretched')).toBe(stretched);
      expect(frame.sentence).toContain('no halo is given');

      const anyway = await measured(cwd, 'stars.fits', '--halo-anyway');
      expect(anyway.frame.halo).not.toBeNull();
      expect(anyway.codes).toContain('halo-from-stretched-data');
    },
    TIMEOUT,
  );
});

const sky = findData('4_colour/allsky_fisheye_stars.jpg');
test.skipIf(sky === null)(
  'a real JPEG of the night sky under the name of a camera raw file',
  async () => {
    const cwd = temporaryFolder();
    copyFileSync(sky as string, join(cwd, 'sky.nef'));
    const { frame, codes, run } = await measured(cwd, 'sky.nef');
    expect(frame).toMatchObject({ width: 2832, height: 2832, halo: null });
    expect(frame.metadata?.exposureSeconds).toBe(4);
    expect(frame.stars?.used).toBeGreaterThan(50);
    expect(codes).toEqual(expect.arrayContaining(['name-and-content', 'halo-withheld']));
    expect(run.stderr).toContain('called .nef, but the content is a JPEG picture');
  },
  TIMEOUT,
);
