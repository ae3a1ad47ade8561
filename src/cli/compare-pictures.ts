/** The pictures of a comparison, with the stars side by side as images in them. */
import type { CompareOutcome } from '../pool/compare-files.js';
import { comparePictures } from '../report/compare-pictures.js';
import type { NamedPicture } from '../report/field-pictures.js';
import { brightestOf, colourStamp } from '../report/svg/crops.js';
import { colourPng } from './png-data.js';

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
