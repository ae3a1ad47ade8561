/** Numbers and lists in the sentences of a comparison. */
import type { NoMatch } from '../match/outcome.js';

/** `a`, `a and b`, `a, b and c`. */
export function listOf(words: readonly string[], last = 'and'): string {
  return words.length < 2
    ? (words[0] ?? '')
    : `${words.slice(0, -1).join(', ')} ${last} ${words.at(-1)}`;
}

/** `1 star`, `12 stars`. */
export function counted(n: number, one: string, many = `${one}s`): string {
  return `${n} ${n === 1 ? one : many}`;
}

/** To `decimals` places with a real minus; never `−0`. */
export function decimal(value: number, decimals: number): string {
  const text = Math.abs(value).toFixed(decimals);
  return value < 0 && Number(text) !== 0 ? `−${text}` : text;
}

/** Two significant digits, at least the whole number: `0.034`, `3.4`, `34`, `340`. */
export function twoDigits(value: number): string {
  if (value === 0 || !Number.isFinite(value)) return '0';
  const places = 1 - Math.floor(Math.log10(Math.abs(value)));
  const text = decimal(value, Math.max(0, Math.min(4, places)));
  // 5.0 reads as more than is known; 0.50 does too.
  return text.includes('.') ? text.replace(/\.?0+$/, '') : text;
}

/** Agreement of stars that chance brings less often than this, log10, may be no chance. */
const NO_CHANCE = -1;

/** Why two telescopes could not be matched: other stars, too few of them, or not enough agreement to be sure. */
export function unmatchedWords(
  one: string,
  other: string,
  { reason, explanation, best }: Omit<NoMatch, 'found'>,
): string {
  const why = uncapital(explanation, []).replace(/\.$/, '');
  if (reason === 'too-few-stars')
    return `there are too few stars to lay ${one} on ${other}: ${why}`;
  return reason === 'ambiguous' || (best !== null && best.log10FalseProbability <= NO_CHANCE)
    ? `it is not sure that the stars of ${one} are those of ${other}: ${why}`
    : `the stars of ${one} are not those of ${other}: ${why}`;
}

/** `60 s`, `5 min`, `3.2 hours`, `12 days`; rounded for reading. */
export function duration(seconds: number): string {
  const amount = (n: number): string =>
    decimal(n, n < 9.95 && Math.abs(n - Math.round(n)) > 0.05 ? 1 : 0);
  if (seconds < 100) return `${twoDigits(seconds)} s`;
  if (seconds < 5400) return `${amount(seconds / 60)} minutes`;
  if (seconds < 129_600) return `${amount(seconds / 3600)} hours`;
  return `${amount(seconds / 86_400)} days`;
}

/** The sentence with a capital letter; a label at its start stays as it is. */
export function sentence(text: string, labels: readonly string[] = []): string {
  return labels.some((label) => label !== '' && text.startsWith(label))
    ? text
    : text.charAt(0).toUpperCase() + text.slice(1);
}

/** The sentence without a capital letter, unless a label stands at its start. */
export function uncapital(text: string, labels: readonly string[]): string {
  return labels.some((label) => label !== '' && text.startsWith(label))
    ? text
    : text.charAt(0).toLowerCase() + text.slice(1);
}
