/** Tags of a directory that describe a raw image (TIFF 6.0, TIFF/EP, DNG 1.7) or its exposure (Exif 2.32). */
import type { Area, BlackTags } from './levels.js';
import { type Mosaic, mosaicOfTags } from './mosaic.js';

/** A directory of a TIFF file, as far as it is needed here. */
export interface TagSource {
  /** The values of a numeric tag; null when it is missing or not numeric. */
  numbers(tag: number): readonly number[] | null;
  text(tag: number): string | null;
}

const TAG = {
  width: 256,
  height: 257,
  compression: 259,
  photometric: 262,
  stripOffsets: 273,
  stripBytes: 279,
  tileOffsets: 324,
  tileBytes: 325,
  samplesPerPixel: 277,
  sampleFormat: 339,
  cfaRepeat: 33421,
  cfaPattern: 33422,
  exposureTime: 33434,
  fNumber: 33437,
  isoSpeed: 34855,
  dateTimeOriginal: 36867,
  focalLength: 37386,
  subSecondOriginal: 37521,
  cfaLayout: 50711,
  blackRepeat: 50713,
  black: 50714,
  blackDeltaH: 50715,
  blackDeltaV: 50716,
  white: 50717,
  activeArea: 50829,
  maskedAreas: 50830,
  opcodes1: 51008,
  opcodes2: 51009,
} as const;

/** Photometric interpretations of raw images. */
const COLOUR_FILTER_ARRAY = 32803;
const LINEAR_RAW = 34892;
const FLOATING_POINT = 3;
/** Compressions of DNG that are lossy, or may be and that the decoder does not know. */
const LOSSY_JPEG = 34892;
const JPEG_XL = 52546;
const RECTANGULAR = 1;

/** A raw image as its directory describes it. */
export interface RawTags {
  width: number;
  height: number;
  /** Why its samples are not read, or null. */
  refusal: { found: string; remedy: string } | null;
  /** Counted from the active area's first pixel; null when the tags are silent. */
  mosaic: Mosaic | null;
  activeArea: Area | null;
  maskedAreas: Area[];
  black: BlackTags | null;
  white: number | null;
  /** True when the file holds instructions to correct the samples. */
  hasOpcodes: boolean;
}

/** True for a directory that holds a raw image. */
export function isRawImage(tags: TagSource): boolean {
  const photometric = first(tags, TAG.photometric);
  return photometric === COLOUR_FILTER_ARRAY || photometric === LINEAR_RAW;
}

/** End of the image's last strip or tile as its directory tells it, bytes from the start of the file; 0 when it does not. */
export function lastByte(tags: TagSource): number {
  let end = 0;
  for (const [offsetTag, lengthTag] of [
    [TAG.stripOffsets, TAG.stripBytes],
    [TAG.tileOffsets, TAG.tileBytes],
  ] as const) {
    const offsets = tags.numbers(offsetTag) ?? [];
    const lengths = tags.numbers(lengthTag) ?? [];
    for (const [i, offset] of offsets.entries()) end = Math.max(end, offset + (lengths[i] ?? 0));
  }
  return end;
}

/** Reads the description; impossible areas count as missing. */
export function readRawTags(tags: TagSource): RawTags {
  const width = first(tags, TAG.width) ?? 0;
  const height = first(tags, TAG.height) ?? 0;
  const isMosaic = first(tags, TAG.photometric) === COLOUR_FILTER_ARRAY;
  const black = tags.numbers(TAG.black);
  const blackRepeat = tags.numbers(TAG.blackRepeat);
  return {
    width,
    height,
    refusal: refusalOf(tags, isMosaic),
    mosaic: isMosaic ? mosaicTag(tags) : { kind: 'none' },
    activeArea: areas(tags, TAG.activeArea, width, height)[0] ?? null,
    maskedAreas: areas(tags, TAG.maskedAreas, width, height),
    black:
      black === null
        ? null
        : {
            rows: blackRepeat?.[0] ?? 1,
            columns: blackRepeat?.[1] ?? 1,
            levels: black,
            deltaColumns: tags.numbers(TAG.blackDeltaH) ?? [],
            deltaRows: tags.numbers(TAG.blackDeltaV) ?? [],
          },
    white: first(tags, TAG.white),
    hasOpcodes: tags.numbers(TAG.opcodes1) !== null || tags.numbers(TAG.opcodes2) !== null,
  };
}

function mosaicTag(tags: TagSource): Mosaic | null {
  const colours = tags.numbers(TAG.cfaPattern);
  const repeat = tags.numbers(TAG.cfaRepeat);
  if (colours === null || repeat === null) return null;
  return mosaicOfTags(repeat[0] as number, repeat[1] ?? 0, colours);
}

function refusalOf(tags: TagSource, isMosaic: boolean): RawTags['refusal'] {
  const compression = first(tags, TAG.compression);
  if (compression === LOSSY_JPEG) {
    return {
      found: 'a DNG with lossy compression, which changes star images,',
      remedy: 'convert the original file of the camera again, without lossy compression',
    };
  }
  if (compression === JPEG_XL) {
    return {
      found: 'a DNG with JPEG XL compression',
      remedy: 'convert the original file of the camera to a DNG of version 1.4 to 1.6',
    };
  }
  if ((tags.numbers(TAG.sampleFormat) ?? []).includes(FLOATING_POINT)) {
    return {
      found: 'a DNG of floating-point samples',
      remedy:
        'give the original file of the camera, or save the frame as FITS or TIFF of 32-bit floats',
    };
  }
  if ((first(tags, TAG.samplesPerPixel) ?? 1) !== 1) {
    return {
      found: 'a linear DNG, whose colours were interpolated from a mosaic (demosaiced),',
      remedy: 'give the original file of the camera, or a DNG that keeps its mosaic',
    };
  }
  if (isMosaic && (first(tags, TAG.cfaLayout) ?? RECTANGULAR) !== RECTANGULAR) {
    return {
      found: 'a camera raw file whose mosaic is staggered (CFALayout)',
      remedy: 'give a frame of a camera with a square 2 x 2 mosaic',
    };
  }
  return null;
}

/** Rectangles of the tag, those that lie within the raw area. */
function areas(tags: TagSource, tag: number, width: number, height: number): Area[] {
  const numbers = tags.numbers(tag) ?? [];
  const found: Area[] = [];
  for (let i = 0; i + 4 <= numbers.length; i += 4) {
    const [top, left, bottom, right] = numbers.slice(i, i + 4) as [number, number, number, number];
    const ordered = top >= 0 && left >= 0 && top < bottom && left < right;
    if (ordered && bottom <= height && right <= width) found.push({ top, left, bottom, right });
  }
  return found;
}

/** The exposure as an Exif directory tells it; null where it is silent. */
export interface ExposureTags {
  exposureSeconds: number | null;
  focalLengthMm: number | null;
  fNumber: number | null;
  /** The setting as its number. */
  isoSpeed?: number | null;
  /** ISO 8601 by the camera's clock, without a zone. */
  date: string | null;
}

/** Reads the exposure. Zeros and quotients by zero count as silence. */
export function readExposure(tags: TagSource): ExposureTags {
  const date = isoDate(tags.text(TAG.dateTimeOriginal) ?? '');
  const fraction = /^\d{1,6}/.exec(tags.text(TAG.subSecondOriginal)?.trim() ?? '')?.[0];
  return {
    exposureSeconds: positive(first(tags, TAG.exposureTime)),
    focalLengthMm: positive(first(tags, TAG.focalLength)),
    fNumber: positive(first(tags, TAG.fNumber)),
    isoSpeed: positive(first(tags, TAG.isoSpeed)),
    date: date !== null && fraction !== undefined ? `${date}.${fraction}` : date,
  };
}

/** 'YYYY:MM:DD hh:mm:ss' as ISO 8601, or null: cameras without a set clock write zeros or blanks. */
export function isoDate(text: string): string | null {
  const match = /^(\d{4}):(\d{2}):(\d{2}) (\d{2}:\d{2}:\d{2})/.exec(text.trim());
  if (match === null || match[1] === '0000') return null;
  return `${match[1]}-${match[2]}-${match[3]}T${match[4]}`;
}

/** The camera's wall clock, ISO 8601, from the seconds that the decoder made of it as if it were local time of this machine; null for 0. */
export function wallClock(timestamp: number): string | null {
  if (!(timestamp > 0)) return null;
  const local = new Intl.DateTimeFormat('sv-SE', { dateStyle: 'short', timeStyle: 'medium' });
  return local.format(1000 * timestamp).replace(' ', 'T');
}

/** The value when it is finite and above zero, else null. */
export function positive(value: number | null): number | null {
  return value !== null && Number.isFinite(value) && value > 0 ? value : null;
}

function first(tags: TagSource, tag: number): number | null {
  return tags.numbers(tag)?.[0] ?? null;
}
