/** Star size over the frame as the model has it, on a grid: what pictures draw as contours. Only where it is surer than it is even. */
import { recordedFwhmAt } from './effects.js';
import type { FieldFit } from './model.js';
import type { ModelSurface } from './result.js';

/** Points along the longer side, the frame's borders included. */
const LONGER = 25;
const FEWEST = 5;
/** The size must differ over the frame by at least this many times its own error. */
const CLEAR = 5;

/**
 * Recorded FWHM of the model, the width of sharp stars included, at points from border to border.
 * @param decided false where no cause leads: the model is then no finding, and there is no surface
 * @returns null where nothing leads, or where the sizes differ by less than five times their error
 */
export function modelSurface(
  fit: FieldFit,
  width: number,
  height: number,
  decided: boolean,
): ModelSurface | null {
  if (!decided) return null;
  const longer = Math.max(width, height);
  const along = (length: number): number =>
    Math.max(FEWEST, Math.round(((LONGER - 1) * length) / longer) + 1);
  const across = along(width);
  const down = along(height);
  const diagonal = Math.sqrt(width * width + height * height);
  const n = across * down;
  const places = { u: new Float64Array(n), v: new Float64Array(n) };
  for (let i = 0; i < n; i++) {
    places.u[i] = ((2 * (i % across)) / (across - 1) - 1) * (width / diagonal);
    places.v[i] = ((2 * Math.floor(i / across)) / (down - 1) - 1) * (height / diagonal);
  }
  const best = recordedFwhmAt(fit.p, fit.response, places);
  const square = new Float64Array(n);
  for (const draw of fit.draws) {
    const drawn = recordedFwhmAt(draw, fit.response, places);
    for (let i = 0; i < n; i++)
      square[i] = (square[i] as number) + ((drawn[i] as number) - (best[i] as number)) ** 2;
  }
  // Squares of all draws, not their robust spread: one error for the whole surface, the mean over its points.
  const errorPx = Math.sqrt(
    square.reduce((sum, value) => sum + value, 0) / (n * Math.max(1, fit.draws.length)),
  );
  const range = Math.max(...best) - Math.min(...best);
  if (!(range > CLEAR * errorPx)) return null;
  return {
    across,
    down,
    fwhmPx: Array.from(best, (value) => Math.round(1e4 * value) / 1e4),
    errorPx,
  };
}
