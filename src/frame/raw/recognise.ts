/** Recognises camera raw files by content, and reads what their TIFF directories say. */
import { FrameReadError } from '../../errors.js';
import type { OpenFile } from '../file.js';
import { carriesTiffHeader, readDirectories, type TiffDirectory } from '../tiff/ifd.js';
import {
  type ExposureTags,
  isRawImage,
  lastByte,
  type RawTags,
  readExposure,
  readRawTags,
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

const DNG_VERSION = 50706;

function isDng(pages: readonly TiffDirectory[]): boolean {
  return pages.some((page) => page.has(DNG_VERSION));
}

/** The pages and their sub-images: the raw image is often one of these, behind a preview. */
function withSubImages(pages: readonly TiffDirectory[]): TiffDirectory[] {
  return pages.flatMap((page) => [page, ...page.subDirectories()]);
}

/** True when the pages are those of a camera raw file: DNG, or an image under a colour filter mosaic. */
function isCameraRaw(pages: readonly TiffDirectory[]): boolean {
  return isDng(pages) || withSubImages(pages).some(isRawImage);
}

/** True for the content of a camera raw file: its signature, or TIFF directories that describe a raw image. */
export function recognisesRaw(head: Uint8Array, file: OpenFile): boolean {
  if (SIGNATURES.some((signature) => carries(head, signature))) return true;
  if (!carriesTiffHeader(head)) return false;
  if (TIFF_MARKS.some((mark) => carries(head, mark))) return true;
  // A damaged TIFF file is for the TIFF reader to explain.
  return unlessDamaged(() => isCameraRaw(readDirectories(file))) ?? false;
}

/** The result, or null where directories are damaged or not those of a TIFF file. */
function unlessDamaged<T>(read: () => T): T | null {
  try {
    return read();
  } catch (error) {
    if (error instanceof FrameReadError) return null;
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
 * Reads the directories. Those of a DNG must be right; those of other files may have a form of their own, and then say nothing.
 * @throws FrameReadError `truncated` when a raw image reaches beyond the end of the file; `damaged` for a DNG
 */
export function describeRaw(file: OpenFile): RawDescription {
  const silent: RawDescription = { images: [], exposure: null };
  const pages = unlessDamaged(() => readDirectories(file));
  if (pages === null) return silent;
  if (isDng(pages)) {
    const images = withSubImages(pages).filter(isRawImage);
    refuseCutOff(file, images);
    return { images: images.map(readRawTags), exposure: exposureOf(pages) };
  }
  const images = unlessDamaged(() => withSubImages(pages).filter(isRawImage)) ?? [];
  refuseCutOff(file, images);
  return unlessDamaged(() => ({ images: [], exposure: exposureOf(pages) })) ?? silent;
}

function refuseCutOff(file: OpenFile, images: readonly TiffDirectory[]): void {
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
}

function exposureOf(pages: readonly TiffDirectory[]): ExposureTags | null {
  for (const page of pages) {
    const exif = page.exif();
    if (exif !== null) return readExposure(exif);
  }
  return null;
}
