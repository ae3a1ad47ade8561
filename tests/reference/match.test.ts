/** Transforms against scikit-image and numpy, and real frames whose geometry is published or known. */
import { readFileSync } from 'node:fs';
import { describe, expect, test, vi } from 'vitest';
import { FLAG } from '../../src/catalogue/flags.js';
import { openFrame } from '../../src/frame/open.js';
import { type Match, matchStars } from '../../src/match/match.js';
import type { StarList } from '../../src/match/star-list.js';
import {
  applyInverse,
  applyTransform,
  describeTransform,
  fitTransform,
  type PointPairs,
  type TransformKind,
} from '../../src/match/transform.js';
import { matchListOf } from '../../src/measure/match-list.js';
import { measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { searchFrame } from '../../src/measure/search-frame.js';
import { expectClose } from '../expect-close.js';
import { findData, fixture } from '../helpers/data-files.js';

// Measuring a real frame takes seconds on a busy machine.
vi.setConfig({ testTimeout: 60_000 });

interface Case {
  name: string;
  kind: TransformKind;
  mirrored: boolean | null;
  src: [number, number][];
  dst: [number, number][];
  probe: [number, number][];
  image: [number, number][];
  scale?: number;
  rotationDeg?: number;
}

/** Both lists of points as columns. */
function columns(src: readonly [number, number][], dst: readonly [number, number][]): PointPairs {
  return {
    n: src.length,
    ax: Float64Array.from(src, (p) => p[0]),
    ay: Float64Array.from(src, (p) => p[1]),
    bx: Float64Array.from(dst, (p) => p[0]),
    by: Float64Array.from(dst, (p) => p[1]),
  };
}

describe('transforms against scikit-image 0.19.3 and numpy 1.24.2 (fixtures/reference/match.py)', () => {
  const { cases } = JSON.parse(readFileSync(fixture('reference/match.json'), 'utf8')) as {
    cases: Case[];
  };

  test.each(cases)('$name', ({ kind, mirrored, src, dst, probe, image, scale, rotationDeg }) => {
    const pairs = columns(src, dst);
    const t = fitTransform(kind, pairs, mirrored ?? undefined);
    if (t === null) throw new Error('not determined');
    for (let i = 0; i < probe.length; i++) {
      const [x, y] = probe[i];
      // The frozen positions are rounded to 1e-9 px; sums of thousands of px lose some more.
      expectClose(applyTransform(t, x, y), image[i], { atol: 1e-6 }, 'image');
      expectClose(applyInverse(t, ...image[i]), [x, y], { atol: 1e-6 }, 'way back');
    }
    if (scale !== undefined && rotationDeg !== undefined) {
      const found = describeTransform(t);
      expectClose(found.scale, scale, { rtol: 1e-9 });
      expectClose(found.rotationDeg, rotationDeg, { atol: 1e-7 });
      expect(found.mirrored).toBe(mirrored);
      // The parity is found without being told.
      expect(describeTransform(fitTransform(kind, pairs) as typeof t)).toEqual(found);
    }
  });

  test("Umeyama's own example (1991, IEEE TPAMI 13, 376, section IV; from memory)", () => {
    const pairs = columns(
      [
        [0, 0],
        [1, 0],
        [0, 2],
      ],
      [
        [0, 0],
        [-1, 0],
        [0, 2],
      ],
    );
    const t = fitTransform('similarity', pairs, false);
    if (t === null) throw new Error('not determined');
    // R = [0.832 0.555; −0.555 0.832], t = (−0.8, 0.4), c = 0.721: printed to three digits.
    const { scale, rotationDeg, shiftX, shiftY } = describeTransform(t);
    expectClose(scale, 0.721, { atol: 5e-4 });
    expectClose(Math.cos((rotationDeg * Math.PI) / 180), 0.832, { atol: 5e-4 });
    expectClose(Math.sin((rotationDeg * Math.PI) / 180), -0.555, { atol: 5e-4 });
    expectClose([shiftX, shiftY], [-0.8, 0.4], { atol: 1e-12 });
  });
});

const NO_STAR = FLAG['hot pixel'] | FLAG['cosmic ray'] | FLAG.trail;
const lists = new Map<string, Promise<StarList>>();

/** Sources of a real frame by the project's own detection; measured once. */
function starsOf(path: string): Promise<StarList> {
  let list = lists.get(path);
  if (list === undefined) {
    list = openFrame(path).then((frame) => {
      try {
        const { catalogue } = measureFrame(frame, {
          ...DEFAULT_MEASURE_OPTIONS,
          bootstrapDraws: 20,
        });
        const keep = Array.from(catalogue.flags.keys()).filter(
          (i) => (catalogue.flags[i] & NO_STAR) === 0,
        );
        const column = (name: string): Float64Array =>
          Float64Array.from(keep, (i) => catalogue.columns[name][i]);
        return {
          x: column('x'),
          y: column('y'),
          brightness: column(`flux_${catalogue.channels[0]}`),
          width: frame.rows.width,
          height: frame.rows.height,
        };
      } finally {
        frame.rows.close();
      }
    });
    lists.set(path, list);
  }
  return list;
}

const shared = (name: string): string | null => findData(`1_multiband/${name}.fits`);

describe('real frames', () => {
  describe.each([
    ['j', 'h'],
    ['j', 'k'],
    ['h', 'k'],
  ])('crowded field on one pixel grid, %s and %s', (one, other) => {
    const paths = [shared(`twomass_galcentre_${one}`), shared(`twomass_galcentre_${other}`)];
    test.skipIf(paths.includes(null))('nothing is shifted, turned or scaled', async () => {
      const [a, b] = await Promise.all(paths.map((path) => starsOf(path as string)));
      const match = matchStars(a, b) as Match;
      expect(match).toMatchObject({ found: true, description: { mirrored: false } });
      // The grids are one. Colour moves blended centroids: a tenth of a pixel over the frame.
      expectClose(match.description.scale, 1, { atol: 3e-4 });
      expectClose(match.description.rotationDeg, 0, { atol: 0.02 });
      expectClose([match.description.shiftX, match.description.shiftY], [0, 0], { atol: 0.15 });
      expect(match.log10FalseProbability).toBeLessThan(-50);
    });
  });

  const DECAM = ['g', 'r', 'z'] as const;
  // Image of one frame's centre on the other, minus that centre: world coordinates of both headers by astropy 5.2.1
  // (all_pix2world, all_world2pix; 2026-11-25), px.
  const PUBLISHED = { gr: [0.338, -0.132], rz: [-0.703, -0.205], gz: [-0.364, -0.338] };
  const decam = DECAM.map((band) => shared(`decam_fieldA_${band}`));
  test.skipIf(decam.includes(null))(
    'few stars, three bands of one camera: shifts add up',
    async () => {
      const [g, r, z] = await Promise.all(decam.map((path) => starsOf(path as string)));
      const hint = { nearlyAligned: true, maxShiftPx: 100 };
      const shift = (a: StarList, b: StarList): [number, number] => {
        const match = matchStars(a, b, hint) as Match;
        expect(match).toMatchObject({ found: true, aligned: true });
        expectClose(match.description.scale, 1, { atol: 0.003 });
        return [match.description.shiftX, match.description.shiftY];
      };
      const gr = shift(g, r);
      const rz = shift(r, z);
      const gz = shift(g, z);
      // Four to six sources, faint ones and galaxies among them, each to about 0.3 px.
      expectClose(gr, PUBLISHED.gr, { atol: 0.4 }, 'g to r');
      expectClose(rz, PUBLISHED.rz, { atol: 0.4 }, 'r to z');
      expectClose(gz, PUBLISHED.gz, { atol: 0.4 }, 'g to z');
      expectClose([gr[0] + rz[0], gr[1] + rz[1]], gz, { atol: 0.5 });
    },
  );

  // As a set of filters is registered: faint sources and clipped ones too, no galaxies, no bound of the shift.
  test.skipIf(decam.includes(null))(
    'few stars, three bands: registered as a filter set is',
    async () => {
      const [g, r, z] = await Promise.all(
        decam.map(async (path) => {
          const frame = await openFrame(path as string);
          try {
            return matchListOf(searchFrame(frame, DEFAULT_MEASURE_OPTIONS, () => {})).list;
          } finally {
            frame.rows.close();
          }
        }),
      );
      for (const [a, b, centre] of [
        [g, r, PUBLISHED.gr],
        [r, z, PUBLISHED.rz],
        [g, z, PUBLISHED.gz],
      ] as const) {
        const match = matchStars(a, b, { nearlyAligned: true }) as Match;
        expect(match).toMatchObject({ found: true, aligned: true });
        expect(match.matched).toBeGreaterThanOrEqual(3);
        const { shiftX, shiftY } = match.description;
        expectClose([shiftX, shiftY], centre, { atol: 0.4 });
      }
    },
  );

  // Pixel scales as the surveys publish them, arcsec: 0.396 and 0.25 (from memory; the headers' CD and CDELT agree).
  const RATIO = 0.396 / 0.25;
  // The nucleus of the galaxy and one star are all that both frames hold; the other star lies beyond the smaller field.
  // Places read off the pictures, px.
  const SEEN = {
    sdss: { nucleus: [122, 121], star: [137, 144] },
    ps1: { nucleus: [119, 126], star: [81, 149] },
  } as const;
  const nearestTo = (list: StarList, [x0, y0]: readonly [number, number]): [number, number] => {
    let best = 0;
    const d2 = (i: number): number => (list.x[i] - x0) ** 2 + (list.y[i] - y0) ** 2;
    for (let i = 1; i < list.x.length; i++) if (d2(i) < d2(best)) best = i;
    expect(d2(best)).toBeLessThan(9);
    return [list.x[best], list.y[best]];
  };
  describe.each(['g', 'r', 'i', 'z'])('a galaxy by two surveys, band %s', (band) => {
    const paths = [shared(`sn2006bhdir_sdss_${band}`), shared(`sn2006bhdir_ps1_${band}`)];
    test.skipIf(paths.includes(null))('two sources in common: no match', async () => {
      const [a, b] = await Promise.all(paths.map((path) => starsOf(path as string)));
      // Two points fix a similarity and leave nothing that could bear it out.
      for (const options of [{}, { mirrored: false, minScale: 1.57, maxScale: 1.6 }]) {
        const result = matchStars(a, b, options);
        if (result.found) throw new Error(`matched ${result.matched} of ${result.expected}`);
        expect(result.reason).not.toBe('ambiguous');
      }
    });

    // In r the star of the finer frame is lost in the light of the galaxy.
    test.skipIf(paths.includes(null) || band === 'r')(
      'their distance and direction in both frames give the published ratio of scales',
      async () => {
        const [a, b] = await Promise.all(paths.map((path) => starsOf(path as string)));
        const [nucleusA, starA] = [nearestTo(a, SEEN.sdss.nucleus), nearestTo(a, SEEN.sdss.star)];
        const [nucleusB, starB] = [nearestTo(b, SEEN.ps1.nucleus), nearestTo(b, SEEN.ps1.star)];
        const t = fitTransform('similarity', columns([nucleusA, starA], [nucleusB, starB]), false);
        if (t === null) throw new Error('not determined');
        // 28 px apart; the nucleus is resolved, its middle good to about 0.1 px in either frame.
        expectClose(describeTransform(t).scale, RATIO, { rtol: 0.01 });
        // The axes of both headers: x north and y east here, x west and y north there.
        expectClose(describeTransform(t).rotationDeg, 90, { atol: 1 });
      },
    );
  });
});
