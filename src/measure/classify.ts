/** Labels every candidate: a usable star, or why not. Nothing is dropped without a flag. */
import { FLAG } from '../catalogue/flags.js';
import type { ChannelPlan } from '../detect/lattice.js';
import { SATURATION_MARGIN } from '../detect/saturation.js';
import { type Stamps, siteTable } from '../detect/stamps.js';
import { madSigma, medianOf } from '../stats/robust.js';
import { fwhmOfAlpha } from './moffat-model.js';
import { type FitColumns, noiseSnr, type Sources } from './sources.js';

/** Share of the light outside the brightest sample below which a source is a hot pixel (a star of FWHM 1.3 px leaves more than 1.0, one of 1.0 px still 0.3). */
const HOT_REST_SHARE = 0.15;
/** Half-width of the box in which a hot pixel's surroundings are summed. */
const HOT_BOX = 2;

/**
 * Edge, saturation and hot-pixel flags, which need only the stamps.
 * @param saturation clipping level per channel, physical ADU; NaN = unknown
 * @param edgePx stars whose centre is closer to the border are flagged
 */
export function flagSamples(
  stamps: Stamps,
  stampOf: Int32Array,
  plan: ChannelPlan,
  sources: Sources,
  saturation: Float64Array,
  edgePx: number,
  width: number,
  height: number,
): void {
  const { radius, side, planes, data } = stamps;
  const table = siteTable(plan);
  const channels = plan.channels.length;
  const lattices = plan.lattices.length;
  const near = Math.min(radius, Math.max(1, Math.ceil(edgePx)));
  for (let i = 0; i < sources.n; i++) {
    const x = sources.x[i] as number;
    const y = sources.y[i] as number;
    let flags = 0;
    if (x < edgePx || y < edgePx || x > width - 1 - edgePx || y > height - 1 - edgePx) {
      flags |= FLAG.edge;
    }
    const stamp = stampOf[i] as number;
    if (stamp >= 0) {
      let brightest = Number.NEGATIVE_INFINITY;
      let brightestSigma = 1;
      let bx = 0;
      let by = 0;
      for (let plane = 0; plane < planes; plane++) {
        for (let dy = -near; dy <= near; dy++) {
          for (let dx = -near; dx <= near; dx++) {
            const net = data[
              ((stamp * planes + plane) * side + dy + radius) * side + dx + radius
            ] as number;
            const parity =
              (((stamps.cy[stamp] as number) + dy) & 1) * 2 +
              (((stamps.cx[stamp] as number) + dx) & 1);
            const l = table[plane * 4 + parity] as number;
            // A lattice without any value says nothing about single stars.
            if (!((stamps.noise[stamp * lattices + l] as number) > 0)) continue;
            if (net !== net) {
              if (dx * dx + dy * dy <= edgePx * edgePx) flags |= FLAG.edge;
              continue;
            }
            const channel = plan.lattices[l]?.channel ?? 0;
            const physical = net + (stamps.background[stamp * lattices + l] as number);
            const at = i * channels + channel;
            if (!((sources.peak[at] as number) >= physical)) sources.peak[at] = physical;
            const limit = SATURATION_MARGIN * (saturation[channel] as number);
            if (physical >= limit) flags |= FLAG.saturated;
            const sigma = stamps.noise[stamp * lattices + l] as number;
            if (dx >= -HOT_BOX && dx <= HOT_BOX && dy >= -HOT_BOX && dy <= HOT_BOX) {
              const s = net / sigma;
              if (s > brightest) {
                brightest = s;
                brightestSigma = sigma;
                bx = dx;
                by = dy;
              }
            }
          }
        }
      }
      // The light next to the brightest sample, in the same units, all lattices alike.
      let rest = 0;
      for (let plane = 0; plane < planes; plane++) {
        for (let dy = by - 1; dy <= by + 1; dy++) {
          for (let dx = bx - 1; dx <= bx + 1; dx++) {
            if (dx === bx && dy === by) continue;
            if (dx < -radius || dy < -radius || dx > radius || dy > radius) continue;
            const net = data[
              ((stamp * planes + plane) * side + dy + radius) * side + dx + radius
            ] as number;
            if (net !== net) continue;
            rest += net / brightestSigma;
          }
        }
      }
      if (planes > 1) rest /= planes;
      if (brightest > 4 && rest < HOT_REST_SHARE * brightest) flags |= FLAG['hot pixel'];
    }
    sources.flags[i] = (sources.flags[i] as number) | flags;
  }
}

/** What the frame's own stars look like in the reference channel. */
export interface StarLocus {
  /** Median optical FWHM (geometric mean of the axes), px. */
  fwhmPx: number;
  /** Robust scatter of ln FWHM among the bright stars, after the field trend. */
  scatter: number;
  /** Trend of ln FWHM over the frame: c0 + c1 X + c2 Y + c3 X² + c4 XY + c5 Y², X, Y in −1 … 1. */
  trend: Float64Array;
  e1: number;
  e2: number;
  eScatter: number;
  stars: number;
}

/** e = (a − b)/(a + b) from g of the fit, as components. */
function ellipticityOf(g1: number, g2: number): [number, number] {
  const g = Math.sqrt(g1 * g1 + g2 * g2);
  if (g < 1e-9) return [0, 0];
  const e = (1 - Math.sqrt(1 - g * g)) / g;
  return [(e * g1) / g, (e * g2) / g];
}

/** Geometric mean of the two axes' FWHM of a fit, px, before the pixel. */
export function opticalFwhm(fits: FitColumns, i: number, beta: number): number {
  const g1 = fits.g1[i] as number;
  const g2 = fits.g2[i] as number;
  return fwhmOfAlpha(fits.alpha[i] as number, beta) * (1 - g1 * g1 - g2 * g2) ** 0.25;
}

const SMALLEST_OPTICAL_FWHM = 0.45;
/** Reduced χ² with a 6 % model error beyond which a fit says nothing. */
const WORST_QUALITY = 4;
const SMALLEST_MINOR_FWHM = 0.3;
const UNDERSAMPLED_FWHM = 0.9;
/** An elongated source whose short axis is below this share of the stars' width is a track, not two stars. */
const TRACK_WIDTH = 0.65;
const ODD_SHAPE = 1.2;

/**
 * Flags what the fits show: cosmic ray (too narrow), extended (too wide), poor fit, faint, and elongated outliers as
 * trail (several on one line) or blended.
 */
export function flagShapes(
  sources: Sources,
  fits: FitColumns,
  list: readonly number[],
  locus: StarLocus,
  beta: number,
  smallestSnr: number,
  width: number,
  height: number,
): void {
  const outliers: number[] = [];
  for (const i of list) {
    const alpha = fits.alpha[i] as number;
    if (alpha !== alpha) {
      // A fit that fails on a faint source says only that it is faint.
      sources.flags[i] = (sources.flags[i] as number) | weakFlag(sources, i);
      continue;
    }
    const fwhm = opticalFwhm(fits, i, beta);
    const g = Math.sqrt((fits.g1[i] as number) ** 2 + (fits.g2[i] as number) ** 2);
    const minor = fwhmOfAlpha(alpha, beta) * Math.sqrt(1 - g);
    const expected = trendAt(locus, sources.x[i] as number, sources.y[i] as number, width, height);
    const error = fits.lnAlphaError[i] as number;
    const ratio = Math.log(fwhm) - expected;
    const wide = Math.max(0.3, 5 * locus.scatter) + 3 * error;
    const narrow = Math.max(0.35, 5 * locus.scatter) + 3 * error;
    const [e1, e2] = ellipticityOf(fits.g1[i] as number, fits.g2[i] as number);
    const off = Math.sqrt((e1 - locus.e1) ** 2 + (e2 - locus.e2) ** 2);
    const long = off / (Math.max(0.15, 5 * locus.eScatter) + 2 * (fits.gError[i] as number));
    let flags = 0;
    // Where the stars themselves are narrower than a pixel, no absolute width tells them from cosmic rays.
    const tooNarrow =
      locus.fwhmPx > UNDERSAMPLED_FWHM &&
      (fwhm < SMALLEST_OPTICAL_FWHM || minor < SMALLEST_MINOR_FWHM);
    if (tooNarrow || ratio < -narrow) {
      flags |= FLAG['cosmic ray'];
    } else {
      if (ratio > wide) flags |= FLAG.extended;
      // A little too wide and a little too long together are as telling as one of them alone.
      const odd = long * long + Math.max(0, ratio / wide) ** 2;
      if (long > 1 || (flags === 0 && odd > ODD_SHAPE)) outliers.push(i);
    }
    if (flags === 0 && (fits.quality[i] as number) > WORST_QUALITY) flags |= FLAG['poor fit'];
    if (flags === 0 && noiseSnr(fits, i) < smallestSnr) flags |= weakFlag(sources, i);
    sources.flags[i] = (sources.flags[i] as number) | flags;
  }
  flagElongated(sources, fits, outliers, locus.fwhmPx, beta);
}

/** Significance from which a source without a usable fit is a failure of the model, not of the light. */
const CLEAR_SIGNIFICANCE = 100;

/**
 * Flag of a source whose fit has failed or leaves its flux undetermined: faint, unless the matched filter sees it very clearly; then it is the
 * model that fails (a crowd, a star narrower than the grid).
 */
export function weakFlag(sources: Sources, i: number): number {
  return (sources.significance[i] as number) < CLEAR_SIGNIFICANCE ? FLAG.faint : FLAG['poor fit'];
}

/** Elongated outliers that lie on one line with two others, along their own long axis, are a trail; of the rest the narrow ones are tracks of cosmic rays, the others two stars in one. */
function flagElongated(
  sources: Sources,
  fits: FitColumns,
  outliers: readonly number[],
  fwhmPx: number,
  beta: number,
): void {
  for (const i of outliers) {
    const angle = 0.5 * Math.atan2(fits.g2[i] as number, fits.g1[i] as number);
    const ux = Math.cos(angle);
    const uy = Math.sin(angle);
    let companions = 0;
    for (const j of outliers) {
      if (j === i) continue;
      const other = 0.5 * Math.atan2(fits.g2[j] as number, fits.g1[j] as number);
      const turn = Math.abs(Math.sin(other - angle));
      if (turn > 0.2) continue;
      const dx = (sources.x[j] as number) - (sources.x[i] as number);
      const dy = (sources.y[j] as number) - (sources.y[i] as number);
      const across = Math.abs(dx * uy - dy * ux);
      const along = Math.abs(dx * ux + dy * uy);
      if (across < fwhmPx + 0.05 * along) companions++;
    }
    // What is too wide and no trail stays a galaxy, or two stars nobody can tell from one.
    const flags = sources.flags[i] as number;
    const g = Math.sqrt((fits.g1[i] as number) ** 2 + (fits.g2[i] as number) ** 2);
    const minor = fwhmOfAlpha(fits.alpha[i] as number, beta) * Math.sqrt(1 - g);
    if (companions >= 2) sources.flags[i] = flags | FLAG.trail;
    else if (minor < TRACK_WIDTH * fwhmPx) sources.flags[i] = flags | FLAG['cosmic ray'];
    else if ((flags & FLAG.extended) === 0) sources.flags[i] = flags | FLAG.blended;
  }
}

/** ln FWHM expected at a position. */
function trendAt(locus: StarLocus, x: number, y: number, width: number, height: number): number {
  const u = (2 * x) / width - 1;
  const v = (2 * y) / height - 1;
  const c = locus.trend;
  return (
    (c[0] as number) +
    (c[1] as number) * u +
    (c[2] as number) * v +
    (c[3] as number) * u * u +
    (c[4] as number) * u * v +
    (c[5] as number) * v * v
  );
}

/** Median and robust scatter of size and ellipticity among fits of unflagged sources with snr ≥ 20 (or the best dozen). */
export function findLocus(
  sources: Sources,
  fits: FitColumns,
  list: readonly number[],
  beta: number,
  width: number,
  height: number,
  fitTrend: (u: number[], v: number[], value: number[]) => Float64Array | null,
): StarLocus | null {
  const usable = list.filter(
    (i) =>
      (sources.flags[i] as number) === 0 &&
      (fits.alpha[i] as number) > 0 &&
      opticalFwhm(fits, i, beta) > SMALLEST_OPTICAL_FWHM &&
      noiseSnr(fits, i) > 10,
  );
  if (usable.length === 0) return null;
  let size = usable.map((i) => Math.log(opticalFwhm(fits, i, beta)));
  const median = medianOf(size);
  const trend = new Float64Array(6);
  trend[0] = median;
  if (usable.length >= 40) {
    const fitted = fitTrend(
      usable.map((i) => (2 * (sources.x[i] as number)) / width - 1),
      usable.map((i) => (2 * (sources.y[i] as number)) / height - 1),
      size,
    );
    if (fitted) trend.set(fitted);
  }
  const locus: StarLocus = {
    fwhmPx: Math.exp(median),
    scatter: 0,
    trend,
    e1: 0,
    e2: 0,
    eScatter: 0,
    stars: usable.length,
  };
  size = usable.map(
    (i, k) =>
      (size[k] as number) -
      trendAt(locus, sources.x[i] as number, sources.y[i] as number, width, height),
  );
  locus.scatter = madSigma(size);
  const e = usable.map((i) => ellipticityOf(fits.g1[i] as number, fits.g2[i] as number));
  locus.e1 = medianOf(e.map((pair) => pair[0]));
  locus.e2 = medianOf(e.map((pair) => pair[1]));
  locus.eScatter = madSigma(
    e.map((pair) => Math.sqrt((pair[0] - locus.e1) ** 2 + (pair[1] - locus.e2) ** 2)),
    0,
  );
  return locus;
}
