/** What a caller may choose about a measurement, with the defaults that every output repeats. */

export interface MeasureOptions {
  /** 'centre' keeps stars within 0.5 × the half-diagonal of the frame's centre. */
  zone: 'all' | 'centre';
  /** Most stars that enter profiles and fits, the best signal-to-noise first. */
  maxStars: number;
  /** Seed of the bootstrap. */
  seed: number;
  /** Detection threshold of the matched filter, in σ. */
  thresholdSigma: number;
  /** Radius within which profiles are normalised; null = chosen from the frame (8 × green FWHM, raised for wide halos). */
  rMaxPx: number | null;
  /** Bootstrap draws. */
  bootstrapDraws: number;
  /** Give halo percentages even where the data is not linear. */
  haloAnyway: boolean;
}

export const DEFAULT_MEASURE_OPTIONS: Readonly<MeasureOptions> = {
  zone: 'all',
  maxStars: 300,
  seed: 1,
  thresholdSigma: 5,
  rMaxPx: null,
  bootstrapDraws: 160,
  haloAnyway: false,
};
