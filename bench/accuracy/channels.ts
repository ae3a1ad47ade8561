/** Sizes of a channel read off its effective profile, against the truth of the recorded image. */
import { measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import type { ChannelName, Uncertain } from '../../src/measure/result.js';
import type { Band } from '../../src/simulate/bands.js';
import { type TruthSizes, truthSizes } from '../../src/simulate/profile-truth.js';
import { opticalWidthFor, type Shape } from '../../tests/helpers/recorded-width.js';
import { fixed, type TextTable } from '../helpers/text-table.js';
import { starField } from './star-field.js';
import type { TargetBook } from './targets.js';

export const SIZE_NAMES = ['fwhmPx', 'r50Px', 'r80Px', 'r90Px'] as const;
export type SizeName = (typeof SIZE_NAMES)[number];

/** Error of one size in per cent, its half-interval, and whether the truth lies inside the interval. */
export interface SizeError {
  percent: number;
  halfPercent: number;
  inside: boolean;
}

export function sizeError(measured: Uncertain | null | undefined, truth: number): SizeError {
  if (!measured) return { percent: Number.NaN, halfPercent: Number.NaN, inside: false };
  return {
    percent: 100 * (measured.value / truth - 1),
    halfPercent: (50 * (measured.high - measured.low)) / truth,
    inside: truth >= measured.low && truth <= measured.high,
  };
}

export interface ChannelCell {
  layout: 'mono' | 'cfa';
  fwhmPx: number;
  channel: ChannelName;
  stars: number;
  rMaxPx: number;
  errors: Record<SizeName, SizeError>;
}

/** Red a little and blue clearly wider than green, as behind a lens with some colour error. */
const CHANNEL_WIDTH: Partial<Record<Band, number>> = { R: 1.05, B: 1.3 };

/** Default R_max is chosen by the measurement; the truth is cut at the same radius. */
function measureCase(
  layout: 'mono' | 'cfa',
  fwhmPx: number,
  stars: number,
  seed: number,
): ChannelCell[] {
  const bare = { gaussian: false, beta: 3.5, ellipticity: 0, angleDeg: 0 };
  const shape: Shape = { ...bare, fwhmPx: opticalWidthFor(fwhmPx, bare) };
  const field = starField({
    shape,
    layout,
    snrs: [[30, 300]],
    each: stars,
    seed,
    spacingPx: Math.max(32, Math.ceil(14 * fwhmPx)),
    channelWidth: CHANNEL_WIDTH,
  });
  const { result } = measureFrame(field.frame, DEFAULT_MEASURE_OPTIONS);
  const names: ChannelName[] = layout === 'mono' ? ['L'] : ['R', 'G', 'B'];
  const profile = result.channels[names.length === 1 ? 'L' : 'G']?.profile;
  const rMaxPx = profile ? profile.radiusPx[profile.radiusPx.length - 1] : Number.NaN;
  return names.map((channel) => {
    const known = field.truth.channels[channel];
    if (!known) throw new RangeError(`no truth for ${channel}`);
    const truth: TruthSizes = truthSizes(known, rMaxPx);
    const measured = result.channels[channel];
    return {
      layout,
      fwhmPx,
      channel,
      stars: result.stars?.used ?? 0,
      rMaxPx,
      errors: Object.fromEntries(
        SIZE_NAMES.map((name) => [name, sizeError(measured?.[name], truth[name])]),
      ) as ChannelCell['errors'],
    };
  });
}

export function errorText({ percent, halfPercent }: SizeError): string {
  return Number.isFinite(percent) ? `${fixed(percent, 1)} ± ${fixed(halfPercent, 1)}` : '–';
}

export function channelLimit(channel: ChannelName, achromat: boolean): number {
  if (channel === 'B' && achromat) return 8;
  return channel === 'R' || channel === 'B' ? 5 : 3;
}

/** Runs the whole section. */
export function channelSizes(
  quick: boolean,
  book: TargetBook,
  progress: (text: string) => void,
): { cells: ChannelCell[]; tables: TextTable[] } {
  const cells: ChannelCell[] = [];
  let seed = 501;
  for (const layout of ['mono', 'cfa'] as const)
    for (const fwhmPx of quick ? [2, 3] : [1.6, 2, 2.5, 3, 4, 6]) {
      progress(`channel sizes: ${layout}, ${fwhmPx} px`);
      cells.push(...measureCase(layout, fwhmPx, quick ? 80 : 150, seed++));
    }
  return {
    cells,
    tables: [
      {
        title:
          'Channel sizes from the effective profile: Moffat β 3.5, S/N 30–300, red 1.05 × and blue 1.3 × the green width; errors in per cent',
        columns: [
          'layout',
          'green FWHM px',
          'channel',
          'stars',
          'R_max px',
          'FWHM',
          'r50',
          'r80',
          'r90',
          'FWHM target',
        ],
        rows: cells.map((cell) => {
          const limit = channelLimit(cell.channel, false);
          const { percent, halfPercent } = cell.errors.fwhmPx;
          return [
            cell.layout === 'mono' ? 'mono' : 'mosaic',
            cell.fwhmPx,
            cell.channel,
            cell.stars,
            fixed(cell.rMaxPx, 1),
            ...SIZE_NAMES.map((name) => errorText(cell.errors[name])),
            book.file(
              `channel FWHM, analytic stars: green and mono ≤ 3 %, red and blue ≤ 5 %`,
              percent / limit,
              halfPercent / limit,
              1,
              `${fixed(percent, 2)} %: ${cell.layout} ${cell.channel} ${cell.fwhmPx} px`,
            ),
          ];
        }),
      },
    ],
  };
}
