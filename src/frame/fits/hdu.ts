/** The units (HDUs) of a FITS file: what each is, where its data lie, and which one is measured.
 *
 * Sizes in headers are claims of an untrusted file: products are checked against 2^53 and against the file before use.
 */
import { FrameReadError } from '../../errors.js';
import type { OpenFile } from '../file.js';
import { BLOCK_LENGTH, type FitsHeader, readHeader } from './header.js';
import { imageHeader } from './tiles/image-header.js';

/** What a unit holds. `map` is an image whose name says weight, mask, variance …; `line` has at most one axis longer than 1.
 * `damaged` is a tile-compressed image whose header makes no sense.
 */
type UnitKind = 'image' | 'map' | 'damaged' | 'line' | 'empty' | 'table' | 'groups' | 'unknown';

/** One header-data unit. */
export interface Unit {
  index: number;
  kind: UnitKind;
  /** EXTNAME, or ''. */
  name: string;
  /** Header of the image; for a tile-compressed one as it was before. */
  header: FitsHeader;
  bitpix: number;
  axes: number[];
  /** Header of the table that holds a tile-compressed image; null for anything else. */
  tableHeader: FitsHeader | null;
  /** Why a unit is `damaged`. */
  fault: FrameReadError | null;
  dataOffset: number;
  /** Bytes of the data as the header claims them, without padding. */
  dataBytes: number;
}

/** More units than this are not looked at. */
const MAX_UNITS = 1000;
/** Longest side of a frame, in pixels: far above any sensor, low enough that one row always fits into memory. */
const MAX_SIDE = 1 << 20;
const BITPIX_VALUES = new Set([8, 16, 32, 64, -32, -64]);

/** Words in EXTNAME (or PRODTYPE) that mark an image of something else than light. */
const MAP_NAME =
  /(?:^|[^A-Z])(?:WEIGHT|WEIGHTS|WGT|WHT|WT|WTMAP|IVAR|INVVAR|VAR|VARIANCE|MASK|DQ|DQM|DQMASK|BPM|BADPIX|BADPIXELS|FLAG|FLAGS|ERR|ERROR|ERRORS|SIGMA|RMS|UNCERT|STDDEV|EXPMAP|CONFIDENCE|QUALITY)(?:[^A-Z]|$)/;

/**
 * Reads the headers of all units. Damage in the first unit is an error; after the last readable unit the rest of the file
 * (padding, "special records", junk) is ignored, as §3.5 and §3.6 allow.
 * @throws FrameReadError when the first header is unusable.
 */
export function readUnits(file: OpenFile): Unit[] {
  const units: Unit[] = [readUnit(file, 0, 0)];
  for (let index = 1; index < MAX_UNITS; index++) {
    const last = units[index - 1] as Unit;
    const end = last.dataOffset + Math.ceil(last.dataBytes / BLOCK_LENGTH) * BLOCK_LENGTH;
    if (end + BLOCK_LENGTH > file.size) break;
    try {
      const unit = readUnit(file, end, index);
      if (!(unit.tableHeader ?? unit.header).has('XTENSION')) break;
      units.push(unit);
    } catch (error) {
      if (error instanceof FrameReadError && error.code !== 'unreadable') break;
      throw error;
    }
  }
  return units;
}

function readUnit(file: OpenFile, offset: number, index: number): Unit {
  const { header, dataOffset } = readHeader(file, offset);
  const { bitpix, axes } = readSizes(file, header, index, '');
  const dataBytes = claimedBytes(header, bitpix, axes, index);
  if (!Number.isSafeInteger(dataBytes)) {
    throw new FrameReadError(
      'bad-size',
      file.path,
      `unit ${index} claims ${axes.join(' × ')} samples, more than any file can hold`,
      'the header is damaged: copy or save the file again',
    );
  }
  const place = { index, dataOffset, dataBytes };
  if (isCompressed(header, index)) return compressedUnit(file, header, place);
  const kind = kindOf(header, axes, index);
  const name = header.string('EXTNAME')?.trim() ?? '';
  return { ...place, kind, name, header, bitpix, axes, tableHeader: null, fault: null };
}

/** BITPIX and the lengths of the axes, or those of the image in a table, whose keywords begin with Z. */
function readSizes(
  file: OpenFile,
  header: FitsHeader,
  index: number,
  prefix: '' | 'Z',
): { bitpix: number; axes: number[] } {
  const numberOf = (name: string) => header.number(name) ?? Number.NaN;
  const bitpix = numberOf(`${prefix}BITPIX`);
  const axisCount = numberOf(`${prefix}NAXIS`);
  if (!BITPIX_VALUES.has(bitpix)) throw badHeader(file, header, index, `${prefix}BITPIX`);
  if (!Number.isInteger(axisCount) || axisCount < 0 || axisCount > 999) {
    throw badHeader(file, header, index, `${prefix}NAXIS`);
  }
  const axes: number[] = [];
  for (let i = 1; i <= axisCount; i++) {
    const length = numberOf(`${prefix}NAXIS${i}`);
    if (!Number.isSafeInteger(length) || length < 0) {
      throw badHeader(file, header, index, `${prefix}NAXIS${i}`);
    }
    axes.push(length);
  }
  return { bitpix, axes };
}

function isCompressed(header: FitsHeader, index: number): boolean {
  const extension = header.string('XTENSION')?.trim().toUpperCase();
  return index > 0 && extension === 'BINTABLE' && header.isTrue('ZIMAGE');
}

function compressedUnit(
  file: OpenFile,
  tableHeader: FitsHeader,
  place: { index: number; dataOffset: number; dataBytes: number },
): Unit {
  const header = imageHeader(tableHeader);
  const name = header.string('EXTNAME')?.trim() ?? '';
  const unit = { ...place, name, header, tableHeader };
  try {
    const { bitpix, axes } = readSizes(file, tableHeader, place.index, 'Z');
    const samples = axes.reduce((product, length) => product * length, 1);
    if (!Number.isSafeInteger(samples * 8)) {
      throw badHeader(file, tableHeader, place.index, 'ZNAXIS1');
    }
    return { ...unit, kind: imageKind(header, axes), bitpix, axes, fault: null };
  } catch (error) {
    if (!(error instanceof FrameReadError)) throw error;
    return { ...unit, kind: 'damaged', bitpix: 8, axes: [], fault: error };
  }
}

function describe(header: FitsHeader, keyword: string): string {
  const found = header.find(keyword);
  return found === undefined ? 'missing' : `'${found.text.slice(0, 40)}'`;
}

function badHeader(
  file: OpenFile,
  header: FitsHeader,
  index: number,
  keyword: string,
): FrameReadError {
  return new FrameReadError(
    'bad-header',
    file.path,
    `${keyword} is ${describe(header, keyword)} in the header of unit ${index}`,
    `the header is damaged: copy or save the file again, or correct ${keyword}`,
  );
}

/** §4.4.1.1, eq. 1 and §7.1.1, eq. 2; random groups §6.1.1, eq. 4. NaN or unsafe when the claim makes no sense. */
function claimedBytes(header: FitsHeader, bitpix: number, axes: number[], index: number): number {
  if (axes.length === 0) return 0;
  const groups = isGroups(header, axes, index);
  let samples = 1;
  for (let i = groups ? 1 : 0; i < axes.length; i++) samples *= axes[i] as number;
  if (groups || index > 0) {
    samples = (header.number('GCOUNT') ?? 1) * ((header.number('PCOUNT') ?? 0) + samples);
  }
  return samples < 0 ? Number.NaN : (samples * Math.abs(bitpix)) / 8;
}

function isGroups(header: FitsHeader, axes: number[], index: number): boolean {
  return index === 0 && axes.length > 1 && axes[0] === 0 && header.isTrue('GROUPS');
}

function kindOf(header: FitsHeader, axes: number[], index: number): UnitKind {
  const extension = header.string('XTENSION')?.trim().toUpperCase();
  if (index > 0 && extension !== 'IMAGE' && extension !== 'IUEIMAGE') {
    return extension === 'BINTABLE' || extension === 'TABLE' || extension === 'A3DTABLE'
      ? 'table'
      : 'unknown';
  }
  if (isGroups(header, axes, index)) return 'groups';
  return imageKind(header, axes);
}

function imageKind(header: FitsHeader, axes: number[]): UnitKind {
  if (axes.length === 0 || axes.includes(0)) return 'empty';
  if (axes.length < 2 || axes[0] === 1 || axes[1] === 1) return 'line';
  const label = `${header.string('EXTNAME') ?? ''} ${header.string('PRODTYPE') ?? ''}`;
  return MAP_NAME.test(label.toUpperCase()) ? 'map' : 'image';
}

/** 'unit 2 (WEIGHT): image of 100 × 100' for messages. */
export function describeUnit(unit: Unit): string {
  const name = unit.name === '' ? '' : ` (${unit.name.slice(0, 40)})`;
  const size = unit.axes.join(' × ');
  const what = {
    image: `image of ${size}`,
    map: `weight, mask or error map of ${size}`,
    damaged: 'tile-compressed image with a damaged header',
    line: `one-dimensional data of ${size}`,
    empty: 'no data',
    table: 'table',
    groups: 'random groups',
    unknown: 'unknown extension',
  }[unit.kind];
  return `unit ${unit.index}${name}: ${what}`;
}

/** Width, height and planes of an image unit. */
export interface ImageShape {
  width: number;
  height: number;
  planes: number;
  /** Planes in the file that are not used (a cube that is neither mono nor R, G, B). */
  ignoredPlanes: number;
}

/**
 * Axes beyond the second: length 1 is ignored, one axis of 3 means R, G, B planes, and of any other cube only the first plane is
 * used.
 * @throws FrameReadError `bad-size` for absurd sides or claims beyond the file (`truncated`), `interleaved` for NAXIS1 = 3.
 */
export function imageShape(file: OpenFile, unit: Unit): ImageShape {
  const [width, height = 1, ...others] = unit.axes as [number, number?, ...number[]];
  let planes = 1;
  for (const length of others) planes *= length;
  if (width > MAX_SIDE || height > MAX_SIDE) {
    throw new FrameReadError(
      'bad-size',
      file.path,
      `unit ${unit.index} claims ${unit.axes.join(' × ')} pixels; a side may have up to ${MAX_SIDE}`,
      'the header is damaged: copy or save the file again',
    );
  }
  const present = file.size - unit.dataOffset;
  if (unit.dataBytes > present) {
    const samples = `${unit.axes.join(' × ')} samples of ${Math.abs(unit.bitpix)} bits =`;
    const claim = unit.tableHeader === null ? samples : 'compressed samples of';
    throw new FrameReadError(
      'truncated',
      file.path,
      `unit ${unit.index} claims ${claim} ${unit.dataBytes} bytes, the file holds ${Math.max(0, present)}`,
      'the file is cut off or its header damaged: copy or save it again',
    );
  }
  if (width === 3 && others[0] !== undefined && others[0] > 3) {
    throw new FrameReadError(
      'interleaved',
      file.path,
      `unit ${unit.index} has NAXIS1 = 3: colours stored pixel by pixel`,
      'save it with the colours as planes (NAXIS3 = 3)',
    );
  }
  const rgb = planes === 3 && others.includes(3);
  return { width, height, planes: rgb ? 3 : 1, ignoredPlanes: rgb ? 0 : planes - 1 };
}
