/** From star shapes to causes, and turned cameras. Shapes come from the laws with noise (tests/helpers/field-columns.ts). */
import { describe, expect, it, vi } from 'vitest';
import type { CauseInput } from '../../src/field/cause-context.js';
import { findCauses } from '../../src/field/causes.js';
import { chooseGrid, ellipticityOf } from '../../src/field/cells.js';
import { averageShapes, findPartners } from '../../src/field/combine-frames.js';
import { describeModel } from '../../src/field/describe-model.js';
import { ASTIG, BX, BY, COMA, CX, CY, KAPPA, TX, TY, U1, U2, Z0 } from '../../src/field/laws.js';
import { type FieldOptics, fitField } from '../../src/field/model.js';
import type { ShapeColumns } from '../../src/field/model-data.js';
import { defocusUm } from '../../src/field/response.js';
import { judgeRotation } from '../../src/field/rotation.js';
import type { StarShapes } from '../../src/field/shapes.js';
import { expectClose } from '../expect-close.js';
import { COLUMN_HEIGHT, COLUMN_WIDTH, fieldColumns, OPTICS } from '../helpers/field-columns.js';

// A fit takes some tenths of a second, more on a busy machine.
vi.setConfig({ testTimeout: 60_000 });

function causesOf(
  columns: ShapeColumns,
  optics: FieldOptics = OPTICS,
  more: Partial<CauseInput> = {},
) {
  const fit = fitField(columns, optics, 1, 40);
  const found = findCauses({
    fit,
    stars: columns.n,
    width: COLUMN_WIDTH,
    height: COLUMN_HEIGHT,
    optics,
    colour: null,
    beta: 4,
    illumination: null,
    ...more,
  });
  return { fit, ...found };
}

describe('single faults', () => {
  it('sound optics: none', () => {
    const { leading, causes, summary } = causesOf(fieldColumns({}, 150, 1));
    expect(leading).toBe('none');
    expect(causes).toEqual([]);
    expect(summary).toContain('Corners sound');
  });

  it('tilt: axis and amount, with a caution beside the screws', () => {
    const { leading, causes } = causesOf(fieldColumns({ [TX]: 1.0, [TY]: 0.5, [Z0]: 0.3 }, 150, 2));
    expect(leading).toBe('tilt');
    const [tilt] = causes;
    // Corner to corner: twice the slope over half the diagonal. 10 % is the product's target.
    const truth = 2 * defocusUm(Math.hypot(1, 0.5), OPTICS.focalRatio, OPTICS.pixelSizeUm);
    expect(tilt.unit).toBe('µm');
    expectClose(tilt.strength.value, truth, { rtol: 0.1 });
    expect(tilt.strength.low).toBeLessThan(tilt.strength.value);
    expectClose(tilt.directionDeg?.value as number, 26.6, { atol: 6 });
    expect(tilt.caution).toMatch(/estimate/);
    expect(tilt.nextCheck).toMatch(/turn the camera/);
    expect(tilt.alternatives.length).toBeGreaterThan(0);
    expect(tilt.evidence.join(' ')).toMatch(/wider on the (left|right)/);
  });

  it('without focal ratio and pixel size the strength stays in px', () => {
    const { causes } = causesOf(fieldColumns({ [TX]: 1.2 }, 120, 3), {
      focalRatio: null,
      pixelSizeUm: null,
    });
    expect(causes[0].cause).toBe('tilt');
    expect(causes[0].unit).toBe('px');
  });

  it('curvature with astigmatism', () => {
    const { leading, causes } = causesOf(
      fieldColumns({ [KAPPA]: 1.5, [Z0]: -0.4, [ASTIG]: 0.4 }, 150, 4),
    );
    expect(leading).toBe('curvature');
    expect(causes.map(({ cause }) => cause)).not.toContain('tilt');
  });

  it('constant coma: miscollimation', () => {
    const { leading, causes } = causesOf(fieldColumns({ [CX]: 0.6, [CY]: -0.5 }, 120, 5));
    expect(leading).toBe('miscollimation');
    expectClose(causes[0].directionDeg?.value as number, 360 - 39.8, { atol: 6 });
    expect(causes[0].caution).toMatch(/lens cell/);
  });

  it('coma centred on the frame is of the design, not of collimation', () => {
    const { leading } = causesOf(fieldColumns({ [COMA]: 1 }, 120, 6));
    expect(leading).toBe('curvature');
  });

  it('uniform elongation: tracking', () => {
    const { leading, causes } = causesOf(fieldColumns({ [U1]: 0.5, [U2]: 0.4 }, 120, 7));
    expect(leading).toBe('tracking');
    expectClose(causes[0].directionDeg?.value as number, 19.3, { atol: 3 });
  });

  it('dark corners are named beside what blurs', () => {
    const { causes } = causesOf(fieldColumns({ [TX]: 1.2 }, 120, 8), OPTICS, {
      illumination: { worstCorner: 0.4, worstCornerError: 0.02, trusted: true },
    });
    expect(causes.map(({ cause }) => cause).sort()).toEqual(['tilt', 'vignetting']);
  });

  it('blue beside red everywhere: dispersion; parting outwards: lateral colour', () => {
    const colour = {
      stars: 100,
      constantPx: [0.6, 0.1] as [number, number],
      constantSigma: 0.02,
      cornerPx: 0.05,
      cornerSigma: 0.03,
    };
    const columns = fieldColumns({}, 100, 9);
    expect(causesOf(columns, OPTICS, { colour }).leading).toBe('dispersion');
    const lateral = { ...colour, constantPx: [0, 0.03] as [number, number], cornerPx: -0.8 };
    expect(causesOf(columns, OPTICS, { colour: lateral }).leading).toBe('lateral colour');
  });
});

describe('what one frame cannot tell', () => {
  it('below 20 stars no cause is named', () => {
    const { leading, causes, summary } = causesOf(fieldColumns({ [TX]: 1.5 }, 19, 10));
    expect(leading).toBe('cannot tell');
    expect(causes).toEqual([]);
    expect(summary).toContain('19 usable stars');
  });

  it('curvature whose centre lies beside the frame’s, without coma or astigmatism: tilt or miscollimation', () => {
    const shift = 0.35;
    const columns = fieldColumns(
      { [KAPPA]: 1.6, [TX]: -2 * 1.6 * shift, [Z0]: 1.6 * shift * shift },
      200,
      11,
    );
    const { causes } = causesOf(columns);
    const tilt = causes.find(({ cause }) => cause === 'tilt');
    const other = causes.find(({ cause }) => cause === 'miscollimation');
    expect(tilt?.confidence).toBeLessThanOrEqual(0.5);
    expect(other?.confidence).toBeLessThanOrEqual(0.5);
    expect(tilt?.nextCheck).toMatch(/90 degrees/);
  });

  it('with coma and astigmatism sharing the shifted centre it is no tilt', () => {
    const shift = 0.35;
    const { causes, leading } = causesOf(
      fieldColumns(
        {
          [KAPPA]: 1.4,
          [TX]: -2 * 1.4 * shift,
          [Z0]: 1.4 * shift * shift,
          [ASTIG]: 0.6,
          [BX]: -2 * 0.6 * shift,
          [COMA]: 0.8,
          [CX]: -0.8 * shift,
        },
        200,
        12,
      ),
    );
    expect(causes.map(({ cause }) => cause)).not.toContain('tilt');
    expect(['curvature', 'miscollimation']).toContain(leading);
  });
});

describe('the record', () => {
  it('is the same for the same seed, and holds no NaN', () => {
    const columns = fieldColumns({ [KAPPA]: 1.2, [Z0]: -0.2 }, 100, 13);
    const [one, two] = [1, 2].map(() => causesOf(columns));
    expect(JSON.stringify(one.causes)).toBe(JSON.stringify(two.causes));
    if (!one.fit) throw new Error('no fit');
    const model = describeModel(one.fit, OPTICS, COLUMN_WIDTH, COLUMN_HEIGHT, true);
    expect(JSON.stringify(model, (_, v) => (Number.isNaN(v) ? 'NaN' : v))).not.toContain('NaN');
    // R = h²/(2 z): half diagonal 640 px × 4 µm = 2.561 mm.
    const um = model.curvatureUm?.value as number;
    expectClose(model.curvatureRadiusMm?.value as number, (2.5612 * 2.5612 * 1000) / (2 * um), {
      rtol: 1e-3,
    });
  });
});

describe('a turned camera', () => {
  const turn = (values: Record<number, number>, degrees: number): Record<number, number> => {
    const out = { ...values };
    const rotate = (a: number, b: number, angle: number) => {
      const x = values[a] ?? 0;
      const y = values[b] ?? 0;
      out[a] = x * Math.cos(angle) - y * Math.sin(angle);
      out[b] = x * Math.sin(angle) + y * Math.cos(angle);
    };
    const angle = (degrees * Math.PI) / 180;
    rotate(TX, TY, angle);
    rotate(CX, CY, angle);
    rotate(BX, BY, angle);
    rotate(U1, U2, 2 * angle);
    return out;
  };
  const judge = (one: Record<number, number>, two: Record<number, number>, degrees: number) => {
    const [a, b] = [one, two].map((values, k) =>
      fitField(fieldColumns(values, 150, 20 + k), OPTICS, 1, 40),
    );
    if (!a || !b) throw new Error('no fit');
    return judgeRotation(a, b, degrees);
  };

  it('at 90 degrees a tilt that keeps its place in the frame follows the camera', () => {
    const tilt = { [TX]: 1.1, [TY]: 0.2, [Z0]: 0.2 };
    const result = judge(tilt, tilt, 90);
    expect(result.followsCamera.map(({ quantity }) => quantity)).toEqual(['tilt']);
    expect(result.followsTube).toEqual([]);
    expect(result.followsCamera[0].significance).toBeGreaterThan(3);
  });

  it('coma and elongation that turn with the stars follow the tube', () => {
    const faults = { [CX]: 0.7, [CY]: 0.1, [U1]: 0.5, [U2]: 0.1 };
    const result = judge(faults, turn(faults, 70), 70);
    expect(result.followsTube.map(({ quantity }) => quantity).sort()).toEqual([
      'coma',
      'elongation',
    ]);
  });

  it('180 degrees is blind to uniform elongation, and says so', () => {
    const faults = { [U1]: 0.5, [U2]: 0.1 };
    const result = judge(faults, turn(faults, 180), 180);
    expect(result.followsTube).toEqual([]);
    expect(result.followsCamera).toEqual([]);
    expect(result.undecided.map(({ quantity }) => quantity)).toEqual(['elongation']);
    expect(result.advice).toMatch(/90 degrees/);
  });
});

describe('cells and several frames', () => {
  it('the grid has a centre and about a dozen stars a cell', () => {
    expect(chooseGrid(60, 1000, 800)).toEqual([3, 3]);
    expect(chooseGrid(12 * 35, 1400, 1000)).toEqual([7, 5]);
    expect(chooseGrid(100000, 1000, 1000)).toEqual([11, 11]);
  });

  it('ellipticity from second moments: axes 3 and 2 give (3 − 2)/(3 + 2)', () => {
    const [e1, e2] = ellipticityOf(9 + 4, 0, 9 - 4);
    expectClose([e1, e2], [0, 0.2], { atol: 1e-12 });
  });

  const asShapes = (columns: ShapeColumns): StarShapes =>
    ({
      ...columns,
      fluxAdu: Float64Array.from(columns.x, (_, i) => 1000 - i),
    }) as unknown as StarShapes;

  it('matches dithered frames by their common shift and takes off each frame’s own seeing', () => {
    const first = asShapes(fieldColumns({ [TX]: 1 }, 90, 30));
    const second = asShapes(fieldColumns({ [TX]: 1 }, 90, 30));
    for (let i = 0; i < 90; i++) {
      second.x[i] += 17.3;
      second.y[i] -= 8.1;
      second.t[i] += 2;
    }
    const { match } = findPartners(first, second);
    expect(match).not.toBeNull();
    // Every star finds itself, but for those that the shift takes out of the frame.
    const wanted = Array.from(first.x, (x, i) =>
      x + 17.3 > first.width - 0.5 || (first.y[i] as number) - 8.1 < -0.5 ? -1 : i,
    );
    expect([...(match as Int32Array)]).toEqual(wanted);
    expect(wanted.filter((i) => i >= 0).length).toBeGreaterThan(80);
    // A star missing in the second frame must not come out sharper.
    (match as Int32Array)[5] = -1;
    const average = averageShapes(first, [second], [match as Int32Array]);
    expect(average.n).toBe(90);
    expectClose(average.t[5], first.t[5] + 1, { atol: 1e-9 });
    expectClose(average.t[6], first.t[6] + 1, { atol: 1e-9 });
    expect(average.tError[6]).toBeLessThan(0.8 * first.tError[6]);
  });

  it('frames of other stars are not matched', () => {
    const first = asShapes(fieldColumns({}, 60, 31));
    expect(findPartners(first, asShapes(fieldColumns({}, 60, 32)))).toEqual({
      match: null,
      reason: 'not matched',
    });
  });
});
