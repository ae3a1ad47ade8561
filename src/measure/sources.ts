/** All candidates of a frame while they are being measured: struct of arrays in detection order. */

export interface Sources {
  n: number;
  /** Best position so far, frame pixels. */
  x: Float64Array;
  y: Float64Array;
  /** Matched-filter significance. */
  significance: Float64Array;
  /** Bits of catalogue/flags.ts. */
  flags: Uint32Array;
  /** Highest physical sample in the core: source-major, per channel. */
  peak: Float64Array;
  /** Flux within R_max per channel (channel-major: flux[c][i]) and its error. */
  flux: Float64Array[];
  fluxError: Float64Array[];
  /** Single-star fits per channel; NaN where none was made. */
  fits: FitColumns[];
}

/** Columns of single-star fits of one channel. */
export interface FitColumns {
  x: Float64Array;
  y: Float64Array;
  xError: Float64Array;
  yError: Float64Array;
  flux: Float64Array;
  fluxError: Float64Array;
  background: Float64Array;
  /** Scale α and its relative error (= error of ln α). */
  alpha: Float64Array;
  lnAlphaError: Float64Array;
  g1: Float64Array;
  g2: Float64Array;
  gError: Float64Array;
  reducedChi2: Float64Array;
  /** Reduced χ² with 6 % of the central brightness granted to the model. */
  quality: Float64Array;
}

const nan = (n: number): Float64Array => new Float64Array(n).fill(Number.NaN);

export function createFitColumns(n: number): FitColumns {
  return {
    x: nan(n),
    y: nan(n),
    xError: nan(n),
    yError: nan(n),
    flux: nan(n),
    fluxError: nan(n),
    background: nan(n),
    alpha: nan(n),
    lnAlphaError: nan(n),
    g1: nan(n),
    g2: nan(n),
    gError: nan(n),
    reducedChi2: nan(n),
    quality: nan(n),
  };
}

export function createSources(
  n: number,
  x: Float64Array,
  y: Float64Array,
  significance: Float64Array,
  channels: number,
): Sources {
  return {
    n,
    x: x.slice(),
    y: y.slice(),
    significance: significance.slice(),
    flags: new Uint32Array(n),
    peak: nan(n * channels),
    flux: Array.from({ length: channels }, () => nan(n)),
    fluxError: Array.from({ length: channels }, () => nan(n)),
    fits: Array.from({ length: channels }, () => createFitColumns(n)),
  };
}

/**
 * Signal-to-noise of a fit from noise alone: its flux error without the factor for residuals of the model. A bright star that is no
 * Moffat is still a bright star.
 */
export function noiseSnr(fits: FitColumns, i: number): number {
  return (
    ((fits.flux[i] as number) / (fits.fluxError[i] as number)) *
    Math.sqrt(Math.max(1, fits.reducedChi2[i] as number))
  );
}
