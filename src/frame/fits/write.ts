/** Writing FITS images: what simulated frames and test frames are made of (FITS Standard 4.0, §3–4, uncompressed primary array). */

/** Samples that can be written. Uint16Array is stored as signed with BZERO = 32768, Uint32Array with 2147483648 (Table 11). */
export type WritableSamples =
  | Uint8Array
  | Int8Array
  | Uint16Array
  | Int16Array
  | Uint32Array
  | Int32Array
  | Float32Array
  | Float64Array;

/** An image to write: `data` is plane after plane, each row-major, `width × height × planes` samples. */
export interface WritableImage {
  width: number;
  height: number;
  /** 1, or 3 for R, G, B (stored as NAXIS3). */
  planes: number;
  data: WritableSamples;
}

/** A card to write after the mandatory ones. Strings may be of any length (CONTINUE cards); null is an undefined value. */
export interface WritableCard {
  /** Up to 8 of A–Z, 0–9, '-', '_'; COMMENT and HISTORY take `value` as text. */
  keyword: string;
  value: string | number | boolean | null;
  comment?: string;
}

const BLOCK_LENGTH = 2880;
const CARD_LENGTH = 80;

/**
 * The whole file as bytes.
 * @throws RangeError for sizes that do not fit the data, for bad keywords, and for text outside printable ASCII.
 */
export function encodeFits(image: WritableImage, cards: readonly WritableCard[] = []): Uint8Array {
  const { width, height, planes, data } = image;
  for (const [name, value] of Object.entries({ width, height, planes })) {
    if (!Number.isInteger(value) || value < 1) {
      throw new RangeError(`${name} is ${value}; allowed: positive integers`);
    }
  }
  if (data.length !== width * height * planes) {
    throw new RangeError(`data has ${data.length} samples, expected ${width * height * planes}`);
  }
  const { bitpix, bzero } = storedForm(data);
  const lines = [
    formatCard({ keyword: 'SIMPLE', value: true, comment: 'conforms to the FITS standard' }),
    formatCard({ keyword: 'BITPIX', value: bitpix, comment: 'bits per sample' }),
    formatCard({ keyword: 'NAXIS', value: planes === 1 ? 2 : 3, comment: 'number of axes' }),
    formatCard({ keyword: 'NAXIS1', value: width }),
    formatCard({ keyword: 'NAXIS2', value: height }),
  ];
  if (planes > 1) lines.push(formatCard({ keyword: 'NAXIS3', value: planes }));
  if (bzero !== 0) {
    lines.push(formatCard({ keyword: 'BSCALE', value: 1 }));
    lines.push(
      formatCard({ keyword: 'BZERO', value: bzero, comment: 'offset of unsigned samples' }),
    );
  }
  for (const card of cards) lines.push(formatCard(card));
  const header = `${lines.join('')}${'END'.padEnd(CARD_LENGTH)}`;
  const headerBytes = padded(header.length);
  const dataBytes = data.byteLength;
  const file = Buffer.alloc(headerBytes + padded(dataBytes));
  file.fill(' ', 0, headerBytes);
  file.write(header, 0, 'latin1');
  writeSamples(data, file.subarray(headerBytes, headerBytes + dataBytes));
  return file;
}

function padded(length: number): number {
  return Math.ceil(length / BLOCK_LENGTH) * BLOCK_LENGTH;
}

function storedForm(data: WritableSamples): { bitpix: number; bzero: number } {
  if (data instanceof Uint8Array) return { bitpix: 8, bzero: 0 };
  if (data instanceof Int8Array) return { bitpix: 8, bzero: -128 };
  if (data instanceof Uint16Array) return { bitpix: 16, bzero: 32768 };
  if (data instanceof Int16Array) return { bitpix: 16, bzero: 0 };
  if (data instanceof Uint32Array) return { bitpix: 32, bzero: 2147483648 };
  if (data instanceof Int32Array) return { bitpix: 32, bzero: 0 };
  if (data instanceof Float32Array) return { bitpix: -32, bzero: 0 };
  return { bitpix: -64, bzero: 0 };
}

/** Big-endian, with the sign bit flipped for unsigned types and signed bytes. */
function writeSamples(data: WritableSamples, target: Buffer): void {
  target.set(new Uint8Array(data.buffer, data.byteOffset, data.byteLength));
  const size = data.BYTES_PER_ELEMENT;
  if (size === 2) target.swap16();
  else if (size === 4) target.swap32();
  else if (size === 8) target.swap64();
  if (data instanceof Int8Array || data instanceof Uint16Array || data instanceof Uint32Array) {
    for (let i = 0; i < target.length; i += size) target[i] = (target[i] as number) ^ 0x80;
  }
}

const KEYWORD = /^[A-Z0-9_-]{1,8}$/;
const PRINTABLE = /^[\x20-\x7e]*$/;

/**
 * One card, or several where a long string needs CONTINUE: a text whose length is a multiple of 80.
 * @throws RangeError as `encodeFits`.
 */
export function formatCard(card: WritableCard): string {
  const { keyword, value, comment = '' } = card;
  if (!KEYWORD.test(keyword)) {
    throw new RangeError(`keyword is '${keyword}'; allowed: 1 to 8 of A-Z, 0-9, - and _`);
  }
  if (!PRINTABLE.test(comment) || (typeof value === 'string' && !PRINTABLE.test(value))) {
    throw new RangeError(`${keyword}: only printable ASCII can be written (§3.2, §4.2.1)`);
  }
  if (keyword === 'COMMENT' || keyword === 'HISTORY') return commentary(keyword, String(value));
  const head = `${keyword.padEnd(8)}= `;
  if (typeof value === 'string') return stringCard(head, value, comment);
  let field = '';
  if (typeof value === 'boolean') field = value ? 'T' : 'F';
  else if (value !== null) field = formatNumber(keyword, value);
  return withComment(`${head}${field.padStart(20)}`, comment);
}

function formatNumber(keyword: string, value: number): string {
  if (!Number.isFinite(value)) {
    throw new RangeError(`${keyword} is ${value}; FITS headers hold finite numbers only (§4.2.4)`);
  }
  // Whole numbers in full digits; the standard's exponent letter is a capital E (§4.2.4).
  return Number.isInteger(value) && Math.abs(value) < 1e21
    ? BigInt(value).toString()
    : String(value).toUpperCase();
}

function withComment(line: string, comment: string): string {
  const whole = comment === '' ? line : `${line} / ${comment}`;
  return whole.slice(0, CARD_LENGTH).padEnd(CARD_LENGTH);
}

/** §4.2.1.1: at least eight characters between the quotes; §4.2.1.2: pieces end in '&' when a CONTINUE card follows. */
function stringCard(head: string, value: string, comment: string): string {
  const quoted = value.replaceAll("'", "''");
  if (quoted.length <= CARD_LENGTH - head.length - 2) {
    return withComment(`${head}'${quoted.padEnd(8)}'`.padEnd(30), comment);
  }
  let out = '';
  let rest = quoted;
  let prefix = head;
  while (rest.length > CARD_LENGTH - prefix.length - 2) {
    let cut = CARD_LENGTH - prefix.length - 3;
    // A doubled quote must not be torn apart: an odd run of quotes before the cut is half of a pair.
    const quotes = /'*$/.exec(rest.slice(0, cut))?.[0].length ?? 0;
    if (quotes % 2 === 1) cut--;
    out += `${prefix}'${rest.slice(0, cut)}&'`.padEnd(CARD_LENGTH);
    rest = rest.slice(cut);
    prefix = 'CONTINUE  ';
  }
  return out + withComment(`${prefix}'${rest}'`, comment);
}

function commentary(keyword: string, text: string): string {
  if (!PRINTABLE.test(text))
    throw new RangeError(`${keyword}: only printable ASCII can be written`);
  let out = '';
  for (let at = 0; at === 0 || at < text.length; at += CARD_LENGTH - 8) {
    out += `${keyword.padEnd(8)}${text.slice(at, at + CARD_LENGTH - 8)}`.padEnd(CARD_LENGTH);
  }
  return out;
}
