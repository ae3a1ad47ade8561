/** Opens a frame: the format is recognised from the content, never from the name. */
import { FrameReadError, UnsupportedFormatError } from '../errors.js';
import { closeFile, type OpenFile, openFile, readFully } from './file.js';
import { openFits, recognisesFits } from './fits/open-fits.js';
import type { Frame, FrameOverrides } from './frame.js';
import { openGzip, recognisesGzip } from './gzip.js';
import { openJpeg, openPng, recognisesJpeg, recognisesPng } from './picture/open-picture.js';
import { openRaw } from './raw/open-raw.js';
import { recognisesRaw } from './raw/recognise.js';
import { looksLikeText, nameUnreadFormat } from './signatures.js';
import { openTiff, recognisesTiff } from './tiff/open-tiff.js';

/** What a file holds that can be opened. */
export type ContentKind = 'frame' | 'picture';

/** A format that can be read. Another format is one more entry: a test on the content and a function that opens. */
interface FormatReader {
  /** For messages: 'the content is …'. */
  content: string;
  /** Endings of names that say this format, lower case. */
  endings: readonly string[];
  /** 'picture': nearly always processed (8-bit JPEG, PNG); a folder's pictures are measured only when named. */
  kind: ContentKind;
  /** `head` holds the first bytes; a format that needs more reads on in `file`. */
  recognises(head: Uint8Array, file: OpenFile): boolean;
  /** Loads its decoder only when called. The frame owns the file afterwards. */
  open(file: OpenFile, overrides: FrameOverrides): Frame | Promise<Frame>;
}

/** Asked in this order. */
const READERS: readonly FormatReader[] = [
  {
    content: 'FITS',
    endings: ['fits', 'fit', 'fts', 'fz'],
    kind: 'frame',
    recognises: recognisesFits,
    open: openFits,
  },
  {
    content: 'a gzip file',
    endings: ['gz'],
    kind: 'frame',
    recognises: recognisesGzip,
    open: openGzip,
  },
  {
    content: 'a camera raw file',
    endings: ['dng', 'cr2', 'cr3', 'crw', 'nef', 'nrw', 'arw', 'sr2', 'raf', 'orf', 'rw2', 'pef'],
    kind: 'frame',
    recognises: recognisesRaw,
    open: openRaw,
  },
  // Behind camera raw, most of which has the structure of TIFF.
  {
    content: 'a TIFF picture',
    endings: ['tif', 'tiff'],
    kind: 'frame',
    recognises: recognisesTiff,
    open: openTiff,
  },
  {
    content: 'a PNG picture',
    endings: ['png'],
    kind: 'picture',
    recognises: recognisesPng,
    open: openPng,
  },
  {
    content: 'a JPEG picture',
    endings: ['jpg', 'jpeg'],
    kind: 'picture',
    recognises: recognisesJpeg,
    open: openJpeg,
  },
];
const SUPPORTED = 'FITS (also tile-compressed or under gzip), camera raw, TIFF, PNG, JPEG';

/** Bytes looked at to recognise a format. */
const HEAD_BYTES = 512;

/**
 * Opens the frame at `path`. The caller closes it with `frame.rows.close()`.
 * @throws FrameReadError when the file is missing, damaged or no frame; its `code`, message and `remedy` say which and what to do.
 * @throws UnsupportedFormatError when it is a kind of file that is not read.
 */
export async function openFrame(path: string, overrides: FrameOverrides = {}): Promise<Frame> {
  const file = openFile(path);
  try {
    const head = new Uint8Array(Math.min(HEAD_BYTES, file.size));
    readFully(file, head, 0, head.length, 0);
    const reader = READERS.find((candidate) => candidate.recognises(head, file));
    if (reader !== undefined) return withNameChecked(await reader.open(file, overrides), reader);
    throw notAFrame(path, head);
  } catch (error) {
    closeFile(file);
    throw error;
  }
}

/** Adds a warning when the name says another format than the content. */
function withNameChecked(frame: Frame, reader: FormatReader): Frame {
  const ending = /\.([a-z0-9]{1,8})$/i.exec(frame.path)?.[1]?.toLowerCase() ?? '';
  const isElsewhere = READERS.some((other) => other !== reader && other.endings.includes(ending));
  if (!isElsewhere) return frame;
  const message = `called .${ending}, but the content is ${reader.content}; it is measured as that`;
  const warning = { code: 'name-and-content', message, file: frame.path };
  return { ...frame, warnings: [...frame.warnings, warning] };
}

/** What the content of a file is, without opening it as a frame; null when it is none or cannot be read. */
export function contentKind(path: string): ContentKind | null {
  let file: OpenFile;
  try {
    file = openFile(path);
  } catch {
    return null;
  }
  try {
    const head = new Uint8Array(Math.min(HEAD_BYTES, file.size));
    readFully(file, head, 0, head.length, 0);
    return READERS.find((candidate) => candidate.recognises(head, file))?.kind ?? null;
  } catch {
    return null;
  } finally {
    closeFile(file);
  }
}

function notAFrame(path: string, head: Uint8Array): FrameReadError {
  const known = nameUnreadFormat(head);
  if (known !== null) {
    return new UnsupportedFormatError(path, known.found, SUPPORTED, known.remedy);
  }
  return new FrameReadError(
    'not-a-frame',
    path,
    `${looksLikeText(head) ? 'this is a text file, not a frame' : 'the content is not that of a frame'}; supported: ${SUPPORTED}`,
    'give a FITS file (its first word is SIMPLE), or save the frame as FITS again',
  );
}
