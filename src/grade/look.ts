/** What a night keeps of one frame: the quick form of a measurement, its stars for matching, trails. */
import { FLAG } from '../catalogue/flags.js';
import type { Frame } from '../frame/frame.js';
import { ellipticityResult, medianFitFwhm } from '../measure/fit-summary.js';
import { scaleOf } from '../measure/frame-facts.js';
import { matchListOf } from '../measure/match-list.js';
import { measureFrame } from '../measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS, type MeasureOptions } from '../measure/options.js';
import { type SearchedFrame, searchFrame } from '../measure/search-frame.js';
import { selectStars } from '../measure/select-stars.js';
import type { Warning } from '../warnings.js';
import type { NightFrame, NightStars } from './night-frame.js';
import { findTrails } from './trails.js';

/** Stars that a record carries: more match no better. */
const MOST_STARS = 120;
/** Stars and draws of the quick form: a tenth of the error of a night's scatter. */
const QUICK: Partial<MeasureOptions> = { maxStars: 120, bootstrapDraws: 60 };

export interface LookOptions {
  seed: number;
  /** Measure the halo of colour frames too: twice the time. */
  halo: boolean;
}

/** Everything but the identity of the file, which only those know who opened it. */
export type Look = Omit<NightFrame, 'bytes' | 'modifiedMs' | 'sha256'>;

/**
 * Looks at an opened frame. Deterministic.
 * @throws FrameReadError when rows cannot be read
 */
export function lookAtFrame(frame: Frame, options: LookOptions): Look {
  const settings = { ...DEFAULT_MEASURE_OPTIONS, ...QUICK, seed: options.seed };
  let searched: SearchedFrame;
  let warnings: Warning[];
  let halo: Look['blueMinusRedPercent'] = null;
  let stars: number[];
  if (options.halo && frame.layout !== 'mono') {
    const measured = measureFrame(frame, settings);
    searched = measured.searched;
    warnings = measured.result.warnings;
    halo = measured.result.halo?.blueMinusRed.excessPercent ?? null;
    stars = usedStars(searched);
  } else {
    warnings = frame.warnings.map((warning) => ({ ...warning }));
    searched = searchFrame(frame, settings, (code, message) => {
      warnings.push({ code, message, file: frame.path });
    });
    stars = selectStars(searched.found, settings, frame.rows.width, frame.rows.height);
  }
  const { found, plan } = searched;
  const { metadata, rows } = frame;
  const fits = found.sources.fits[found.reference];
  const size = fits === undefined ? null : medianFitFwhm(fits, stars, found.beta);
  const shape =
    fits === undefined ? null : ellipticityResult(fits, stars, found.beta, options.seed);
  const lattices = plan.ofChannel[plan.reference] as readonly number[];
  const average = (values: Float64Array): number | null => {
    const mean = lattices.reduce((sum, l) => sum + (values[l] as number), 0) / lattices.length;
    return Number.isFinite(mean) ? mean : null;
  };
  return {
    file: frame.path,
    status: 'ok',
    error: null,
    width: rows.width,
    height: rows.height,
    layout: frame.layout,
    metadata,
    imageType: imageTypeOf(metadata.imageType),
    pierSide: pierSideOf(metadata.pierSide),
    ambientTemperatureC: metadata.ambientTemperatureC,
    startMs: startOf(metadata.dateObs),
    scaleArcsecPerPx: scaleOf(metadata),
    starsFound: found.sources.n,
    starsUsed: stars.length,
    fwhmPx: size,
    ellipticity: shape?.ellipticity ?? null,
    elongationAngleDeg: shape?.angleDeg ?? null,
    backgroundAdu: average(found.mesh.medianLevel),
    noiseAdu: average(found.mesh.medianNoise),
    starAreaPx: size === null ? null : noiseEquivalentArea(size.value, found.beta),
    blueMinusRedPercent: halo,
    trails: trailsOf(searched),
    stars: starsForMatching(searched),
    warnings,
  };
}

/** The stars that `measureFrame` used: unflagged ones. */
function usedStars({ found }: SearchedFrame): number[] {
  const used: number[] = [];
  const { flags, n } = found.sources;
  for (let i = 0; i < n; i++) if (flags[i] === 0) used.push(i);
  return used;
}

/**
 * 1/∫p² of a Moffat image, px²: π α² (2β − 1)/(β − 1)²; of a Gaussian (β infinite) 4πσ² (King 1983, PASP 95, 163; from memory. The Moffat form
 * follows from ∫ p² = (β − 1)²/(π α² (2β − 1)).)
 */
export function noiseEquivalentArea(fwhmPx: number, beta: number): number {
  if (!Number.isFinite(beta)) return (Math.PI * fwhmPx * fwhmPx) / (2 * Math.LN2);
  const alpha = fwhmPx / (2 * Math.sqrt(2 ** (1 / beta) - 1));
  return (Math.PI * alpha * alpha * (2 * beta - 1)) / ((beta - 1) * (beta - 1));
}

function starsForMatching(searched: SearchedFrame): NightStars {
  const { list, source } = matchListOf(searched);
  const { sources, reference } = searched.found;
  const fits = sources.fits[reference];
  const light = (k: number): number => (list.brightness as Float64Array)[k] as number;
  const order = source
    .map((_, k) => k)
    .sort((a, b) => {
      // Clipped stars have no light of their own, and are the brightest.
      const u = Number.isFinite(light(a)) ? light(a) : Number.POSITIVE_INFINITY;
      const v = Number.isFinite(light(b)) ? light(b) : Number.POSITIVE_INFINITY;
      return u === v ? a - b : v - u;
    })
    .slice(0, MOST_STARS);
  const clipped = (k: number): boolean =>
    ((sources.flags[source[k] as number] as number) & FLAG.saturated) !== 0;
  const flux = (k: number): number | null => {
    const value = light(k);
    return clipped(k) || !Number.isFinite(value) ? null : Number(value.toPrecision(7));
  };
  const error = (k: number): number | null => {
    const value = fits?.fluxError[source[k] as number] ?? Number.NaN;
    return clipped(k) || !Number.isFinite(value) ? null : Number(value.toPrecision(4));
  };
  const place = (value: number): number => Math.round(1000 * value) / 1000;
  return {
    x: order.map((k) => place(list.x[k] as number)),
    y: order.map((k) => place(list.y[k] as number)),
    fluxAdu: order.map(flux),
    fluxErrorAdu: order.map(error),
  };
}

function trailsOf({ found, frame }: SearchedFrame): NightFrame['trails'] {
  const { sources, locus } = found;
  if (locus === null) return [];
  const order = Array.from({ length: sources.n }, (_, i) => i).sort(
    (a, b) => (sources.significance[b] as number) - (sources.significance[a] as number) || a - b,
  );
  const good = FLAG['over limit'] | FLAG['outside zone'];
  return findTrails({
    x: Float64Array.from(order, (i) => sources.x[i] as number),
    y: Float64Array.from(order, (i) => sources.y[i] as number),
    isStar: Uint8Array.from(order, (i) => (((sources.flags[i] as number) & ~good) === 0 ? 1 : 0)),
    width: frame.rows.width,
    height: frame.rows.height,
    fwhmPx: locus.fwhmPx,
  });
}

function imageTypeOf(text: string | null): NightFrame['imageType'] {
  const plain = (text ?? '').toLowerCase();
  // What was done to a light frame does not make it another kind: 'light, dark subtracted'.
  if (plain.includes('light')) return 'light';
  // A 'flat dark' is a dark; a 'dark flat' too.
  if (plain.includes('dark')) return 'dark';
  if (plain.includes('bias') || plain.includes('zero') || plain.includes('offset')) return 'bias';
  return plain.includes('flat') ? 'flat' : 'light';
}

function pierSideOf(text: string | null): NightFrame['pierSide'] {
  const plain = (text ?? '').trim().toLowerCase();
  return plain === 'east' || plain === 'west' ? plain : null;
}

/** ISO 8601 as FITS writes it: UTC unless it says otherwise (FITS Standard 4.0, section 9.1.1). */
function startOf(dateObs: string | null): number | null {
  if (dateObs === null) return null;
  const hasZone = /(?:Z|[+-]\d\d:?\d\d)$/i.test(dateObs);
  const hasTime = dateObs.includes('T');
  const ms = Date.parse(hasTime && !hasZone ? `${dateObs}Z` : dateObs);
  return Number.isFinite(ms) ? ms : null;
}
