/** The chart of `expect`: the lenses asked for among the apertures and focal ratios of their kinds. */
import { lensChart } from '../compare/lens-chart.js';
import type { LensOutlook } from '../optics/lens-outlook.js';
import type { NamedPicture } from './field-pictures.js';
import { lensChartPicture } from './svg/lens-chart.js';

/** File name without ending; as among the pictures of `compare`. */
export const EXPECT_PICTURES = ['lenses'] as const;

/** Apertures beside the given one. */
const FAMILY = [0.5, 1, 2] as const;

export function expectPictures(outlooks: readonly LensOutlook[]): NamedPicture[] {
  const lenses = outlooks.map(
    ({ lens, apertureMm, focalRatio, blueDefocus: { depthsOfFocus } }) => ({
      label: lens === 'ed' ? 'ED doublet' : lens,
      apertureMm,
      focalRatio,
      depthsOfFocus: { value: depthsOfFocus, low: depthsOfFocus, high: depthsOfFocus },
      measured: false,
    }),
  );
  const apertures = FAMILY.map((share) => share * (lenses[0]?.apertureMm ?? Number.NaN));
  const chart = lensChart([], lenses, apertures);
  return chart === null ? [] : [{ name: EXPECT_PICTURES[0], picture: lensChartPicture(chart) }];
}
