/** Marks stars whose neighbours are too close or too bright to be taken off reliably, and clusters of hot pixels. */
import { FLAG } from '../catalogue/flags.js';
import { madSigma, medianOf } from '../stats/robust.js';
import { opticalFwhm } from './classify.js';
import { findNeighbours } from './neighbours.js';
import type { FitColumns, Sources } from './sources.js';

/** Share of the star's own central brightness that neighbours may add. */
const CENTRE_SHARE = 0.1;
/** Within this distance (FWHM) a neighbour of this flux ratio cannot be told from the star. */
const TOUCHING_FWHM = 1.5;
const TOUCHING_RATIO = 0.05;
/** How far neighbours are looked for, in FWHM. */
const REACH_FWHM = 25;

const NOT_LIGHT = FLAG['hot pixel'] | FLAG['cosmic ray'];

/** Rough flux of every source: fitted where there is a fit, else from the detection's significance. */
function roughFlux(sources: Sources, fits: FitColumns): Float64Array {
  const ratios: number[] = [];
  for (let i = 0; i < sources.n; i++) {
    if ((fits.flux[i] as number) > 0 && (sources.flags[i] as number) === 0) {
      ratios.push((fits.flux[i] as number) / (sources.significance[i] as number));
    }
  }
  const ratio = ratios.length > 0 ? medianOf(ratios) : 1;
  return Float64Array.from({ length: sources.n }, (_, i) => {
    const fitted = fits.flux[i] as number;
    return fitted > 0 ? fitted : ratio * (sources.significance[i] as number);
  });
}

/** Adds the flag "blended" to sources with disturbing neighbours, unless something else than their shape is wrong with them. */
export function flagBlended(sources: Sources, fits: FitColumns, fwhmPx: number): void {
  const flux = roughFlux(sources, fits);
  const who: number[] = [];
  const shapeOnly = FLAG.extended | FLAG['poor fit'];
  for (let i = 0; i < sources.n; i++) {
    if (((sources.flags[i] as number) & ~shapeOnly) === 0) who.push(i);
  }
  const lists = findNeighbours(sources.x, sources.y, who, REACH_FWHM * fwhmPx);
  // A Moffat with β = 2: wings heavier than a good lens has, as a lens with a halo may.
  const alpha = fwhmPx / (2 * Math.sqrt(Math.SQRT2 - 1));
  who.forEach((i, k) => {
    let share = 0;
    let touching = false;
    for (let m = lists.start[k] as number; m < (lists.start[k + 1] as number); m++) {
      const j = lists.index[m] as number;
      if (((sources.flags[j] as number) & NOT_LIGHT) !== 0) continue;
      const ratio = (flux[j] as number) / (flux[i] as number);
      const dx = (sources.x[j] as number) - (sources.x[i] as number);
      const dy = (sources.y[j] as number) - (sources.y[i] as number);
      const r2 = dx * dx + dy * dy;
      share += ratio * (1 + r2 / (alpha * alpha)) ** -2;
      if (r2 < (TOUCHING_FWHM * fwhmPx) ** 2 && ratio > TOUCHING_RATIO) touching = true;
    }
    if (touching || share > CENTRE_SHARE) {
      sources.flags[i] = (sources.flags[i] as number) | FLAG.blended;
    }
  });
}

/**
 * On a frame full of hot pixels some of them touch by chance and pass for stars. When the number of narrow sources is no larger than
 * chance makes it (N · 8 N/area pairs), all of them are hot pixels; when the number of all good sources is no larger than that of chance
 * triples (N/2 · (8 N/area)²) beside hundreds of times as many hot pixels, all of them are.
 * @param limitPx optical FWHM below which a source counts as narrow
 * @returns number of sources relabelled
 */
export function flagHotClusters(
  sources: Sources,
  fits: FitColumns,
  beta: number,
  area: number,
  limitPx: number,
): number {
  let hot = 0;
  let single = 0;
  const good: number[] = [];
  for (let i = 0; i < sources.n; i++) {
    const flags = sources.flags[i] as number;
    if ((flags & FLAG['hot pixel']) !== 0) single++;
    // Most faint spots of such a frame are hot pixels too.
    if ((flags & (FLAG['hot pixel'] | FLAG.faint)) !== 0) hot++;
    else if (flags === 0) good.push(i);
  }
  const pairs = (hot * 8 * hot) / area;
  const triples = (single / 2) * ((8 * single) / area) ** 2;
  const narrow = good.filter((i) => !(opticalFwhm(fits, i, beta) >= limitPx));
  // Only where certain hot pixels outnumber the narrow sources: a crowd of narrow stars is faint neighbours, not hot pixels.
  const narrowByChance = pairs >= 1 && narrow.length <= 3 * pairs + 5 && single > narrow.length;
  const clusters = narrowByChance ? [...narrow] : [];
  const left = good.filter((i) => !clusters.includes(i));
  if (single > 200 * left.length && left.length <= 3 * triples + 3) clusters.push(...left);
  for (const i of clusters) {
    sources.flags[i] = (sources.flags[i] as number) | FLAG['hot pixel'];
  }
  return clusters.length;
}

/** Nearest-neighbour distances of a random field scatter by 0.52 of their mean (Clark & Evans 1954, Ecology 35, 445); below this they are a pattern. */
const PATTERN_SCATTER = 0.25;
const PATTERN_FWHM = 4;
const PATTERN_SOURCES = 20;

/**
 * Touching spots in a regular pattern (a defocused, obstructed or lenslet image) are not stars: flags all good sources as
 * extended when most of them have their nearest neighbour at one and the same short distance.
 * @returns true when a pattern was found
 */
export function flagPattern(sources: Sources, fwhmPx: number): boolean {
  const who: number[] = [];
  for (let i = 0; i < sources.n; i++)
    if (((sources.flags[i] as number) & NOT_LIGHT) === 0) who.push(i);
  if (who.length < PATTERN_SOURCES) return false;
  const lists = findNeighbours(sources.x, sources.y, who, PATTERN_FWHM * fwhmPx);
  const nearest: number[] = [];
  who.forEach((i, k) => {
    let best = Number.POSITIVE_INFINITY;
    for (let m = lists.start[k] as number; m < (lists.start[k + 1] as number); m++) {
      const j = lists.index[m] as number;
      const dx = (sources.x[j] as number) - (sources.x[i] as number);
      const dy = (sources.y[j] as number) - (sources.y[i] as number);
      best = Math.min(best, Math.sqrt(dx * dx + dy * dy));
    }
    if (Number.isFinite(best)) nearest.push(best);
  });
  if (nearest.length < 0.8 * who.length) return false;
  const median = medianOf(nearest);
  if (madSigma(nearest, median) > PATTERN_SCATTER * median) return false;
  for (const i of who) sources.flags[i] = (sources.flags[i] as number) | FLAG.extended;
  return true;
}
