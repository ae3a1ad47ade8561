/** Which sources may serve as stars of the field map, and how far each reaches. */
import KDBush from 'kdbush';
import { FLAG } from '../catalogue/flags.js';
import type { SearchedFrame } from '../measure/search-frame.js';
import { medianOf } from '../stats/robust.js';

/** Stars with a higher peak, as a share of the clipping level, are left out: sensors bend before they clip. */
const PEAK_SHARE = 0.8;
/** Light of all neighbours that may fall on the star's own samples, as a share of its flux. */
const NEIGHBOUR_SHARE = 0.04;
/** What the shape fit itself decides; all other flags mean that something else than the shape is wrong. */
const SHAPE_FLAGS =
  FLAG['over limit'] |
  FLAG.extended |
  FLAG.blended |
  FLAG['poor fit'] |
  FLAG['cosmic ray'] |
  FLAG.trail |
  FLAG['outside zone'];

/** Candidates, and those left out by reason. */
export interface Candidates {
  kept: number[];
  bright: number;
  neighbour: number;
}

/** Sources whose shapes are worth a fit, brightest first. */
export function chooseCandidates(searched: SearchedFrame): Candidates {
  const { found } = searched;
  const out: Candidates = { kept: [], bright: 0, neighbour: 0 };
  if (!found.locus || found.pattern) return out;
  const crowd = lookAround(searched);
  for (const i of found.fitted) {
    if (((found.sources.flags[i] as number) & ~SHAPE_FLAGS) !== 0) continue;
    if (isBright(searched, i)) out.bright++;
    else if (neighbourShare(searched, crowd, i) > NEIGHBOUR_SHARE) out.neighbour++;
    else out.kept.push(i);
  }
  return out;
}

/** True when any channel comes near its clipping level. */
function isBright({ found, plan }: SearchedFrame, i: number): boolean {
  const channels = plan.channels.length;
  for (let c = 0; c < channels; c++) {
    const limit = found.saturation[c] as number;
    const peak = found.sources.peak[i * channels + c] as number;
    if (limit === limit && peak > PEAK_SHARE * limit) return true;
  }
  return false;
}

interface Crowd {
  tree: KDBush | null;
  flux: Float64Array;
}

/** Index tree and rough flux of all sources that are light. */
function lookAround({ found }: SearchedFrame): Crowd {
  const { sources, reference } = found;
  const fits = sources.fits[reference];
  const ratios: number[] = [];
  for (let i = 0; i < sources.n; i++) {
    const flux = fits?.flux[i] as number;
    if (flux > 0 && sources.flags[i] === 0) ratios.push(flux / (sources.significance[i] as number));
  }
  const ratio = ratios.length > 0 ? medianOf(ratios) : 1;
  const flux = new Float64Array(sources.n);
  for (let i = 0; i < sources.n; i++) {
    const fitted = fits?.flux[i] as number;
    const light = ((sources.flags[i] as number) & FLAG['hot pixel']) === 0;
    flux[i] = !light ? 0 : fitted > 0 ? fitted : ratio * (sources.significance[i] as number);
  }
  if (sources.n === 0) return { tree: null, flux };
  const tree = new KDBush(sources.n);
  for (let i = 0; i < sources.n; i++) tree.add(sources.x[i] as number, sources.y[i] as number);
  tree.finish();
  return { tree, flux };
}

/**
 * Light of the neighbours on the star's own samples, as a share of its flux: each neighbour's Moffat (exponent 2.5, heavier wings
 * than the fit's) summed over the fit's circle, taken half a radius nearer than it stands.
 */
function neighbourShare(searched: SearchedFrame, { tree, flux }: Crowd, i: number): number {
  const { found } = searched;
  const fwhm = localFwhm(searched, i);
  if (!tree) return 0;
  const radius = 2.2 * fwhm + 2;
  const x = found.sources.x[i] as number;
  const y = found.sources.y[i] as number;
  let share = 0;
  for (const j of tree.within(x, y, 2.5 * radius)) {
    if (j === i || !((flux[j] as number) > 0)) continue;
    const dx = (found.sources.x[j] as number) - x;
    const dy = (found.sources.y[j] as number) - y;
    const distance = Math.sqrt(dx * dx + dy * dy);
    const ratio = (flux[j] as number) / (flux[i] as number);
    if (distance < radius) share += ratio;
    else {
      const alpha = 0.9 * fwhm;
      const gap = distance - 0.5 * radius;
      share += ratio * 0.5 * (1 + (gap * gap) / (alpha * alpha)) ** -1.5;
    }
  }
  return share;
}

/** Fitted FWHM of a source (before the pixel), between half and four times the frame's typical one. */
export function localFwhm({ found }: SearchedFrame, i: number): number {
  const typical = found.locus?.fwhmPx ?? 3;
  const fits = found.sources.fits[found.reference];
  const beta = Number.isFinite(found.beta) ? found.beta : 10;
  const alpha = fits?.alpha[i] as number;
  const own =
    found.beta === Number.POSITIVE_INFINITY
      ? 2.3548 * alpha
      : 2 * alpha * Math.sqrt(2 ** (1 / beta) - 1);
  const fwhm = own > 0 ? Math.min(4 * typical, Math.max(0.5 * typical, own)) : typical;
  return Math.sqrt(fwhm * fwhm + 0.7);
}

/** Size that nearly all stars stay below: decides the stamps. */
export function wideFwhm(searched: SearchedFrame, list: readonly number[]): number {
  if (list.length === 0) return 3;
  const sizes = list.map((i) => localFwhm(searched, i)).sort((a, b) => a - b);
  return sizes[Math.min(sizes.length - 1, Math.floor(0.97 * sizes.length))] as number;
}
