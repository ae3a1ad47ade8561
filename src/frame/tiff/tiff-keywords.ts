/** What a TIFF file or a picture says about its exposure, as the keywords that the metadata are read from.
 *
 * Sources: FITS cards in ImageDescription, which some programs copy there, before the tags of Exif 2.32 and TIFF 6.0. ISO is a setting of the
 * camera, not electrons per ADU, and is never taken for a gain.
 */
import { FrameReadError } from '../../errors.js';
import { parseCard } from '../fits/cards.js';
import { FitsHeader } from '../fits/header.js';
import type { FrameOverrides } from '../frame.js';
import type { KeywordSource } from '../keywords.js';
import { rawKeywords } from '../raw/raw-keywords.js';
import { type ExposureTags, isoDate, readExposure } from '../raw/raw-tags.js';
import type { TiffDirectory } from './ifd.js';

const TAG = { description: 270, make: 271, model: 272, dateTime: 306 } as const;

/** The keywords of a page; tags that cannot be read count as silent. */
export function tiffKeywords(
  page: TiffDirectory,
  first: TiffDirectory,
  overrides: FrameOverrides,
  warn: (code: string, message: string) => void,
): KeywordSource {
  const text = (tag: number) => silent(() => page.text(tag) ?? first.text(tag)) ?? '';
  const exif = silent(() => page.exif() ?? first.exif());
  const exposure: ExposureTags | null = exif === null ? null : silent(() => readExposure(exif));
  const tags = rawKeywords(
    {
      pattern: null,
      pedestalAdu: null,
      saturationAdu: null,
      make: text(TAG.make),
      model: text(TAG.model),
      exposure: {
        exposureSeconds: exposure?.exposureSeconds ?? null,
        focalLengthMm: exposure?.focalLengthMm ?? null,
        fNumber: exposure?.fNumber ?? null,
        // DateTime is that of the file: of the exposure when a camera program wrote it, of the last change when an editor did.
        date: exposure?.date ?? isoDate(text(TAG.dateTime)),
      },
    },
    overrides,
    warn,
  );
  const cards = descriptionCards(text(TAG.description));
  return { find: (name) => cards?.find(name) ?? tags.find(name) };
}

/** The value, or null where the file cannot be read as it claims: a damaged note does not spoil the samples. */
function silent<T>(read: () => T): T | null {
  try {
    return read();
  } catch (error) {
    if (error instanceof FrameReadError) return null;
    throw error;
  }
}

const CARD = /^[A-Z0-9_-]{1,8} *= *\S/;
const COMMENTARY = /^(?:COMMENT|HISTORY)(?: |$)/;

/** The header in a description, when every line of it is a FITS card and one of them holds a value; else null. */
export function descriptionCards(description: string): FitsHeader | null {
  const lines = description.split(/\r?\n|\r/).map((line) => line.trimEnd());
  const images: string[] = [];
  for (const line of lines) {
    if (line === '') continue;
    if (line === 'END') break;
    if (COMMENTARY.test(line)) continue;
    if (!CARD.test(line)) return null;
    // Some writers leave out the padding of the keyword to eight characters.
    const equals = line.indexOf('=');
    const image = `${line.slice(0, equals).trimEnd().padEnd(8)}= ${line.slice(equals + 1).trimStart()}`;
    const { kind, problem } = parseCard(image);
    if (kind !== 'value' || problem === 'unreadable') return null;
    images.push(image);
  }
  return images.length === 0 ? null : new FitsHeader(images);
}
