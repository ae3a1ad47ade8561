/** Directories of a TIFF-like file (TIFF 6.0, section 2) as camera raw needs them: the chain, sub-directories, the Exif directory.
 * Nothing in the file is believed: every read lies within it, every list has a limit, and a directory is read once.
 */
import { type OpenFile, readFully } from '../file.js';
import type { TagSource } from './raw-tags.js';

/** One directory. */
export interface Directory extends TagSource {
  isExif: boolean;
}

const SUB_DIRECTORIES = 330;
const EXIF_DIRECTORY = 34665;
const MAGIC = 42;
const HEADER_BYTES = 8;
const ENTRY_BYTES = 12;
/** Camera raw files have up to about ten. */
const MOST_DIRECTORIES = 64;
/** Longest list of values that is read: the tiles of the largest sensors; previews and maker notes may be longer, and are left out. */
const MOST_VALUES = 100_000;

type Read = (view: DataView, at: number, little: boolean) => number;
const quotient =
  (part: 'getUint32' | 'getInt32'): Read =>
  (view, at, little) =>
    view[part](at, little) / view[part](at + 4, little);
const TEXT = 2;
/** Size and meaning of the types 1 … 12. */
const TYPES: Readonly<Record<number, { bytes: number; read: Read }>> = {
  1: { bytes: 1, read: (view, at) => view.getUint8(at) },
  2: { bytes: 1, read: (view, at) => view.getUint8(at) },
  3: { bytes: 2, read: (view, at, little) => view.getUint16(at, little) },
  4: { bytes: 4, read: (view, at, little) => view.getUint32(at, little) },
  5: { bytes: 8, read: quotient('getUint32') },
  6: { bytes: 1, read: (view, at) => view.getInt8(at) },
  7: { bytes: 1, read: (view, at) => view.getUint8(at) },
  8: { bytes: 2, read: (view, at, little) => view.getInt16(at, little) },
  9: { bytes: 4, read: (view, at, little) => view.getInt32(at, little) },
  10: { bytes: 8, read: quotient('getInt32') },
  11: { bytes: 4, read: (view, at, little) => view.getFloat32(at, little) },
  12: { bytes: 8, read: (view, at, little) => view.getFloat64(at, little) },
};

/**
 * Reads the directories in the order of the chain, each followed in time by those it refers to. Entries of unknown types, too long, or
 * outside the file are left out; a file that is no TIFF has none.
 * @throws FrameReadError when the file cannot be read
 */
export function readDirectories(file: OpenFile): Directory[] {
  if (file.size < HEADER_BYTES) return [];
  const head = readView(file, 0, HEADER_BYTES);
  const order = head.getUint16(0, false);
  const little = order === 0x4949;
  if ((!little && order !== 0x4d4d) || head.getUint16(2, little) !== MAGIC) return [];

  const found: Directory[] = [];
  const seen = new Set<number>();
  const waiting = [{ at: head.getUint32(4, little), isExif: false }];
  for (let next = waiting.shift(); next !== undefined; next = waiting.shift()) {
    const { at, isExif } = next;
    const outside = at < HEADER_BYTES || at + 2 > file.size;
    if (outside || seen.has(at) || found.length === MOST_DIRECTORIES) continue;
    seen.add(at);
    const { directory, following } = readDirectory(file, at, isExif, little);
    found.push(directory);
    for (const sub of (directory.numbers(SUB_DIRECTORIES) ?? []).slice(0, MOST_DIRECTORIES)) {
      waiting.push({ at: sub, isExif: false });
    }
    const [exif] = directory.numbers(EXIF_DIRECTORY) ?? [];
    if (exif !== undefined) waiting.push({ at: exif, isExif: true });
    // The Exif directory ends the chain it stands in.
    if (!isExif) waiting.push({ at: following, isExif: false });
  }
  return found;
}

function readView(file: OpenFile, at: number, length: number): DataView {
  const bytes = new Uint8Array(length);
  readFully(file, bytes, 0, length, at);
  return new DataView(bytes.buffer);
}

/** Where the values of a tag stand. They are read when asked for: a damaged directory may claim gigabytes. */
interface Entry {
  type: number;
  count: number;
  at: number;
}

function readDirectory(
  file: OpenFile,
  at: number,
  isExif: boolean,
  little: boolean,
): { directory: Directory; following: number } {
  const claimed = readView(file, at, 2).getUint16(0, little);
  const count = Math.min(claimed, Math.floor((file.size - at - 2) / ENTRY_BYTES));
  const body = readView(file, at + 2, count * ENTRY_BYTES);
  const entries = new Map<number, Entry>();
  for (let from = 0; from < body.byteLength; from += ENTRY_BYTES) {
    const entry = readEntry(file, body, from, at + 2, little);
    if (entry !== null) entries.set(body.getUint16(from, little), entry);
  }
  const link = at + 2 + claimed * ENTRY_BYTES;
  const following = link + 4 <= file.size ? readView(file, link, 4).getUint32(0, little) : 0;
  return { directory: asDirectory(file, entries, isExif, little), following };
}

function readEntry(
  file: OpenFile,
  body: DataView,
  from: number,
  bodyAt: number,
  little: boolean,
): Entry | null {
  const type = body.getUint16(from + 2, little);
  const count = body.getUint32(from + 4, little);
  const size = TYPES[type]?.bytes;
  if (size === undefined || count === 0 || count > MOST_VALUES) return null;
  const bytes = count * size;
  const at = bytes <= 4 ? bodyAt + from + 8 : body.getUint32(from + 8, little);
  return at + bytes > file.size ? null : { type, count, at };
}

function asDirectory(
  file: OpenFile,
  entries: ReadonlyMap<number, Entry>,
  isExif: boolean,
  little: boolean,
): Directory {
  return {
    isExif,
    numbers(tag) {
      const entry = entries.get(tag);
      if (entry === undefined || entry.type === TEXT) return null;
      const { bytes, read } = TYPES[entry.type] as (typeof TYPES)[number];
      const view = readView(file, entry.at, entry.count * bytes);
      return Array.from({ length: entry.count }, (_, i) => read(view, i * bytes, little));
    },
    text(tag) {
      const entry = entries.get(tag);
      if (entry?.type !== TEXT) return null;
      const view = readView(file, entry.at, entry.count);
      return Buffer.from(view.buffer).toString('latin1').split('\0')[0] as string;
    },
  };
}
