/** A FITS header: its cards in order, and look-up by keyword.
 *
 * Duplicate keywords: the first card wins, as in astropy (`header['KEY']` gives the first) and cfitsio; the standard (4.0,
 * §4.4: "should not be repeated") leaves it undefined. Whoever uses a keyword learns from `conflicting` that the copies differ.
 */
import { FrameReadError } from '../../errors.js';
import { type OpenFile, readFully } from '../file.js';
import type { Keyword, KeywordSource } from '../keywords.js';
import { CARD_LENGTH, type Card, parseCard } from './cards.js';

/** Bytes of a FITS block (§3.1). */
export const BLOCK_LENGTH = 2880;

/** A header longer than this is taken as one without END: 2,000 blocks hold 72,000 cards. */
const MAX_HEADER_BLOCKS = 2000;

/** Longest string joined from CONTINUE cards, in characters. */
const MAX_JOINED_LENGTH = 1 << 16;

/** Cards with look-up. CONTINUE cards are already joined to the string they continue. */
export class FitsHeader implements KeywordSource {
  readonly cards: readonly Card[];
  readonly #first = new Map<string, Card>();
  readonly #conflicting = new Set<string>();

  /** From card images, or from cards of other headers. */
  constructor(images: Iterable<string | Card>) {
    this.cards = joinContinued(images);
    for (const card of this.cards) {
      if (card.kind !== 'value') continue;
      const first = this.#first.get(card.keyword);
      if (first === undefined) this.#first.set(card.keyword, card);
      else if (!sameValue(first, card)) this.#conflicting.add(card.keyword);
    }
  }

  find(name: string): Keyword | undefined {
    const card = this.#first.get(name);
    if (card === undefined) return undefined;
    const { value, text, comment, problem } = card;
    return { name, value, text, comment, problem, conflicting: this.#conflicting.has(name) };
  }

  /** The value when it is a number; else null. */
  number(name: string): number | null {
    const value = this.#first.get(name)?.value;
    return typeof value === 'number' ? value : null;
  }

  /** The value when it is a string; else null. */
  string(name: string): string | null {
    const value = this.#first.get(name)?.value;
    return typeof value === 'string' ? value : null;
  }

  /** True only when the value is the logical T. */
  isTrue(name: string): boolean {
    return this.#first.get(name)?.value === true;
  }

  has(name: string): boolean {
    return this.#first.has(name);
  }
}

function sameValue(a: Card, b: Card): boolean {
  if (typeof a.value === 'object' || typeof b.value === 'object') return a.text === b.text;
  return Object.is(a.value, b.value);
}

/** §4.2.1.2: a string ending in `&` goes on in the CONTINUE card that follows; an `&` without one is text. */
function joinContinued(images: Iterable<string | Card>): Card[] {
  const cards: Card[] = [];
  let open: Card | null = null;
  for (const image of images) {
    const card = typeof image === 'string' ? parseCard(image) : image;
    if (card.kind === 'continue' && open !== null && typeof open.value === 'string') {
      const joined = open.value.slice(0, -1) + String(card.value);
      open.value = joined.slice(0, MAX_JOINED_LENGTH);
      open.text = open.value;
      if (card.comment !== '') open.comment = `${open.comment} ${card.comment}`.trim();
      if (!joined.endsWith('&')) open = null;
      continue;
    }
    cards.push(card.kind === 'continue' ? { ...card, kind: 'comment' } : card);
    open = typeof card.value === 'string' && card.value.endsWith('&') ? card : null;
  }
  return cards;
}

/** A header read from a file, and where its data begin. */
export interface ReadHeader {
  header: FitsHeader;
  /** Byte position of the data unit. */
  dataOffset: number;
}

const PRINTABLE_KEYWORD = /^[\x20-\x7e]{8}$/;

/**
 * Reads the header that starts at byte `offset`.
 * @throws FrameReadError `no-end` when no END card follows within the file, within `MAX_HEADER_BLOCKS`, or before bytes that cannot be cards.
 */
export function readHeader(file: OpenFile, offset: number): ReadHeader {
  const block = Buffer.alloc(BLOCK_LENGTH);
  const images: string[] = [];
  let position = offset;
  for (let count = 0; count < MAX_HEADER_BLOCKS; count++) {
    const length = Math.min(BLOCK_LENGTH, file.size - position);
    if (length < CARD_LENGTH) break;
    readFully(file, block, 0, length, position);
    position += length;
    for (let at = 0; at + CARD_LENGTH <= length; at += CARD_LENGTH) {
      const image = block.toString('latin1', at, at + CARD_LENGTH);
      if (image.startsWith('END') && image.slice(3).trim() === '') {
        return { header: new FitsHeader(images), dataOffset: position };
      }
      // Pixels read as cards show themselves at once; names of real cards are plain ASCII (§4.1.2.1).
      if (!PRINTABLE_KEYWORD.test(image.slice(0, 8))) throw noEnd(file, offset);
      images.push(image);
    }
  }
  throw noEnd(file, offset);
}

function noEnd(file: OpenFile, offset: number): FrameReadError {
  return new FrameReadError(
    'no-end',
    file.path,
    `the header that starts at byte ${offset} has no END card`,
    'the file is cut off or damaged: copy or save it again',
  );
}
