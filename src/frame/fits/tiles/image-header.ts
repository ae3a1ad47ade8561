/** The header of the image inside a packed one (FITS Standard 4.0, §10.1, from memory): what described the table goes, what was set
 * aside under a name with Z comes back.
 */
import type { Card } from '../cards.js';
import { FitsHeader } from '../header.js';

/** Cards of the image, set aside by the writer. */
const SET_ASIDE: Readonly<Record<string, string>> = {
  ZSIMPLE: 'SIMPLE',
  ZTENSION: 'XTENSION',
  ZEXTEND: 'EXTEND',
  ZBLOCKED: 'BLOCKED',
  ZBITPIX: 'BITPIX',
  ZNAXIS: 'NAXIS',
  ZPCOUNT: 'PCOUNT',
  ZGCOUNT: 'GCOUNT',
  ZHECKSUM: 'CHECKSUM',
  ZDATASUM: 'DATASUM',
};
const AXIS = /^ZNAXIS(\d{1,3})$/;
/** Cards of the table or of the packing. */
const TABLE_ONLY =
  /^(?:SIMPLE|XTENSION|EXTEND|BLOCKED|BITPIX|NAXIS\d*|PCOUNT|GCOUNT|TFIELDS|THEAP|(?:TTYPE|TFORM|TUNIT|TSCAL|TZERO|TNULL|TDISP|TDIM)\d+|CHECKSUM|DATASUM|Z(?:IMAGE|CMPTYPE|MASKCMP|QUANTIZ|DITHER0|SCALE|ZERO|BLANK|(?:NAME|VAL|TILE)\d+))$/;
/** What writers call the table when the image had no name. */
const NO_NAME = 'COMPRESSED_IMAGE';

/** The header that the unpacked image has. */
export function imageHeader(table: FitsHeader): FitsHeader {
  const cards: Card[] = [];
  const integer = (table.number('ZBITPIX') ?? 0) > 0;
  for (const card of table.cards) {
    const { keyword } = card;
    const axis = AXIS.exec(keyword);
    const original = axis === null ? SET_ASIDE[keyword] : `NAXIS${axis[1]}`;
    if (original !== undefined) cards.push({ ...card, keyword: original });
    else if (keyword === 'ZBLANK' && integer && !table.has('BLANK')) {
      cards.push({ ...card, keyword: 'BLANK' });
    } else if (!isOfTable(card)) cards.push(card);
  }
  return new FitsHeader(cards);
}

function isOfTable(card: Card): boolean {
  if (card.kind !== 'value') return false;
  if (card.keyword === 'EXTNAME') return card.value === NO_NAME;
  return TABLE_ONLY.test(card.keyword);
}
