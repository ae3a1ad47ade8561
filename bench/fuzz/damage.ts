/** Damage to a file: from the random numbers alone, so that every input can be made again. */

export type Random = () => number;

const CARD = 80;
const BLOCK = 2880;
const VALUES = [
  '0',
  '-1',
  '1',
  '2',
  '255',
  '-32768',
  '65536',
  '2147483647',
  '-2147483648',
  '4294967296',
  '9007199254740993',
  '99999999999999999999',
  '1E308',
  'NaN',
  'T',
  "'       '",
  "'RICE_1  '",
  "'GZIP_1  '",
  "'GZIP_2  '",
  "'PLIO_1  '",
  "'HCOMPRESS_1'",
  "'NOCOMPRESS'",
  "'SUBTRACTIVE_DITHER_1'",
  "'1PB(9)  '",
  "'1QB     '",
  "'1PI     '",
  "'1J      '",
  "'999999999B'",
];

const below = (random: Random, limit: number) => Math.floor(random() * limit);

type Wound = (bytes: Buffer, random: Random) => Buffer;

/** One to four wounds: to FITS files with the kinds that know header cards, to others with those that know binary numbers. */
export function damage(original: Buffer, random: Random, isFits: boolean): Buffer {
  let bytes: Buffer = Buffer.from(original);
  const kinds = isFits ? FITS_KINDS : BINARY_KINDS;
  const count = 1 + below(random, 4);
  for (let i = 0; i < count; i++) {
    const kind = kinds[below(random, kinds.length)] as Wound;
    if (bytes.length > 0) bytes = kind(bytes, random);
  }
  return bytes;
}

const FITS_KINDS: readonly Wound[] = [
  flipBits,
  flipBits,
  flipBits,
  flipNearEnd,
  overwrite,
  cut,
  remove,
  repeat,
  changeCard,
  changeCard,
  changeCard,
  exchangeCards,
];

const BINARY_KINDS: readonly Wound[] = [
  flipBits,
  flipBits,
  flipNearEnd,
  overwrite,
  cut,
  remove,
  repeat,
  changeNumber,
  changeNumber,
  changeNumber,
  changeNumber,
];

const NUMBERS = [
  0,
  1,
  2,
  3,
  5,
  7,
  8,
  16,
  64,
  255,
  256,
  32773,
  65535,
  65536,
  1e6,
  2 ** 31,
  2 ** 32 - 1,
];

/** A number of two or four bytes, in either order, mostly among the first 600: there directories and headers stand. */
function changeNumber(bytes: Buffer, random: Random): Buffer {
  const size = random() < 0.5 ? 2 : 4;
  if (bytes.length < size) return bytes;
  const reach = random() < 0.8 ? Math.min(bytes.length, 600) : bytes.length;
  const at = Math.min(below(random, reach), bytes.length - size);
  const value = (NUMBERS[below(random, NUMBERS.length)] as number) % 256 ** size;
  if (random() < 0.5) bytes.writeUIntLE(value, at, size);
  else bytes.writeUIntBE(value, at, size);
  return bytes;
}

function flipBits(bytes: Buffer, random: Random): Buffer {
  const count = 1 + below(random, 20);
  for (let i = 0; i < count; i++) {
    const at = below(random, bytes.length);
    bytes[at] = (bytes[at] as number) ^ (1 << below(random, 8));
  }
  return bytes;
}

/** In the last block: heaps and tails of streams. */
function flipNearEnd(bytes: Buffer, random: Random): Buffer {
  const from = Math.max(0, bytes.length - BLOCK);
  const at = from + below(random, bytes.length - from);
  bytes[at] = below(random, 256);
  return bytes;
}

function overwrite(bytes: Buffer, random: Random): Buffer {
  const at = below(random, bytes.length);
  const value = [0, 255, 128, below(random, 256)][below(random, 4)] as number;
  return bytes.fill(value, at, Math.min(bytes.length, at + 1 + below(random, 64)));
}

function cut(bytes: Buffer, random: Random): Buffer {
  return bytes.subarray(0, below(random, bytes.length));
}

function remove(bytes: Buffer, random: Random): Buffer {
  const at = below(random, bytes.length);
  return Buffer.concat([bytes.subarray(0, at), bytes.subarray(at + 1 + below(random, 200))]);
}

function repeat(bytes: Buffer, random: Random): Buffer {
  const at = below(random, bytes.length);
  const part = bytes.subarray(at, at + 1 + below(random, 400));
  return Buffer.concat([bytes.subarray(0, at), part, bytes.subarray(at)]);
}

/** Positions of cards with a value. */
function cards(bytes: Buffer): number[] {
  const found: number[] = [];
  for (let at = 0; at + CARD <= bytes.length; at += CARD) {
    if (bytes[at + 8] === 0x3d && bytes[at + 9] === 0x20 && (bytes[at] as number) > 0x40) {
      found.push(at);
    }
  }
  return found;
}

function changeCard(bytes: Buffer, random: Random): Buffer {
  const found = cards(bytes);
  if (found.length === 0) return flipBits(bytes, random);
  const at = found[below(random, found.length)] as number;
  const value =
    random() < 0.3 ? String(below(random, 200)) : (VALUES[below(random, VALUES.length)] as string);
  bytes.write(value.padStart(20).padEnd(CARD - 10), at + 10, 'latin1');
  return bytes;
}

function exchangeCards(bytes: Buffer, random: Random): Buffer {
  const found = cards(bytes);
  if (found.length < 2) return flipBits(bytes, random);
  const a = found[below(random, found.length)] as number;
  const b = found[below(random, found.length)] as number;
  const copy = Buffer.from(bytes.subarray(a, a + CARD));
  bytes.copy(bytes, a, b, b + CARD);
  copy.copy(bytes, b);
  return bytes;
}
