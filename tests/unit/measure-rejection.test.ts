/** Every reason for leaving a source out is planted among good stars, found under its name, and counted. */
import { describe, expect, test } from 'vitest';
import { flagNames, STAR_FLAGS, type StarFlagName } from '../../src/catalogue/flags.js';
import { type Measurement, measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import {
  type PlantedOptions,
  type PlantedSample,
  type PlantedStar,
  plantedFrame,
  rowAt,
  starGrid,
} from '../helpers/planted-frame.js';

const FWHM = 2.6;
const WIDTH = 340;
const HEIGHT = 246;
const LAYOUTS = ['mono', 'cfa'] as const;
type Layout = (typeof LAYOUTS)[number];

/** 36 good stars on the left; the guests stand right of x = 255. */
function measureWith(
  layout: Layout,
  guests: Pick<PlantedOptions, 'stars' | 'samples' | 'fullWell'>,
): Measurement {
  // Each channel of a mosaic sees a part of the pixels: twice the light for the same clarity.
  const light = layout === 'cfa' ? 2 : 1;
  const good = starGrid({
    columns: 6,
    rows: 6,
    spacingPx: 41,
    flux: [6000 * light, 60_000 * light],
    fwhmPx: FWHM,
    seed: 4,
  });
  const { frame } = plantedFrame({
    width: WIDTH,
    height: HEIGHT,
    layout,
    seed: 3,
    ...guests,
    stars: [...good, ...(guests.stars ?? []).map((star) => ({ ...star, flux: star.flux * light }))],
  });
  const measured = measureFrame(frame, {
    ...DEFAULT_MEASURE_OPTIONS,
    bootstrapDraws: 20,
    rMaxPx: 14,
  });
  // Whatever stands beside them: the good stars are used, all of them.
  const { columns, flags } = measured.catalogue;
  for (const star of good) {
    const row = rowAt(columns, star.x, star.y, 1);
    expect(row, `star at ${star.x}, ${star.y}`).toBeGreaterThanOrEqual(0);
    expect(flagNames(flags[row])).toEqual([]);
  }
  return measured;
}

/** Names of the flags of the row nearest to a place; null where nothing was found. */
function labelAt({ catalogue }: Measurement, x: number, y: number, radiusPx = 2) {
  const row = rowAt(catalogue.columns, x, y, radiusPx);
  return row < 0 ? null : flagNames(catalogue.flags[row]);
}

/** All rows right of the good stars. */
function guestLabels({ catalogue }: Measurement): StarFlagName[][] {
  return Array.from(catalogue.flags, (bits, i) => ({ bits, x: catalogue.columns.x[i] }))
    .filter(({ x }) => x > 255)
    .map(({ bits }) => flagNames(bits));
}

/** found = used + Σ rejected, and each count is that of the catalogue's first flags. */
function expectCounts({ result, catalogue }: Measurement): void {
  const { stars } = result;
  if (!stars) throw new Error('no star counts');
  const rejected = Object.values(stars.rejected).reduce((sum, count) => sum + count, 0);
  expect(stars.found).toBe(stars.used + rejected);
  expect(catalogue.length).toBe(stars.found);
  for (const { name } of STAR_FLAGS) {
    const count = Array.from(catalogue.flags).filter((bits) => flagNames(bits)[0] === name).length;
    expect(stars.rejected[name] ?? 0, name).toBe(count);
  }
  expect(Array.from(catalogue.flags).filter((bits) => bits === 0).length).toBe(stars.used);
}

const star = (x: number, y: number, flux: number, more?: Partial<PlantedStar>): PlantedStar => ({
  x,
  y,
  flux,
  fwhmPx: FWHM,
  ...more,
});

describe.each(LAYOUTS)('in a %s frame', (layout) => {
  test('good stars alone: nothing is rejected', () => {
    const measured = measureWith(layout, {});
    expect(measured.result.stars?.rejected).toEqual({});
    expectCounts(measured);
  });

  test('saturated stars, with the level found from the frame', () => {
    const stars = [60, 110, 160, 210].map((y, k) => star(300.3, y - 0.2, 6e5 * 1.5 ** k));
    const measured = measureWith(layout, { stars, fullWell: 40_000 });
    for (const { x, y } of stars) expect(labelAt(measured, x, y)).toContain('saturated');
    expect(measured.result.stars?.saturationSource).toBe('frame');
    // Full well 40,000 e⁻ on the pedestal of 500; read noise 2 e⁻ and the search's own margin of half a per cent.
    const level = measured.result.stars?.saturationAdu ?? 0;
    expect(level).toBeGreaterThan(40_200);
    expect(level).toBeLessThan(40_520);
    expectCounts(measured);
  });

  test('pairs closer than 1.5 FWHM', () => {
    const pairs = [
      [star(300, 60, 20_000), star(303.7, 60.8, 15_000)],
      [star(300, 120, 30_000), star(297.2, 122.1, 12_000)],
      [star(300, 190, 30_000), star(300.5, 193.9, 30_000)],
    ];
    const measured = measureWith(layout, { stars: pairs.flat() });
    const { columns, flags } = measured.catalogue;
    for (const [first] of pairs) {
      const rows = Array.from(flags, (_, i) => i).filter(
        (i) => Math.hypot(columns.x[i] - first.x, columns.y[i] - first.y) < 7,
      );
      expect(rows.length).toBeGreaterThan(0);
      for (const row of rows) {
        const labels = flagNames(flags[row]);
        // Told apart, they are neighbours of each other; found as one, the spot is only seen to be too wide or too long.
        if (rows.length > 1) expect(labels).toContain('blended');
        else expect(labels.some((name) => name === 'blended' || name === 'extended')).toBe(true);
      }
    }
    expectCounts(measured);
  });

  test('a pair that makes one oblong spot is not used', () => {
    const stars = [star(300, 60, 30_000), star(301.9, 61.9, 26_000)];
    const measured = measureWith(layout, { stars });
    for (const labels of guestLabels(measured)) expect(labels).not.toEqual([]);
    expect(guestLabels(measured).length).toBeGreaterThan(0);
    expectCounts(measured);
  });

  test('a faint star on the skirt of a bright one is not used, the bright one is', () => {
    const stars = [star(300, 100, 200_000), star(307, 103, 3000)];
    const measured = measureWith(layout, { stars });
    expect(labelAt(measured, 300, 100)).toEqual([]);
    // Where the skirt drowns it, it may go unseen.
    expect(labelAt(measured, 307, 103)).not.toEqual([]);
    expectCounts(measured);
  });

  test('stars at the border', () => {
    const stars = [star(WIDTH - 2.4, 80.3, 20_000), star(300, 1.6, 20_000)];
    const measured = measureWith(layout, { stars });
    for (const { x, y } of stars)
      expect(labelAt(measured, x, y, 3) ?? ['not found']).toContain('edge');
    expectCounts(measured);
  });

  test('hot pixels, weak and strong', () => {
    const samples = [400, 3000, 30_000].map((electrons, k) => ({
      x: 290 + k,
      y: 60 + 51 * k,
      electrons,
    }));
    const measured = measureWith(layout, { samples });
    for (const { x, y } of samples) expect(labelAt(measured, x, y, 3)).toEqual(['hot pixel']);
    expectCounts(measured);
  });

  test('tracks of cosmic rays', () => {
    const slanted = Array.from({ length: 7 }, (_, k) => ({
      x: 290 + (k >> 1),
      y: 60 + k,
      electrons: 2500,
    }));
    const level = Array.from({ length: 6 }, (_, k) => ({ x: 290 + k, y: 150, electrons: 2500 }));
    const measured = measureWith(layout, { samples: [...slanted, ...level] });
    for (const track of [slanted, level] as PlantedSample[][]) {
      const labels = track.map(({ x, y }) => labelAt(measured, x, y)).filter((l) => l !== null);
      expect(labels.length, 'found').toBeGreaterThan(0);
      for (const label of labels) expect(label).toContain('cosmic ray');
    }
    expectCounts(measured);
  });

  test('galaxies', () => {
    const stars = [
      star(300, 70, 60_000, { fwhmPx: 7, beta: Number.POSITIVE_INFINITY }),
      star(300, 170, 40_000, { fwhmPx: 5, ellipticity: 0.2, angleDeg: 40 }),
    ];
    const measured = measureWith(layout, { stars });
    for (const { x, y } of stars) expect(labelAt(measured, x, y, 4)).toContain('extended');
    expectCounts(measured);
  });

  test('the trail of a satellite', () => {
    const line = Array.from({ length: 60 }, (_, k) => star(270 + 0.7 * k, 50 + 2 * k, 900));
    const measured = measureWith(layout, { stars: line });
    const labels = guestLabels(measured);
    expect(labels.length).toBeGreaterThan(5);
    for (const label of labels) expect(label).not.toEqual([]);
    // Ends and noise may read otherwise; the trail as a whole must bear its name.
    const named = labels.filter((label) => label.includes('trail')).length;
    expect(named).toBeGreaterThanOrEqual(0.8 * labels.length);
    expectCounts(measured);
  });

  test('stars too faint for a shape', () => {
    // S/N of about 8 by the matched filter.
    const stars = [60, 100, 140, 180].map((y) => star(300.2, y + 0.4, 340));
    const measured = measureWith(layout, { stars });
    const labels = stars.map(({ x, y }) => labelAt(measured, x, y)).filter((l) => l !== null);
    expect(labels.length).toBeGreaterThanOrEqual(2);
    for (const label of labels) expect(label).toEqual(['faint']);
    expectCounts(measured);
  });

  test('stars outside the zone, and stars beyond the limit', () => {
    const { frame } = plantedFrame({
      width: WIDTH,
      height: HEIGHT,
      layout,
      stars: starGrid({
        columns: 8,
        rows: 6,
        spacingPx: 41,
        flux: [20_000, 60_000],
        fwhmPx: FWHM,
        seed: 6,
      }),
    });
    const options = { ...DEFAULT_MEASURE_OPTIONS, bootstrapDraws: 10, rMaxPx: 14 };
    const centre = measureFrame(frame, { ...options, zone: 'centre' });
    expectCounts(centre);
    const { columns, flags } = centre.catalogue;
    const radius = 0.25 * Math.hypot(WIDTH, HEIGHT);
    flags.forEach((bits, i) => {
      const far = Math.hypot(columns.x[i] - (WIDTH - 1) / 2, columns.y[i] - (HEIGHT - 1) / 2);
      if (Math.abs(far - radius) > 0.5)
        expect(flagNames(bits)).toEqual(far > radius ? ['outside zone'] : []);
    });

    const few = measureFrame(frame, { ...options, maxStars: 12 });
    expectCounts(few);
    expect(few.result.stars?.used).toBe(12);
    expect(few.result.stars?.rejected).toEqual({ 'over limit': 36 });
    // The brightest are kept.
    const flux = few.catalogue.columns[layout === 'mono' ? 'flux_L' : 'flux_G'];
    const kept = Array.from(flux).filter((_, i) => few.catalogue.flags[i] === 0);
    const dropped = Array.from(flux).filter((_, i) => few.catalogue.flags[i] !== 0);
    // Fluxes of fits decide; those in the catalogue differ by their noise, about 0.5 %.
    expect(Math.min(...kept)).toBeGreaterThan(0.98 * Math.max(...dropped));
  });
});
