/** The pictures of a comparison, by name. Crops need their images encoded first: that is the caller's business. */
import type { StarCrop } from '../compare/crops.js';
import { lensChart } from '../compare/lens-chart.js';
import type { Comparison } from '../compare/result.js';
import type { NamedPicture } from './field-pictures.js';
import { cropsPicture } from './svg/crops.js';
import type { Picture } from './svg/document.js';
import { lensChartPicture } from './svg/lens-chart.js';
import { pairedPicture } from './svg/paired-differences.js';
import { profilePicture } from './svg/profile-bands.js';

/** File names without ending, in the order of `comparePictures`. */
export const COMPARE_PICTURES = ['profiles', 'differences', 'crops', 'lenses'] as const;

/** Crops with their images: by star, then by label. */
export interface EncodedCrops {
  crops: readonly StarCrop[];
  images: readonly Readonly<Record<string, string>>[];
  brightest: number;
}

/** Every picture that the comparison has the numbers for. */
export function comparePictures(comparison: Comparison, encoded: EncodedCrops): NamedPicture[] {
  const labels = comparison.telescopes.map(({ label }) => label);
  const chart = lensChart(comparison.telescopes);
  const pictures: Record<(typeof COMPARE_PICTURES)[number], Picture | null> = {
    profiles: profilePicture(comparison),
    differences: pairedPicture(comparison),
    crops: cropsPicture(
      encoded.crops,
      encoded.images,
      labels,
      comparison.angularUnit,
      encoded.brightest,
    ),
    lenses: chart === null ? null : lensChartPicture(chart),
  };
  return COMPARE_PICTURES.flatMap((name) => {
    const picture = pictures[name];
    return picture === null ? [] : [{ name, picture }];
  });
}
