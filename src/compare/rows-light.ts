/** Rows about light: fall-off, stars found, depth, headroom below clipping. */
import KDBush from 'kdbush';
import { FLAG } from '../catalogue/flags.js';
import { measureIllumination } from '../field/illumination.js';
import { knownPedestal } from '../field/pedestal.js';
import { COMMON_SNR } from './common.js';
import { ontoFirst } from './common-field.js';
import type { CompareData, LabelData, LabelFrame } from './label.js';
import type { CompareOptions } from './options.js';
import { makeRow, type Reading, resampled } from './readings.js';
import type { ComparisonRow } from './result.js';

/** Fewest stars behind a median. */
const FEWEST = 5;
/** Flags of what is no star. */
const NO_STAR = FLAG['hot pixel'] | FLAG['cosmic ray'] | FLAG.edge | FLAG.trail | FLAG.extended;
/** Two detections are one star within this many recorded FWHM, at least px. */
const SAME_FWHM = 1;
const SAME_PX = 1.5;
/** A comparison takes the level of no light from headers alone. */
const NO_PEDESTAL =
  'the level of no light is not in its header (PEDESTAL), so levels are not light; the command field takes it as an option';
/** Error of a clipping level found in the frame itself, magnitudes. */
const HEADROOM_ERROR = 0.02;

export function lightRows(data: CompareData, options: CompareOptions): ComparisonRow[] {
  return [illuminationRow(data, options), headroomRow(data, options), foundRow(data)];
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
      pedestalFault: NO_PEDESTAL,
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

/**
 * Magnitudes between the highest sample of a star and the clipping level: the least over the channels; NaN = unknown. A channel in which no
 * star clips has no level of its own: it clips no lower than the others did, so the lowest of theirs stands for it.
 */
function headroomOf({ searched }: LabelFrame, i: number): number {
  const { plan, found } = searched;
  const { sources, saturation, core, stampOf } = found;
  const stamp = stampOf[i] as number;
  const lattices = plan.lattices.length;
  let least = Number.POSITIVE_INFINITY;
  let lowest = Number.NaN;
  for (const known of saturation) if (Number.isFinite(known) && !(lowest <= known)) lowest = known;
  for (let c = 0; c < plan.channels.length; c++) {
    const own = plan.ofChannel[c] as number[];
    const sky =
      stamp < 0
        ? Number.NaN
        : own.reduce((sum, l) => sum + (core.background[stamp * lattices + l] as number), 0) /
          own.length;
    const peak = (sources.peak[i * plan.channels.length + c] as number) - sky;
    const level = saturation[c] as number;
    const room = (Number.isFinite(level) ? level : lowest) - sky;
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
