/** Synthetic DNG files for tests, written after the DNG 1.7 specification and TIFF 6.0, with invented camera names.
 * Uncompressed (8, 16 or packed bits), or lossless JPEG (ITU-T T.81 Annex H) in one strip or in tiles.
 */
import { encodeLosslessJpeg } from './lossless-jpeg.js';

/** What the file shall hold. `samples` are those of the whole raw area, margins included, `planes` per pixel. */
export interface DngContent {
  width: number;
  height: number;
  samples: Uint16Array;
  planes?: number;
  bigEndian?: boolean;
  /** Bits stored per sample when uncompressed; 16 by default. */
  bits?: number;
  compression?: 'none' | 'lossless-jpeg' | 'lossless-jpeg-tiles';
  /** 'cfa' by default; 'linear' is LinearRaw. */
  photometric?: 'cfa' | 'linear';
  /** Colours of the sites, row by row: 0 red, 1 green, 2 blue, …; of the active area's first pixel on. */
  pattern?: { rows: number; columns: number; colours: readonly number[] };
  /** CFAPlaneColor: which colours the numbers 0, 1, 2, … of the pattern are. */
  planeColours?: readonly number[];
  /** top, left, bottom, right */
  activeArea?: readonly [number, number, number, number];
  maskedAreas?: readonly number[];
  /** Level of no light, repeated over the active area. */
  black?: { rows: number; columns: number; levels: readonly number[] };
  blackDeltaColumns?: readonly number[];
  blackDeltaRows?: readonly number[];
  white?: number;
  linearisation?: readonly number[];
  orientation?: number;
  /** SampleFormat; 3 is floating point. */
  sampleFormat?: number;
  make?: string;
  model?: string;
  /** Where the raw image stands: in the first directory, or below it behind a preview. */
  place?: 'first' | 'sub';
  exif?: DngExif;
  /** Without it the file is a TIFF/EP of an unknown camera. */
  dngVersion?: boolean;
  /** Tags (undefined bytes) added to the raw directory, such as opcode lists. */
  extra?: readonly { tag: number; bytes: Uint8Array }[];
}

/** Settings of the exposure. */
export interface DngExif {
  exposure?: readonly [number, number];
  iso?: number;
  focalLength?: readonly [number, number];
  fNumber?: readonly [number, number];
  /** 'YYYY:MM:DD hh:mm:ss' */
  date?: string;
  subSecond?: string;
  offset?: string;
}

const BYTE = 1;
const ASCII = 2;
const SHORT = 3;
const LONG = 4;
const RATIONAL = 5;
const UNDEFINED = 7;
const SRATIONAL = 10;
const SIZES: Record<number, number> = { 1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 7: 1, 10: 8 };

/** One entry: `values` are numbers of the type; rationals are numerator and denominator in turn. */
type Entry = [tag: number, type: number, values: readonly number[] | Uint8Array];

class Writer {
  readonly bytes: number[] = [];
  readonly bigEndian: boolean;
  constructor(bigEndian: boolean) {
    this.bigEndian = bigEndian;
    this.u8(...(bigEndian ? [0x4d, 0x4d] : [0x49, 0x49]));
    this.u16(42);
    this.u32(0);
  }
  u8(...values: number[]): void {
    for (const value of values) this.bytes.push(value & 255);
  }
  u16(value: number): void {
    if (this.bigEndian) this.u8(value >> 8, value);
    else this.u8(value, value >> 8);
  }
  u32(value: number): void {
    if (this.bigEndian) this.u8(value >>> 24, value >>> 16, value >>> 8, value);
    else this.u8(value, value >>> 8, value >>> 16, value >>> 24);
  }
  number(type: number, value: number): void {
    if (SIZES[type] === 1) this.u8(value);
    else if (type === SHORT) this.u16(value);
    else this.u32(value);
  }
  align(): void {
    if (this.bytes.length % 2 === 1) this.u8(0);
  }
  patch32(at: number, value: number): void {
    const end = this.bytes.splice(at);
    this.u32(value);
    for (const byte of end.slice(4)) this.bytes.push(byte);
  }
  /** Writes the values of long entries, then the directory; returns the position of the directory. */
  directory(entries: Entry[]): number {
    const sorted = [...entries].sort((a, b) => a[0] - b[0]);
    const places = sorted.map(([, type, values]) => {
      if (byteLength(type, values) <= 4) return null;
      this.align();
      const at = this.bytes.length;
      for (const value of values) this.number(type, value);
      return at;
    });
    this.align();
    const position = this.bytes.length;
    this.u16(sorted.length);
    for (const [i, [tag, type, values]] of sorted.entries()) {
      this.u16(tag);
      this.u16(type);
      this.u32((values.length * elementSize(type)) / (SIZES[type] as number));
      const at = places[i];
      if (at !== null && at !== undefined) this.u32(at);
      else {
        const start = this.bytes.length;
        for (const value of values) this.number(type, value);
        while (this.bytes.length < start + 4) this.u8(0);
      }
    }
    this.u32(0);
    return position;
  }
}

/** Bytes per element of `values`: rationals come as two elements of four bytes. */
function elementSize(type: number): number {
  return type === RATIONAL || type === SRATIONAL ? 4 : (SIZES[type] as number);
}

function byteLength(type: number, values: ArrayLike<number>): number {
  return values.length * elementSize(type);
}

function text(value: string): number[] {
  return [...Buffer.from(`${value}\0`, 'latin1')];
}

/** The bytes of the file. */
export function dngBytes(content: DngContent): Uint8Array {
  const { width, height, samples, planes = 1 } = content;
  const bits = content.bits ?? 16;
  const compression = content.compression ?? 'none';
  const out = new Writer(content.bigEndian ?? false);
  const segments = encodeSegments(content, out.bigEndian);
  const offsets = segments.data.map((data) => {
    out.align();
    const at = out.bytes.length;
    for (const byte of data) out.bytes.push(byte);
    return at;
  });
  if (samples.length !== width * height * planes) throw new RangeError('wrong number of samples');
  const lengths = segments.data.map((data) => data.length);
  const raw: Entry[] = [
    [254, LONG, [0]],
    [256, LONG, [width]],
    [257, LONG, [height]],
    [258, SHORT, Array.from({ length: planes }, () => (compression === 'none' ? bits : 16))],
    [259, SHORT, [compression === 'none' ? 1 : 7]],
    [262, SHORT, [content.photometric === 'linear' ? 34892 : 32803]],
    [277, SHORT, [planes]],
    [284, SHORT, [1]],
  ];
  if (segments.tile === null) {
    raw.push([273, LONG, offsets], [278, LONG, [height]], [279, LONG, lengths]);
  } else {
    raw.push([322, LONG, [segments.tile]], [323, LONG, [segments.tile]]);
    raw.push([324, LONG, offsets], [325, LONG, lengths]);
  }
  if (content.sampleFormat !== undefined) raw.push([339, SHORT, [content.sampleFormat]]);
  addMosaic(raw, content);
  for (const { tag, bytes } of content.extra ?? []) raw.push([tag, UNDEFINED, bytes]);
  const first: Entry[] = [
    [271, ASCII, text(content.make ?? 'Invented Optics')],
    [272, ASCII, text(content.model ?? 'Star Box One')],
    [274, SHORT, [content.orientation ?? 1]],
  ];
  if (content.dngVersion !== false) {
    first.push([50706, BYTE, [1, 4, 0, 0]], [50707, BYTE, [1, 1, 0, 0]]);
    first.push([50708, ASCII, text(content.model ?? 'Star Box One')]);
    // ColorMatrix1 and its illuminant, AsShotNeutral: required by the specification, of no effect here.
    const identity = [1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1];
    first.push([50721, SRATIONAL, identity], [50778, SHORT, [21]]);
    first.push([50728, RATIONAL, [1, 1, 1, 1, 1, 1]]);
  }
  if (content.exif !== undefined) {
    const exif = exifEntries(content.exif);
    if (exif.length > 0) first.push([34665, LONG, [out.directory(exif)]]);
  }
  let root: number;
  if (content.place === 'sub') {
    const position = out.directory(raw);
    // A preview of one gray pixel stands in the first directory.
    out.align();
    const pixel = out.bytes.length;
    out.u8(128, 128, 128, 0);
    root = out.directory([
      ...first,
      [254, LONG, [1]],
      [256, LONG, [1]],
      [257, LONG, [1]],
      [258, SHORT, [8, 8, 8]],
      [259, SHORT, [1]],
      [262, SHORT, [2]],
      [273, LONG, [pixel]],
      [277, SHORT, [3]],
      [278, LONG, [1]],
      [279, LONG, [3]],
      [330, LONG, [position]],
    ]);
  } else root = out.directory([...first, ...raw]);
  out.patch32(4, root);
  return Uint8Array.from(out.bytes);
}

function addMosaic(raw: Entry[], content: DngContent): void {
  if (content.photometric !== 'linear') {
    const pattern = content.pattern ?? { rows: 2, columns: 2, colours: [0, 1, 1, 2] };
    raw.push([33421, SHORT, [pattern.rows, pattern.columns]], [33422, BYTE, pattern.colours]);
    raw.push([50710, BYTE, content.planeColours ?? [0, 1, 2]], [50711, SHORT, [1]]);
  }
  if (content.linearisation) raw.push([50712, SHORT, content.linearisation]);
  if (content.black) {
    const { rows, columns, levels } = content.black;
    raw.push([50713, SHORT, [rows, columns]]);
    raw.push([50714, RATIONAL, levels.flatMap((level) => [Math.round(level * 16), 16])]);
  }
  const deltas = (values: readonly number[]) => values.flatMap((v) => [Math.round(v * 16), 16]);
  if (content.blackDeltaColumns) raw.push([50715, SRATIONAL, deltas(content.blackDeltaColumns)]);
  if (content.blackDeltaRows) raw.push([50716, SRATIONAL, deltas(content.blackDeltaRows)]);
  if (content.white !== undefined) raw.push([50717, LONG, [content.white]]);
  if (content.activeArea) raw.push([50829, LONG, content.activeArea]);
  if (content.maskedAreas) raw.push([50830, LONG, content.maskedAreas]);
}

function exifEntries(exif: DngExif): Entry[] {
  const entries: Entry[] = [];
  if (exif.exposure) entries.push([33434, RATIONAL, exif.exposure]);
  if (exif.fNumber) entries.push([33437, RATIONAL, exif.fNumber]);
  if (exif.iso !== undefined) entries.push([34855, SHORT, [exif.iso]]);
  if (exif.date !== undefined) entries.push([36867, ASCII, text(exif.date)]);
  if (exif.offset !== undefined) entries.push([36881, ASCII, text(exif.offset)]);
  if (exif.focalLength) entries.push([37386, RATIONAL, exif.focalLength]);
  if (exif.subSecond !== undefined) entries.push([37521, ASCII, text(exif.subSecond)]);
  return entries;
}

const TILE = 64;

function encodeSegments(
  content: DngContent,
  bigEndian: boolean,
): { data: Uint8Array[]; tile: number | null } {
  const { width, height, samples, planes = 1 } = content;
  if (content.compression === 'lossless-jpeg') {
    return { data: [encodeLosslessJpeg(samples, width, height, planes)], tile: null };
  }
  if (content.compression === 'lossless-jpeg-tiles') {
    const data: Uint8Array[] = [];
    for (let y = 0; y < height; y += TILE) {
      for (let x = 0; x < width; x += TILE) {
        const tile = new Uint16Array(TILE * TILE * planes);
        for (let row = 0; row < TILE; row++) {
          for (let i = 0; i < TILE * planes; i++) {
            // Beyond the edge the last samples are repeated.
            const column = Math.min(width * planes - 1, x * planes + i);
            const line = Math.min(height - 1, y + row);
            tile[row * TILE * planes + i] = samples[line * width * planes + column] as number;
          }
        }
        // Two samples side by side as two components, as converters write mosaics.
        data.push(encodeLosslessJpeg(tile, (TILE * planes) / 2, TILE, 2));
      }
    }
    return { data, tile: TILE };
  }
  const bits = content.bits ?? 16;
  return { data: [packRows(samples, width * planes, height, bits, bigEndian)], tile: null };
}

/** Uncompressed rows; fewer than 16 bits are packed with the highest bit first, each row from a whole byte on. */
function packRows(
  samples: Uint16Array,
  perRow: number,
  height: number,
  bits: number,
  bigEndian: boolean,
): Uint8Array {
  const rowBytes = Math.ceil((perRow * bits) / 8);
  const out = new Uint8Array(rowBytes * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < perRow; x++) {
      const value = samples[y * perRow + x] as number;
      if (bits === 16) {
        const at = y * rowBytes + 2 * x;
        out[at + (bigEndian ? 0 : 1)] = value >> 8;
        out[at + (bigEndian ? 1 : 0)] = value & 255;
        continue;
      }
      for (let b = 0; b < bits; b++) {
        const bit = x * bits + b;
        if ((value >> (bits - 1 - b)) & 1) {
          const at = y * rowBytes + (bit >> 3);
          out[at] = (out[at] as number) | (128 >> (bit & 7));
        }
      }
    }
  }
  return out;
}
