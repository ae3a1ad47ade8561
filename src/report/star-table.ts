/** Star catalogues of one or several frames as one table: the columns of all, in a fixed order, with file and flags. */
import type { ColumnInfo, StarCatalogue } from '../catalogue/catalogue.js';
import { flagNames } from '../catalogue/flags.js';

/** A frame's file with its catalogue. */
export interface NamedCatalogue {
  file: string;
  catalogue: StarCatalogue;
}

/** Columns of all catalogues in order of first appearance; frames of different layouts differ in their channels. */
export function mergedColumns(stars: readonly NamedCatalogue[]): ColumnInfo[] {
  const columns = new Map<string, ColumnInfo>();
  for (const { catalogue } of stars) {
    for (const info of catalogue.info) if (!columns.has(info.name)) columns.set(info.name, info);
  }
  return [...columns.values()];
}

/** Significant digits of a printed number: positions to 1e-4 px in a 10 000 px frame. */
const DIGITS = 8;

/** A number with at most eight significant digits; null where it was not measured. */
export function cellNumber(value: number | undefined): number | null {
  return value !== undefined && Number.isFinite(value) ? Number(value.toPrecision(DIGITS)) : null;
}

/** Flag names joined with `|`, or `usable`. Never empty: an empty text reads as missing in many programs. */
export function flagText(bits: number): string {
  return bits === 0 ? 'usable' : flagNames(bits).join('|');
}
