/** Files that are recognised by their first bytes but not read: the error can then say what they are and what helps. */

/** What was found and what to do about it. */
export interface UnreadFormat {
  found: string;
  remedy: string;
}

const SAVE_AS_FITS = 'save the frame as uncompressed FITS';

const SIGNATURES: readonly { bytes: readonly number[]; at?: number; format: UnreadFormat }[] = [
  {
    bytes: [0x42, 0x5a, 0x68],
    format: { found: 'a bzip2 file', remedy: 'unpack it first: bunzip2 -k FILE' },
  },
  {
    bytes: [0x50, 0x4b, 0x03, 0x04],
    format: { found: 'a zip archive', remedy: 'unpack it first and name the frames in it' },
  },
  {
    bytes: [0x66, 0x74, 0x79, 0x70],
    at: 4,
    format: { found: 'a HEIF picture or a video', remedy: SAVE_AS_FITS },
  },
];

/** The format whose signature the first bytes carry, a text file, or null when nothing is known about them. */
export function nameUnreadFormat(head: Uint8Array): UnreadFormat | null {
  for (const { bytes, at = 0, format } of SIGNATURES) {
    if (bytes.every((byte, i) => head[at + i] === byte)) return format;
  }
  return null;
}

/** True when the bytes look like text: no NUL and hardly any control characters. */
export function looksLikeText(head: Uint8Array): boolean {
  let controls = 0;
  for (const byte of head) {
    if (byte === 0) return false;
    if (byte < 32 && byte !== 9 && byte !== 10 && byte !== 13) controls++;
  }
  return controls * 20 < head.length;
}
