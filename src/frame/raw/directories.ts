/** Directories of a TIFF-like file (TIFF 6.0 §2) as camera raw needs them: the chain, sub-directories and the Exif directory. */
import { type OpenFile, readFully } from '../file.js';
import type { TagSource } from './raw-tags.js';

export interface Directory extends TagSource {
  isExif: boolean;
}

const MOST_DIRECTORIES = 64;
const MOST_VALUES = 100_000;
const SUB_DIRECTORIES = 330;
const EXIF = 34665;
const SIZES = [0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4];

export function readDirectories(file: OpenFile): Directory[] {
  const head = Buffer.alloc(8);
  if (file.size < 8) return [];
  readFully(file, head, 0, 8, 0);
  const little = head[0] === 0x49;
  const u16 = (b: Buffer, at: number) => (little ? b.readUInt16LE(at) : b.readUInt16BE(at));
  const u32 = (b: Buffer, at: number) => (little ? b.readUInt32LE(at) : b.readUInt32BE(at));
  if (!['II', 'MM'].includes(head.toString('latin1', 0, 2)) || u16(head, 2) !== 42) return [];
  const found: Directory[] = [];
  const seen = new Set<number>();
  const queue: { at: number; isExif: boolean }[] = [{ at: u32(head, 4), isExif: false }];
  while (queue.length > 0 && found.length < MOST_DIRECTORIES) {
    const { at, isExif } = queue.shift() as { at: number; isExif: boolean };
    if (at === 0 || seen.has(at) || at + 2 > file.size) continue;
    seen.add(at);
    const countBytes = Buffer.alloc(2);
    readFully(file, countBytes, 0, 2, at);
    const count = u16(countBytes, 0);
    const length = Math.min(count * 12 + 4, file.size - at - 2);
    const body = Buffer.alloc(length);
    readFully(file, body, 0, length, at + 2);
    const entries = new Map<number, { type: number; data: Buffer }>();
    for (let i = 0; i + 12 <= length && i < count * 12; i += 12) {
      const type = u16(body, i + 2);
      const values = u32(body, i + 4);
      const size = SIZES[type] ?? 0;
      if (size === 0 || values === 0 || values > MOST_VALUES) continue;
      const bytes = values * size;
      let data = body.subarray(i + 8, i + 12);
      if (bytes > 4) {
        const from = u32(body, i + 8);
        if (from + bytes > file.size) continue;
        data = Buffer.alloc(bytes);
        readFully(file, data, 0, bytes, from);
      } else data = data.subarray(0, bytes);
      entries.set(u16(body, i), { type, data });
    }
    const numbers = (tag: number): number[] | null => {
      const entry = entries.get(tag);
      if (entry === undefined || entry.type === 2) return null;
      const { type, data } = entry;
      const out: number[] = [];
      const size = SIZES[type] as number;
      for (let j = 0; j + size <= data.length; j += size) {
        if (type === 5) out.push(u32(data, j) / u32(data, j + 4));
        else if (type === 10) out.push((u32(data, j) | 0) / (u32(data, j + 4) | 0));
        else if (size === 1) out.push(data[j] as number);
        else if (size === 2) out.push(u16(data, j));
        else if (size === 4) out.push(u32(data, j));
      }
      return out;
    };
    const text = (tag: number) => {
      const entry = entries.get(tag);
      return entry?.type === 2 ? entry.data.toString('latin1').replace(/\0.*$/s, '') : null;
    };
    found.push({ isExif, numbers, text });
    for (const sub of numbers(SUB_DIRECTORIES) ?? []) queue.push({ at: sub, isExif: false });
    for (const exif of numbers(EXIF) ?? []) queue.push({ at: exif, isExif: true });
    if (count * 12 + 4 <= length) queue.push({ at: u32(body, count * 12), isExif: false });
  }
  return found;
}
