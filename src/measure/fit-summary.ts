/** What the single-star fits of a channel say together: median size, mean ellipticity. */
import { createRecordedFwhmTable } from '../optics/pixel.js';
import { createRandom } from '../stats/random.js';
import { MAD_TO_SIGMA, madSigma, medianOf } from '../stats/robust.js';
import { fwhmOfAlpha } from './moffat-model.js';
import type { Uncertain } from './result.js';
import type { FitColumns } from './sources.js';
import { plusMinus, uncertain } from './uncertain.js';

/** Error of a median over that of a mean, normal distribution: √(π/2). */
const MEDIAN_EFFICIENCY = Math.sqrt(Math.PI / 2);
const DRAWS = 100;

/** FWHM of the two axes in the recorded image (pixel included), px. */
export function recordedAxes(
  fits: FitColumns,
  i: number,
  beta: number,
  recorded: (fwhmOptical: number) => number,
): [number, number] {
  const base = fwhmOfAlpha(fits.alpha[i] as number, beta);
  const g = Math.sqrt((fits.g1[i] as number) ** 2 + (fits.g2[i] as number) ** 2);
  return [recorded(base * Math.sqrt(1 + g)), recorded(base * Math.sqrt(Math.max(0, 1 - g)))];
}

/** Ellipticity components of the recorded image: (a − b)/(a + b) along the fit's angle. */
export function recordedEllipticity(
  fits: FitColumns,
  i: number,
  beta: number,
  recorded: (fwhmOptical: number) => number,
): [number, number] {
  const g = Math.sqrt((fits.g1[i] as number) ** 2 + (fits.g2[i] as number) ** 2);
  if (!(g > 1e-9)) return g === g ? [0, 0] : [Number.NaN, Number.NaN];
  const [a, b] = recordedAxes(fits, i, beta, recorded);
  const e = (a - b) / (a + b);
  return [(e * (fits.g1[i] as number)) / g, (e * (fits.g2[i] as number)) / g];
}

/** Median of the recorded FWHM (geometric mean of the axes) and its error. */
export function medianFitFwhm(
  fits: FitColumns,
  stars: readonly number[],
  beta: number,
): Uncertain | null {
  const recorded = createRecordedFwhmTable(beta);
  const sizes = stars
    .map((i) => {
      const [a, b] = recordedAxes(fits, i, beta, recorded);
      return Math.sqrt(a * b);
    })
    .filter((value) => Number.isFinite(value));
  if (sizes.length < 3) return null;
  const median = medianOf(sizes);
  return plusMinus(median, (MEDIAN_EFFICIENCY * madSigma(sizes, median)) / Math.sqrt(sizes.length));
}

/** Mean ellipticity of the stars from clipped mean components (docs/algorithms.md), with a bootstrap interval. */
export function ellipticityResult(
  fits: FitColumns,
  stars: readonly number[],
  beta: number,
  seed: number,
): { ellipticity: Uncertain; angleDeg: number } | null {
  const recorded = createRecordedFwhmTable(beta);
  let pairs = stars
    .map((i) => recordedEllipticity(fits, i, beta, recorded))
    .filter((pair) => Number.isFinite(pair[0]));
  if (pairs.length < 3) return null;
  const m1 = medianOf(pairs.map((pair) => pair[0]));
  const m2 = medianOf(pairs.map((pair) => pair[1]));
  const distance = pairs.map((pair) => Math.sqrt((pair[0] - m1) ** 2 + (pair[1] - m2) ** 2));
  const limit = 3 * Math.max(0.01, MAD_TO_SIGMA * medianOf(distance));
  pairs = pairs.filter((_, k) => (distance[k] as number) <= limit);
  const mean = (pick: (k: number) => number): [number, number] => {
    let e1 = 0;
    let e2 = 0;
    for (let k = 0; k < pairs.length; k++) {
      const pair = pairs[pick(k)] as [number, number];
      e1 += pair[0];
      e2 += pair[1];
    }
    return [e1 / pairs.length, e2 / pairs.length];
  };
  const [e1, e2] = mean((k) => k);
  const random = createRandom(seed + 523);
  const along: number[] = [];
  const size = Math.sqrt(e1 * e1 + e2 * e2);
  for (let d = 0; d < DRAWS; d++) {
    const [d1, d2] = mean(() => Math.floor(random() * pairs.length));
    // The component along the mean direction: a length would be pushed up by its own noise.
    along.push(size > 0 ? (d1 * e1 + d2 * e2) / size : d1);
  }
  const ellipticity = uncertain(size, along, Math.sqrt(pairs.length / (pairs.length - 1)));
  if (!ellipticity) return null;
  const angle = (0.5 * Math.atan2(e2, e1) * 180) / Math.PI;
  return { ellipticity, angleDeg: (angle + 180) % 180 };
}
