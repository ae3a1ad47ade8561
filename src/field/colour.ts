/** Blue against red: how their places differ over the field. Constant part = dispersion in the air (or a wedge), linear part =
 * lateral colour of the optics. docs/field.md.
 */
import { createRandom } from '../stats/random.js';
import { robustLinear } from '../stats/regression.js';
import { interval68 } from '../stats/robust.js';
import type { StarShapes } from './shapes.js';

/** Fewest stars with red and blue places. */
const FEWEST = 12;
const DRAWS = 60;
/** Scatter of places that more light does not lessen, px. */
const FLOOR_PX = 0.02;

export interface ColourShift {
  stars: number;
  /** Blue minus red everywhere, px, with 1 σ of either component. */
  constantPx: [number, number];
  constantSigma: number;
  /** Blue minus red at the corner's distance from the centre, outwards positive, px. */
  cornerPx: number;
  cornerSigma: number;
}

/** Fits blue − red = constant + m (X, Y); null where colours were not measured in enough stars. */
export function fitColourShift(shapes: StarShapes, seed: number): ColourShift | null {
  const { red, blue } = shapes;
  if (!red || !blue) return null;
  const half = 0.5 * Math.sqrt(shapes.width ** 2 + shapes.height ** 2);
  const list: number[] = [];
  for (let i = 0; i < shapes.n; i++)
    if (Number.isFinite(red.dx[i] as number) && Number.isFinite(blue.dx[i] as number)) list.push(i);
  if (list.length < FEWEST) return null;
  const solve = (rows: readonly number[]): Float64Array | null => {
    const columns = new Float64Array(6 * rows.length);
    const values = new Float64Array(2 * rows.length);
    const weights = new Float64Array(2 * rows.length);
    rows.forEach((i, k) => {
      const u = ((shapes.x[i] as number) - (shapes.width - 1) / 2) / half;
      const v = ((shapes.y[i] as number) - (shapes.height - 1) / 2) / half;
      columns.set([1, 0, u, 0, 1, v], 6 * k);
      values[2 * k] = (blue.dx[i] as number) - (red.dx[i] as number);
      values[2 * k + 1] = (blue.dy[i] as number) - (red.dy[i] as number);
      const w =
        1 /
        ((blue.positionError[i] as number) ** 2 +
          (red.positionError[i] as number) ** 2 +
          FLOOR_PX ** 2);
      weights[2 * k] = w;
      weights[2 * k + 1] = w;
    });
    return robustLinear(2 * rows.length, 3, columns, values, weights);
  };
  const best = solve(list);
  if (!best) return null;
  const random = createRandom(seed);
  const draws: Float64Array[] = [];
  for (let d = 0; d < DRAWS; d++) {
    const drawn = solve(list.map(() => list[Math.floor(random() * list.length)] as number));
    if (drawn) draws.push(drawn);
  }
  const sigma = (j: number): number => {
    const [low, high] = interval68(draws.map((draw) => draw[j] as number));
    return 0.5 * (high - low);
  };
  return {
    stars: list.length,
    constantPx: [best[0] as number, best[1] as number],
    constantSigma: Math.sqrt(0.5 * (sigma(0) ** 2 + sigma(1) ** 2)),
    cornerPx: best[2] as number,
    cornerSigma: sigma(2),
  };
}
