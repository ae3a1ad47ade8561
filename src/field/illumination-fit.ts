/** Choice of the profile: as rich as the cells ask for, among those that a lens can make. */
import { LADDER, profileAt } from './illumination-basis.js';
import type { SkyCells } from './illumination-cells.js';
import { robustCost } from './illumination-loss.js';
import { withoutObjects } from './illumination-objects.js';
import { lensCanMake } from './illumination-plausible.js';
import { stoppedBasis } from './illumination-pupil.js';
import { findEdge } from './illumination-shape.js';
import { fitBasis, type RadialFit, refit } from './illumination-solve.js';

/** Data per parameter below which a richer profile is not tried. */
const CELLS_PER_PARAMETER = 4;
/** Fall of the robust cost that a further parameter must bring in units of the noise, like χ² (Akaike 1974, IEEE Trans. Autom. Control 19, 716). */
const PARAMETER_COST = 2;
/** Richer profiles without gain after which no more are tried. */
const MOST_IDLE = 2;
/** Times that bright objects are looked for, and the least share of the cells that they must leave. */
const OBJECT_PASSES = 2;
const LEAST_KEPT = 0.6;
/** Moves of a stop's start and length: how many, the largest, the one that ends them, and the least of both, half diagonals. */
const STOP_ROUNDS = 6;
const LARGEST_STEP = 0.08;
const SMALL_STEP = 0.003;
const SMALLEST_STOP = 0.05;
/** Centres nearer than this to the frame's lead to the same fit, half diagonals. */
const SAME_START = 0.05;

/** The fit to read the fall-off off, and how well it stands. */
export interface FallOffFit {
  fit: RadialFit;
  /** The cells it was made from: those away from bright objects, their light that at their centres. */
  cells: SkyCells;
  /** Scatter of the cells over that of the best profile of any form, ≥ 1: large where something else than a lens shapes the sky. */
  misfit: number;
}

/** Fits the profile as rich as the cells ask for, among those that a lens can make; null when the cells are too few or the fit fails. */
export function fitFallOff(all: SkyCells): FallOffFit | null {
  let cells = all;
  let found = chooseProfile(cells);
  // What an object's wings did to the first fit hides a part of them: seen again without its middle.
  for (let pass = 0; found && pass < OBJECT_PASSES; pass++) {
    const kept = withoutObjects(cells, found.fit);
    if (!kept) break;
    if (kept.n < LEAST_KEPT * all.n) return null;
    cells = kept;
    found = chooseProfile(cells);
  }
  if (!found) return null;
  const centred = atCentres(cells, found.fit);
  const fit = refit(centred, found.fit) ?? found.fit;
  return { fit, cells: centred, misfit: found.misfit };
}

function chooseProfile(cells: SkyCells): { fit: RadialFit; misfit: number } | null {
  let best: RadialFit | null = null;
  let any: RadialFit | null = null;
  const consider = (fit: RadialFit | null): boolean => {
    if (!fit) return false;
    const gain = isBetter(fit, any, cells);
    if (gain) any = fit;
    if (isBetter(fit, best, cells) && lensCanMake(fit, farthest(cells, fit))) best = fit;
    return gain;
  };
  let idle = 0;
  for (const basis of LADDER) {
    if (cells.n < CELLS_PER_PARAMETER * (basis.size + 5) || idle > MOST_IDLE) break;
    idle++;
    for (const start of startsFrom(best)) {
      if (consider(fitBasis(cells, basis, start))) idle = 0;
    }
    if (basis.knots.length === 0) continue;
    const soft = fitBasis(cells, basis, best, true);
    if (soft && consider(fitBasis(cells, basis, soft))) idle = 0;
  }
  if (!any) return null;
  consider(fitStopped(cells, any));
  return best && { fit: best, misfit: Math.max(1, scatterOf(best) / scatterOf(any)) };
}

function scatterOf(fit: RadialFit): number {
  return fit.cellErrorAdu;
}

/** The profile of a stop before the pupil, its start and length moved until they fit; null where the light shows no edge. */
function fitStopped(cells: SkyCells, first: RadialFit): RadialFit | null {
  const edge = findEdge(first, cells);
  if (!edge) return null;
  let { start, length } = edge;
  let fit: RadialFit | null = null;
  for (let round = 0; round < STOP_ROUNDS; round++) {
    const next = fitBasis(cells, stoppedBasis(start, length), fit ?? first);
    if (!next) return fit;
    fit = next;
    const [, depth, , byStart, byLength] = fit.p as unknown as number[];
    const limited = (step: number): number =>
      Math.max(-LARGEST_STEP, Math.min(LARGEST_STEP, step / (depth as number)));
    const moveStart = limited(byStart as number);
    const moveLength = limited(byLength as number);
    if (Math.abs(moveStart) + Math.abs(moveLength) < SMALL_STEP) break;
    start = Math.max(SMALLEST_STOP, start + moveStart);
    length = Math.max(SMALLEST_STOP, length + moveLength);
  }
  return fit;
}

/** An edge draws the centre to itself: two starts, the frame's centre (null) and that of the best fit so far, where they differ. */
function startsFrom(best: RadialFit | null): (RadialFit | null)[] {
  if (!best) return [null];
  const [x, y] = best.p.subarray(best.basis.size + 3) as unknown as [number, number];
  return Math.sqrt(x * x + y * y) > SAME_START ? [null, best] : [best];
}

function isBetter(fit: RadialFit, than: RadialFit | null, cells: SkyCells): boolean {
  if (!than) return true;
  // Both are judged by the noise that the better one leaves.
  const noise = Math.min(fit.cellErrorAdu, than.cellErrorAdu);
  const clumping = Math.min(fit.clumping, than.clumping);
  const cost = (of: RadialFit): number =>
    robustCost(cells, of.residual, noise) / clumping + PARAMETER_COST * of.basis.size;
  return cost(fit) < cost(than);
}

function farthest(cells: SkyCells, { basis, p }: RadialFit): number {
  const at = basis.size + 1;
  let square = 0;
  for (let i = 0; i < cells.n; i++) {
    const dx = (cells.x[i] as number) - (p[at + 2] as number);
    const dy = (cells.y[i] as number) - (p[at + 3] as number);
    square = Math.max(square, dx * dx + dy * dy);
  }
  return Math.sqrt(square);
}

/** The cells with the light that the fit sees at their centres: their mean lies lower where the profile bends down inside them (Simpson's rule). */
function atCentres(cells: SkyCells, { basis, p, scale }: RadialFit): SkyCells {
  const [gx, gy, x0, y0] = p.subarray(basis.size + 1) as unknown as [
    number,
    number,
    number,
    number,
  ];
  const model = (x: number, y: number): number =>
    Math.max(
      0,
      (1 + gx * x + gy * y) * profileAt(basis, p, Math.sqrt((x - x0) ** 2 + (y - y0) ** 2)),
    );
  const dx = cells.halfWidth / cells.cellsX;
  const dy = cells.halfHeight / cells.cellsY;
  const light = cells.light.map((value, i) => {
    const x = cells.x[i] as number;
    const y = cells.y[i] as number;
    const around = model(x - dx, y) + model(x + dx, y) + model(x, y - dy) + model(x, y + dy);
    return value - (scale * (around - 4 * model(x, y))) / 6;
  });
  return { ...cells, light };
}
