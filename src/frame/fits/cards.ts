/** One 80-character header card: keyword, value, comment.
 *
 * FITS Standard 4.0, §4.1 (cards), §4.2 (values), §4.2.1.2 (CONTINUE), Appendix/registered convention HIERARCH.
 * Reading is lenient where the meaning is plain (value not in the fixed columns, decimal comma, missing quote), and each
 * such case is marked in `problem`, so that the header can warn when the keyword is used.
 */

/** A parsed value: null when the value field is empty (§4.1.2.3 "undefined") or cannot be read. */
type CardValue = string | number | boolean | { re: number; im: number } | null;

/** What was wrong with a value that could still be read, or `unreadable`. */
type CardProblem =
  | 'decimal-comma'
  | 'unquoted-string'
  | 'unterminated-string'
  | 'no-space-after-equals'
  | 'unreadable';

/** A header card. */
export interface Card {
  /** Upper case, without trailing blanks. Long names of HIERARCH cards are kept without the word HIERARCH: 'ESO TEL ID'. */
  keyword: string;
  kind: 'value' | 'comment' | 'continue' | 'end';
  value: CardValue;
  /** The value as written, without the comment: what a message may quote. */
  text: string;
  comment: string;
  problem: CardProblem | null;
}

/** Bytes of a card. */
export const CARD_LENGTH = 80;

const INTEGER = /^[+-]?\d+$/;
const REAL = /^[+-]?(?:\d+\.?\d*|\.\d+)(?:[EeDd][+-]?\d+)?$/;
const COMMA_REAL = /^[+-]?(?:\d+,\d*|,\d+)(?:[EeDd][+-]?\d+)?$/;
const COMPLEX = /^\(\s*([^,\s]+)\s*,\s*([^,\s]+)\s*\)$/;
const HIERARCH = /^HIERARCH\s+([^=]*?)\s*=\s?(.*)$/i;
const NOT_FINITE = /^[+-]?(?:nan|inf(?:inity)?)$/i;

/** Parses a card image of 80 characters (shorter ones count as filled with blanks). */
export function parseCard(image: string): Card {
  const name = image.slice(0, 8).trimEnd().toUpperCase();
  if (name === 'END' && image.slice(8).trim() === '') {
    return { keyword: 'END', kind: 'end', value: null, text: '', comment: '', problem: null };
  }
  if (name === 'HIERARCH') {
    const match = HIERARCH.exec(image);
    if (match?.[1]) return valueCard(match[1].toUpperCase(), match[2] ?? '', null);
    return commentary(name, image);
  }
  if (name === 'CONTINUE') {
    const card = valueCard(name, image.slice(8), null);
    return typeof card.value === 'string' && card.problem === null
      ? { ...card, kind: 'continue' }
      : commentary(name, image);
  }
  if (name === '' || name === 'COMMENT' || name === 'HISTORY') return commentary(name, image);
  if (image[8] !== '=') return commentary(name, image);
  if (image[9] === ' ' || image.length <= 9) return valueCard(name, image.slice(10), null);
  // "KEYWORD =12": by the letter a comment card, but nothing else than a value can be meant when it reads as one.
  const loose = valueCard(name, image.slice(9), 'no-space-after-equals');
  return loose.problem === 'no-space-after-equals' ? loose : commentary(name, image);
}

function commentary(keyword: string, image: string): Card {
  const comment = image.slice(8).trimEnd();
  return { keyword, kind: 'comment', value: null, text: '', comment, problem: null };
}

function valueCard(keyword: string, field: string, note: CardProblem | null): Card {
  const start = field.search(/[^ ]/);
  if (start >= 0 && field[start] === "'") return stringCard(keyword, field, start, note);
  const slash = field.indexOf('/');
  const text = (slash < 0 ? field : field.slice(0, slash)).trim();
  const comment = slash < 0 ? '' : field.slice(slash + 1).trim();
  const { value, problem } = parseToken(text);
  return { keyword, kind: 'value', value, text, comment, problem: problem ?? note };
}

/** §4.2.1: a quote inside the string is doubled; leading blanks count, trailing ones do not; a `/` inside is text. */
function stringCard(keyword: string, field: string, start: number, note: CardProblem | null): Card {
  let value = '';
  let at = start + 1;
  let closed = false;
  while (at < field.length) {
    const quote = field.indexOf("'", at);
    if (quote < 0) break;
    value += field.slice(at, quote);
    at = quote + 1;
    if (field[at] !== "'") {
      closed = true;
      break;
    }
    value += "'";
    at++;
  }
  if (!closed) value += field.slice(at);
  const rest = closed ? field.slice(at) : '';
  const slash = rest.indexOf('/');
  const text = value.trimEnd();
  return {
    keyword,
    kind: 'value',
    value: text,
    text,
    comment: slash < 0 ? '' : rest.slice(slash + 1).trim(),
    problem: closed ? note : 'unterminated-string',
  };
}

/** §4.2.2–4.2.6: logical, integer, real (exponent letter E or D), complex; anything else is kept as unquoted text. */
function parseToken(text: string): { value: CardValue; problem: CardProblem | null } {
  if (text === '') return { value: null, problem: null };
  if (text === 'T' || text === 'F') return { value: text === 'T', problem: null };
  if (INTEGER.test(text) || REAL.test(text)) return { value: toNumber(text), problem: null };
  if (COMMA_REAL.test(text)) {
    return { value: toNumber(text.replace(',', '.')), problem: 'decimal-comma' };
  }
  if (NOT_FINITE.test(text)) return { value: Number.NaN, problem: 'unreadable' };
  if (text.startsWith('(')) {
    const match = COMPLEX.exec(text);
    const re = match?.[1] ?? '';
    const im = match?.[2] ?? '';
    if (REAL.test(re) && REAL.test(im)) {
      return { value: { re: toNumber(re), im: toNumber(im) }, problem: null };
    }
    return { value: null, problem: 'unreadable' };
  }
  return { value: text, problem: 'unquoted-string' };
}

/** Number of a text that holds a FITS integer or real: Fortran's D exponent becomes E. */
function toNumber(text: string): number {
  return Number(text.replace(/[Dd]/, 'e'));
}
