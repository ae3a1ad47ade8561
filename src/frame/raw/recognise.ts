/** Recognises camera raw files by content, and reads what their TIFF directories say. */
import { FrameReadError } from '../../errors.js';
import type { OpenFile } from '../file.js';
import { readDirectories } from './directories.js';
import {
  type ExposureTags,
  isRawImage,
  lastByte,
  type RawTags,
  readExposure,
  readRawTags,
  type TagSource,
} from './raw-tags.js';

interface Signature {
  /** One byte per character. */
  text: string;
  at: number;
}

/** First bytes of camera raw files that are no TIFF files. */
const SIGNATURES: readonly Signature[] = [
  // Canon: CR3 (ISO base media file of the brand 'crx ') and the older CRW.
  { text: 'ftypcrx ', at: 4 },
  { text: 'HEAPCCDR', at: 6 },
  // Fujifilm RAF.
  { text: 'FUJIFILMCCD-RAW ', at: 0 },
  // Olympus and Panasonic: TIFF directories behind a magic number of their own.
  { text: 'IIRO', at: 0 },
  { text: 'IIRS', at: 0 },
  { text: 'MMOR', at: 0 },
  { text: 'IIU\0', at: 0 },
  // Minolta, Sigma.
  { text: '\0MRM', at: 0 },
  { text: 'FOVb', at: 0 },
];
/** Marks behind the first eight bytes of a TIFF file: Canon CR2; Phase One in both byte orders. */
const TIFF_MARKS: readonly Signature[] = [
  { text: 'CR\x02', at: 8 },
  { text: 'IIII', at: 8 },
  { text: 'MMMM', at: 8 },
];

function carries(head: Uint8Array, { text, at }: Signature): boolean {
  return Buffer.from(head.subarray(at, at + text.length)).toString('latin1') === text;
}

function isTiff(head: Uint8Array): boolean {
  return carries(head, { text: 'II*\0', at: 0 }) || carries(head, { text: 'MM\0*', at: 0 });
}

/** True when the directories are those of a camera raw file: DNG, or an image under a colour filter mosaic. */
function isCameraRaw(directories: readonly TagSource[]): boolean {
  return directories.some((directory) => isDng(directory) || isRawImage(directory));
}

const DNG_VERSION = 50706;

function isDng(directory: TagSource): boolean {
  return directory.numbers(DNG_VERSION) !== null;
}

/** True for the content of a camera raw file: its signature, or TIFF directories that describe a raw image. */
export function recognisesRaw(head: Uint8Array, file: OpenFile): boolean {
  if (SIGNATURES.some((signature) => carries(head, signature))) return true;
  if (!isTiff(head)) return false;
  if (TIFF_MARKS.some((mark) => carries(head, mark))) return true;
  try {
    return isCameraRaw(readDirectories(file));
  } catch (error) {
    // A damaged TIFF file is for the TIFF reader to explain.
    if (error instanceof FrameReadError) return false;
    throw error;
  }
}

/** What the directories of a camera raw file say. */
export interface RawDescription {
  /** The raw images of a DNG; empty for other files, which the decoder knows better than their tags tell. */
  images: RawTags[];
  /** Null when the file has no Exif directory. One that is silent counts: the decoder would make 1 s of a zero in it. */
  exposure: ExposureTags | null;
}

/**
 * Reads the directories, if the file has any.
 * @throws FrameReadError `truncated` when a raw image reaches beyond the end of the file
 */
export function describeRaw(file: OpenFile): RawDescription {
  const directories = readDirectories(file);
  const images = directories.filter(isRawImage);
  for (const image of images) {
    const end = lastByte(image);
    if (end > file.size) {
      throw new FrameReadError(
        'truncated',
        file.path,
        `the raw image reaches to byte ${end}, the file ends at ${file.size}`,
        'copy it from the camera again; the transfer was probably cut off',
      );
    }
  }
  const exif = directories.find((directory) => directory.isExif);
  return {
    images: directories.some(isDng) ? images.map(readRawTags) : [],
    exposure: exif === undefined ? null : readExposure(exif),
  };
}
