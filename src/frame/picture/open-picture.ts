/** Opening PNG and JPEG pictures as frames, decoded by sharp (libvips, libpng, libjpeg).
 *
 * The numbers are those of the file: no colour profile is applied, no transfer curve undone, nothing turned. Such pictures are nearly always
 * written after processing (sRGB curve, stretching, sharpening, noise reduction), so they always count as processed.
 */
import type { Sharp, SharpOptions } from 'sharp';
import { FrameReadError, UnsupportedFormatError } from '../../errors.js';
import type { Warning } from '../../warnings.js';
import { assembleFrame } from '../assemble.js';
import { closeFile, memoryFile, type OpenFile, readFully } from '../file.js';
import type { Frame, FrameOverrides } from '../frame.js';
import type { KeywordSource } from '../keywords.js';
import { checkLimits, checkUnpackedBytes } from '../limits.js';
import { createMemoryRows } from '../memory-rows.js';
import { readDirectories, type TiffDirectory } from '../tiff/ifd.js';
import { tiffKeywords } from '../tiff/tiff-keywords.js';

const SUPPORTED = 'PNG and JPEG pictures, grey or in three colours';
const PNG_SIGNATURE = [0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a];
const JPEG_SIGNATURE = [0xff, 0xd8, 0xff];

type Warn = (code: string, message: string) => void;
type SharpFactory = (input: Buffer, options: SharpOptions) => Sharp;

export function recognisesPng(head: Uint8Array): boolean {
  return PNG_SIGNATURE.every((byte, i) => head[i] === byte);
}

export function recognisesJpeg(head: Uint8Array): boolean {
  return JPEG_SIGNATURE.every((byte, i) => head[i] === byte);
}

/** Opens a PNG picture; see `openPicture`. */
export function openPng(file: OpenFile, overrides: FrameOverrides): Promise<Frame> {
  return openPicture(file, 'png', overrides);
}

/** Opens a JPEG picture; see `openPicture`. */
export function openJpeg(file: OpenFile, overrides: FrameOverrides): Promise<Frame> {
  return openPicture(file, 'jpeg', overrides);
}

/**
 * Opens the picture as a frame. Reads it as a whole and closes it.
 * @throws FrameReadError `damaged`, `too-large`, `no-decoder`; UnsupportedFormatError: the file is then still open
 */
async function openPicture(
  file: OpenFile,
  format: 'png' | 'jpeg',
  overrides: FrameOverrides,
): Promise<Frame> {
  const { path } = file;
  const warnings: Warning[] = [];
  const warn: Warn = (code, message) => {
    warnings.push({ code, message, file: path });
  };
  checkUnpackedBytes(path, file.size, overrides);
  // Never the path: the decoder would take brackets at the end of a name for options.
  const bytes = Buffer.allocUnsafeSlow(file.size);
  readFully(file, bytes, 0, file.size, 0);
  const sharp = await loadSharp(path);
  const about = await describe(sharp, bytes, path, format);
  const { width, height, space } = about;
  const depth = about.depth === 'ushort' ? 'ushort' : 'uchar';
  const elementBytes = depth === 'ushort' ? 2 : 1;
  checkLimits(path, width, height, width * height * about.channels * elementBytes, overrides);
  noteWhatIsLeftOut(about, warn);

  const options = { ignoreIcc: true, limitInputPixels: width * height };
  const decode = (failOn: 'error' | 'warning') =>
    sharp(bytes, { ...options, failOn })
      // Without the space of the file, 16 bits become 8.
      .toColourspace(space)
      .raw({ depth })
      .toBuffer({ resolveWithObject: true });
  const { data, info } = await decodeStrictly(decode, path, format, warn);
  const planes = info.channels >= 3 ? 3 : 1;
  const samples = samplesOf(data, depth);
  if (info.width !== width || info.height !== height || samples.length < width * height * planes) {
    throw damaged(path, format, 'the decoder delivered a picture of another size');
  }
  dropChannels(samples, info.channels, planes);
  const rows = createMemoryRows({
    width,
    height,
    planes,
    sampleType: depth === 'ushort' ? 'u16' : 'u8',
    samples: samples.subarray(0, width * height * planes),
    interleave: 'pixel',
  });
  const frame = assembleFrame({
    path,
    format,
    probablyProcessed: true,
    rows,
    typeMaximumAdu: depth === 'ushort' ? 65535 : 255,
    keywords: exifKeywords(path, about.exif, overrides, warn),
    overrides,
    warnings,
  });
  closeFile(file);
  return frame;
}

async function loadSharp(path: string): Promise<SharpFactory> {
  try {
    const { default: sharp } = await import('sharp');
    // Decoded pictures are never asked for twice.
    sharp.cache(false);
    return sharp;
  } catch (cause) {
    throw new FrameReadError(
      'no-decoder',
      path,
      'the picture decoder (sharp) cannot be loaded',
      'install the package again with npm install, or save the frame as FITS or TIFF',
      { cause },
    );
  }
}

/** What the picture says about itself. */
interface About {
  width: number;
  height: number;
  channels: number;
  depth: string;
  space: string;
  hasAlpha: boolean;
  hasProfile: boolean;
  pages: number;
  orientation: number;
  exif: Buffer | null;
}

async function describe(
  sharp: SharpFactory,
  bytes: Buffer,
  path: string,
  format: 'png' | 'jpeg',
): Promise<About> {
  let metadata: Awaited<ReturnType<Sharp['metadata']>>;
  try {
    metadata = await sharp(bytes, { limitInputPixels: false, failOn: 'error' }).metadata();
  } catch (cause) {
    throw damaged(path, format, wordsOf(cause), cause);
  }
  const { width, height, channels, depth, space } = metadata;
  if (metadata.format !== format) throw damaged(path, format, 'its content is of another kind');
  if (space === 'cmyk' || (format === 'jpeg' && channels > 3)) {
    throw new UnsupportedFormatError(
      path,
      'a picture of CMYK colours',
      SUPPORTED,
      'save it in RGB, better as FITS or 16-bit TIFF before any processing',
    );
  }
  return {
    width,
    height,
    channels,
    depth,
    space,
    hasAlpha: metadata.hasAlpha,
    hasProfile: metadata.hasProfile,
    pages: metadata.pages ?? 1,
    orientation: metadata.orientation ?? 1,
    exif: metadata.exif ?? null,
  };
}

type Decoded = { data: Buffer; info: { width: number; height: number; channels: number } };

/** Decodes; where the decoder grumbles but goes on, the picture is taken with a warning. */
async function decodeStrictly(
  decode: (failOn: 'error' | 'warning') => Promise<Decoded>,
  path: string,
  format: 'png' | 'jpeg',
  warn: Warn,
): Promise<Decoded> {
  try {
    return await decode('warning');
  } catch (complaint) {
    try {
      const decoded = await decode('error');
      warn(
        'picture-doubtful',
        `the decoder reports a fault in the ${format.toUpperCase()} picture (${wordsOf(complaint)}); parts of it may be wrong`,
      );
      return decoded;
    } catch (cause) {
      throw damaged(path, format, wordsOf(cause), cause);
    }
  }
}

/** First line of what the decoder says; what it prints comes from the file's structure, not its text. */
function wordsOf(error: unknown): string {
  const message = error instanceof Error ? error.message : String(error);
  const lines = message.split('\n').map((line) => line.trim());
  return (lines.find((line) => line !== '') ?? 'no reason given').slice(0, 200);
}

function damaged(path: string, format: string, words: string, cause?: unknown): FrameReadError {
  return new FrameReadError(
    'damaged',
    path,
    `the ${format.toUpperCase()} picture cannot be decoded: ${words}`,
    'copy or save it again; the file is damaged or not complete',
    { cause },
  );
}

function samplesOf(data: Buffer, depth: 'uchar' | 'ushort'): Uint8Array | Uint16Array {
  if (depth === 'uchar') return data;
  const aligned = data.byteOffset % 2 === 0 ? data : Uint8Array.from(data);
  return new Uint16Array(aligned.buffer, aligned.byteOffset, aligned.length >> 1);
}

/** Moves the first `kept` of `channels` of every pixel together, in place. */
function dropChannels(samples: Uint8Array | Uint16Array, channels: number, kept: number): void {
  if (channels === kept) return;
  const pixels = Math.floor(samples.length / channels);
  for (let i = 0, from = 0, to = 0; i < pixels; i++, from += channels) {
    for (let k = 0; k < kept; k++) samples[to++] = samples[from + k] as number;
  }
}

function noteWhatIsLeftOut(about: About, warn: Warn): void {
  if (about.hasAlpha) warn('extra-planes', 'the transparency channel (alpha) is left out');
  if (about.pages > 1) {
    warn(
      'several-images',
      `the picture is animated (${about.pages} pictures); the first is measured`,
    );
  }
  if (about.orientation !== 1) {
    warn(
      'orientation-ignored',
      `the file asks viewers to turn or mirror the picture (orientation ${about.orientation}); it is measured as stored`,
    );
  }
  if (about.hasProfile) {
    warn(
      'profile-ignored',
      'the file carries a colour profile; it is not applied: the numbers are measured as stored',
    );
  }
}

/** Exif data of a picture are a TIFF file of their own, behind a mark. */
const EXIF_MARK = 'Exif\0\0';
const SILENT: KeywordSource = { find: () => undefined };

function exifKeywords(
  path: string,
  exif: Buffer | null,
  overrides: FrameOverrides,
  warn: Warn,
): KeywordSource {
  if (exif === null) return SILENT;
  const marked = exif.toString('latin1', 0, EXIF_MARK.length) === EXIF_MARK;
  const bytes = marked ? exif.subarray(EXIF_MARK.length) : exif;
  let first: TiffDirectory | undefined;
  try {
    [first] = readDirectories(memoryFile(path, bytes));
  } catch (error) {
    if (error instanceof FrameReadError) return SILENT;
    throw error;
  }
  return first === undefined ? SILENT : tiffKeywords(first, first, overrides, warn);
}
