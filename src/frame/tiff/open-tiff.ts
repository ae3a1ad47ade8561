/** Opening a TIFF file as a frame: choice of the page, samples exactly as stored, metadata. */
import { FrameReadError } from '../../errors.js';
import type { Warning } from '../../warnings.js';
import { assembleFrame } from '../assemble.js';
import { closeFile, type OpenFile } from '../file.js';
import type { Frame, FrameOverrides } from '../frame.js';
import { carriesTiffHeader, readDirectories, type TiffDirectory } from './ifd.js';
import { describePage, type TiffPage } from './page.js';
import { createTiffRows, typeMaximumOf } from './samples.js';
import { tiffKeywords } from './tiff-keywords.js';

const TAG = {
  newSubfileType: 254,
  subfileType: 255,
  orientation: 274,
  extraSamples: 338,
  profile: 34675,
} as const;

type Warn = (code: string, message: string) => void;

/** True for the first bytes of a TIFF file. Camera raw files of that structure must be asked for before. */
export function recognisesTiff(head: Uint8Array): boolean {
  return carriesTiffHeader(head);
}

/**
 * Opens the TIFF file as a frame; the frame owns the file afterwards.
 * @throws FrameReadError, UnsupportedFormatError: see their messages; the file is then still open
 */
export function openTiff(file: OpenFile, overrides: FrameOverrides): Frame {
  const warnings: Warning[] = [];
  const warn: Warn = (code, message) => {
    warnings.push({ code, message, file: file.path });
  };
  const pages = readDirectories(file);
  const directory = choosePage(file, pages, overrides.page, warn);
  const page = describePage(file, directory);
  noteWhatIsLeftOut(directory, page, warn);
  const keywords = tiffKeywords(directory, pages[0] as TiffDirectory, overrides, warn);
  const { rows, inMemory } = createTiffRows(file, page, overrides);
  const frame = assembleFrame({
    path: file.path,
    format: 'tiff',
    // Cameras for astronomy write 8-bit grey frames; three colours in 8 bits are a finished picture.
    probablyProcessed: page.storedType === 'u8' && page.planes === 3,
    rows,
    typeMaximumAdu: typeMaximumOf(page),
    keywords,
    overrides,
    warnings,
  });
  if (inMemory) closeFile(file);
  return frame;
}

/** Bit 0 of NewSubfileType; the value 2 of the older SubfileType. */
function isReducedCopy(directory: TiffDirectory): boolean {
  const bits = directory.number(TAG.newSubfileType);
  return bits === null ? directory.number(TAG.subfileType) === 2 : (bits & 1) === 1;
}

function choosePage(
  file: OpenFile,
  pages: TiffDirectory[],
  wanted: number | undefined,
  warn: Warn,
): TiffDirectory {
  const chosen = wanted ?? 1;
  const directory = pages[chosen - 1];
  if (directory === undefined) {
    throw new FrameReadError(
      'no-such-page',
      file.path,
      `there is no page ${chosen}; the file has ${pages.length}, counted from 1`,
      pages.length === 1 ? 'leave --page out' : `choose --page from 1 to ${pages.length}`,
    );
  }
  if (isReducedCopy(directory)) {
    warn(
      'reduced-copy',
      `page ${chosen} is marked as a reduced copy of another picture: its stars are not those of the camera${
        pages.length > 1 ? '; choose another with --page' : ''
      }`,
    );
  }
  if (wanted === undefined && pages.length > 1) {
    const copies = pages.filter(isReducedCopy).length;
    warn(
      'several-images',
      `the file holds ${pages.length} pages${
        copies > 0 ? ` (${copies} marked as reduced copies)` : ''
      }; measured is page 1; choose another with --page`,
    );
  }
  return directory;
}

/** Everything about the picture that is not applied to the numbers. */
function noteWhatIsLeftOut(directory: TiffDirectory, page: TiffPage, warn: Warn): void {
  const extra = page.samplesPerPixel - page.planes;
  if (extra > 0) {
    const kinds = directory.numbers(TAG.extraSamples) ?? [];
    const kind = kinds[0];
    const isAlpha = extra === 1 && (kind === 1 || kind === 2);
    warn(
      'extra-planes',
      isAlpha
        ? `the transparency channel (alpha) is left out${
            kind === 1
              ? '; the colours are marked as already multiplied by it, and are measured as stored'
              : ''
          }`
        : `${extra} of ${page.samplesPerPixel} channels are left out; measured ${
            page.planes === 3 ? 'are the first three, as red, green and blue' : 'is the first'
          }`,
    );
  }
  const orientation = directory.number(TAG.orientation) ?? 1;
  if (orientation !== 1) {
    warn(
      'orientation-ignored',
      `the file asks viewers to turn or mirror the picture (orientation ${orientation}); it is measured as stored`,
    );
  }
  if (directory.has(TAG.profile)) {
    warn(
      'profile-ignored',
      'the file carries a colour profile; it is not applied: the numbers are measured as stored',
    );
  }
  if (page.inverted) {
    warn(
      'inverted',
      'the file calls zero white (WhiteIsZero): every number is taken from the largest possible one, so that more means more light',
    );
  }
}
