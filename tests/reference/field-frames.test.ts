/** The field of real frames: what anybody sees in them must come out. Origins: fixtures/README.md and the index of the larger set. */
import { existsSync } from 'node:fs';
import sharp from 'sharp';
import { describe, expect, it, vi } from 'vitest';
import { analyseField } from '../../src/field/field.js';
import type { Frame } from '../../src/frame/frame.js';
import { openFrame } from '../../src/frame/open.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { searchFrame } from '../../src/measure/search-frame.js';
import { expectClose } from '../expect-close.js';
import { findData } from '../helpers/data-files.js';
import { memoryFrame } from '../helpers/memory-frame.js';

vi.setConfig({ testTimeout: 120_000 });

function fieldOf(frame: Frame, maxStars: number) {
  const searched = searchFrame(frame, { ...DEFAULT_MEASURE_OPTIONS, maxStars }, () => {});
  const [set] = analyseField([{ frames: [searched] }], { seed: 1, draws: 40 }).sets;
  return set;
}

const streak = findData('3_mono/r_band_streak_elongated.fits');
const fishEye = findData('4_colour/allsky_fisheye_stars.jpg');
const spots = findData('3_mono/defocused_pupil_spots.fits');

describe('real frames', () => {
  it.skipIf(streak === null)('stars all drawn out in one direction: tracking', async () => {
    const frame = await openFrame(streak as string);
    const set = fieldOf(frame, 1000);
    frame.rows.close();
    expect(set.leading).toBe('tracking');
    // The index of the data set gives a median axis ratio of 1.36 (sep, isophotal): (1.36 − 1)/(1.36 + 1) = 0.153; moments within an
    // isophote cut both axes of a star short, so that its true ratio is larger.
    expect(set.model?.uniformEllipticity.value).toBeGreaterThan(0.14);
    expect(set.model?.uniformEllipticity.value).toBeLessThan(0.26);
    expect(set.causes[0].evidence.join(' ')).toMatch(/same direction/);
  });

  it.skipIf(fishEye === null)('a fish-eye lens: worse from the centre outwards', async () => {
    const path = fishEye as string;
    expect(existsSync(path)).toBe(true);
    const { data, info } = await sharp(path).raw().toBuffer({ resolveWithObject: true });
    const count = info.width * info.height;
    const planes = new Uint8Array(3 * count);
    for (let i = 0; i < count; i++)
      for (let c = 0; c < 3; c++) planes[c * count + i] = data[info.channels * i + c];
    const frame = memoryFrame({
      width: info.width,
      height: info.height,
      data: planes,
      layout: 'rgb',
      probablyProcessed: true,
    });
    const set = fieldOf(frame, 1000);
    expect(set.leading).toBe('curvature');
    const places = set.model?.places;
    if (!places) throw new Error('no model');
    for (const corner of places.corners) expect(corner).toBeGreaterThan(1.2 * places.centre);
    // The circle of the sky is centred on the frame: opposite sides are alike.
    expectClose(places.left, places.right, { rtol: 0.15 });
  });

  it.skipIf(spots === null)('touching spots are no star field: cannot tell', async () => {
    const frame = await openFrame(spots as string);
    const set = fieldOf(frame, 300);
    frame.rows.close();
    expect(set.leading).toBe('cannot tell');
    expect(set.cells).toEqual([]);
  });
});
