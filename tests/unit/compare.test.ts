/** The whole comparison: verdicts on invented telescopes, crops of the same stars, files that cannot be read. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { compareTelescopes } from '../../src/compare/compare.js';
import type { StarCrop } from '../../src/compare/crops.js';
import { DEFAULT_COMPARE_OPTIONS } from '../../src/compare/options.js';
import type { Comparison } from '../../src/compare/result.js';
import { encodeFits } from '../../src/frame/fits/write.js';
import { compareFiles } from '../../src/pool/compare-files.js';
import { exposure, randomSky, type TelescopeOptions, telescope } from '../helpers/paired-skies.js';

const TIMEOUT = 60_000;
const quick = { ...DEFAULT_COMPARE_OPTIONS, rMaxPx: 12, bootstrapDraws: 80 };
/** The brightest star clips in both. */
const sky = randomSky(5, 150, 1000).map((star, i) =>
  i === 0 ? { xArcsec: 40, yArcsec: -60, flux: 800_000 } : star,
);
const HALO: TelescopeOptions = {
  seed: 1,
  skirt: { share: 0.3, fwhm: 16 },
  saturationAdu: 20_000,
  metadata: { saturationAdu: 20_000 },
};
const CLEAN: TelescopeOptions = {
  seed: 2,
  scale: 1.6,
  width: 530,
  height: 410,
  rotationDeg: 110,
  mirrored: true,
  saturationAdu: 20_000,
  metadata: { saturationAdu: 20_000 },
};
const compared = (): { comparison: Comparison; crops: StarCrop[] } =>
  compareTelescopes([telescope('halo', sky, HALO), telescope('clean', sky, CLEAN)], quick);

describe('compareTelescopes', () => {
  let comparison: Comparison;
  let crops: StarCrop[];
  beforeAll(() => {
    ({ comparison, crops } = compared());
  }, TIMEOUT);

  it('names the telescope without halo, and only in colour', () => {
    const verdict = (quantity: string): string | undefined =>
      comparison.rows.find((row) => row.quantity === quantity)?.verdict;
    expect(verdict('halo blue minus red')).toBe('clean');
    expect(verdict('halo blue minus green')).toBe('clean');
    expect(verdict('r80 blue')).toBe('clean');
    expect(verdict('halo red minus green')).toBe('no difference shown');
    expect(verdict('ellipticity')).toBe('no difference shown');
    expect(
      comparison.rows.filter((row) => row.verdict === 'halo').map((row) => row.quantity),
    ).toEqual([]);
  });

  it('holds every part: telescopes, fairness, purposes, summary', () => {
    expect(comparison.telescopes.map(({ label }) => label)).toEqual(['halo', 'clean']);
    const [halo, clean] = comparison.telescopes;
    expect(halo?.scaleArcsecPerPx).toBeCloseTo(2, 6);
    expect(clean?.profiles.B?.encircledEnergy.at(-1)).toBeCloseTo(1, 4);
    expect(clean?.profiles.G?.radius.at(-1)).toBeCloseTo(comparison.normalisedWithin as number, 9);
    // f/5: the blur of the skirt is a defocus of many µm, that of the clean lens of few.
    expect(halo?.blueDefocusUm?.value).toBeGreaterThan(4 * (clean?.blueDefocusUm?.value as number));
    expect(comparison.transforms).toHaveLength(1);
    expect(comparison.transforms[0]?.onto).toBe('halo');
    expect(comparison.fairness.length).toBeGreaterThan(10);
    expect(comparison.purposes).toHaveLength(5);
    expect(comparison.summary.length).toBeGreaterThan(3);
    expect(comparison.stars.distance).toHaveLength(comparison.matchedStars);
  });

  it(
    'gives the same digits again',
    () => {
      const again = compared();
      expect(again.comparison).toEqual(comparison);
      expect(again.crops).toEqual(crops);
    },
    TIMEOUT,
  );

  it('crops: four unsaturated stars and the clipped one, in both', () => {
    expect(crops.map(({ saturated }) => saturated)).toEqual([false, false, false, false, true]);
    for (const { side, images } of crops) {
      expect(side % 2).toBe(1);
      for (const label of ['halo', 'clean']) {
        expect(images[label]?.rgb).toHaveLength(3 * side * side);
        expect(images[label]?.colour).toBe(true);
      }
    }
    expect(crops[0]?.magnitude).toBeCloseTo(0, 9);
    expect(crops[4]?.magnitude).toBeNull();
  });

  it('crops: each colour holds the whole star, in the middle, the blue of the halo farther out', () => {
    for (const { side, images, unitPerSample, saturated } of crops) {
      if (saturated) continue;
      const half = (side - 1) / 2;
      /** Light within r arcsec, and where it lies. */
      const within = (rgb: Float32Array, plane: number, r: number) => {
        let [sum, x, y] = [0, 0, 0];
        for (let j = 0; j < side; j++) {
          for (let i = 0; i < side; i++) {
            if (Math.hypot(i - half, j - half) * unitPerSample > r) continue;
            const v = rgb[(plane * side + j) * side + i] as number;
            sum += v;
            x += v * (i - half);
            y += v * (j - half);
          }
        }
        return { light: sum * unitPerSample ** 2, x: x / sum, y: y / sum };
      };
      for (const { rgb } of Object.values(images)) {
        const green = within(rgb, 1, 10);
        expect(green.light).toBeGreaterThan(0.85);
        expect(green.light).toBeLessThan(1.1);
        expect(Math.hypot(green.x, green.y)).toBeLessThan(0.3);
      }
      const outside = (label: string): number => {
        const { rgb } = images[label] as { rgb: Float32Array };
        return within(rgb, 0, 6).light - within(rgb, 2, 6).light;
      };
      expect(outside('halo')).toBeGreaterThan(outside('clean') + 0.08);
    }
  });

  it('crops lie alike: a neighbour appears at the same place, whatever the turn of the camera', () => {
    const pictures = crops.map(({ images, side }) => {
      const [a, b] = [images.halo, images.clean] as [{ rgb: Float32Array }, { rgb: Float32Array }];
      // Correlation of green over the pixels that both have, the star itself left out.
      const half = (side - 1) / 2;
      let [ab, aa, bb, n] = [0, 0, 0, 0];
      let neighbour = 0;
      for (let j = 0; j < side; j++) {
        for (let i = 0; i < side; i++) {
          if (Math.hypot(i - half, j - half) < 0.45 * half) continue;
          const p = a.rgb[(side + j) * side + i] as number;
          const q = b.rgb[(side + j) * side + i] as number;
          if (Number.isNaN(p) || Number.isNaN(q)) continue;
          [ab, aa, bb, n] = [ab + p * q, aa + p * p, bb + q * q, n + 1];
          neighbour = Math.max(neighbour, p);
        }
      }
      return { correlation: ab / Math.sqrt(aa * bb), neighbour, n };
    });
    const best = pictures.reduce((x, y) => (y.neighbour > x.neighbour ? y : x));
    expect(best.n).toBeGreaterThan(50);
    expect(best.correlation).toBeGreaterThan(0.5);
  });

  it(
    'refuses a confidence that is none',
    () => {
      expect(() =>
        compareTelescopes([telescope('a', sky, { seed: 5 }), telescope('b', sky, { seed: 6 })], {
          ...quick,
          confidence: 1,
        }),
      ).toThrow(/confidence/);
    },
    TIMEOUT,
  );
});

describe('compareFiles', () => {
  let folder: string;
  beforeAll(() => {
    folder = mkdtempSync(join(tmpdir(), 'compare-'));
  });
  afterAll(() => rmSync(folder, { recursive: true, force: true }));

  const write = (name: string, options: TelescopeOptions): string => {
    const { rows } = exposure(sky, options);
    const data = new Uint16Array(rows.width * rows.height);
    rows.readRows(0, 0, rows.height, data);
    const path = join(folder, name);
    writeFileSync(
      path,
      encodeFits({ width: rows.width, height: rows.height, planes: 1, data }, [
        { keyword: 'BAYERPAT', value: 'RGGB' },
        { keyword: 'XPIXSZ', value: 3.76 },
        { keyword: 'EXPTIME', value: 60 },
      ]),
    );
    return path;
  };
  const label = (name: string, files: string[]) => ({
    label: name,
    files: files.map((file) => ({ file, fault: null })),
    overrides: { focalLengthMm: 388, apertureMm: 80 },
    seeingArcsec: null,
  });

  it(
    'goes on after a file that cannot be read, counts steps, and compares',
    async () => {
      const broken = join(folder, 'broken.fits');
      writeFileSync(broken, 'SIMPLE');
      let steps = 0;
      const outcome = await compareFiles(
        {
          labels: [
            label('one', [broken, write('one.fits', { seed: 7 })]),
            label('two', [write('two.fits', { seed: 8 })]),
          ],
          options: quick,
        },
        () => {
          steps++;
        },
      );
      expect(steps).toBe(3);
      expect(outcome.error).toBeNull();
      expect(outcome.comparison?.telescopes[0]?.failed.map(({ file }) => file)).toEqual([broken]);
      expect(outcome.failed[0]?.failed[0]?.error.code).toBeTruthy();
      // The scale is that of the focal length given.
      expect(outcome.comparison?.telescopes[0]?.scaleArcsecPerPx).toBeCloseTo(
        (206.265 * 3.76) / 388,
        6,
      );
      expect(
        outcome.comparison?.rows.every(({ verdict }) => verdict !== 'one' && verdict !== 'two'),
      ).toBe(true);
    },
    TIMEOUT,
  );

  it(
    'says why nothing could be compared, as data',
    async () => {
      const outcome = await compareFiles({
        labels: [
          label('one', [write('a.fits', { seed: 9 })]),
          label('none', [join(folder, 'missing.fits')]),
        ],
        options: quick,
      });
      expect(outcome.comparison).toBeNull();
      expect(outcome.error?.code).toBe('no-frames');
      expect(outcome.error?.message).toMatch(/none/);
      expect(outcome.failed[1]?.failed[0]?.error.code).toBe('missing');
    },
    TIMEOUT,
  );
});
