/** The row that rests on a model: sizes as they would be without air and pixels. */
import type { CompareData } from './label.js';
import { makeRow, type Reading } from './readings.js';
import type { ComparisonRow } from './result.js';
import { sizeReading } from './rows-profile.js';

/** FWHM of the Gaussian with the variance of a pixel of 1 px: 2.3548 / √12. */
const PIXEL_QUADRATURE = 2.3548 / Math.sqrt(12);

/** Size with air and pixel taken off in quadrature: a model, since no two of the three are Gaussian. */
export function modelRow(data: CompareData): ComparisonRow {
  const allMono = data.labels.every(({ channels }) => channels.L !== undefined);
  const { labels, unit, stars } = data;
  const unknown = labels.filter(({ input }) => input.seeingArcsec === null);
  const narrow: string[] = [];
  const readings = labels.map((label): Reading | null => {
    const size = sizeReading(data, label, 'fwhm', allMono ? 'L' : 'G');
    const seeing = label.input.seeingArcsec;
    if (size === null || seeing === null || unit === 'px') return null;
    const off = seeing ** 2 + (PIXEL_QUADRATURE * label.unitPerPx) ** 2;
    const rest = (fwhm: number): number => Math.sqrt(fwhm * fwhm - off);
    const value = rest(size.value);
    if (!(value > 0)) {
      narrow.push(label.label);
      return null;
    }
    return {
      value,
      draws: Array.from(size.draws, rest),
      stars: size.stars,
      systematic: (size.systematic * size.value) / value,
      frames: size.frames.map(rest),
    };
  });
  const reason =
    data.noProfiles ??
    (unit === 'px'
      ? 'needs a scale'
      : unknown.length > 0
        ? `the seeing is not given for ${unknown.map(({ label }) => label).join(', ')}`
        : narrow.length > 0
          ? `the stars of ${narrow.join(', ')} are narrower than the seeing given`
          : null);
  return makeRow(
    {
      quantity: `fwhm${allMono ? '' : ' green'}, air and pixels removed`,
      group: 'size',
      scope: 'model',
      unit,
      betterWhen: 'smaller',
    },
    labels,
    readings,
    stars,
    reason,
  );
}
