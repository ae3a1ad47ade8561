/** The level of no light: from the header, the user, or a bias frame. Percentages of illumination need it. */
import { planChannels } from '../detect/lattice.js';
import { createFloatReader } from '../frame/convert.js';
import type { Frame, Layout } from '../frame/frame.js';
import { clippedMean, madSigma, medianOf } from '../stats/robust.js';

/** Where a pedestal comes from. */
export type PedestalSource = 'header' | 'option' | 'bias';

/** The pedestal of a frame, ADU. */
export interface Pedestal {
  source: PedestalSource;
  /** Mean over the site lattices. */
  adu: number;
  /** 1 σ at any place of the frame; 0 = taken as exact. */
  errorAdu: number;
  /** One value per site lattice of the frame (order of `planChannels`), or null = the same everywhere. */
  latticeAdu: number[] | null;
}

/** What a bias frame says. */
export interface BiasMeasurement {
  pedestal: Pedestal;
  width: number;
  height: number;
  layout: Layout;
  /** Order of a mosaic's colours, null for others. */
  pattern: string | null;
  binning: number | null;
  /** 1 σ of the mean by the samples' noise alone, of all lattices together. */
  meanErrorAdu: number;
  /** How the level changes from place to place beyond its noise, 1 σ (glow, banding at large scale). */
  structureAdu: number;
  /** Standard deviation of single samples within a cell: the read noise where the exposure is short. */
  noiseAdu: number;
  /** Why this does not look like a bias frame, in words; null when nothing speaks against it. */
  doubt: string | null;
}

/** The level is judged in this many cells along each axis. */
const CELLS = 8;
/** Samples used of a cell and lattice: its mean is then known to a hundredth of the noise. */
const LARGEST_SAMPLE = 8192;
/** Samples farther from the median than this many σ are hot pixels and cosmic rays. */
const CLIP_SIGMA = 4;
/** An exposure longer than this is no bias frame (a dark frame, or a light frame by mistake). */
const LONGEST_BIAS_SECONDS = 1;
/** Structure, or difference of the lattices, as a share of the level from which the frame is doubtful. */
const UNEVEN = 0.05;

/** Pedestal from the header or the user's value, taken as exact; null where neither is known. */
export function knownPedestal(
  headerAdu: number | null,
  optionAdu: number | null | undefined,
): Pedestal | null {
  if (optionAdu !== null && optionAdu !== undefined) {
    return { source: 'option', adu: optionAdu, errorAdu: 0, latticeAdu: null };
  }
  if (headerAdu === null) return null;
  return { source: 'header', adu: headerAdu, errorAdu: 0, latticeAdu: null };
}

/** The pedestal of a bias frame for a frame: site by site where both are mosaics of one order, else one level that covers all sites. */
export function pedestalFor(
  frame: Frame,
  { pedestal, pattern, layout }: BiasMeasurement,
): Pedestal {
  const { latticeAdu } = pedestal;
  if (
    latticeAdu === null ||
    (frame.layout === layout && (frame.cfa?.pattern ?? null) === pattern)
  ) {
    return pedestal;
  }
  const half = 0.5 * (Math.max(...latticeAdu) - Math.min(...latticeAdu));
  return {
    ...pedestal,
    latticeAdu: null,
    errorAdu: Math.sqrt(pedestal.errorAdu ** 2 + half ** 2),
  };
}

/** Why a bias frame is not of the same camera mode as a frame, in words; null when size, layout and binning agree. */
export function biasMismatch(frame: Frame, bias: BiasMeasurement): string | null {
  const { width, height } = frame.rows;
  if (width !== bias.width || height !== bias.height) {
    return `it has ${bias.width} × ${bias.height} px, the frame ${width} × ${height}`;
  }
  const { binning } = frame.metadata;
  if (binning !== null && bias.binning !== null && binning !== bias.binning) {
    return `it is binned ${bias.binning} ×, the frame ${binning} ×`;
  }
  // A mosaic's bias frame may be read as mono: it has no colours to show. Its level is then the same at all sites.
  if (frame.layout === 'rgb' || bias.layout === 'rgb') {
    return frame.layout === bias.layout ? null : 'one of them is a colour picture';
  }
  return null;
}

/**
 * Measures the pedestal of a bias frame: clipped means of 8 × 8 cells in every site lattice. The error covers the noise of
 * the mean and the unevenness of the frame, since one number stands for all places.
 * @param frame a bias frame, or a dark frame of the same exposure as the light (better: dark current then counts as no light)
 * @throws FrameReadError when rows cannot be read
 */
export function measureBias(frame: Frame): BiasMeasurement {
  const { width, height } = frame.rows;
  const plan = planChannels(frame);
  const read = createFloatReader(frame.rows);
  const cellsX = Math.max(1, Math.min(CELLS, Math.floor(width / 8)));
  const cellsY = Math.max(1, Math.min(CELLS, Math.floor(height / 8)));
  const lattices = plan.lattices.length;
  const level = Array.from({ length: lattices }, () => new Float64Array(cellsX * cellsY));
  const noise = Array.from({ length: lattices }, () => new Float64Array(cellsX * cellsY));
  const count = Array.from({ length: lattices }, () => new Float64Array(cellsX * cellsY));
  const tallest = Math.ceil(height / cellsY) + 2;
  const window = new Float32Array(width * tallest);
  const scratch = new Float32Array(LARGEST_SAMPLE + width);
  const out = new Float64Array(3);
  const even = (i: number, n: number, size: number): number =>
    i === n ? size : Math.floor((i * size) / n / 2) * 2;
  for (let plane = 0; plane < plan.planes; plane++) {
    for (let cy = 0; cy < cellsY; cy++) {
      const top = even(cy, cellsY, height);
      const rows = even(cy + 1, cellsY, height) - top;
      read(plane, top, rows, window);
      plan.lattices.forEach((lattice, l) => {
        if (lattice.plane !== plane) return;
        const { x0, y0, step } = lattice;
        for (let cx = 0; cx < cellsX; cx++) {
          const left = even(cx, cellsX, width);
          const right = even(cx + 1, cellsX, width);
          const sites = ((right - left) * rows) / (step * step);
          // Every skip-th row: whole rows, so that patterns along a row are averaged.
          const skip = Math.max(1, Math.ceil(sites / LARGEST_SAMPLE));
          let n = 0;
          for (let y = y0; y < rows; y += step * skip) {
            for (let x = left + x0; x < right; x += step) {
              const value = window[y * width + x] as number;
              if (value - value === 0 && n < scratch.length) scratch[n++] = value;
            }
          }
          const cell = cy * cellsX + cx;
          clippedMean(scratch, n, CLIP_SIGMA, out);
          (level[l] as Float64Array)[cell] = out[0] as number;
          (noise[l] as Float64Array)[cell] = out[1] as number;
          (count[l] as Float64Array)[cell] = out[2] as number;
        }
      });
    }
  }
  return summarise(frame, level, noise, count);
}

function summarise(
  frame: Frame,
  level: readonly Float64Array[],
  noise: readonly Float64Array[],
  count: readonly Float64Array[],
): BiasMeasurement {
  const latticeAdu = level.map((cells) => medianOf(cells));
  const adu = latticeAdu.reduce((sum, value) => sum + value, 0) / latticeAdu.length;
  const noiseAdu = medianOf(noise.map((cells) => medianOf(cells)));
  const perCell = medianOf(
    noise.flatMap((cells, l) =>
      Array.from(cells, (s, i) => s / Math.sqrt(Math.max(1, (count[l] as Float64Array)[i] ?? 1))),
    ),
  );
  // Scatter of the cells about their lattice's level, beyond what noise makes.
  const scatter = madSigma(
    level.flatMap((cells, l) => Array.from(cells, (value) => value - (latticeAdu[l] as number))),
    0,
  );
  const structureAdu = Math.sqrt(Math.max(0, scatter * scatter - perCell * perCell));
  const cells = level.reduce((sum, list) => sum + list.length, 0);
  // 1.2533: a median needs π/2 times the data of a mean.
  const meanErrorAdu = (1.2533 * Math.max(scatter, perCell)) / Math.sqrt(Math.max(1, cells));
  return {
    pedestal: {
      source: 'bias',
      adu,
      errorAdu: Math.sqrt(structureAdu ** 2 + meanErrorAdu ** 2),
      latticeAdu,
    },
    width: frame.rows.width,
    height: frame.rows.height,
    layout: frame.layout,
    pattern: frame.cfa?.pattern ?? null,
    binning: frame.metadata.binning,
    meanErrorAdu,
    structureAdu,
    noiseAdu,
    doubt: doubtOf(frame, latticeAdu, adu, structureAdu),
  };
}

function doubtOf(
  frame: Frame,
  latticeAdu: readonly number[],
  adu: number,
  structureAdu: number,
): string | null {
  const seconds = frame.metadata.exposureSeconds;
  if (!Number.isFinite(adu)) return 'it holds no values';
  const spread = Math.max(...latticeAdu) - Math.min(...latticeAdu);
  if (spread > UNEVEN * Math.abs(adu)) {
    return `its colours differ by ${spread.toFixed(0)} ADU, as light does`;
  }
  if (structureAdu > UNEVEN * Math.abs(adu)) {
    return `its level changes over the frame by ${structureAdu.toFixed(0)} ADU (1 sigma)`;
  }
  if (seconds !== null && seconds > LONGEST_BIAS_SECONDS) {
    return `it was exposed for ${seconds} s: right only as a dark frame of the same exposure`;
  }
  return null;
}
