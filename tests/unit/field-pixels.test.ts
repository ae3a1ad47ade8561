/** What the pixels, and not the lens, do to the finding: interpolated and processed frames, and corners without stars. */
import { expect, test } from 'vitest';
import type { CauseInput } from '../../src/field/cause-context.js';
import { findCauses } from '../../src/field/causes.js';
import { analyseField } from '../../src/field/field.js';
import { fitField } from '../../src/field/model.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { searchFrame } from '../../src/measure/search-frame.js';
import { COLUMN_HEIGHT, COLUMN_WIDTH, fieldColumns, OPTICS } from '../helpers/field-columns.js';
import { plantedFrame, starGrid } from '../helpers/planted-frame.js';

const field = (stars: Parameters<typeof starGrid>[0], keep: (x: number) => boolean) => {
  const { frame } = plantedFrame({
    width: 480,
    height: 360,
    layout: 'mono',
    stars: starGrid(stars).filter(({ x }) => keep(x)),
  });
  const searched = searchFrame(frame, DEFAULT_MEASURE_OPTIONS, () => {});
  return analyseField([{ frames: [searched] }], { seed: 1, draws: 40, stamps: false }).sets[0];
};

test('half a field without stars: its corners are not called sound', () => {
  const grid = {
    columns: 19,
    rows: 14,
    spacingPx: 25,
    flux: [20_000, 80_000],
    fwhmPx: 2.8,
    seed: 5,
  } as const;
  expect(field(grid, () => true)?.leading).toBe('none');
  const half = field(grid, (x) => x > 235);
  expect(half?.stars).toBeGreaterThan(50);
  expect(half).toMatchObject({
    leading: 'cannot tell',
    summary: expect.stringMatching(/none stands near 2 of the corners/),
  });
});

test('flat tops of processed pictures and of narrow interpolated stars are no defocus', () => {
  const narrow = fieldColumns({}, 150, 1);
  const fit = fitField(narrow, OPTICS, 1, 40);
  const found = (pixels: NonNullable<CauseInput['pixels']>, widen = 1): string => {
    if (fit) fit.p[0] = (fit.p[0] as number) * widen;
    const { leading } = findCauses({
      fit,
      stars: narrow.n,
      width: COLUMN_WIDTH,
      height: COLUMN_HEIGHT,
      optics: OPTICS,
      colour: null,
      beta: Number.POSITIVE_INFINITY,
      illumination: null,
      pixels,
    });
    if (fit) fit.p[0] = (fit.p[0] as number) / widen;
    return leading;
  };
  expect(found('as recorded')).toBe('defocus');
  expect(found('interpolated')).toBe('none');
  expect(found('processed')).toBe('none');
  // Wide stars keep their shape through interpolation.
  expect(found('interpolated', 4)).toBe('defocus');
  expect(found('processed', 4)).toBe('none');
});
