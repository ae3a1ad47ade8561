/** The stars of a searched frame as the matching wants them. */
import { FLAG } from '../catalogue/flags.js';
import type { StarList } from '../match/star-list.js';
import type { Found } from './find.js';
import type { SearchedFrame } from './search-frame.js';

/** Flags of what is no star, or whose place is uncertain. */
const NOT_FOR_MATCHING =
  FLAG['hot pixel'] | FLAG['cosmic ray'] | FLAG.edge | FLAG.trail | FLAG.extended;

/** Stars of a frame for matching, and the source behind each. */
export function matchListOf({ found, frame }: SearchedFrame): { list: StarList; source: number[] } {
  const { sources } = found;
  const fits = sources.fits[found.reference];
  const source: number[] = [];
  for (let i = 0; i < sources.n; i++) {
    if (((sources.flags[i] as number) & NOT_FOR_MATCHING) === 0 && isPlaced(found, i)) {
      source.push(i);
    }
  }
  return {
    source,
    list: {
      x: Float64Array.from(source, (i) => sources.x[i] as number),
      y: Float64Array.from(source, (i) => sources.y[i] as number),
      // Unknown for clipped stars, which are then taken as the brightest.
      brightness: Float64Array.from(source, (i) => fits?.flux[i] ?? Number.NaN),
      positionErrorPx: Float64Array.from(source, (i) => fits?.xError[i] ?? Number.NaN),
      width: frame.rows.width,
      height: frame.rows.height,
    },
  };
}

/** Fitted, or clipped: other candidates have positions of whole samples only. */
function isPlaced(found: Found, i: number): boolean {
  const fits = found.sources.fits[found.reference];
  return (
    Number.isFinite(fits?.x[i] ?? Number.NaN) ||
    ((found.sources.flags[i] as number) & FLAG.saturated) !== 0
  );
}
