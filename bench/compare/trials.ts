/** Trials of the comparison: pairs of invented telescopes at one random sky, with what the comparison should say about them. */
import { searchOptions } from '../../src/compare/compare.js';
import { DEFAULT_COMPARE_OPTIONS } from '../../src/compare/options.js';
import type { Comparison, ComparisonRow } from '../../src/compare/result.js';
import { type SearchedFrame, searchFrame } from '../../src/measure/search-frame.js';
import { encircledAt, radiusOfShare, truthSizes } from '../../src/simulate/profile-truth.js';
import { truthHalo } from '../../src/simulate/truth.js';
import { createRandom } from '../../src/stats/random.js';
import { makeTelescope, type Pointing, type Telescope, takeFrame } from './telescopes.js';

const BASE = { apertureMm: 80, focalLengthMm: 480, pixelUm: 3.76 };

/** Lenses that differ in colour, air, focus, aperture, length and pixel. */
const DIFFERENT = [
  { ...BASE, colour: 0, seeingArcsec: 2.5 },
  { ...BASE, colour: 0.03, seeingArcsec: 2.2 },
  { ...BASE, colour: 0.1, seeingArcsec: 2.5 },
  { ...BASE, colour: 0.1, seeingArcsec: 3 },
  { ...BASE, colour: 0.2, seeingArcsec: 2.5 },
  { ...BASE, colour: 0.4, seeingArcsec: 2.4 },
  { ...BASE, colour: 0.05, seeingArcsec: 2.5, defocusUm: 40 },
  { apertureMm: 100, focalLengthMm: 600, pixelUm: 4.5, colour: 0.1, seeingArcsec: 2.5 },
  { apertureMm: 72, focalLengthMm: 400, pixelUm: 2.9, colour: 0.15, seeingArcsec: 2.6 },
  { apertureMm: 66, focalLengthMm: 420, pixelUm: 3.76, colour: 0.03, seeingArcsec: 2.5 },
];

/** One lens and what may differ although the telescope is the same. */
const SAME_LENSES = [0.03, 0.1, 0.3] as const;
const SAME_KINDS = ['noise and rotation', 'and sampling', 'and seeing'] as const;
export type SameKind = (typeof SAME_KINDS)[number];

/** Three hours after the scenes' own time. */
const LATER = '2026-01-02T01:00:00';

/** The quantities whose truth is known. */
export const TRUE_QUANTITIES = [
  'fwhm green',
  'fwhm red',
  'fwhm blue',
  'r80 green',
  'r80 red',
  'r80 blue',
  'halo blue minus red',
  'halo blue minus green',
  'halo red minus green',
  'core tint',
  'rim tint',
] as const;
export type TrueQuantity = (typeof TRUE_QUANTITIES)[number];

export interface RowOutcome {
  quantity: string;
  group: ComparisonRow['group'];
  /** Recorded difference less the true one over half the interval; null without truth or difference. */
  deviation: number | null;
  /** The same of the two values themselves. */
  singleDeviations: (number | null)[];
  /** Half the intervals: of the difference, of the two values. */
  halfWidths: (number | null)[];
  /** Whether the 68 % interval of the difference holds the truth. */
  covered: boolean | null;
  /** The true difference of the recorded images, first minus second as the row has it; null = not known. */
  truth: number | null;
  /** A telescope was called better. */
  named: boolean;
  /** The truth of the recorded images favours that telescope; null where it is not known. */
  right: boolean | null;
  caveats: string[];
}

export interface TrialOutcome {
  kind: 'different' | SameKind;
  index: number;
  stars: number;
  seconds: number;
  rows: RowOutcome[];
  error: string | null;
}

export type Compare = (labels: { label: string; frames: SearchedFrame[] }[]) => Comparison;

/** Images of all telescopes, made on demand and kept. */
export class Observatory {
  private readonly made = new Map<string, Telescope>();

  get(options: Parameters<typeof makeTelescope>[0]): Telescope {
    const key = JSON.stringify(options);
    const known = this.made.get(key);
    if (known) return known;
    const telescope = makeTelescope(options);
    this.made.set(key, telescope);
    return telescope;
  }
}

/** True value of a quantity in the comparison's units, all light counted within `rMaxArcsec`. */
function truthOf(telescope: Telescope, quantity: TrueQuantity, rMaxArcsec: number): number {
  const { channels, scaleArcsecPerPx: scale } = telescope;
  const { R, G, B } = channels;
  if (!R || !G || !B) throw new TypeError('three channels are needed');
  const rMaxPx = rMaxArcsec / scale;
  const [name, colour] = quantity.split(' ') as [string, string];
  if (name === 'fwhm' || name === 'r80') {
    const channel = { green: G, red: R, blue: B }[colour as 'green' | 'red' | 'blue'];
    const sizes = truthSizes(channel, rMaxPx);
    return scale * (name === 'fwhm' ? sizes.fwhmPx : sizes.r80Px);
  }
  if (name === 'halo') {
    const halo = truthHalo({ channels, halo: null, sizes: {} }, rMaxPx);
    if (!halo) throw new TypeError('no halo');
    if (quantity === 'halo blue minus red') return halo.blueMinusRedPercent;
    if (quantity === 'halo blue minus green') return halo.blueMinusGreenPercent;
    return halo.redMinusGreenPercent;
  }
  const inside = (radius: number): [blue: number, red: number] => [
    encircledAt(B, radius) / encircledAt(B, rMaxPx),
    encircledAt(R, radius) / encircledAt(R, rMaxPx),
  ];
  const at = (share: number): number => radiusOfShare(G, share, rMaxPx);
  const [blue, red] = inside(at(name === 'core' ? 0.5 : 0.95));
  if (name === 'core') return -2.5 * Math.log10(blue / red);
  const [innerBlue, innerRed] = inside(at(0.8));
  return -2.5 * Math.log10((blue - innerBlue) / (red - innerRed));
}

function rowOutcome(row: ComparisonRow, truths: readonly number[] | null): RowOutcome {
  const pair = row.pairs[0] ?? null;
  let truth: number | null = null;
  if (truths !== null) {
    const [a, b] = row.betterWhen === 'nearer zero' ? truths.map(Math.abs) : truths;
    truth = (a as number) - (b as number);
  }
  const named = pair?.better !== null && pair?.better !== undefined;
  const firstIsBetter = pair?.better === pair?.first;
  const favoursFirst = truth === null ? null : row.betterWhen === 'larger' ? truth > 0 : truth < 0;
  const difference = pair?.difference ?? null;
  const known = truth !== null && difference !== null;
  const half = difference === null ? Number.NaN : (difference.high - difference.low) / 2;
  return {
    quantity: row.quantity,
    group: row.group,
    deviation: known ? (difference.value - (truth as number)) / half : null,
    covered: known
      ? difference.low <= (truth as number) && (truth as number) <= difference.high
      : null,
    singleDeviations: Object.values(row.values).map((value, i) =>
      value === null || truths === null
        ? null
        : (value.value - (truths[i] as number)) / ((value.high - value.low) / 2),
    ),
    halfWidths: [difference, ...Object.values(row.values)].map((one) =>
      one === null ? null : (one.high - one.low) / 2,
    ),
    truth,
    named,
    right: named && favoursFirst !== null ? favoursFirst === firstIsBetter : null,
    caveats: row.caveats,
  };
}

function pointing(random: () => number, skySeed: number): Pointing {
  return {
    skySeed,
    noiseSeed: Math.floor(random() * 2 ** 31),
    rotationDeg: 360 * random(),
    pointingPx: [24 * (random() - 0.5), 24 * (random() - 0.5)],
  };
}

function runTrial(
  kind: TrialOutcome['kind'],
  index: number,
  telescopes: readonly [Telescope, Telescope],
  pointings: readonly [Pointing, Pointing],
  compare: Compare,
): TrialOutcome {
  const start = performance.now();
  const labels = telescopes.map((telescope, i) => {
    const label = 'AB'[i] as string;
    const frame = takeFrame(telescope, pointings[i] as Pointing, `${label}.fits`);
    return {
      label,
      frames: [searchFrame(frame, searchOptions(DEFAULT_COMPARE_OPTIONS), () => {})],
    };
  });
  const done = (rest: Pick<TrialOutcome, 'stars' | 'rows' | 'error'>): TrialOutcome => ({
    kind,
    index,
    seconds: (performance.now() - start) / 1000,
    ...rest,
  });
  try {
    const comparison = compare(labels);
    const rMax = comparison.normalisedWithin;
    const rows = comparison.rows.map((row) => {
      const quantity = TRUE_QUANTITIES.find((name) => name === row.quantity);
      return rowOutcome(
        row,
        quantity === undefined || rMax === null
          ? null
          : telescopes.map((telescope) => truthOf(telescope, quantity, rMax)),
      );
    });
    const stars = comparison.rows.find(({ quantity }) => quantity === 'fwhm green')?.stars ?? 0;
    return done({ stars, rows, error: null });
  } catch (error) {
    return done({ stars: 0, rows: [], error: error instanceof Error ? error.message : `${error}` });
  }
}

/** Two different telescopes. */
export function differentTrial(
  seed: number,
  index: number,
  observatory: Observatory,
  compare: Compare,
): TrialOutcome {
  const random = createRandom(seed * 100_003 + index);
  const first = Math.floor(random() * DIFFERENT.length);
  const second = (first + 1 + Math.floor(random() * (DIFFERENT.length - 1))) % DIFFERENT.length;
  const sky = Math.floor(random() * 2 ** 31);
  return runTrial(
    'different',
    index,
    [
      observatory.get(DIFFERENT[first] as (typeof DIFFERENT)[number]),
      observatory.get(DIFFERENT[second] as (typeof DIFFERENT)[number]),
    ],
    [pointing(random, sky), pointing(random, sky)],
    compare,
  );
}

/** One telescope twice: another turn and noise; and another pixel; and other air. */
export function sameTrial(
  seed: number,
  index: number,
  observatory: Observatory,
  compare: Compare,
): TrialOutcome {
  const random = createRandom(seed * 100_003 + 50_000 + index);
  const kind = SAME_KINDS[index % SAME_KINDS.length] as SameKind;
  const colour = SAME_LENSES[Math.floor(index / SAME_KINDS.length) % SAME_LENSES.length] as number;
  const one = { ...BASE, colour, seeingArcsec: 2.5 };
  const other = {
    ...one,
    ...(kind === 'and sampling' && { pixelUm: random() < 0.5 ? 2.9 : 4.6 }),
    ...(kind === 'and seeing' && { seeingArcsec: random() < 0.5 ? 2.2 : 2.9 }),
  };
  const sky = Math.floor(random() * 2 ** 31);
  return runTrial(
    kind,
    index,
    [observatory.get(one), observatory.get(other)],
    [
      pointing(random, sky),
      // Other air is other time: two telescopes side by side look through nearly the same.
      { ...pointing(random, sky), ...(kind === 'and seeing' && { dateObs: LATER }) },
    ],
    compare,
  );
}
