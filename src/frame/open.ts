/** Opens a frame: the format is recognised from the content, never from the name. */
import { FrameReadError, UnsupportedFormatError } from '../errors.js';
import { closeFile, type OpenFile, openFile, readFully } from './file.js';
import { openFits, recognisesFits } from './fits/open-fits.js';
import type { Frame, FrameOverrides } from './frame.js';
import { openGzip, recognisesGzip } from './gzip.js';
import { openRaw } from './raw/open-raw.js';
import { recognisesRaw } from './raw/recognise.js';
import { looksLikeText, nameUnreadFormat } from './signatures.js';

/** What a file holds that can be opened. */
export type ContentKind = 'frame' | 'picture';

/** A format that can be read. Another format is one more entry: a test on the content and a function that opens. */
interface FormatReader {
  /** 'picture': nearly always processed (8-bit JPEG, PNG); a folder's pictures are measured only when named. */
  kind: ContentKind;
  /** `head` holds the first bytes; a format that needs more reads on in `file`. */
  recognises(head: Uint8Array, file: OpenFile): boolean;
  /** Loads its decoder only when called. The frame owns the file afterwards. */
  open(file: OpenFile, overrides: FrameOverrides): Frame | Promise<Frame>;
}

/** Asked in this order. */
const READERS: readonly FormatReader[] = [
  { kind: 'frame', recognises: recognisesFits, open: openFits },
  { kind: 'frame', recognises: recognisesGzip, open: openGzip },
  { kind: 'frame', recognises: recognisesRaw, open: openRaw },
];
const SUPPORTED = 'FITS (also tile-compressed or under gzip), camera raw';

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
    if (reader !== undefined) return await reader.open(file, overrides);
    throw notAFrame(path, head);
  } catch (error) {
    closeFile(file);
    throw error;
  }
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
