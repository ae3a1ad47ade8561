/** Header keywords as every file format offers them: what the metadata and the mosaic decision look up.
 * Header text is untrusted: strings stay raw here (escaping is the output's business) and are cut at a fixed length.
 */

/** One keyword with its value. */
export interface Keyword {
  /** The keyword as asked for. */
  name: string;
  value: string | number | boolean | { re: number; im: number } | null;
  /** The value as written. */
  text: string;
  comment: string;
  /** Null for a proper value, else what had to be overlooked, e.g. 'decimal-comma'. */
  problem: string | null;
  /** True when later cards give the same keyword another value. */
  conflicting: boolean;
}

/** Looks keywords up; names are upper case. */
export interface KeywordSource {
  find(name: string): Keyword | undefined;
}

/** Longest string that is taken from a header, in characters: longer ones are noise in every report. */
const MAX_TEXT_LENGTH = 256;

/** The string, without trailing blanks, cut at `MAX_TEXT_LENGTH` with an ellipsis; null when nothing is left. */
export function capText(text: string): string | null {
  const whole = text.trim();
  if (whole === '') return null;
  return whole.length > MAX_TEXT_LENGTH ? `${whole.slice(0, MAX_TEXT_LENGTH - 1)}…` : whole;
}

/** The value for a message: short and quoted; control characters are escaped by whoever prints it. */
export function quoteValue(keyword: Keyword): string {
  const text = keyword.text.length > 40 ? `${keyword.text.slice(0, 39)}…` : keyword.text;
  return `'${text}'`;
}
