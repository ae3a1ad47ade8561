/** Real frames of clusters, galaxies, darks, flats and pictures: none of them tells the fall-off of a lens, and none may seem to. */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test, vi } from 'vitest';
import { planChannels } from '../../src/detect/lattice.js';
import { measureIllumination } from '../../src/field/illumination.js';
import { knownPedestal } from '../../src/field/pedestal.js';
import { openFrame } from '../../src/frame/open.js';

vi.setConfig({ testTimeout: 60_000 });

const DATA = '../shared/data';
const MONO = [
  '1_multiband/twomass_galcentre_k.fits',
  '1_multiband/decam_fieldA_r.fits',
  '1_multiband/sn2006bhdir_ps1_g.fits',
  '1_multiband/sn2006bhdir_ps1_r.fits',
  '1_multiband/sn2006bhdir_ps1_i.fits',
  '1_multiband/sn2006bhdir_sdss_g.fits',
  '1_multiband/sn2006bhdir_sdss_r.fits',
  '1_multiband/sn2006bhdir_sdss_z.fits',
  '3_mono/m13_amateur_16bit_noisy.fits.gz',
  '3_mono/r_band_streak_elongated.fits',
  '3_mono/galaxy_pair_columns_bleed.fits',
  '3_mono/ntt_emmi_256.fits',
  '3_mono/defocused_pupil_spots.fits',
  '5_fits_conformance/m13.fits',
  '5_fits_conformance/checksum.fits',
  '5_fits_conformance/skimage_simple.fits',
  '6_derived/m13_rice_tile100.fits.fz',
  '6_derived/m13_hcomp_lossy.fits.fz',
  '6_derived/m13real_gzip2_lossless.fits.fz',
  '6_derived/allsky_airglow_mono16.tif',
];
const MOSAIC = [
  '2_cfa/dslr_cfa_700.fits',
  '2_cfa/dslr_cfa_200.fits',
  '2_cfa/osc_grbg_dark30s.fit',
  '2_cfa/osc_grbg_flat.fit',
  '2_cfa/osc_grbg_bias_decimal_comma.fit.gz',
  '2_cfa/canon_uncompressed.dng',
];
const COLOUR = [
  '4_colour/hubble_deep_field.jpg',
  '4_colour/allsky_fisheye_stars.jpg',
  '6_derived/sdss_rgb16_linear.tif',
];

/** With the pedestal of the header, or with a level of no light that the user believes in. */
describe.each([null, 0])('the sky of real frames, --pedestal %s', (given) => {
  for (const name of [...MONO, ...MOSAIC, ...COLOUR]) {
    const path = join(DATA, name);
    test.skipIf(!existsSync(path))(`${name} gives no fall-off`, async () => {
      const frame = await openFrame(path, {});
      try {
        const result = measureIllumination({
          rows: frame.rows,
          plan: planChannels(frame),
          pedestal: knownPedestal(frame.metadata.pedestalAdu, given),
          gainElectronsPerAdu: frame.metadata.gainElectronsPerAdu,
          pixelSizeUm: frame.metadata.pixelSizeUm,
          focalLengthMm: frame.metadata.focalLengthMm,
          linear: frame.probablyProcessed ? false : null,
          seed: 1,
        });
        expect(result.status, JSON.stringify(result.channels[0]?.meanCornerPercent)).not.toBe(
          'measured',
        );
        expect(result.channels).toEqual([]);
        expect(result.fillsSensor).toBe('cannot tell');
        expect(result.reason?.length ?? 0).toBeGreaterThan(30);
      } finally {
        frame.rows.close();
      }
    });
  }
});
