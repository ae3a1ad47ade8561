/** The same stars as every telescope sees them, on one grid of angles, for pictures: plain numbers, no drawing. */
import { FLAG } from '../catalogue/flags.js';
import type { ChannelPlan } from '../detect/lattice.js';
import { cutStamps, type Stamps } from '../detect/stamps.js';
import { createFloatReader } from '../frame/convert.js';
import { medianOf } from '../stats/robust.js';
import { onFrame } from './common-field.js';
import type { CompareData, LabelData } from './label.js';

/** Unsaturated stars shown, out of the brightest ones. */
const STARS = 4;
const CANDIDATES = 40;
/** Share of R_max that a crop shows to each side, and its largest number of samples a side. */
const SHOWN = 0.75;
const LARGEST_HALF = 80;
/** A neighbour with this share of the star's light inside the crop spoils it. */
const SPOILED = 0.1;

/** One star in one telescope. */
export interface CropImage {
  /**
   * Red, green and blue planes, row-major, `side` × `side` each; three equal ones from a mono frame. Per angular unit², each channel over the
   * star's own light in that channel within R_max: the whole star is white, and one stretch serves all. NaN = no sample.
   */
  rgb: Float32Array;
  colour: boolean;
}

export interface StarCrop {
  side: number;
  /** Angular units from sample to sample. */
  unitPerSample: number;
  /** Magnitudes fainter than the brightest unsaturated common star in the first telescope; null where it is clipped. */
  magnitude: number | null;
  /** Its core is clipped in at least one telescope; its flux comes from the light round the clipped part. */
  saturated: boolean;
  /** Label → image. Turned and mirrored to lie as on the first telescope's reference frame. */
  images: Record<string, CropImage>;
}

/**
 * Cuts up to four bright unsaturated common stars, and the brightest one that some telescope clips, out of the reference frames.
 *
 * Resampled by bilinear interpolation to steps of the finest telescope's pixel; on a mosaic each channel between its own sites (green: the
 * mean of its two lattices). That smooths by a fraction of a pixel: crops are to be looked at, not measured.
 * @param clipped sources of the reference frames by star: those that all see and some clip, brightest first
 * @throws FrameReadError when rows cannot be read
 */
export function starCrops(data: CompareData, clipped: readonly number[][]): StarCrop[] {
  const { labels, rMax } = data;
  if (rMax === null) return [];
  const step = Math.max(
    Math.min(...labels.map(({ unitPerPx }) => unitPerPx)),
    (SHOWN * rMax) / LARGEST_HALF,
  );
  const half = Math.max(4, Math.round((SHOWN * rMax) / step));
  const first = (labels[0] as LabelData).frames[0];
  const { sources } = first.searched.found;
  const flux = sources.flux[first.searched.plan.reference] as Float64Array;
  const chosen = chooseStars(data, half * step).map((star) => ({
    sources: star,
    saturated: false,
  }));
  const brightest = Math.max(...first.stars.map((i) => flux[i] as number));
  const home = clipped.find((star) =>
    labels.every(({ frames: [{ searched }] }, l) =>
      searched.plan.channels.every(
        (_, c) => (searched.found.sources.flux[c]?.[star[l] as number] as number) > 0,
      ),
    ),
  );
  if (home) chosen.push({ sources: home, saturated: true });
  const cut = labels.map((label, l) =>
    cutLabel(
      label,
      chosen.map((star) => star.sources[l] as number),
      half * step,
    ),
  );
  return chosen.map((star, k) => ({
    side: 2 * half + 1,
    unitPerSample: step,
    magnitude: star.saturated
      ? null
      : -2.5 * Math.log10((flux[star.sources[0] as number] as number) / brightest),
    saturated: star.saturated,
    images: Object.fromEntries(
      labels.map((label, l) => [
        label.label,
        resample(
          data,
          label,
          cut[l] as Stamps,
          k,
          star.sources[l] as number,
          star.sources[0] as number,
          half,
          step,
        ),
      ]),
    ),
  }));
}

/** The brightest profile stars without a bright neighbour inside the crop; reference sources by label. */
function chooseStars(data: CompareData, reach: number): number[][] {
  const { labels } = data;
  const first = (labels[0] as LabelData).frames[0];
  const { found, plan } = first.searched;
  const { x, y, n, flags } = found.sources;
  const flux = found.sources.flux[plan.reference] as Float64Array;
  const near = (reach / first.unitPerPx) ** 2;
  const alone = (i: number): boolean => {
    for (let j = 0; j < n; j++) {
      if (j === i) continue;
      const d =
        ((x[j] as number) - (x[i] as number)) ** 2 + ((y[j] as number) - (y[i] as number)) ** 2;
      if (d > near) continue;
      const clipped = ((flags[j] as number) & FLAG.saturated) !== 0;
      if (clipped || (flux[j] as number) > SPOILED * (flux[i] as number)) return false;
    }
    return true;
  };
  const bright = first.stars.slice(0, CANDIDATES).map((_, k) => k);
  const lonely = bright.filter((k) => alone(first.stars[k] as number));
  const rest = bright.filter((k) => !lonely.includes(k));
  return [...lonely, ...rest]
    .slice(0, STARS)
    .sort((a, b) => a - b)
    .map((k) => labels.map(({ frames: [reference] }) => reference.stars[k] as number));
}

function cutLabel(label: LabelData, stars: readonly number[], reach: number): Stamps {
  const { found, frame, plan } = label.frames[0].searched;
  // The corner of a turned square.
  const radius = Math.ceil((Math.SQRT2 * reach) / label.unitPerPx) + 3;
  return cutStamps(
    createFloatReader(frame.rows),
    plan,
    found.mesh,
    stars.map((i) => found.sources.x[i] as number),
    stars.map((i) => found.sources.y[i] as number),
    radius,
  );
}

function resample(
  data: CompareData,
  label: LabelData,
  stamps: Stamps,
  k: number,
  source: number,
  firstSource: number,
  half: number,
  step: number,
): CropImage {
  const { searched, fromFirst } = label.frames[0];
  const { plan, found } = searched;
  const [first] = data.labels as [LabelData, ...LabelData[]];
  const origin = first.frames[0].searched.found.sources;
  const colour = (['R', 'G', 'B'] as const).every((name) => label.channels[name] !== undefined);
  const channels = colour
    ? (['R', 'G', 'B'] as const).map((name) => label.channels[name] as number)
    : [plan.reference, plan.reference, plan.reference];
  const side = 2 * half + 1;
  const rgb = new Float32Array(3 * side * side);
  const x0 = origin.x[firstSource] as number;
  const y0 = origin.y[firstSource] as number;
  const at = new Float64Array(2);
  onFrame(fromFirst, x0, y0, at);
  const centreX = (found.sources.x[source] as number) - (at[0] as number);
  const centreY = (found.sources.y[source] as number) - (at[1] as number);
  channels.forEach((c, plane) => {
    const levels = localLevels(stamps, plan, k, c);
    const flux = (found.sources.flux[c] as Float64Array)[source] as number;
    const factor = 1 / (flux * label.unitPerPx * label.unitPerPx);
    for (let row = 0; row < side; row++) {
      for (let column = 0; column < side; column++) {
        onFrame(
          fromFirst,
          x0 + ((column - half) * step) / first.unitPerPx,
          y0 + ((row - half) * step) / first.unitPerPx,
          at,
        );
        const x = (at[0] as number) + centreX - (stamps.cx[k] as number) + stamps.radius;
        const y = (at[1] as number) + centreY - (stamps.cy[k] as number) + stamps.radius;
        let sum = 0;
        levels.forEach(({ lattice, level }) => {
          sum += between(stamps, plan, k, lattice, x, y) - level;
        });
        rgb[(plane * side + row) * side + column] = (sum / levels.length) * factor;
      }
    }
  });
  return { rgb, colour };
}

/** Lattices of a channel, each with the level round the star that the mesh left. */
function localLevels(
  stamps: Stamps,
  plan: ChannelPlan,
  k: number,
  c: number,
): { lattice: number; level: number }[] {
  const { side, radius } = stamps;
  return (plan.ofChannel[c] as number[]).map((lattice) => {
    const rim: number[] = [];
    eachSite(stamps, plan, k, lattice, (x, y, value) => {
      if (x < 0.15 * side || y < 0.15 * side || x > 0.85 * side || y > 0.85 * side) {
        if (Number.isFinite(value)) rim.push(value);
      }
    });
    return { lattice, level: rim.length > radius ? medianOf(rim) : 0 };
  });
}

function eachSite(
  stamps: Stamps,
  plan: ChannelPlan,
  k: number,
  lattice: number,
  visit: (x: number, y: number, value: number) => void,
): void {
  const { side, planes, data } = stamps;
  const { plane, step } = plan.lattices[lattice] as ChannelPlan['lattices'][number];
  const [fromX, fromY] = firstSite(stamps, plan, k, lattice);
  const base = (k * planes + plane) * side * side;
  for (let y = fromY; y < side; y += step) {
    for (let x = fromX; x < side; x += step) visit(x, y, data[base + y * side + x] as number);
  }
}

/** First site of a lattice inside a stamp. */
function firstSite(
  { cx, cy, radius }: Stamps,
  plan: ChannelPlan,
  k: number,
  lattice: number,
): [number, number] {
  const { x0, y0, step } = plan.lattices[lattice] as ChannelPlan['lattices'][number];
  const start = (origin: number, centre: number): number =>
    (((origin - (centre - radius)) % step) + step) % step;
  return [start(x0, cx[k] as number), start(y0, cy[k] as number)];
}

/** Bilinear interpolation between the four sites of a lattice round (x, y) of the stamp; NaN beyond it. */
function between(
  stamps: Stamps,
  plan: ChannelPlan,
  k: number,
  lattice: number,
  x: number,
  y: number,
): number {
  const { side, planes, data } = stamps;
  const { plane, step } = plan.lattices[lattice] as ChannelPlan['lattices'][number];
  const [fromX, fromY] = firstSite(stamps, plan, k, lattice);
  const u = (x - fromX) / step;
  const v = (y - fromY) / step;
  const i = Math.floor(u);
  const j = Math.floor(v);
  const left = fromX + i * step;
  const top = fromY + j * step;
  if (left < 0 || top < 0 || left + step >= side || top + step >= side) return Number.NaN;
  const base = (k * planes + plane) * side * side;
  const a = data[base + top * side + left] as number;
  const b = data[base + top * side + left + step] as number;
  const c = data[base + (top + step) * side + left] as number;
  const d = data[base + (top + step) * side + left + step] as number;
  const s = u - i;
  const t = v - j;
  return (a * (1 - s) + b * s) * (1 - t) + (c * (1 - s) + d * s) * t;
}
