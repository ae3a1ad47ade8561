/** Detection: how many isolated stars are found and accepted, and what is taken for a star that is none. */
import { FLAG } from '../../src/catalogue/flags.js';
import type { SampleArray } from '../../src/frame/frame.js';
import { measureFrame } from '../../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { pixelMean } from '../../src/simulate/analytic-profile.js';
import { recordSamples } from '../../src/simulate/noise.js';
import { createRandom } from '../../src/stats/random.js';
import { memoryFrame } from '../../tests/helpers/memory-frame.js';
import { opticalWidthFor, profileOf, type Shape } from '../../tests/helpers/recorded-width.js';
import { fixed, type TextTable } from '../helpers/text-table.js';
import {
  GAIN,
  matchStars,
  PIXEL_VARIANCE,
  READ_NOISE_ELECTRONS,
  SKY_ELECTRONS,
  starField,
} from './star-field.js';
import type { TargetBook } from './targets.js';

type Layout = 'mono' | 'rgb' | 'cfa';

/** A star that is not used for sizes may still be labelled as one. */
const STAR_LABELS = FLAG.faint | FLAG['over limit'] | FLAG['outside zone'];
const PEAK_SNR = 10;

export interface DetectionCell {
  layout: Layout;
  fwhmPx: number;
  /** Stars whose brightest sample stands at least ten times the sky noise above the sky. */
  stars: number;
  found: number;
  labelledStar: number;
  /** Accepted for measurement without a true star there. */
  falseAccepted: number;
  /** Candidates of any label without a true star there. */
  falseCandidates: number;
  megapixels: number;
}

function measureCase(layout: Layout, fwhmPx: number, each: number, seed: number): DetectionCell {
  const bare = { gaussian: false, beta: 3.5, ellipticity: 0, angleDeg: 0 };
  const shape: Shape = { ...bare, fwhmPx: opticalWidthFor(fwhmPx, bare) };
  const field = starField({
    shape,
    layout,
    snrs: [
      [8, 40],
      [40, 200],
    ],
    each,
    seed,
    spacingPx: Math.max(24, Math.ceil(12 * fwhmPx)),
  });
  const { catalogue } = measureFrame(field.frame, {
    ...DEFAULT_MEASURE_OPTIONS,
    rMaxPx: Math.max(6, 5 * fwhmPx),
    bootstrapDraws: 10,
  });
  const { x, y } = catalogue.columns;
  const radius = Math.max(1, 0.5 * fwhmPx);
  const row = matchStars(field.stars, x, y, radius);
  const share = pixelMean(profileOf(shape), 0, 0);
  const band = layout === 'mono' ? 'L' : 'G';
  const limit = (PEAK_SNR * Math.sqrt(PIXEL_VARIANCE)) / share;
  const bright = field.stars.flatMap((star, i) =>
    (star.fluxAdu[band] ?? 0) * GAIN >= limit ? [i] : [],
  );
  const found = bright.filter((i) => row[i] >= 0);
  const flags = catalogue.flags;
  const matched = new Set(Array.from(row).filter((i) => i >= 0));
  const strangers = Array.from({ length: catalogue.length }, (_, i) => i).filter(
    (i) => !matched.has(i),
  );
  return {
    layout,
    fwhmPx,
    stars: bright.length,
    found: found.length,
    labelledStar: found.filter((i) => (flags[row[i]] & ~STAR_LABELS) === 0).length,
    falseAccepted: strangers.filter((i) => flags[i] === 0).length,
    falseCandidates: strangers.length,
    megapixels: (field.frame.rows.width * field.frame.rows.height) / 1e6,
  };
}

/** Sky and noise alone. */
function emptyCase(layout: Layout, side: number, seed: number): DetectionCell {
  const planes = layout === 'rgb' ? 3 : 1;
  const count = side * side;
  const data = new Uint16Array(count * planes);
  const random = createRandom(seed);
  const detector = {
    readNoiseElectrons: READ_NOISE_ELECTRONS,
    fullWellElectrons: Number.POSITIVE_INFINITY,
    gainElectronsPerAdu: GAIN,
    pedestalAdu: 500,
    bits: 16,
  };
  const sky = new Float32Array(count).fill(SKY_ELECTRONS);
  for (let plane = 0; plane < planes; plane++)
    recordSamples(
      sky,
      detector,
      new Map(),
      random,
      data.subarray(plane * count, (plane + 1) * count),
    );
  const { catalogue } = measureFrame(
    memoryFrame({
      width: side,
      height: side,
      data: data as SampleArray,
      layout,
      metadata: { gainElectronsPerAdu: GAIN },
    }),
    DEFAULT_MEASURE_OPTIONS,
  );
  return {
    layout,
    fwhmPx: Number.NaN,
    stars: 0,
    found: 0,
    labelledStar: 0,
    falseAccepted: Array.from(catalogue.flags).filter((bits) => bits === 0).length,
    falseCandidates: catalogue.length,
    megapixels: count / 1e6,
  };
}

/** Runs the whole section. */
export function detection(
  quick: boolean,
  book: TargetBook,
  progress: (text: string) => void,
): { cells: DetectionCell[]; tables: TextTable[] } {
  const cells: DetectionCell[] = [];
  let seed = 901;
  for (const layout of ['mono', 'rgb', 'cfa'] as const) {
    for (const fwhmPx of quick ? [2.5] : [1.3, 1.6, 2.5, 4]) {
      progress(`detection: ${layout}, ${fwhmPx} px`);
      cells.push(measureCase(layout, fwhmPx, quick ? 150 : 400, seed++));
    }
    progress(`detection: ${layout}, empty sky`);
    cells.push(emptyCase(layout, quick ? 600 : 1400, seed++));
  }
  return { cells, tables: [detectionTable(cells, book)] };
}

function detectionTable(cells: readonly DetectionCell[], book: TargetBook): TextTable {
  return {
    title:
      'Detection of isolated stars (Moffat β 3.5, brightest sample ≥ 10 σ of the sky) and on empty sky',
    columns: [
      'layout',
      'FWHM px',
      'Mpx',
      'stars',
      'found %',
      'labelled a star %',
      'false, accepted',
      'false, any label',
      'target',
    ],
    rows: cells.map((cell) => {
      const name = `${cell.layout} ${Number.isNaN(cell.fwhmPx) ? 'empty' : `${cell.fwhmPx} px`}`;
      const wrong = book.file(
        'false detections ≤ 0.5 % of the stars (none on empty sky)',
        cell.stars > 0 ? (100 * cell.falseAccepted) / cell.stars : cell.falseAccepted,
        0,
        0.5,
        `${cell.falseAccepted} of ${cell.stars}: ${name}`,
      );
      let complete = 'reached';
      if (cell.stars > 0) {
        const missing = (100 * (cell.stars - cell.found)) / cell.stars;
        const rejected = (100 * (cell.stars - cell.labelledStar)) / cell.stars;
        complete = book.file(
          'completeness ≥ 99 %',
          missing,
          0,
          1,
          `${fixed(100 - missing, 2)} %: ${name}`,
        );
        book.file(
          'labelled as a star ≥ 99 %',
          rejected,
          0,
          1,
          `${fixed(100 - rejected, 2)} %: ${name}`,
        );
      }
      const share = (count: number): string =>
        cell.stars > 0 ? fixed((100 * count) / cell.stars, 2) : '–';
      return [
        cell.layout,
        Number.isNaN(cell.fwhmPx) ? 'empty sky' : cell.fwhmPx,
        fixed(cell.megapixels, 2),
        cell.stars,
        share(cell.found),
        share(cell.labelledStar),
        cell.falseAccepted,
        cell.falseCandidates,
        complete === 'reached' ? wrong : complete,
      ];
    }),
  };
}
