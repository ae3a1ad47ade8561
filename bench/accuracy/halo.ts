/** Halo and channel sizes of simulated lenses against the truth of their recorded images. */
import type { FrameMetadata } from '../../src/frame/frame.js';
import { measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import type { ChannelName } from '../../src/measure/result.js';
import { truthSizes } from '../../src/simulate/profile-truth.js';
import type { Scene } from '../../src/simulate/scene.js';
import { builtInScene } from '../../src/simulate/scenes.js';
import { type Simulation, simulate } from '../../src/simulate/simulate.js';
import { type HaloTruth, truthHalo } from '../../src/simulate/truth.js';
import { memoryFrame } from '../../tests/helpers/memory-frame.js';
import { fixed, type TextTable } from '../helpers/text-table.js';
import {
  channelLimit,
  errorText,
  SIZE_NAMES,
  type SizeError,
  type SizeName,
  sizeError,
} from './channels.js';
import type { TargetBook } from './targets.js';

export const CONTRASTS = ['blueMinusRed', 'blueMinusGreen', 'redMinusGreen'] as const;
export type ContrastName = (typeof CONTRASTS)[number];

export interface ContrastError {
  measured: number;
  half: number;
  truth: number;
  inside: boolean;
  perfect: number;
  perfectTruth: number;
}

export interface HaloCell {
  lens: string;
  seed: number;
  stars: number;
  rMaxPx: number;
  level: string;
  halo: Record<ContrastName, ContrastError>;
  sizes: Record<'R' | 'G' | 'B', Record<SizeName, SizeError>>;
}

/** The metadata that a file with the scene's header would carry. */
function sceneMetadata({ camera, telescope }: Scene): Partial<FrameMetadata> {
  return {
    gainElectronsPerAdu: camera.gainElectronsPerAdu,
    pixelSizeUm: camera.pixelUm,
    focalLengthMm: telescope.focalLengthMm,
    apertureMm: telescope.apertureMm,
    pedestalAdu: camera.pedestalAdu,
  };
}

function percentOf(truth: HaloTruth, name: ContrastName): number {
  return truth[`${name}Percent`];
}

function compareHalo(lens: string, seed: number, { frame, truth }: Simulation): HaloCell {
  const { scene } = truth;
  const { result } = measureFrame(
    memoryFrame({
      ...frame,
      layout: scene.camera.layout,
      cfa: scene.camera.cfa,
      metadata: sceneMetadata(scene),
    }),
    DEFAULT_MEASURE_OPTIONS,
  );
  const { halo, channels } = result;
  if (!halo) throw new Error(`${lens}, seed ${seed}: no halo was measured`);
  const rMaxPx = halo.blueMinusRed.normalisedWithinPx;
  const known = truthHalo(truth, rMaxPx);
  const perfect = truthHalo(truth.perfectLens, rMaxPx);
  if (!known || !perfect) throw new Error(`${lens}: the scene has no colour`);
  const sizes = (channel: 'R' | 'G' | 'B'): Record<SizeName, SizeError> => {
    const image = truth.channels[channel];
    if (!image) throw new Error(`${lens}: no truth for ${channel}`);
    const expected = truthSizes(image, rMaxPx);
    return Object.fromEntries(
      SIZE_NAMES.map((name) => [name, sizeError(channels[channel]?.[name], expected[name])]),
    ) as Record<SizeName, SizeError>;
  };
  return {
    lens,
    seed,
    stars: result.stars?.used ?? 0,
    rMaxPx,
    level: halo.level,
    halo: Object.fromEntries(
      CONTRASTS.map((name) => {
        const { value, low, high } = halo[name].excessPercent;
        const expected = percentOf(known, name);
        return [
          name,
          {
            measured: value,
            half: (high - low) / 2,
            truth: expected,
            inside: expected >= low && expected <= high,
            perfect: halo[name].perfectLensPercent ?? Number.NaN,
            perfectTruth: percentOf(perfect, name),
          },
        ];
      }),
    ) as HaloCell['halo'],
    sizes: { R: sizes('R'), G: sizes('G'), B: sizes('B') },
  };
}

/** A built-in scene with other stars and other noise, cut to `width` × `height`. */
function variant(lens: string, seed: number, width: number, height: number): Scene {
  const scene = builtInScene(lens);
  return {
    ...scene,
    seed: scene.seed + 100 * seed,
    sky: { ...scene.sky, seed: scene.sky.seed + seed },
    camera: { ...scene.camera, widthPx: width, heightPx: height },
  };
}

const LENSES = ['achromat', 'ed', 'apo', 'control'];

/** Runs the whole section. */
export function lensHalos(
  quick: boolean,
  book: TargetBook,
  progress: (text: string) => void,
): { cells: HaloCell[]; coverage: Record<string, number>; tables: TextTable[] } {
  const cells: HaloCell[] = [];
  for (const lens of quick ? ['small-achromat', 'small-ed', 'small-control'] : LENSES)
    for (let seed = 0; seed < (quick ? 1 : 5); seed++) {
      progress(`halo: ${lens}, sky ${seed + 1}`);
      const scene = quick ? builtInScene(lens) : variant(lens, seed, 1000, 720);
      cells.push(compareHalo(lens, seed + 1, simulate(scene)));
    }
  const coverage = coverageOf(cells);
  return {
    cells,
    coverage,
    tables: [haloTable(cells, book), sizeTable(cells, book), coverageTable(coverage, book, quick)],
  };
}

function haloTable(cells: readonly HaloCell[], book: TargetBook): TextTable {
  return {
    title: 'Halo: excess at r80 of green, per cent of the light',
    columns: [
      'lens',
      'sky',
      'stars',
      'R_max px',
      'B−R measured',
      'truth',
      'B−G measured',
      'truth',
      'R−G measured',
      'truth',
      'perfect B−R',
      'truth',
      'level',
      'target',
    ],
    rows: cells.map((cell) => {
      const { blueMinusRed } = cell.halo;
      for (const name of CONTRASTS) {
        const { measured, truth, half } = cell.halo[name];
        book.file(
          'halo within 2 points of truth',
          measured - truth,
          half,
          2,
          `${fixed(measured - truth, 2)}: ${cell.lens} sky ${cell.seed} ${name}`,
        );
      }
      const off = blueMinusRed.measured - blueMinusRed.truth;
      let verdict = Math.abs(off) <= 2 ? 'reached' : 'missed';
      if (cell.lens.includes('control'))
        verdict = book.file(
          'control within 0.5 point of the perfect lens',
          blueMinusRed.measured - blueMinusRed.perfect,
          blueMinusRed.half,
          0.5,
          `${fixed(blueMinusRed.measured - blueMinusRed.perfect, 2)}: sky ${cell.seed}`,
        );
      return [
        cell.lens,
        cell.seed,
        cell.stars,
        fixed(cell.rMaxPx, 1),
        ...CONTRASTS.flatMap((name) => [
          `${fixed(cell.halo[name].measured, 2)} ± ${fixed(cell.halo[name].half, 2)}`,
          fixed(cell.halo[name].truth, 2),
        ]),
        fixed(blueMinusRed.perfect, 2),
        fixed(blueMinusRed.perfectTruth, 2),
        cell.level,
        verdict,
      ];
    }),
  };
}

function sizeTable(cells: readonly HaloCell[], book: TargetBook): TextTable {
  return {
    title: 'Channel sizes of the lenses: errors in per cent',
    columns: ['lens', 'sky', 'channel', 'FWHM', 'r50', 'r80', 'r90', 'FWHM target'],
    rows: cells.flatMap((cell) =>
      (['R', 'G', 'B'] as const).map((channel) => {
        const achromat = cell.lens.includes('achromat');
        const limit = channelLimit(channel as ChannelName, achromat);
        const { percent, halfPercent } = cell.sizes[channel].fwhmPx;
        const target =
          channel === 'G'
            ? 'channel FWHM of a lens, green ≤ 3 %'
            : `channel FWHM of a lens, ${limit === 8 ? "achromat's blue ≤ 8 %" : 'red and blue ≤ 5 %'}`;
        return [
          cell.lens,
          cell.seed,
          channel,
          ...SIZE_NAMES.map((name) => errorText(cell.sizes[channel][name])),
          book.file(
            target,
            percent,
            halfPercent,
            limit,
            `${fixed(percent, 1)} %: ${cell.lens} sky ${cell.seed} ${channel}`,
          ),
        ];
      }),
    ),
  };
}

/** Share of intervals that hold the truth, per kind of number. */
function coverageOf(cells: readonly HaloCell[]): Record<string, number> {
  const share = (list: boolean[]): number => list.filter(Boolean).length / list.length;
  const out: Record<string, number> = {};
  for (const name of CONTRASTS) out[name] = share(cells.map((cell) => cell.halo[name].inside));
  for (const name of SIZE_NAMES)
    out[name] = share(
      cells.flatMap((cell) => (['R', 'G', 'B'] as const).map((c) => cell.sizes[c][name].inside)),
    );
  out['all halo'] = share(cells.flatMap((cell) => CONTRASTS.map((name) => cell.halo[name].inside)));
  return out;
}

function coverageTable(
  coverage: Record<string, number>,
  book: TargetBook,
  quick: boolean,
): TextTable {
  return {
    title: 'Share of the 68 % intervals that hold the truth, per cent',
    columns: ['number', 'share', 'target 55–80'],
    rows: Object.entries(coverage).map(([name, share]) => [
      name,
      fixed(100 * share, 0),
      // A handful of frames says nothing about a share.
      quick
        ? '–'
        : book.file(
            'intervals hold the truth in 55–80 %',
            100 * share - 67.5,
            0,
            12.5,
            `${fixed(100 * share, 0)} %: ${name}`,
          ),
    ]),
  };
}
