/** Follows the stars of the sharpest frame through all others and measures them in apertures that grow with the defocus. */
import { FLAG } from '../catalogue/flags.js';
import type { ChannelPlan } from '../detect/lattice.js';
import { createFloatReader } from '../frame/convert.js';
import type { Frame } from '../frame/frame.js';
import { matchStars } from '../match/match.js';
import type { StarList } from '../match/star-list.js';
import { applyTransform, shiftTransform, type Transform } from '../match/transform.js';
import { matchListOf } from '../measure/match-list.js';
import { DEFAULT_MEASURE_OPTIONS } from '../measure/options.js';
import { searchFrame } from '../measure/search-frame.js';
import { medianOf } from '../stats/robust.js';
import { type ApertureSamples, apertureSizes } from './apertures.js';

/** What a first look at a frame keeps. */
export interface Sighted {
  list: StarList;
  fwhmPx: number;
  width: number;
  height: number;
  /** Every detection, for neighbours: place, significance. */
  x: Float64Array;
  y: Float64Array;
  significance: Float64Array;
  /** Detections fit to be followed, best first. */
  usable: number[];
  clipped: number;
}

const NOT_FOLLOWED =
  FLAG.saturated | FLAG['hot pixel'] | FLAG['cosmic ray'] | FLAG.edge | FLAG.trail | FLAG.extended;
/** Significance below which second moments in a wide aperture are noise. */
const LEAST_SIGNIFICANCE = 40;
/** A fainter neighbour than this share is left where it is. */
const NEIGHBOUR_SHARE = 0.02;
/** Aperture: 3.5 σ of one axis and two pixels; a uniform disc of radius a has σ = a/2. */
const APERTURE_SIGMA = 3.5;
const APERTURE_MARGIN_PX = 2;
const LARGEST_APERTURE_PX = 80;

/** Finds the stars of one frame. */
export function sight(frame: Frame): Sighted {
  const searched = searchFrame(frame, DEFAULT_MEASURE_OPTIONS, () => {});
  const { sources, locus } = searched.found;
  const fits = sources.fits[searched.found.reference];
  const usable: number[] = [];
  let clipped = 0;
  for (let i = 0; i < sources.n; i++) {
    const flags = sources.flags[i] as number;
    if ((flags & FLAG.saturated) !== 0) clipped++;
    if ((flags & NOT_FOLLOWED) !== 0 || !Number.isFinite(fits?.x[i] ?? Number.NaN)) continue;
    if ((sources.significance[i] as number) >= LEAST_SIGNIFICANCE) usable.push(i);
  }
  usable.sort((a, b) => (sources.significance[b] as number) - (sources.significance[a] as number));
  return {
    list: matchListOf(searched).list,
    fwhmPx: locus?.fwhmPx ?? Number.NaN,
    width: frame.rows.width,
    height: frame.rows.height,
    x: sources.x.slice(),
    y: sources.y.slice(),
    significance: sources.significance.slice(),
    usable,
    clipped,
  };
}

/**
 * From the sharpest frame to each other one, in order of position. Where stars do not match, the neighbour's transform towards focus
 * serves; the centroids take the rest up.
 */
export function chainTransforms(
  sighted: readonly (Sighted | null)[],
  sharpest: number,
): { transform: Transform; matched: boolean }[] {
  const base = sighted[sharpest] as Sighted;
  const found = sighted.map((one, i) => {
    if (i === sharpest) return shiftTransform(0, 0);
    if (one === null || one.list.x.length < 3) return null;
    const match = matchStars(base.list, one.list, { nearlyAligned: true, mirrored: false });
    return match.found ? match.transform : null;
  });
  return found.map((own, i) => {
    if (own !== null) return { transform: own, matched: true };
    const towards = Math.sign(sharpest - i);
    for (let k = i + towards; ; k += towards) {
      const next = found[k];
      if (next) return { transform: next, matched: false };
    }
  });
}

/** Stars of the sharpest frame without neighbours within `radius`, inside by `radius`, at most `most`. */
export function isolatedStars(base: Sighted, radius: number, most: number): number[] {
  return base.usable
    .filter((i) => {
      const x = base.x[i] as number;
      const y = base.y[i] as number;
      if (Math.min(x, y, base.width - 1 - x, base.height - 1 - y) < radius) return false;
      const limit = NEIGHBOUR_SHARE * (base.significance[i] as number);
      for (let k = 0; k < base.x.length; k++) {
        if (k === i || (base.significance[k] as number) < limit) continue;
        if (((base.x[k] as number) - x) ** 2 + ((base.y[k] as number) - y) ** 2 < radius * radius) {
          return false;
        }
      }
      return true;
    })
    .slice(0, most);
}

export interface Followed {
  /** Per channel: star-major xx, xy, yy; then HFD. */
  moments: Float64Array[];
  hfd: Float64Array[];
  /** Aperture radius per channel, px. */
  radii: number[];
}

/** Measures stars at (x, y) of this frame; the aperture of each channel suits the frame's own median size. */
export function followStars(
  frame: Frame,
  plan: ChannelPlan,
  x: ArrayLike<number>,
  y: ArrayLike<number>,
  transform: Transform,
  startPx: number,
): Followed {
  const n = x.length;
  const stampRadius = LARGEST_APERTURE_PX;
  const stars = Array.from({ length: n }, (_, i) => {
    const [sx, sy] = applyTransform(
      transform,
      x[i] as number,
      y[i] as number,
    ) as unknown as number[];
    return stampSamples(frame, plan, sx as number, sy as number, stampRadius);
  });
  const moments: Float64Array[] = [];
  const hfd: Float64Array[] = [];
  const radii: number[] = [];
  for (let c = 0; c < plan.channels.length; c++) {
    let radius = Math.max(6, startPx);
    let sizes = stars.map((star) => sizesOf(star[c], radius));
    for (let round = 0; round < 8; round++) {
      const sigma = Math.sqrt(
        medianOf(sizes.map((s) => (s === null ? Number.NaN : (s.xx + s.yy) / 2))),
      );
      if (!Number.isFinite(sigma)) break;
      const next = Math.min(stampRadius / 1.5, APERTURE_SIGMA * sigma + APERTURE_MARGIN_PX);
      if (Math.abs(next / radius - 1) < 0.005) break;
      radius = next;
      sizes = stars.map((star) => sizesOf(star[c], radius));
    }
    const m = new Float64Array(3 * n).fill(Number.NaN);
    const h = new Float64Array(n).fill(Number.NaN);
    sizes.forEach((s, i) => {
      if (s === null) return;
      m.set([s.xx, s.xy, s.yy], 3 * i);
      h[i] = s.hfdPx;
    });
    moments.push(m);
    hfd.push(h);
    radii.push(radius);
  }
  return { moments, hfd, radii };
}

/** Sizes after the median of the ring round the aperture is taken off. */
function sizesOf(samples: ApertureSamples | undefined, radius: number) {
  if (samples === undefined || samples.n === 0) return null;
  const ring: number[] = [];
  for (let i = 0; i < samples.n; i++) {
    const r = Math.sqrt((samples.dx[i] as number) ** 2 + (samples.dy[i] as number) ** 2);
    if (r > 1.15 * radius && r < 1.5 * radius + 2) ring.push(samples.value[i] as number);
  }
  if (ring.length < 20) return null;
  const sky = medianOf(ring);
  return apertureSizes({ ...samples, value: samples.value.map((v) => v - sky) }, radius);
}

/** Samples of every channel within `radius` of (x, y); empty where the place lies outside the frame. */
function stampSamples(
  frame: Frame,
  plan: ChannelPlan,
  x: number,
  y: number,
  radius: number,
): ApertureSamples[] {
  const { width, height } = frame.rows;
  const read = createFloatReader(frame.rows);
  const y0 = Math.max(0, Math.ceil(y - radius));
  const y1 = Math.min(height - 1, Math.floor(y + radius));
  const x0 = Math.max(0, Math.ceil(x - radius));
  const x1 = Math.min(width - 1, Math.floor(x + radius));
  const lists = plan.channels.map(() => ({
    dx: [] as number[],
    dy: [] as number[],
    value: [] as number[],
  }));
  if (y1 >= y0 && x1 >= x0) {
    const rows = new Float32Array(width * (y1 - y0 + 1));
    let loaded = -1;
    for (const lattice of plan.lattices) {
      if (lattice.plane !== loaded) read(lattice.plane, y0, y1 - y0 + 1, rows);
      loaded = lattice.plane;
      const list = lists[lattice.channel];
      if (list === undefined) continue;
      const { step } = lattice;
      for (let yy = y0 + ((((lattice.y0 - y0) % step) + step) % step); yy <= y1; yy += step) {
        for (let xx = x0 + ((((lattice.x0 - x0) % step) + step) % step); xx <= x1; xx += step) {
          const value = rows[(yy - y0) * width + xx] as number;
          if (!Number.isFinite(value)) continue;
          list.dx.push(xx - x);
          list.dy.push(yy - y);
          list.value.push(value);
        }
      }
    }
  }
  return lists.map(({ dx, dy, value }) => ({
    n: dx.length,
    dx: Float64Array.from(dx),
    dy: Float64Array.from(dy),
    value: Float64Array.from(value),
  }));
}
