/** The colour filter mosaic of a camera raw file: as the decoder and as DNG describe it, and how it moves with a margin. */
import type { CfaPattern } from '../frame.js';

const PATTERNS: readonly string[] = ['RGGB', 'BGGR', 'GRBG', 'GBRG'];

/** The order when `colours` (four letters, row by row) is one of the four that are measured, else null. */
function namedPattern(colours: string): CfaPattern | null {
  return PATTERNS.includes(colours) ? (colours as CfaPattern) : null;
}

/** The order as seen from a site `dx` columns and `dy` rows further on (negative: before). */
export function shiftPattern(pattern: CfaPattern, dx: number, dy: number): CfaPattern {
  const site = (x: number, y: number) =>
    pattern[2 * ((y + Math.abs(dy)) % 2) + ((x + Math.abs(dx)) % 2)] as string;
  return (site(0, 0) + site(1, 0) + site(0, 1) + site(1, 1)) as CfaPattern;
}

/** What a file says about its mosaic. */
export type Mosaic =
  | { kind: 'none' }
  | { kind: 'pattern'; pattern: CfaPattern }
  | { kind: 'other'; description: string };

/** Values of the decoder's bit field that are no bit field. */
const NO_MOSAIC = 0;
const SIXTEEN = 1;
const X_TRANS = 9;

/**
 * The decoder's bit field: two bits per site, 8 rows × 2 columns, the site in row y, column x at bit 2 · (2 · (y mod 8) + x mod 2);
 * the bits are an index into the colour names (`filters` and `cdesc` of libraw's documentation).
 */
export function mosaicOfDecoder(filters: number, colourNames: string): Mosaic {
  const bits = filters >>> 0;
  if (bits === NO_MOSAIC) return { kind: 'none' };
  if (bits === X_TRANS) return { kind: 'other', description: '6 x 6 (X-Trans)' };
  if (bits === SIXTEEN) return { kind: 'other', description: '16 x 16' };
  const cell = bits & 0xff;
  if (bits >>> 8 !== cell * 0x010101) return { kind: 'other', description: 'more than 2 rows' };
  const colours = [0, 1, 2, 3].map((i) => colourNames[(cell >> (2 * i)) & 3] ?? '?').join('');
  const pattern = namedPattern(colours);
  return pattern === null
    ? { kind: 'other', description: `of the colours ${colours}` }
    : { kind: 'pattern', pattern };
}

/** Colour codes of CFAPattern and CFAPlaneColor (TIFF/EP; DNG 1.7, CFAPlaneColor). */
const COLOUR_LETTERS = 'RGBCMYW';

/**
 * The mosaic of the tags CFARepeatPatternDim (rows, columns) and CFAPattern. A repeat of 1 in a direction is unrolled; a longer one is
 * accepted when it only says the same cell several times.
 */
export function mosaicOfTags(rows: number, columns: number, colours: readonly number[]): Mosaic {
  const whole = rows >= 1 && columns >= 1 && colours.length >= rows * columns;
  if (!whole) return { kind: 'other', description: 'with an incomplete description' };
  const letter = (y: number, x: number) =>
    COLOUR_LETTERS[colours[(y % rows) * columns + (x % columns)] as number] ?? '?';
  for (let y = 0; y < 2 * rows; y++) {
    for (let x = 0; x < 2 * columns; x++) {
      if (letter(y, x) !== letter(y % 2, x % 2)) {
        return { kind: 'other', description: `${columns} x ${rows}` };
      }
    }
  }
  const cell = letter(0, 0) + letter(0, 1) + letter(1, 0) + letter(1, 1);
  if (/^(.)\1{3}$/.test(cell)) return { kind: 'none' };
  const pattern = namedPattern(cell);
  return pattern === null
    ? { kind: 'other', description: `of the colours ${cell}` }
    : { kind: 'pattern', pattern };
}
