/** How much the fall-off rests on single parts of the frame: refits that leave one part out each.
 *
 * The posterior of a fit knows noise, and how alike neighbouring cells are. A nebula on one side, or a galaxy whose outer parts pass for
 * fall-off, change the result when their part of the frame is left out: the spread of the refits shows it (Tukey's delete-one-group
 * jackknife; Efron & Tibshirani 1993, An Introduction to the Bootstrap, chapter 11; from memory).
 */
import type { RadialBasis } from './illumination-basis.js';
import { cellsWhere, type SkyCells } from './illumination-cells.js';
import { type RadialFit, refit } from './illumination-solve.js';

/** Sectors about the frame's centre, turned by half a sector so that corners lie inside one. */
const SECTORS = 8;
/** The disc round the centre that is left out as a part of its own, half diagonals; a profile whose first knot lies inside a smaller one needs it all. */
const DISC = 0.3;
const LEAST_DISC = 0.2;
/** Cells that a part must have. */
const FEWEST_CELLS = 4;

/** Parameters of the refits, in the units of `fit`; parts without cells, and refits that fail, are missing. */
export function leaveOneOut(cells: SkyCells, fit: RadialFit): Float64Array[] {
  const disc = discOf(fit.basis);
  const part = new Int8Array(cells.n);
  for (let i = 0; i < cells.n; i++) {
    const x = cells.x[i] as number;
    const y = cells.y[i] as number;
    const turn = Math.atan2(y, x) / (2 * Math.PI) + 1;
    part[i] = x * x + y * y < disc * disc ? SECTORS : Math.floor(turn * SECTORS + 0.5) % SECTORS;
  }
  const found: Float64Array[] = [];
  for (let k = 0; k <= SECTORS; k++) {
    const kept = cellsWhere(cells, (i) => part[i] !== k);
    if (kept.n > cells.n - FEWEST_CELLS || kept.n < 2 * fit.p.length) continue;
    const other = refit(kept, fit);
    if (!other) continue;
    const p = other.p.slice();
    const ratio = other.scale / fit.scale;
    for (let j = 0; j <= fit.basis.size; j++) p[j] = (p[j] as number) * ratio;
    found.push(p);
  }
  return found;
}

/** Standard error of a number by the jackknife; NaN when it is missing in a refit, or refits are too few. */
export function jackknifeError(values: readonly number[]): number {
  const n = values.length;
  if (n < 4) return Number.NaN;
  const mean = values.reduce((sum, value) => sum + value, 0) / n;
  const squares = values.reduce((sum, value) => sum + (value - mean) ** 2, 0);
  return Math.sqrt((squares * (n - 1)) / n);
}

function discOf({ knots }: RadialBasis): number {
  const first = knots[0] ?? DISC;
  return first < LEAST_DISC ? 0 : Math.min(DISC, first);
}
