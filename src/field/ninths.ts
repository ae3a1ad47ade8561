/** The map in nine words: centre, edges, corners. Measured, not modelled: weighted means of the cells in each ninth of the frame. */
import type { Uncertain } from '../measure/result.js';
import type { FieldCell } from './result.js';

export const NINTHS = [
  'upper left',
  'upper edge',
  'upper right',
  'left edge',
  'centre',
  'right edge',
  'lower left',
  'lower edge',
  'lower right',
] as const;
export type NinthName = (typeof NINTHS)[number];

/** Stars of one ninth. "Upper" is where y is large, as pictures of the field are drawn. */
export interface FieldNinth {
  place: NinthName;
  stars: number;
  /** Null without a cell there. */
  fwhmPx: Uncertain | null;
  ellipticity: Uncertain | null;
  /** 0–180 from +x towards +y; null where roundness is not excluded. */
  elongationAngleDeg: number | null;
}

/** Sums the cells of each ninth; the order is that of reading a picture. */
export function ninthsOf(cells: readonly FieldCell[], width: number, height: number): FieldNinth[] {
  return NINTHS.map((place, index) => {
    const column = index % 3;
    const row = Math.floor(index / 3);
    const inside = cells.filter((cell) => {
      const x = (0.5 * (cell.left + cell.right) + 0.5) / width;
      const y = (0.5 * (cell.top + cell.bottom) + 0.5) / height;
      return (
        Math.min(2, Math.floor(3 * x)) === column && Math.min(2, Math.floor(3 * y)) === 2 - row
      );
    });
    const stars = inside.reduce((sum, cell) => sum + cell.stars, 0);
    const e1 = mean(
      inside,
      (cell) => cell.e1,
      (cell) => cell.ellipticityError,
    );
    const e2 = mean(
      inside,
      (cell) => cell.e2,
      (cell) => cell.ellipticityError,
    );
    const size = mean(
      inside,
      (cell) => cell.fwhmPx.value,
      (cell) => 0.5 * (cell.fwhmPx.high - cell.fwhmPx.low),
    );
    return {
      place,
      stars,
      fwhmPx: size && interval(size),
      ...elongation(e1, e2),
    };
  });
}

interface Mean {
  value: number;
  error: number;
}

/** Inverse-variance mean; where cells scatter more than their errors allow, the error is that of the scatter. */
function mean(
  cells: readonly FieldCell[],
  value: (cell: FieldCell) => number,
  error: (cell: FieldCell) => number,
): Mean | null {
  let sum = 0;
  let weights = 0;
  for (const cell of cells) {
    const sigma = error(cell);
    if (!(sigma > 0) || !Number.isFinite(value(cell))) continue;
    sum += value(cell) / (sigma * sigma);
    weights += 1 / (sigma * sigma);
  }
  if (!(weights > 0)) return null;
  const best = sum / weights;
  let chiSquare = 0;
  for (const cell of cells) {
    const sigma = error(cell);
    if (sigma > 0) chiSquare += ((value(cell) - best) / sigma) ** 2;
  }
  const widened = cells.length > 1 ? Math.max(1, chiSquare / (cells.length - 1)) : 1;
  return { value: best, error: Math.sqrt(widened / weights) };
}

const interval = ({ value, error }: Mean): Uncertain => ({
  value,
  low: value - error,
  high: value + error,
});

/** Length and angle of the mean components; the length of a noise vector is never zero, so its square is lowered by the noise. */
function elongation(
  e1: Mean | null,
  e2: Mean | null,
): Pick<FieldNinth, 'ellipticity' | 'elongationAngleDeg'> {
  if (!e1 || !e2) return { ellipticity: null, elongationAngleDeg: null };
  const noise = 0.5 * (e1.error ** 2 + e2.error ** 2);
  const length = Math.sqrt(Math.max(0, e1.value ** 2 + e2.value ** 2 - noise));
  const sigma = Math.sqrt(noise);
  const seen = length > 2 * sigma;
  return {
    ellipticity: { value: length, low: Math.max(0, length - sigma), high: length + sigma },
    elongationAngleDeg: seen
      ? ((0.5 * Math.atan2(e2.value, e1.value) * 180) / Math.PI + 180) % 180
      : null,
  };
}
