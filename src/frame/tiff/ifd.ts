/** Directories (IFDs) of a TIFF file: TIFF 6.0 section 2, BigTIFF, SubIFDs (TIFF Technical Note 1), the Exif directory.
 *
 * Nothing in the file is believed: every read lies within it, every list has a limit, a chain that closes on itself is refused.
 * Values are read when asked for, so that a damaged tag that nobody needs does no harm.
 */
import { FrameReadError } from '../../errors.js';
import { type OpenFile, readFully } from '../file.js';

/** One directory: the tags of one page, of one of its sub-images or of its Exif part. */
export interface TiffDirectory {
  readonly littleEndian: boolean;
  has(tag: number): boolean;
  /** The first value of a numeric tag; null when the tag is missing or holds text. */
  number(tag: number): number | null;
  /**
   * All values of a numeric tag, RATIONALs as quotients (NaN for 0/0); null when the tag is missing or holds text.
   * @throws FrameReadError `damaged` when they lie outside the file or are absurdly many
   */
  numbers(tag: number): number[] | null;
  /**
   * An ASCII tag (or bytes, taken as text) up to its first NUL, as UTF-8 where it is valid UTF-8 and Latin-1 else; at most
   * `MOST_TEXT_BYTES` of it. Untrusted: raw, with whatever control characters the file holds.
   * @throws FrameReadError `damaged` when it lies outside the file
   */
  text(tag: number): string | null;
  /**
   * The sub-images (tag 330), each with the chain that follows it.
   * @throws FrameReadError `damaged`
   */
  subDirectories(): TiffDirectory[];
  /**
   * The Exif directory (tag 34665), or null.
   * @throws FrameReadError `damaged`
   */
  exif(): TiffDirectory | null;
}

const SUB_DIRECTORIES = 330;
const EXIF_DIRECTORY = 34665;

/** Real directories have up to about 150 entries. */
const MOST_ENTRIES = 4096;
/** Pages and sub-images of one file. */
const MOST_DIRECTORIES = 10_000;
/** Bytes of all directories together: damaged files can make them overlap. */
const MOST_DIRECTORY_BYTES = 64e6;
/** Longest list of values: the tiles of the largest frame that the default limits allow, if they are 16 × 16. */
const MOST_VALUES = 2_000_000;
const MOST_TEXT_BYTES = 65_536;

const CLASSIC = 42;
const BIG = 43;

type ReadValue = (view: DataView, at: number, little: boolean) => number;
const ASCII = 2;
/** Bytes and meaning of the field types. */
const TYPES: Readonly<Record<number, { bytes: number; read: ReadValue }>> = {
  1: { bytes: 1, read: (view, at) => view.getUint8(at) },
  2: { bytes: 1, read: (view, at) => view.getUint8(at) },
  3: { bytes: 2, read: (view, at, little) => view.getUint16(at, little) },
  4: { bytes: 4, read: (view, at, little) => view.getUint32(at, little) },
  5: {
    bytes: 8,
    read: (view, at, little) => view.getUint32(at, little) / view.getUint32(at + 4, little),
  },
  6: { bytes: 1, read: (view, at) => view.getInt8(at) },
  7: { bytes: 1, read: (view, at) => view.getUint8(at) },
  8: { bytes: 2, read: (view, at, little) => view.getInt16(at, little) },
  9: { bytes: 4, read: (view, at, little) => view.getInt32(at, little) },
  10: {
    bytes: 8,
    read: (view, at, little) => view.getInt32(at, little) / view.getInt32(at + 4, little),
  },
  11: { bytes: 4, read: (view, at, little) => view.getFloat32(at, little) },
  12: { bytes: 8, read: (view, at, little) => view.getFloat64(at, little) },
  13: { bytes: 4, read: (view, at, little) => view.getUint32(at, little) },
  16: { bytes: 8, read: (view, at, little) => Number(view.getBigUint64(at, little)) },
  17: { bytes: 8, read: (view, at, little) => Number(view.getBigInt64(at, little)) },
  18: { bytes: 8, read: (view, at, little) => Number(view.getBigUint64(at, little)) },
};

/** Field layout of the two kinds of file. */
interface Layout {
  little: boolean;
  /** Bytes of an offset: 4, or 8 in BigTIFF. */
  offsetBytes: 4 | 8;
  entryBytes: 12 | 20;
  countBytes: 2 | 8;
}

/** Byte order mark and version, or null when the bytes are not those of a TIFF file. */
function layoutOf(head: Uint8Array): Layout | null {
  const little = head[0] === 0x49 && head[1] === 0x49;
  if (!little && !(head[0] === 0x4d && head[1] === 0x4d)) return null;
  const version = little
    ? (head[2] as number) + 256 * (head[3] as number)
    : 256 * (head[2] as number) + (head[3] as number);
  if (version === CLASSIC) return { little, offsetBytes: 4, entryBytes: 12, countBytes: 2 };
  if (version === BIG) return { little, offsetBytes: 8, entryBytes: 20, countBytes: 8 };
  return null;
}

/** True when the first bytes are those of a TIFF file, camera raw files of that structure included. */
export function carriesTiffHeader(head: Uint8Array): boolean {
  return head.length >= 4 && layoutOf(head) !== null;
}

/** What the reading of one file shares: limits hold for the file as a whole. */
interface Reading {
  file: OpenFile;
  layout: Layout;
  /** Starts of the directories read so far. */
  seen: Set<number>;
  bytes: number;
}

/**
 * The pages of the file: its main chain of directories, in order.
 * @throws FrameReadError `damaged` when the file is no TIFF file, a directory lies outside the file, the chain closes on itself or
 * something is absurdly long; `truncated` when the file ends within its header
 */
export function readDirectories(file: OpenFile): TiffDirectory[] {
  const head = readView(file, 0, 8);
  const layout = layoutOf(new Uint8Array(head.buffer));
  if (layout === null) throw contradiction(file, 'the file does not begin as a TIFF file does');
  const reading: Reading = { file, layout, seen: new Set(), bytes: 0 };
  let first: number;
  if (layout.offsetBytes === 4) first = head.getUint32(4, layout.little);
  else {
    if (head.getUint16(4, layout.little) !== 8 || head.getUint16(6, layout.little) !== 0) {
      throw contradiction(
        file,
        'the header of the BigTIFF file announces offsets that are not of 8 bytes',
      );
    }
    first = readOffset(readView(file, 8, 8), 0, layout);
  }
  if (first === 0) throw contradiction(file, 'the TIFF file holds no page');
  return readChain(reading, first);
}

function readChain(reading: Reading, first: number): TiffDirectory[] {
  const found: TiffDirectory[] = [];
  for (let at = first; at !== 0; ) {
    const { directory, next } = readDirectory(reading, at);
    found.push(directory);
    at = next;
  }
  return found;
}

function readDirectory(reading: Reading, at: number): { directory: TiffDirectory; next: number } {
  const { file, layout, seen } = reading;
  const { countBytes, entryBytes, offsetBytes, little } = layout;
  if (seen.has(at)) {
    throw contradiction(file, `its directories form a loop: the one at byte ${at} follows twice`);
  }
  if (seen.size >= MOST_DIRECTORIES) {
    throw contradiction(file, `it holds more than ${MOST_DIRECTORIES} directories`);
  }
  seen.add(at);
  if (at + countBytes > file.size) throw outside(file, `the directory at byte ${at}`);
  const start = readView(file, at, countBytes);
  const count = countBytes === 2 ? start.getUint16(0, little) : readOffset(start, 0, layout);
  if (count === 0 || count > MOST_ENTRIES) {
    throw contradiction(file, `the directory at byte ${at} announces ${count} entries`);
  }
  const length = count * entryBytes;
  reading.bytes += length;
  if (reading.bytes > MOST_DIRECTORY_BYTES) {
    throw contradiction(file, `its directories hold more than ${MOST_DIRECTORY_BYTES} bytes`);
  }
  const bodyAt = at + countBytes;
  if (bodyAt + length > file.size) throw outside(file, `the directory at byte ${at}`);
  const body = readView(file, bodyAt, length);
  // Some writers end the file right behind the last entry: no further page then.
  const linkAt = bodyAt + length;
  const next =
    linkAt + offsetBytes <= file.size
      ? readOffset(readView(file, linkAt, offsetBytes), 0, layout)
      : 0;
  return { directory: asDirectory(reading, body, bodyAt), next };
}

/** Where the values of a tag stand. */
interface Entry {
  type: number;
  count: number;
  at: number;
}

function asDirectory(reading: Reading, body: DataView, bodyAt: number): TiffDirectory {
  const { file, layout } = reading;
  const { little, entryBytes, offsetBytes } = layout;

  /** The first entry of the tag, or null. */
  const find = (tag: number): Entry | null => {
    for (let from = 0; from < body.byteLength; from += entryBytes) {
      if (body.getUint16(from, little) !== tag) continue;
      const type = body.getUint16(from + 2, little);
      const count = readOffset(body, from + 4, layout);
      const valueAt = from + 4 + offsetBytes;
      const bytes = count * (TYPES[type]?.bytes ?? 1);
      const at = bytes <= offsetBytes ? bodyAt + valueAt : readOffset(body, valueAt, layout);
      return { type, count, at };
    }
    return null;
  };
  const values = (tag: number, most: number): number[] | null => {
    const entry = find(tag);
    const kind = entry === null ? undefined : TYPES[entry.type];
    if (entry === null || kind === undefined || entry.type === ASCII || entry.count === 0) {
      return null;
    }
    if (most > 1 && entry.count > MOST_VALUES) {
      throw contradiction(file, `tag ${tag} announces ${entry.count} values`);
    }
    const count = Math.min(entry.count, most);
    if (entry.at + count * kind.bytes > file.size) throw outside(file, `the value of tag ${tag}`);
    const view = readView(file, entry.at, count * kind.bytes);
    const found = new Array<number>(count);
    for (let i = 0; i < count; i++) found[i] = kind.read(view, i * kind.bytes, little);
    return found;
  };

  return {
    littleEndian: little,
    has: (tag) => find(tag) !== null,
    number: (tag) => values(tag, 1)?.[0] ?? null,
    numbers: (tag) => values(tag, Number.POSITIVE_INFINITY),
    text(tag) {
      const entry = find(tag);
      if (entry === null || TYPES[entry.type]?.bytes !== 1) return null;
      const length = Math.min(entry.count, MOST_TEXT_BYTES);
      if (entry.at + length > file.size) throw outside(file, `the text of tag ${tag}`);
      const bytes = Buffer.from(readView(file, entry.at, length).buffer);
      const end = bytes.indexOf(0);
      return decodeText(end < 0 ? bytes : bytes.subarray(0, end));
    },
    subDirectories() {
      const starts = values(SUB_DIRECTORIES, MOST_DIRECTORIES) ?? [];
      return starts.filter((at) => at !== 0).flatMap((at) => readChain(forget(reading), at));
    },
    exif() {
      const [at] = values(EXIF_DIRECTORY, 1) ?? [];
      return at === undefined || at === 0 ? null : readDirectory(forget(reading), at).directory;
    },
  };
}

/** A reading that has seen nothing yet: sub-directories may be asked for more than once. Nothing recurses by itself. */
function forget(reading: Reading): Reading {
  return { ...reading, seen: new Set(), bytes: 0 };
}

function readOffset(view: DataView, at: number, { offsetBytes, little }: Layout): number {
  return offsetBytes === 4 ? view.getUint32(at, little) : Number(view.getBigUint64(at, little));
}

function readView(file: OpenFile, at: number, length: number): DataView {
  const bytes = new Uint8Array(length);
  readFully(file, bytes, 0, length, at);
  return new DataView(bytes.buffer);
}

function decodeText(bytes: Uint8Array): string {
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes);
  } catch {
    return Buffer.from(bytes).toString('latin1');
  }
}

/** The error for a directory that cannot be true. */
export function contradiction(file: OpenFile, what: string): FrameReadError {
  return new FrameReadError(
    'damaged',
    file.path,
    `the directories of this TIFF file make no sense: ${what}`,
    'copy or save it again; the file is damaged or not complete',
  );
}

function outside(file: OpenFile, what: string): FrameReadError {
  return new FrameReadError(
    'truncated',
    file.path,
    `${what} lies beyond the end of the file (byte ${file.size})`,
    'copy or save it again; the transfer was probably cut off',
  );
}
