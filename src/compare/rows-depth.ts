/** Rows about depth: how faint a star may be at the same signal-to-noise. */
import { medianOf } from '../stats/robust.js';
import type { CompareData, LabelData, LabelFrame } from './label.js';
import type { CompareOptions } from './options.js';
import { makeRow, type Reading, type RowSpec, resampled } from './readings.js';
import type { ComparisonRow } from './result.js';

/** Error of a frame's noise level and of its noise-equivalent area, magnitudes: 1 %. */
const DEPTH_ERROR = 0.012;

/**
 * Depth: how much fainter a star may be at the same signal-to-noise, where the sky (and read noise) is the noise. For a star of flux F
 * and profile p, measured in the best possible way, S/N = F √(n ∫p² dA) / σ, with n samples of the channel per area and σ the
 * noise of one (King 1983, PASP 95, 163, eq. for the noise-equivalent area 1/∫p²; memory). F is that of the same stars in each telescope.
 */
export function depthRows(data: CompareData, options: CompareOptions): ComparisonRow[] {
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
