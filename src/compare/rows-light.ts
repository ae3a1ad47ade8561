/** Rows about light: fall-off, stars found, depth, headroom below clipping. */
import KDBush from 'kdbush';
import { FLAG } from '../catalogue/flags.js';
import { measureIllumination } from '../field/illumination.js';
import { knownPedestal } from '../field/pedestal.js';
import { medianOf } from '../stats/robust.js';
import { COMMON_SNR, ontoFirst } from './common.js';
import type { CompareData, LabelData, LabelFrame } from './label.js';
import type { CompareOptions } from './options.js';
import { makeRow, type Reading, type RowSpec, resampled } from './readings.js';
import type { ComparisonRow } from './result.js';

/** Fewest stars behind a median. */
const FEWEST = 5;
/** Flags of what is no star. */
const NO_STAR = FLAG['hot pixel'] | FLAG['cosmic ray'] | FLAG.edge | FLAG.trail | FLAG.extended;
/** Two detections are one star within this many recorded FWHM, at least px. */
const SAME_FWHM = 1;
const SAME_PX = 1.5;
/** Error of a frame's noise level, magnitudes: the mesh gives it to 1 or 2 %. */
const DEPTH_ERROR = 0.02;
/** Error of a clipping level found in the frame itself, magnitudes. */
const HEADROOM_ERROR = 0.02;

export function lightRows(data: CompareData, options: CompareOptions): ComparisonRow[] {
  return [
    illuminationRow(data, options),
    headroomRow(data, options),
    foundRow(data),
    ...depthRows(data, options),
  ];
}

/** A reading with an error of its own and no draws. */
function plainReading(value: number, sigma: number): Reading {
  return { value, draws: [], sigma, stars: 1, systematic: 0, frames: [] };
}

/** Light in the mean corner of each own frame, where the level of no light is known and no flat was applied. */
function illuminationRow({ labels }: CompareData, { seed }: CompareOptions): ComparisonRow {
  const reasons: string[] = [];
  const readings = labels.map((label): Reading | null => {
    const { frame, plan } = label.frames[0].searched;
    const { metadata } = frame;
    const result = measureIllumination({
      rows: frame.rows,
      plan,
      pedestal: knownPedestal(metadata.pedestalAdu, null),
      gainElectronsPerAdu: metadata.gainElectronsPerAdu,
      pixelSizeUm: metadata.pixelSizeUm,
      focalLengthMm: metadata.focalLengthMm,
      linear: label.linearity?.verdict === 'stretched' || frame.probablyProcessed ? false : null,
      seed,
    });
    const leading = result.reference === null ? null : result.channels[result.reference];
    if (result.status !== 'measured' || !leading) {
      reasons.push(`${label.label}: ${result.reason ?? result.status}`);
      return null;
    }
    const { value, low, high } = leading.meanCornerPercent;
    return plainReading(value, 0.5 * (high - low));
  });
  return makeRow(
    {
      quantity: 'corner illumination',
      group: 'light',
      scope: 'own field',
      unit: '%',
      betterWhen: 'larger',
    },
    labels,
    readings,
    0,
    reasons.length > 0 ? reasons.join('; ') : null,
  );
}

/** Magnitudes between the highest sample of a star and the clipping level: the least over the channels; NaN = unknown. */
function headroomOf({ searched }: LabelFrame, i: number): number {
  const { plan, found } = searched;
  const { sources, saturation, core, stampOf } = found;
  const stamp = stampOf[i] as number;
  const lattices = plan.lattices.length;
  let least = Number.POSITIVE_INFINITY;
  for (let c = 0; c < plan.channels.length; c++) {
    const own = plan.ofChannel[c] as number[];
    const sky =
      stamp < 0
        ? Number.NaN
        : own.reduce((sum, l) => sum + (core.background[stamp * lattices + l] as number), 0) /
          own.length;
    const peak = (sources.peak[i * plan.channels.length + c] as number) - sky;
    const room = (saturation[c] as number) - sky;
    const headroom = 2.5 * Math.log10(room / peak);
    if (Number.isNaN(headroom)) return Number.NaN;
    least = Math.min(least, headroom);
  }
  return least;
}

function headroomRow(
  data: CompareData,
  { seed, bootstrapDraws, maxStars }: CompareOptions,
): ComparisonRow {
  const { labels } = data;
  const n = Math.min(data.common, maxStars);
  const columns = labels.map(({ frames }) =>
    frames.map((frame) =>
      Float64Array.from({ length: n }, (_, k) => headroomOf(frame, frame.common[k] as number)),
    ),
  );
  const unknown = labels.filter((_, l) =>
    columns[l]?.some((column) => column.every((v) => !Number.isFinite(v))),
  );
  const used = Array.from({ length: n }, (_, k) => k).filter((k) =>
    columns.every(
      (frames, l) =>
        unknown.includes(labels[l] as LabelData) ||
        frames.every((column) => Number.isFinite(column[k] as number)),
    ),
  );
  return makeRow(
    {
      quantity: 'saturation headroom',
      group: 'light',
      scope: 'same stars',
      unit: 'mag',
      betterWhen: 'larger',
    },
    labels,
    labels.map((label, l) =>
      unknown.includes(label) || used.length < FEWEST
        ? null
        : resampled(columns[l] as Float64Array[], used, bootstrapDraws, seed + 61, HEADROOM_ERROR),
    ),
    used.length,
    unknown.length > 0
      ? `the level at which stars clip is not known for ${unknown.map(({ label }) => label).join(', ')}`
      : used.length < FEWEST
        ? 'too few common stars'
        : null,
  );
}

/** A star found in the common field by the matched filter, at a place on the first label's reference frame. */
interface Seen {
  x: Float64Array;
  y: Float64Array;
  /** Distance within which another detection is the same star, px of the first frame. */
  same: number;
}

function seenIn(data: CompareData, label: LabelData): Seen {
  const { searched, fromFirst } = label.frames[0];
  const { sources } = searched.found;
  const x: number[] = [];
  const y: number[] = [];
  const at = new Float64Array(2);
  for (let i = 0; i < sources.n; i++) {
    if ((sources.flags[i] as number) & NO_STAR) continue;
    if (!((sources.significance[i] as number) >= COMMON_SNR)) continue;
    ontoFirst(fromFirst, sources.x[i] as number, sources.y[i] as number, at);
    const [u, v] = at as unknown as [number, number];
    if (!data.field.contains(u, v)) continue;
    x.push(u);
    y.push(v);
  }
  const scale = label.unitPerPx / (data.labels[0] as LabelData).unitPerPx;
  const fwhm = Number.isFinite(label.fwhmPx) ? label.fwhmPx : 3;
  return {
    x: Float64Array.from(x),
    y: Float64Array.from(y),
    same: Math.max(SAME_PX, SAME_FWHM * fwhm) * Math.max(1, scale),
  };
}

/**
 * Stars in the part of the sky that all see. Most stars are the same, so that the error of a difference comes only from those that one of
 * the two found and the other did not: √(n₁₀ + n₀₁) (McNemar 1947, Psychometrika 12, 153).
 */
function foundRow(data: CompareData): ComparisonRow {
  const { labels } = data;
  const seen = labels.map((label) => seenIn(data, label));
  const pairSigma = (i: number, j: number): number => {
    const [a, b] = [seen[i] as Seen, seen[j] as Seen];
    const both = sameStars(a, b);
    return Math.sqrt(Math.max(1, a.x.length - both + b.x.length - both));
  };
  return makeRow(
    {
      quantity: 'stars found',
      group: 'depth',
      scope: 'same stars',
      unit: 'count',
      betterWhen: 'larger',
    },
    labels,
    seen.map(({ x }) => plainReading(x.length, Math.sqrt(x.length))),
    Math.max(...seen.map(({ x }) => x.length)),
    null,
    pairSigma,
  );
}

/** Stars of A that have a partner in B, each of B's taken once. */
function sameStars(a: Seen, b: Seen): number {
  if (b.x.length === 0) return 0;
  const tree = new KDBush(b.x.length);
  for (let j = 0; j < b.x.length; j++) tree.add(b.x[j] as number, b.y[j] as number);
  tree.finish();
  const taken = new Uint8Array(b.x.length);
  const radius = Math.max(a.same, b.same);
  let both = 0;
  for (let i = 0; i < a.x.length; i++) {
    const x = a.x[i] as number;
    const y = a.y[i] as number;
    const distance = (j: number): number =>
      ((b.x[j] as number) - x) ** 2 + ((b.y[j] as number) - y) ** 2;
    let nearest = -1;
    for (const j of tree.within(x, y, radius)) {
      if (taken[j] === 1) continue;
      if (nearest < 0 || distance(j) < distance(nearest)) nearest = j;
    }
    if (nearest >= 0) {
      taken[nearest] = 1;
      both++;
    }
  }
  return both;
}

/**
 * Depth: how much fainter a star may be at the same signal-to-noise, where the sky (and read noise) is the noise. For a star of flux F
 * and profile p, measured in the best possible way, S/N = F √(n ∫p² dA) / σ, with n samples of the channel per area and σ the
 * noise of one (King 1983, PASP 95, 163, eq. for the noise-equivalent area 1/∫p²; memory). F is that of the same stars in each telescope.
 */
function depthRows(data: CompareData, options: CompareOptions): ComparisonRow[] {
  const { labels, stars } = data;
  const why = data.noProfiles;
  const depth = labels.map((label): Reading | null =>
    why === null ? depthReading(data, label, options) : null,
  );
  const spec = (quantity: string): RowSpec => ({
    quantity,
    group: 'depth',
    scope: 'same stars',
    unit: 'mag',
    betterWhen: 'larger',
  });
  const exposure = labels.map(({ frames }) => frames[0].searched.frame.metadata.exposureSeconds);
  const aperture = labels.map(({ frames }) => frames[0].searched.frame.metadata.apertureMm);
  const per = (
    quantity: string,
    amount: readonly (number | null)[],
    what: string,
  ): ComparisonRow => {
    const unknown = labels.filter((_, l) => !((amount[l] ?? 0) > 0));
    return makeRow(
      spec(quantity),
      labels,
      depth.map((one, l) => {
        if (one === null || unknown.length > 0) return null;
        // Where the sky is the noise, signal-to-noise grows with the root of time and of area.
        const off = 1.25 * Math.log10((amount[l] as number) / (amount[0] as number));
        return {
          ...one,
          value: one.value - off,
          draws: Array.from(one.draws, (v) => v - off),
          frames: one.frames.map((v) => v - off),
        };
      }),
      stars,
      why ??
        (unknown.length > 0
          ? `${what} not known for ${unknown.map(({ label }) => label).join(', ')}`
          : null),
    );
  };
  return [
    makeRow(spec('depth'), labels, depth, stars, why),
    per('depth per second', exposure, 'exposure time'),
    per(
      'depth per second and cm²',
      exposure.map((t, l) => {
        const d = aperture[l] ?? null;
        return t === null || d === null ? null : t * d * d;
      }),
      'exposure time or aperture',
    ),
  ];
}

/** Depth of a label against the best value of the first, magnitudes. */
function depthReading(
  data: CompareData,
  label: LabelData,
  { seed, bootstrapDraws }: CompareOptions,
): Reading | null {
  const [first] = data.labels as [LabelData, ...LabelData[]];
  const light = logFlux(first);
  const zero = mean(first.frames.map((frame) => sharpness(frame, null)));
  const flux = resampled(
    [Float64Array.from(logFlux(label), (v, k) => v - (light[k] as number))],
    Array.from({ length: data.stars }, (_, k) => k),
    bootstrapDraws,
    seed + 71,
    DEPTH_ERROR,
  );
  const at = (d: number | null): number =>
    mean(label.frames.map((frame) => sharpness(frame, d))) - zero;
  const draws = label.averaged?.draws.length ?? 0;
  const value = flux.value + at(null);
  if (!Number.isFinite(value)) return null;
  return {
    ...flux,
    value,
    draws: Float64Array.from({ length: draws }, (_, d) => (flux.draws[d] as number) + at(d)),
    frames: label.frames.map(
      (frame) => medianDifference(logFluxOf(frame), light) + sharpness(frame, null) - zero,
    ),
  };
}

function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

function medianDifference(a: Float64Array, b: Float64Array): number {
  return medianOf(a.map((v, k) => v - (b[k] as number)));
}

/** 2.5 log10 of the flux of every profile star in the reference channel, ADU; the mean over the frames. */
function logFlux({ frames }: LabelData): Float64Array {
  const each = frames.map(logFluxOf);
  return (each[0] as Float64Array).map((_, k) => mean(each.map((column) => column[k] as number)));
}

function logFluxOf({ profiles, searched }: LabelFrame): Float64Array {
  const flux = profiles?.fluxAdu[searched.plan.reference] ?? new Float64Array(0);
  return flux.map((v) => 2.5 * Math.log10(v));
}

/** 2.5 log10 of √(n ∫p² dA)/σ in px and ADU: what a frame makes of a star of flux 1. From draw `d`, or the best profile. */
function sharpness({ profiles, searched, unitPerPx }: LabelFrame, d: number | null): number {
  if (profiles === null) return Number.NaN;
  const { plan, found } = searched;
  const { radii, best, draws } = profiles.bootstrap;
  const { brightness } = d === null ? best : (draws[d] as typeof best);
  const n = radii.length;
  const from = plan.reference * n;
  let integral = 0;
  for (let i = 1; i < n; i++) {
    const [r0, r1] = [radii[i - 1] as number, radii[i] as number];
    const [p0, p1] = [brightness[from + i - 1] as number, brightness[from + i] as number];
    integral += Math.PI * (r0 * p0 * p0 + r1 * p1 * p1) * (r1 - r0);
  }
  const lattices = plan.ofChannel[plan.reference] as number[];
  const density = lattices.reduce((sum, l) => sum + 1 / (plan.lattices[l]?.step ?? 1) ** 2, 0);
  const noise = mean(lattices.map((l) => found.mesh.medianNoise[l] as number));
  // Samples that share their noise are worth fewer.
  const sigma = noise * Math.max(1, found.peaks.noiseCorrelation);
  return 2.5 * Math.log10(Math.sqrt(density * integral * unitPerPx * unitPerPx) / sigma);
}
