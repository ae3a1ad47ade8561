/** Zero-order Hankel transforms of circularly symmetric profiles, as matrices that are computed once and applied often.
 *
 * Lengths in px, spatial frequencies f in cycles per px. A profile p(r) (brightness per px²) and its transfer function:
 * OTF(f) = ∫ 2π r p(r) J0(2π f r) dr and back p(r) = ∫ 2π f OTF(f) J0(2π f r) df (Bracewell, The Fourier Transform and
 * Its Applications, chapter on the Hankel transform). Light inside r: EE(r) = 2π r ∫ OTF(f) J1(2π f r) df, because
 * ∫₀^r s J0(2π f s) ds = r J1(2π f r)/(2π f). OTF(0) is the total light; nothing here normalises it.
 */
import { besselJ0, besselJ1 } from './bessel.js';
import { compositeRule, gaussLegendre, type Quadrature } from './quadrature.js';

/** A dense matrix, row-major. */
export interface Operator {
  readonly rows: number;
  readonly columns: number;
  readonly matrix: Float64Array;
}

const NODES_PER_PANEL = 8;

/**
 * Frequencies and weights that integrate functions oscillating as fast as J(2π f `maxRadiusPx`) from 0 to
 * `maxFrequency`: Gauss–Legendre panels of one period, the first split so that a cusp at f = 0 does no harm.
 */
export function frequencyNodes(maxFrequency: number, maxRadiusPx: number): Quadrature {
  const panels = Math.max(4, Math.ceil(maxFrequency * Math.max(1, maxRadiusPx)));
  const width = maxFrequency / panels;
  const edges = [0, width / 16, width / 4];
  for (let panel = 1; panel <= panels; panel++) edges.push(panel * width);
  return compositeRule(edges, NODES_PER_PANEL);
}

/** out = operator × input; `out` is allocated when not given. No input is changed. */
export function applyOperator(
  operator: Operator,
  input: Float64Array,
  out: Float64Array = new Float64Array(operator.rows),
): Float64Array {
  const { rows, columns, matrix } = operator;
  const whole = columns - (columns % 4);
  for (let row = 0; row < rows; row++) {
    const base = row * columns;
    // Four sums at once: one alone would wait for each addition before the next.
    let a = 0;
    let b = 0;
    let c = 0;
    let d = 0;
    let column = 0;
    for (; column < whole; column += 4) {
      a += (matrix[base + column] as number) * (input[column] as number);
      b += (matrix[base + column + 1] as number) * (input[column + 1] as number);
      c += (matrix[base + column + 2] as number) * (input[column + 2] as number);
      d += (matrix[base + column + 3] as number) * (input[column + 3] as number);
    }
    for (; column < columns; column++) {
      a += (matrix[base + column] as number) * (input[column] as number);
    }
    out[row] = a + b + (c + d);
  }
  return out;
}

/**
 * Operator from samples p(radiusPx) to OTF(frequency). Between samples p is the cubic through the four nearest; it is
 * even about r = 0, constant from the last sample to `rMaxPx`, and zero beyond.
 *
 * @param radiusPx increasing, first ≥ 0, last ≤ rMaxPx; at least 4 samples.
 * @throws RangeError when the radii break these rules.
 */
export function otfOperator(
  radiusPx: ArrayLike<number>,
  rMaxPx: number,
  frequency: Float64Array,
): Operator {
  const count = radiusPx.length;
  checkRadii(radiusPx, rMaxPx);
  const rows = frequency.length;
  const matrix = new Float64Array(rows * count);
  const maxFrequency = rows > 0 ? (frequency[rows - 1] as number) : 0;
  const weights = new Float64Array(4);
  const columns = new Int32Array(4);
  for (let interval = -1; interval < count; interval++) {
    const low = interval < 0 ? 0 : (radiusPx[interval] as number);
    const high = interval + 1 < count ? (radiusPx[interval + 1] as number) : rMaxPx;
    if (!(high > low)) continue;
    // The kernel turns by 2π f h over an interval of width h: enough points for that and for the cubic.
    const rule = gaussLegendre(4 + Math.ceil(3 * maxFrequency * (high - low)));
    for (let point = 0; point < rule.node.length; point++) {
      const r = low + ((high - low) / 2) * (1 + (rule.node[point] as number));
      const measure = 2 * Math.PI * r * (rule.weight[point] as number) * ((high - low) / 2);
      interpolationWeights(radiusPx, interval, r, weights, columns);
      for (let row = 0; row < rows; row++) {
        const kernel = measure * besselJ0(2 * Math.PI * (frequency[row] as number) * r);
        const base = row * count;
        for (let k = 0; k < 4; k++) {
          const index = base + (columns[k] as number);
          matrix[index] = (matrix[index] as number) + kernel * (weights[k] as number);
        }
      }
    }
  }
  return { rows, columns: count, matrix };
}

/** Operator from OTF at the nodes of `frequency` to the light inside each of `radiiPx`. */
export function encircledEnergyOperator(
  frequency: Quadrature,
  radiiPx: ArrayLike<number>,
): Operator {
  const rows = radiiPx.length;
  const columns = frequency.node.length;
  const matrix = new Float64Array(rows * columns);
  for (let row = 0; row < rows; row++) {
    const turn = 2 * Math.PI * (radiiPx[row] as number);
    for (let column = 0; column < columns; column++) {
      matrix[row * columns + column] =
        turn *
        (frequency.weight[column] as number) *
        besselJ1(turn * (frequency.node[column] as number));
    }
  }
  return { rows, columns, matrix };
}

/** Operator from OTF at the nodes of `frequency` to the brightness per px² at each of `radiiPx`. */
export function brightnessOperator(frequency: Quadrature, radiiPx: ArrayLike<number>): Operator {
  const rows = radiiPx.length;
  const columns = frequency.node.length;
  const matrix = new Float64Array(rows * columns);
  for (let row = 0; row < rows; row++) {
    const turn = 2 * Math.PI * (radiiPx[row] as number);
    for (let column = 0; column < columns; column++) {
      const f = frequency.node[column] as number;
      matrix[row * columns + column] =
        2 * Math.PI * f * (frequency.weight[column] as number) * besselJ0(turn * f);
    }
  }
  return { rows, columns, matrix };
}

function checkRadii(radiusPx: ArrayLike<number>, rMaxPx: number): void {
  const count = radiusPx.length;
  if (count < 4) throw new RangeError(`a profile needs at least 4 samples, got ${count}`);
  let before = -Number.MIN_VALUE;
  for (let i = 0; i < count; i++) {
    const r = radiusPx[i] as number;
    if (!(r > before)) throw new RangeError(`radii must increase from ≥ 0; number ${i} is ${r}`);
    before = r;
  }
  if (!(rMaxPx >= before))
    throw new RangeError(`rMaxPx ${rMaxPx} is inside the last radius ${before}`);
}

/** Lagrange weights at `r`, between samples `interval` and `interval + 1`, of the four samples in `columns`. */
function interpolationWeights(
  radiusPx: ArrayLike<number>,
  interval: number,
  r: number,
  weights: Float64Array,
  columns: Int32Array,
): void {
  const count = radiusPx.length;
  if (interval >= count - 1) {
    weights.fill(0);
    columns.fill(count - 1);
    weights[0] = 1;
    return;
  }
  // Samples −1, −2, … are the mirror images at −r of 0, 1, …; a sample at r = 0 is its own image and is skipped.
  const skip = radiusPx[0] === 0 ? 1 : 0;
  const start = Math.min(interval - 1, count - 4);
  const at = (index: number): number =>
    index >= 0 ? (radiusPx[index] as number) : -(radiusPx[-index - 1 + skip] as number);
  for (let k = 0; k < 4; k++) {
    const index = start + k;
    columns[k] = index >= 0 ? index : -index - 1 + skip;
    let weight = 1;
    for (let other = 0; other < 4; other++) {
      if (other === k) continue;
      weight *= (r - at(start + other)) / (at(index) - at(start + other));
    }
    weights[k] = weight;
  }
}
