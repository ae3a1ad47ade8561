/** Do the stars crowd in the middle of the frame? Then the sky there is brighter by stars too faint to be seen one by one. */

/** Middle and outside, half diagonals from the centre. */
const MIDDLE = 0.35;
const OUTSIDE = 0.7;
/**
 * Density in the middle against outside from which on it is a cluster: fall-off hides stars too, but behind a fifth of the light only a third of
 * them (the limit falls by 0.87 mag against the noise of the sky, counts by 10^(0.6 Δm) for an even space; Seeliger's law, from memory).
 */
const LEAST_RATIO = 4;
const CLEAR_SIGMA = 3;
const FEWEST = 20;
/** Points along each axis by which the areas are counted. */
const POINTS = 64;

/** Whether stars at `x`, `y` (px) crowd in the middle of a frame. */
export function crowdedMiddle(
  x: ArrayLike<number>,
  y: ArrayLike<number>,
  count: number,
  width: number,
  height: number,
): boolean {
  const half = 0.5 * Math.sqrt(width * width + height * height);
  const distance = (px: number, py: number): number =>
    Math.sqrt((px - (width - 1) / 2) ** 2 + (py - (height - 1) / 2) ** 2) / half;
  let inner = 0;
  let outer = 0;
  for (let i = 0; i < count; i++) {
    const r = distance(x[i] as number, y[i] as number);
    if (r < MIDDLE) inner++;
    else if (r > OUTSIDE) outer++;
  }
  let innerArea = 0;
  let outerArea = 0;
  for (let j = 0; j < POINTS; j++) {
    for (let i = 0; i < POINTS; i++) {
      const r = distance(((i + 0.5) * width) / POINTS, ((j + 0.5) * height) / POINTS);
      if (r < MIDDLE) innerArea++;
      else if (r > OUTSIDE) outerArea++;
    }
  }
  if (inner < FEWEST || outerArea === 0) return false;
  const perOuter = (LEAST_RATIO * innerArea) / outerArea;
  const excess = inner - perOuter * outer;
  return excess > CLEAR_SIGMA * Math.sqrt(inner + perOuter * perOuter * outer);
}
