/** Single stars: bias and scatter of size, centroid, ellipticity and flux, beside the Cramér–Rao bound. */
import { measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { encircledAt } from '../../src/simulate/profile-truth.js';
import { latticesOf } from '../../src/simulate/sites.js';
import { opticalWidthFor, recordedAxes, type Shape } from '../../tests/helpers/recorded-width.js';
import { fixed, type TextTable, withError } from '../helpers/text-table.js';
import { starBounds } from './bound.js';
import { GAIN, matchStars, PIXEL_VARIANCE, starField } from './star-field.js';
import { type ErrorSummary, summarise } from './statistics.js';
import type { TargetBook } from './targets.js';

type Layout = 'mono' | 'rgb' | 'cfa';
type Channel = 'L' | 'R' | 'G' | 'B';

const SNRS = [10, 30, 100, 300];
const WIDTHS_PX = [1.3, 1.6, 2, 2.5, 3, 4, 6, 8];
/** Not along any axis of the pixels. */
const ANGLE_DEG = 20;
/** Radius of light in fluxes; the stars stand far enough apart for it and its annulus. */
const RMAX_FWHM = 5;
const SPACING_FWHM = 12;

interface NamedShape {
  name: string;
  gaussian: boolean;
  beta: number;
  ellipticity: number;
}

const STANDARD: NamedShape = { name: 'β 3.5', gaussian: false, beta: 3.5, ellipticity: 0 };
const SHAPES: NamedShape[] = [
  STANDARD,
  { name: 'β 3.5, e 0.1', gaussian: false, beta: 3.5, ellipticity: 0.1 },
  { name: 'β 2.5', gaussian: false, beta: 2.5, ellipticity: 0 },
  { name: 'β 2.5, e 0.1', gaussian: false, beta: 2.5, ellipticity: 0.1 },
  { name: 'Gaussian', gaussian: true, beta: Number.POSITIVE_INFINITY, ellipticity: 0 },
  {
    name: 'Gaussian, e 0.1',
    gaussian: true,
    beta: Number.POSITIVE_INFINITY,
    ellipticity: 0.1,
  },
];

/** Errors of the stars of one brightness. */
export interface StarCell {
  layout: Layout;
  channel: Channel;
  shape: string;
  fwhmPx: number;
  snr: number;
  stars: number;
  /** Per cent of the true FWHM. */
  fwhm: ErrorSummary;
  /** Scatter over the bound. */
  sizeRatio: number;
  /** px, x and y together. */
  centroid: ErrorSummary;
  centroidRatio: number;
  /** The same against the bound of all channels together. */
  sharedCentroidRatio: number;
  e1: ErrorSummary;
  e2: ErrorSummary;
  /** Per cent. */
  flux: ErrorSummary;
}

function measureCase(
  layout: Layout,
  shape: NamedShape,
  fwhmPx: number,
  each: number,
  seed: number,
): StarCell[] {
  const bare = { ...shape, angleDeg: ANGLE_DEG };
  const star: Shape = { ...bare, fwhmPx: opticalWidthFor(fwhmPx, bare) };
  const field = starField({
    shape: star,
    layout,
    snrs: SNRS,
    each,
    seed,
    spacingPx: Math.max(24, Math.ceil(SPACING_FWHM * fwhmPx)),
  });
  const rMaxPx = Math.max(6, RMAX_FWHM * fwhmPx);
  const { catalogue } = measureFrame(field.frame, {
    ...DEFAULT_MEASURE_OPTIONS,
    rMaxPx,
    // Intervals of the profile are not looked at here.
    bootstrapDraws: 10,
  });
  const { columns } = catalogue;
  const row = matchStars(field.stars, columns.x, columns.y, Math.max(1, 0.5 * fwhmPx));
  const [a, b] = recordedAxes(star);
  const ellipticity = (a - b) / (a + b);
  const e1 = ellipticity * Math.cos((2 * ANGLE_DEG * Math.PI) / 180);
  const e2 = ellipticity * Math.sin((2 * ANGLE_DEG * Math.PI) / 180);
  // Recorded size against optical size: a change of ln width shows weakened by the pixel.
  const [wideA, wideB] = recordedAxes({ ...star, fwhmPx: star.fwhmPx * 1.01 });
  const slope = Math.log((wideA * wideB) / (a * b)) / 2 / Math.log(1.01);
  const channels: Channel[] = layout === 'mono' ? ['L'] : ['R', 'G', 'B'];
  const fluxes = SNRS.map((_, group) => {
    const first = field.stars.find((entry) => entry.group === group);
    return (first?.fluxAdu[channels.length === 1 ? 'L' : 'G'] ?? Number.NaN) * GAIN;
  });
  const bounds = starBounds(
    star,
    channels.map((channel) => ({
      lattices: latticesOf(layout, 'RGGB', channel).lattices,
      flux: fluxes[0],
    })),
    PIXEL_VARIANCE,
    fluxes.map((flux) => flux / fluxes[0]),
  );
  const reference = channels.length === 1 ? 0 : 1;
  const cells: StarCell[] = [];
  channels.forEach((channel, c) => {
    SNRS.forEach((snr, group) => {
      const list = field.stars.map((_, i) => i).filter((i) => field.stars[i].group === group);
      const of = (name: string, i: number): number =>
        row[i] < 0 ? Number.NaN : columns[`${name}_${channel}`][row[i]];
      const own = bounds[group].channels[c];
      const size = summarise(list.map((i) => 100 * (of('fwhm', i) / Math.sqrt(a * b) - 1)));
      // The star's centroid against the bound of the reference channel (the light of the others may push it below 1); red and
      // blue have a centroid of their own against green.
      const centroid = summarise(
        list.flatMap((i) => {
          if (row[i] < 0) return [Number.NaN, Number.NaN];
          return c === reference
            ? [columns.x[row[i]] - field.stars[i].x, columns.y[row[i]] - field.stars[i].y]
            : [of('dx', i), of('dy', i)];
        }),
      );
      const centroidBound =
        c === reference
          ? own.centroidPx
          : Math.sqrt(own.centroidPx ** 2 + bounds[group].channels[reference].centroidPx ** 2);
      const share = encircledAt(
        field.truth.channels[channel] as NonNullable<(typeof field.truth.channels)[Channel]>,
        rMaxPx,
      );
      cells.push({
        layout,
        channel,
        shape: shape.name,
        fwhmPx,
        snr,
        stars: list.length,
        fwhm: size,
        sizeRatio: size.scatter / (100 * own.lnWidth * slope),
        centroid,
        centroidRatio: centroid.scatter / centroidBound,
        sharedCentroidRatio:
          c === reference ? centroid.scatter / bounds[group].sharedCentroidPx : Number.NaN,
        e1: summarise(list.map((i) => of('e1', i) - e1)),
        e2: summarise(list.map((i) => of('e2', i) - e2)),
        flux: summarise(
          list.map(
            (i) => 100 * (of('flux', i) / ((field.stars[i].fluxAdu[channel] ?? 0) * share) - 1),
          ),
        ),
      });
    });
  });
  return cells;
}

/** Frames whose stars are all equally bright: nothing brighter helps to choose the model. */
export interface EqualCell {
  layout: Layout;
  shape: string;
  fwhmPx: number;
  snr: number;
  fwhm: ErrorSummary;
}

function equalStars(
  layout: 'mono' | 'cfa',
  shape: NamedShape,
  fwhmPx: number,
  snr: number,
  seed: number,
): EqualCell {
  const bare = { ...shape, angleDeg: ANGLE_DEG };
  const star: Shape = { ...bare, fwhmPx: opticalWidthFor(fwhmPx, bare) };
  const field = starField({
    shape: star,
    layout,
    snrs: [snr],
    each: 100,
    seed,
    spacingPx: Math.max(24, Math.ceil(SPACING_FWHM * fwhmPx)),
  });
  const { catalogue } = measureFrame(field.frame, {
    ...DEFAULT_MEASURE_OPTIONS,
    rMaxPx: Math.max(6, RMAX_FWHM * fwhmPx),
    bootstrapDraws: 10,
  });
  const { columns } = catalogue;
  const row = matchStars(field.stars, columns.x, columns.y, Math.max(1, 0.5 * fwhmPx));
  const column = columns[layout === 'mono' ? 'fwhm_L' : 'fwhm_G'];
  return {
    layout,
    shape: shape.name,
    fwhmPx,
    snr,
    fwhm: summarise(Array.from(row, (i) => (i < 0 ? Number.NaN : 100 * (column[i] / fwhmPx - 1)))),
  };
}

function equalTable(cells: readonly EqualCell[], book: TargetBook): TextTable {
  return {
    title: 'Frames of 100 equally bright stars (G, or mono)',
    columns: ['layout', 'shape', 'FWHM px', 'S/N', 'FWHM bias %', 'measured', 'target'],
    rows: cells.map((cell) => {
      const { target, limit } = sizeLimit({ ...cell, channel: 'G' });
      const text = `${fixed(cell.fwhm.bias, 2)} %: ${cell.layout} ${cell.shape} ${cell.fwhmPx} px S/N ${cell.snr}`;
      return [
        LAYOUT_NAMES[cell.layout],
        cell.shape,
        cell.fwhmPx,
        cell.snr,
        withError(cell.fwhm.bias, cell.fwhm.biasError, 2),
        `${cell.fwhm.n}/100`,
        book.file(
          `${target}, equally bright stars`,
          cell.fwhm.bias,
          cell.fwhm.biasError,
          limit,
          text,
        ),
      ];
    }),
  };
}

/** Allowed bias of FWHM in per cent (docs/algorithms.md). */
function sizeLimit({ layout, channel, fwhmPx }: Pick<StarCell, 'layout' | 'channel' | 'fwhmPx'>): {
  target: string;
  limit: number;
} {
  if (layout === 'cfa' && channel !== 'G')
    return fwhmPx > 2.5
      ? { target: 'FWHM bias, mosaic red/blue above 2.5 px ≤ 2 %', limit: 2 }
      : { target: 'FWHM bias, mosaic red/blue up to 2.5 px ≤ 5 %', limit: 5 };
  return fwhmPx >= 2
    ? { target: 'FWHM bias, 2–8 px ≤ 1 %', limit: 1 }
    : { target: 'FWHM bias, 1.3–2 px ≤ 3 %', limit: 3 };
}

const where = ({ layout, channel, shape, fwhmPx, snr }: StarCell): string =>
  `${layout} ${channel} ${shape} ${fwhmPx} px S/N ${snr}`;

/** Red and blue of a star are fitted only where its S/N allows; a remnant of lucky stars says nothing about bias. */
const FEWEST_MEASURED = 0.8;

function fileTargets(cell: StarCell, book: TargetBook): string {
  if (cell.snr < 30) return '';
  if (cell.fwhm.n < FEWEST_MEASURED * cell.stars) return 'not measured';
  const { target, limit } = sizeLimit(cell);
  const size = book.file(
    target,
    cell.fwhm.bias,
    cell.fwhm.biasError,
    limit,
    `${fixed(cell.fwhm.bias, 2)} ± ${fixed(cell.fwhm.biasError, 2)} %: ${where(cell)}`,
  );
  const shape = Math.sqrt(cell.e1.bias ** 2 + cell.e2.bias ** 2);
  book.file(
    'ellipticity bias ≤ 0.01',
    shape,
    cell.e1.biasError,
    0.01,
    `${fixed(shape, 4)}: ${where(cell)}`,
  );
  return size;
}

/** Runs the whole section. */
export function singleStars(
  quick: boolean,
  book: TargetBook,
  progress: (text: string) => void,
): { cells: StarCell[]; equal: EqualCell[]; tables: TextTable[] } {
  const widths = quick ? [1.6, 2.5, 4] : WIDTHS_PX;
  const each = quick ? 30 : 40;
  const cells: StarCell[] = [];
  const layouts: Layout[] = ['mono', 'rgb', 'cfa'];
  let seed = 1;
  for (const layout of layouts)
    for (const shape of SHAPES) {
      // Planes of a colour image are fitted like mono frames: one exponent shows it.
      if (layout === 'rgb' && shape.beta !== 3.5) continue;
      if (quick && shape !== STANDARD && (layout !== 'cfa' || shape.ellipticity > 0)) continue;
      for (const fwhmPx of widths) {
        progress(`single stars: ${layout}, ${shape.name}, ${fwhmPx} px`);
        cells.push(...measureCase(layout, shape, fwhmPx, each, seed++));
      }
    }
  const equal: EqualCell[] = [];
  for (const layout of ['mono', 'cfa'] as const)
    for (const shape of quick ? [STANDARD] : SHAPES.filter(({ ellipticity }) => ellipticity === 0))
      for (const fwhmPx of quick ? [2.5] : [2, 3, 4])
        for (const snr of [30, 100]) {
          progress(`equally bright stars: ${layout}, ${shape.name}, ${fwhmPx} px, S/N ${snr}`);
          equal.push(equalStars(layout, shape, fwhmPx, snr, seed++));
        }
  const verdicts = new Map(cells.map((cell) => [cell, fileTargets(cell, book)]));
  const tables: TextTable[] = [];
  for (const layout of layouts)
    for (const channel of layout === 'mono' ? (['L'] as const) : (['G', 'R', 'B'] as const)) {
      if (layout === 'rgb' && channel !== 'G') continue;
      tables.push(detailTable(cells, layout, channel, verdicts));
    }
  tables.push(shapeTable(cells), scatterTable(cells, book));
  tables.push(equalTable(equal, book));
  return { cells, equal, tables };
}

const LAYOUT_NAMES: Record<Layout, string> = {
  mono: 'mono',
  rgb: 'three planes',
  cfa: 'mosaic',
};

function detailTable(
  cells: readonly StarCell[],
  layout: Layout,
  channel: Channel,
  verdicts: ReadonlyMap<StarCell, string>,
): TextTable {
  const rows = cells.filter(
    (cell) => cell.layout === layout && cell.channel === channel && cell.shape === STANDARD.name,
  );
  return {
    title: `Single stars, ${LAYOUT_NAMES[layout]} ${channel}: round Moffat β 3.5`,
    columns: [
      'FWHM px',
      'S/N',
      'FWHM bias %',
      'scatter/bound',
      'centroid bias px',
      'scatter/bound',
      'e bias',
      'flux bias %',
      'measured',
      'bias target',
    ],
    rows: rows.map((cell) => [
      cell.fwhmPx,
      cell.snr,
      withError(cell.fwhm.bias, cell.fwhm.biasError, 2),
      fixed(cell.sizeRatio, 2),
      withError(cell.centroid.bias, cell.centroid.biasError, 4),
      fixed(cell.centroidRatio, 2),
      fixed(Math.sqrt(cell.e1.bias ** 2 + cell.e2.bias ** 2), 4),
      withError(cell.flux.bias, cell.flux.biasError, 2),
      `${cell.fwhm.n}/${cell.stars}`,
      verdicts.get(cell) || '–',
    ]),
  };
}

/** Scatter over the bound, all shapes together: single cells hold too few stars for a judgement. */
function scatterTable(cells: readonly StarCell[], book: TargetBook): TextTable {
  const groups = new Map<string, StarCell[]>();
  for (const cell of cells) {
    if (cell.snr < 30 || cell.fwhm.n < FEWEST_MEASURED * cell.stars) continue;
    const key = [cell.layout, cell.channel, cell.fwhmPx, cell.snr].join('|');
    groups.set(key, [...(groups.get(key) ?? []), cell]);
  }
  const rows = [...groups.values()].map((group) => {
    const [{ layout, channel, fwhmPx, snr }] = group;
    const size = mean(group.map((cell) => cell.sizeRatio));
    const centroid = mean(group.map((cell) => cell.centroidRatio));
    const stars = group.reduce((sum, cell) => sum + cell.fwhm.n, 0);
    const text = `${layout} ${channel} ${fwhmPx} px S/N ${snr}`;
    // Half of the central 68 % of n normal deviates is uncertain by about 0.9/√n of itself; x and y count twice.
    return [
      LAYOUT_NAMES[layout],
      channel,
      fwhmPx,
      snr,
      stars,
      fixed(size, 2),
      book.file(
        'size scatter ≤ 1.3 × bound',
        size,
        (0.9 * size) / Math.sqrt(stars),
        1.3,
        `${fixed(size, 2)}: ${text}`,
      ),
      fixed(centroid, 2),
      book.file(
        'centroid scatter ≤ 1.2 × bound',
        centroid,
        (0.9 * centroid) / Math.sqrt(2 * stars),
        1.2,
        `${fixed(centroid, 2)}: ${text}`,
      ),
      fixed(mean(group.map((cell) => cell.sharedCentroidRatio)), 2),
    ];
  });
  return {
    detail: true,
    title: 'Single stars, scatter over the Cramér–Rao bound, all shapes together',
    columns: [
      'layout',
      'channel',
      'FWHM px',
      'S/N',
      'stars',
      'size',
      'target',
      'centroid',
      'target',
      'centroid, bound of all channels',
    ],
    rows,
  };
}

const mean = (values: number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / values.length;

/** Other shapes: S/N 30 and above together, one row per shape and width. */
function shapeTable(cells: readonly StarCell[]): TextTable {
  const groups = new Map<string, StarCell[]>();
  for (const cell of cells) {
    if (cell.snr < 30 || cell.shape === STANDARD.name) continue;
    if (cell.fwhm.n < FEWEST_MEASURED * cell.stars) continue;
    const key = [cell.layout, cell.channel, cell.shape, cell.fwhmPx].join('|');
    groups.set(key, [...(groups.get(key) ?? []), cell]);
  }
  return {
    detail: true,
    title: 'Single stars, other shapes: the worst of S/N 30, 100 and 300',
    columns: ['layout', 'channel', 'shape', 'FWHM px', 'S/N', 'FWHM bias %', 'e bias'],
    rows: [...groups.values()].map((group) => {
      const worst = group.reduce((best, cell) =>
        Math.abs(cell.fwhm.bias) > Math.abs(best.fwhm.bias) ? cell : best,
      );
      return [
        LAYOUT_NAMES[worst.layout],
        worst.channel,
        worst.shape,
        worst.fwhmPx,
        worst.snr,
        withError(worst.fwhm.bias, worst.fwhm.biasError, 2),
        fixed(
          Math.max(...group.map((cell) => Math.sqrt(cell.e1.bias ** 2 + cell.e2.bias ** 2))),
          4,
        ),
      ];
    }),
  };
}
