/** The mosaic decision on real frames. What each frame is, is known from its plane medians (in the comments), not from this program. */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { gunzipSync } from 'node:zlib';
import { afterAll, describe, expect, test } from 'vitest';
import type { FrameOverrides } from '../../src/frame/frame.js';
import { openFrame } from '../../src/frame/open.js';
import { findData } from '../helpers/data-files.js';

const folder = mkdtempSync(join(tmpdir(), 'frames-mosaic-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

async function inspect(path: string, overrides: FrameOverrides = {}) {
  const frame = await openFrame(path, overrides);
  frame.rows.close();
  const codes = frame.warnings.map((w) => w.code).filter((code) => /cfa|mosaic/.test(code));
  return { layout: frame.layout, cfa: frame.cfa, codes, metadata: frame.metadata };
}

/** The file with the keyword of the mosaic made unknown: the pixels of a camera whose header is silent. */
function silenced(path: string, keyword: string): string {
  const bytes = readFileSync(path);
  const at = bytes.indexOf(keyword, 0, 'latin1');
  expect(at % 80).toBe(0);
  bytes.write('COMMENT ', at, 'latin1');
  const copy = join(folder, 'silenced.fits');
  writeFileSync(copy, bytes);
  return copy;
}

describe('mosaics', () => {
  for (const name of ['dslr_cfa_200.fits', 'dslr_cfa_700.fits']) {
    const path = findData(`2_cfa/${name}`);
    // Medians 2234, 2181 / 2141, 2236: green on (0, 0) and (1, 1), so the header's RGGB holds only from the last row upwards.
    test.skipIf(path === null)(
      `${name}: the header says RGGB, the stored rows are GBRG`,
      async () => {
        expect(await inspect(path as string)).toMatchObject({
          layout: 'cfa',
          cfa: { pattern: 'GBRG', source: 'pixels', redBlueKnown: true },
          codes: ['cfa-contradiction'],
        });
        expect(await inspect(path as string, { cfa: 'GBRG' })).toMatchObject({
          cfa: { pattern: 'GBRG', source: 'option', redBlueKnown: true },
          codes: [],
        });
        expect((await inspect(path as string, { cfa: 'RGGB' })).codes).toEqual([
          'cfa-contradiction',
        ]);
        expect((await inspect(path as string, { cfa: 'none' })).layout).toBe('mono');
      },
    );
  }

  const bare = findData('2_cfa/dslr_cfa_200_noheader.fits');
  test.skipIf(bare === null)('a bare header: green known, red and blue not', async () => {
    expect(await inspect(bare as string)).toMatchObject({
      layout: 'cfa',
      cfa: { pattern: 'GRBG', source: 'pixels', redBlueKnown: false },
      codes: ['cfa-from-pixels'],
    });
  });

  const flat = findData('2_cfa/osc_grbg_flat.fit');
  // Medians 30400, 26048 / 19136, 31184: stored row 0 is G R, row 1 is B G.
  test.skipIf(flat === null)('a GRBG flat whose header is right', async () => {
    expect(await inspect(flat as string)).toMatchObject({
      cfa: { pattern: 'GRBG', source: 'header', redBlueKnown: true },
      codes: [],
    });
    expect(await inspect(silenced(flat as string, 'BAYERPAT='))).toMatchObject({
      cfa: { pattern: 'GRBG', source: 'pixels', redBlueKnown: false },
      codes: ['cfa-from-pixels'],
    });
  });

  const dark = findData('2_cfa/osc_grbg_dark30s.fit');
  test.skipIf(dark === null)(
    'a dark frame says nothing: the header is used; silent, it is mono',
    async () => {
      expect(await inspect(dark as string)).toMatchObject({
        cfa: { pattern: 'GRBG', source: 'header', redBlueKnown: true },
        codes: [],
      });
      expect(await inspect(silenced(dark as string, 'BAYERPAT='))).toMatchObject({
        layout: 'mono',
        cfa: null,
        codes: [],
      });
    },
  );

  const bias = findData('2_cfa/osc_grbg_bias_decimal_comma.fit.gz');
  // Medians 2272, 2320 / 2320, 2272: an electronic chessboard, no colour.
  test.skipIf(bias === null)('a bias frame with a chessboard of its own', async () => {
    const copy = join(folder, 'bias.fit');
    writeFileSync(copy, gunzipSync(readFileSync(bias as string)));
    const found = await inspect(copy);
    expect(found).toMatchObject({ cfa: { pattern: 'GRBG', source: 'header' }, codes: [] });
    expect(found.metadata.exposureSeconds).toBe(6.4e-5);
    expect(await inspect(silenced(copy, 'BAYERPAT='))).toMatchObject({
      layout: 'mono',
      cfa: null,
      codes: ['mosaic-possible'],
    });
  });
});

describe('mono frames are not taken for mosaics', () => {
  const bands = (stem: string, letters: string) =>
    [...letters].map((letter) => `1_multiband/${stem}_${letter}.fits`);
  const files = [
    ...bands('twomass_galcentre', 'jhk'),
    ...bands('decam_fieldA', 'grz'),
    ...bands('decam_satstarA', 'grz'),
    ...bands('sn2006bhdir_sdss', 'griz'),
    ...bands('sn2006bhdir_ps1', 'griz'),
    '3_mono/r_band_streak_elongated.fits',
    '3_mono/galaxy_pair_columns_bleed.fits',
    '3_mono/ntt_emmi_256.fits',
    '3_mono/defocused_pupil_spots.fits',
    '5_fits_conformance/m13.fits',
    '5_fits_conformance/m13real.fits',
    '5_fits_conformance/checksum.fits',
    '5_fits_conformance/skimage_simple.fits',
    '5_fits_conformance/skimage_multi.fits',
    '5_fits_conformance/HST_WFPC_II.fits',
    '5_fits_conformance/tst0001.fits',
    '5_fits_conformance/tst0003.fits',
    '5_fits_conformance/tst0005.fits',
    '5_fits_conformance/tst0013.fits',
  ];
  for (const file of files) {
    const path = findData(file);
    test.skipIf(path === null)(file, async () => {
      expect(await inspect(path as string)).toMatchObject({ layout: 'mono', cfa: null, codes: [] });
    });
  }

  const packed = findData('3_mono/m13_amateur_16bit_noisy.fits.gz');
  test.skipIf(packed === null)('3_mono/m13_amateur_16bit_noisy.fits.gz, unpacked', async () => {
    const copy = join(folder, 'm13.fits');
    writeFileSync(copy, gunzipSync(readFileSync(packed as string)));
    const found = await inspect(copy);
    expect(found).toMatchObject({ layout: 'mono', cfa: null, codes: [] });
    expect(found.metadata).toMatchObject({ exposureSeconds: 5, pixelSizeUm: 6.45 });
  });
});

describe('metadata of real headers', () => {
  const decam = findData('1_multiband/decam_fieldA_r.fits');
  test.skipIf(decam === null)('image in extension 1, exposure in the primary header', async () => {
    expect((await inspect(decam as string)).metadata).toMatchObject({
      exposureSeconds: 64,
      airmass: 1.77,
      saturationAdu: 50601.4076314464,
      dateObs: '2018-01-28T08:38:45.175018',
    });
  });

  const sdss = findData('1_multiband/sn2006bhdir_sdss_g.fits');
  test.skipIf(sdss === null)('an exposure time in quotes', async () => {
    expect((await inspect(sdss as string)).metadata.exposureSeconds).toBe(53.907456);
  });

  const dark = findData('2_cfa/osc_grbg_dark30s.fit');
  test.skipIf(dark === null)('a unitless gain setting is not e-/ADU', async () => {
    expect((await inspect(dark as string)).metadata).toMatchObject({
      exposureSeconds: 30,
      gainElectronsPerAdu: null,
      pixelSizeUm: 3.75,
      binning: 1,
      sensorTemperatureC: 25.2,
      pedestalAdu: 0,
    });
  });
});
