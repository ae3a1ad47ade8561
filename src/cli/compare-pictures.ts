/** Pictures and the page of a comparison; the stars side by side are images in them. */
import type { CompareOutcome } from '../pool/compare-files.js';
import type { CompareDocument } from '../report/compare-json.js';
import { comparePictures } from '../report/compare-pictures.js';
import type { NamedPicture } from '../report/field-pictures.js';
import { brightestOf, colourStamp } from '../report/svg/crops.js';
import { type PictureFlags, wantsPictures, writePictures, writeTextFile } from './picture-files.js';
import { colourPng } from './png-data.js';
import type { Terminal } from './terminal.js';

/**
 * Draws and writes what is asked for; does nothing where nothing is.
 * @throws OutputError
 */
export async function writeComparePictures(
  flags: PictureFlags,
  outcome: CompareOutcome,
  document: () => CompareDocument,
  terminal: Terminal,
): Promise<void> {
  if (!wantsPictures(flags)) return;
  const pictures = await drawComparison(outcome);
  await writePictures(flags, pictures, terminal);
  const page = async (): Promise<string> => {
    const { comparePage } = await import('../report/compare-page.js');
    return comparePage(document(), pictures);
  };
  await writeTextFile(flags.html, page, terminal);
}

/** None where nothing could be compared. */
export async function drawComparison({
  comparison,
  crops,
}: Pick<CompareOutcome, 'comparison' | 'crops'>): Promise<NamedPicture[]> {
  if (comparison === null) return [];
  const brightest = brightestOf(crops);
  const images = await Promise.all(
    crops.map(async ({ images: byLabel, side }) => {
      const pngs = Object.entries(byLabel).map(
        async ([label, { rgb }]): Promise<[string, string]> => [
          label,
          await colourPng(colourStamp(rgb, side, brightest)),
        ],
      );
      return Object.fromEntries(await Promise.all(pngs));
    }),
  );
  return comparePictures(comparison, { crops, images, brightest });
}
