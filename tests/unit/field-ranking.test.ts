/** What leads when defocus stands beside curvature, the surface that pictures draw, upper and lower, and colour error in intervals. */
import { describe, expect, it, vi } from 'vitest';
import { findCauses } from '../../src/field/causes.js';
import { describeModel } from '../../src/field/describe-model.js';
import { CENTRE, namedPlaces, refocusedEffect } from '../../src/field/effects.js';
import { FIELD_PARAMETERS, KAPPA, T0, TX, TY, Z0 } from '../../src/field/laws.js';
import { fitField } from '../../src/field/model.js';
import { chromaticSystematic, responseAt } from '../../src/field/response.js';
import { mapPicture } from '../../src/report/svg/size-map.js';
import { expectClose } from '../expect-close.js';
import { COLUMN_HEIGHT, COLUMN_WIDTH, fieldColumns, OPTICS } from '../helpers/field-columns.js';

vi.setConfig({ testTimeout: 60_000 });

function analysed(values: Partial<Record<number, number>>, seed: number) {
  const fit = fitField(fieldColumns(values, 150, seed), OPTICS, 1, 30);
  if (!fit) throw new Error('no fit');
  const found = findCauses({
    fit,
    stars: 150,
    width: COLUMN_WIDTH,
    height: COLUMN_HEIGHT,
    optics: OPTICS,
    colour: null,
    beta: 4,
    illumination: null,
  });
  return { fit, ...found };
}

describe('defocus beside curvature', () => {
  it('focused half way out, centre and corners are alike: still curvature, focus again first', () => {
    const { leading, causes } = analysed({ [KAPPA]: 3, [Z0]: -1.5 }, 31);
    expect(leading).toBe('curvature');
    expect(causes.map(({ cause }) => cause)).toContain('defocus');
    expect(causes[0].nextCheck).toMatch(/focus again first/);
  });

  it('defocus far beyond the curvature leads', () => {
    const { leading } = analysed({ [KAPPA]: 1.2, [Z0]: 3 }, 32);
    expect(leading).toBe('defocus');
  });

  it('best focus splits a parabola: half of it stays at centre and corner', () => {
    const response = responseAt(0.1);
    const places = namedPlaces(COLUMN_WIDTH, COLUMN_HEIGHT);
    const p = new Float64Array(FIELD_PARAMETERS);
    p[T0] = 4;
    p[KAPPA] = 2;
    const bent = refocusedEffect(p, response, places);
    // |Z| ≤ κ/2 everywhere at z0 = −κ/2: the same as a defocus of half the curvature.
    const half = new Float64Array(FIELD_PARAMETERS);
    half[T0] = 4;
    expect(bent).toBeGreaterThan(0);
    half[KAPPA] = 0;
    expect(refocusedEffect(half, response, places)).toBe(0);
    expect(namedPlaces(10, 10).u[CENTRE]).toBe(0);
    p[Z0] = 7;
    expect(refocusedEffect(p, response, places)).toBe(bent);
  });
});

describe('upper is large y', () => {
  it('a frame that blurs towards large y is wider at the top, in numbers and words', () => {
    const { fit, causes } = analysed({ [TY]: 0.9, [Z0]: 0.9 }, 33);
    const model = describeModel(fit, OPTICS, COLUMN_WIDTH, COLUMN_HEIGHT, true);
    expect(model.places.top).toBeGreaterThan(model.places.bottom + 0.2);
    expect(causes.flatMap(({ evidence }) => evidence).join(' ')).toMatch(
      /wider at the upper edge than at the lower one/,
    );
  });
});

describe('the surface of the model', () => {
  const { fit } = analysed({ [TX]: 1.2 }, 34);
  const described = (decided: boolean) =>
    describeModel(fit, OPTICS, COLUMN_WIDTH, COLUMN_HEIGHT, decided);

  it('runs from border to border and agrees with the corners', () => {
    const { surface, places } = described(true);
    if (!surface) throw new Error('no surface');
    const { across, down, fwhmPx } = surface;
    expect(fwhmPx).toHaveLength(across * down);
    expectClose(fwhmPx[0], places.corners[0], { atol: 1e-3 });
    expectClose(fwhmPx[across * down - 1], places.corners[3], { atol: 1e-3 });
    expect(surface.errorPx).toBeGreaterThan(0);
  });

  it('is not there where no cause leads', () => {
    expect(described(false).surface).toBeNull();
  });

  it('its lines are called a model, and are dashed beside measured tiles', () => {
    const tile = { x: 249.5, y: 399.5, widthPx: 500, heightPx: 800, value: 2.5 };
    const draw = (surface: Parameters<typeof mapPicture>[3]['surface']) =>
      mapPicture([tile], 1000, 800, {
        title: 't',
        description: 'd',
        label: 'FWHM, px',
        decimals: 2,
        surface,
      }).body;
    const lines = draw({ at: (x) => 2 + x / 1000, errorOf: 0.02 });
    expect(lines).toContain('lines: model (± 0.02 px)');
    expect(lines.match(/stroke-dasharray="4 4"/g)?.length).toBeGreaterThan(1);
    // 2.2, 2.4, 2.6, 2.8 px, each with its light edge.
    expect(lines.match(/<polyline/g)).toHaveLength(8);
    // Steps finer than the model knows are not drawn: one line instead of five.
    const coarse = draw({ at: (x) => 2 + x / 1000, errorOf: 0.4 });
    expect(coarse.match(/<polyline/g)?.length).toBeLessThan(6);
    expect(draw(null)).not.toContain('model');
  });
});

describe('colour error widens intervals', () => {
  it('only where both red and blue are wide', () => {
    expectClose(chromaticSystematic(1, 1), 0.015, { atol: 1e-12 });
    expectClose(chromaticSystematic(0.95, 2.5), 0.015, { atol: 1e-12 });
    // Measured on a simulated f/5 achromat: red 1.70, blue 2.04, tilt read 8.6 % low.
    expect(chromaticSystematic(1.7, 2.04)).toBeGreaterThan(0.086);
    expect(chromaticSystematic(9, 9)).toBeLessThan(0.2);
  });
});
