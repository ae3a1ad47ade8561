/** Level of no light of each site of the 2 × 2 cell: as the file states it, or from pixels that no light reaches.
 * The samples stay as they are: the level is only told.
 */
import { MAD_TO_SIGMA } from '../../stats/robust.js';
import { medianInPlace } from '../../stats/select.js';

/** Rows `top … bottom − 1`, columns `left … right − 1` of the raw area. */
export interface Area {
  top: number;
  left: number;
  bottom: number;
  right: number;
}

/** The raw area, row-major. */
export interface RawArea {
  samples: Uint16Array;
  width: number;
  height: number;
}

/** Levels of the sites (0, 0), (1, 0), (0, 1), (1, 1) (column, row) of the visible area, ADU. */
export type SiteLevels = readonly [number, number, number, number];

/** The tags BlackLevelRepeatDim, BlackLevel, BlackLevelDeltaH and BlackLevelDeltaV (DNG 1.7), counted from the active area's first pixel. */
export interface BlackTags {
  rows: number;
  columns: number;
  levels: readonly number[];
  deltaColumns: readonly number[];
  deltaRows: readonly number[];
}

/** Levels that the tags state, averaged over the area; null when they are incomplete or no numbers. */
export function blackOfTags(tags: BlackTags): SiteLevels | null {
  const { rows, columns, levels } = tags;
  if (rows < 1 || columns < 1 || levels.length < rows * columns) return null;
  const site = (x: number, y: number) => {
    // Two periods of the pattern hold every pairing of its rows and columns with the cell's.
    let sum = 0;
    let count = 0;
    for (let row = y; row < 2 * rows; row += 2) {
      for (let column = x; column < 2 * columns; column += 2) {
        sum += levels[(row % rows) * columns + (column % columns)] as number;
        count++;
      }
    }
    return sum / count + everyOther(tags.deltaColumns, x) + everyOther(tags.deltaRows, y);
  };
  const found: SiteLevels = [site(0, 0), site(1, 0), site(0, 1), site(1, 1)];
  return found.every(Number.isFinite) ? found : null;
}

function everyOther(values: readonly number[], first: number): number {
  let sum = 0;
  let count = 0;
  for (let i = first; i < values.length; i += 2) {
    sum += values[i] as number;
    count++;
  }
  return count === 0 ? 0 : sum / count;
}

/** A margin narrower than this is not looked at, px: its pixels next to the visible area catch light. */
const LEAST_MARGIN = 24;
/** Samples of one site that are looked at, at most and at least. */
const MOST_SAMPLES = 20_000;
const LEAST_SAMPLES = 200;
/** The margin is dark when it lies this many noise widths below its neighbours in the light. */
const DARKER_BY_SIGMA = 1;

/**
 * Levels measured in areas that the file calls masked, or else in the margin left of or above the visible area, where that is clearly
 * darker than the visible pixels beside it (some cameras' margins see light). Null when there is no such margin.
 */
export function blackOfMargin(
  raw: RawArea,
  visible: Area,
  masked: readonly Area[],
): SiteLevels | null {
  const stated = masked.filter((area) => area.right > area.left && area.bottom > area.top);
  if (stated.length > 0) return siteMedians(raw, visible, stated);
  const { top, left, bottom, right } = visible;
  if (left >= LEAST_MARGIN) {
    const margin = { top, bottom, left: left >> 2, right: left - (left >> 2) };
    const beside = { top, bottom, left, right: Math.min(right, 2 * left) };
    return ifDarker(raw, visible, margin, beside);
  }
  if (top >= LEAST_MARGIN) {
    const margin = { left, right, top: top >> 2, bottom: top - (top >> 2) };
    const below = { left, right, top, bottom: Math.min(bottom, 2 * top) };
    return ifDarker(raw, visible, margin, below);
  }
  return null;
}

function ifDarker(raw: RawArea, visible: Area, margin: Area, lit: Area): SiteLevels | null {
  const dark = siteMedians(raw, visible, [margin]);
  const light = siteMedians(raw, visible, [lit]);
  if (dark === null || light === null) return null;
  const least = DARKER_BY_SIGMA * pixelNoise(raw, lit);
  return dark.every((level, i) => level < (light[i] as number) - least) ? dark : null;
}

function siteMedians(raw: RawArea, visible: Area, areas: readonly Area[]): SiteLevels | null {
  const scratch = new Float32Array(MOST_SAMPLES);
  const site = (dx: number, dy: number) => {
    let count = 0;
    for (const { top, left, bottom, right } of areas) {
      const perRow = Math.max(1, (right - left) >> 1);
      const share = MOST_SAMPLES / areas.length;
      // Every other row of the cell, or as many fewer as the share of this area allows.
      const step = 2 * Math.max(1, Math.ceil((((bottom - top) >> 1) * perRow) / share));
      for (let y = top + ((top + visible.top + dy) & 1); y < bottom; y += step) {
        for (let x = left + ((left + visible.left + dx) & 1); x < right; x += 2) {
          if (count === MOST_SAMPLES) break;
          scratch[count++] = raw.samples[y * raw.width + x] as number;
        }
      }
    }
    return count < LEAST_SAMPLES ? Number.NaN : medianInPlace(scratch, count);
  };
  const found: SiteLevels = [site(0, 0), site(1, 0), site(0, 1), site(1, 1)];
  return found.every(Number.isFinite) ? found : null;
}

/** Scatter of a pixel against the next of its colour, ADU; NaN when the area is too small. */
export function pixelNoise(raw: RawArea, area: Area): number {
  const scratch = new Float32Array(MOST_SAMPLES);
  const perRow = area.right - area.left - 2;
  if (perRow < 1) return Number.NaN;
  const step = Math.max(1, Math.ceil(((area.bottom - area.top) * perRow) / MOST_SAMPLES));
  let count = 0;
  for (let y = area.top; y < area.bottom; y += step) {
    for (let x = area.left; x + 2 < area.right && count < MOST_SAMPLES; x++) {
      const at = y * raw.width + x;
      scratch[count++] = Math.abs((raw.samples[at + 2] as number) - (raw.samples[at] as number));
    }
  }
  if (count === 0) return Number.NaN;
  return (MAD_TO_SIGMA * medianInPlace(scratch, count)) / Math.SQRT2;
}
