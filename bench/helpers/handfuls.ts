/** Handfuls of unrelated stars: how often the matching states a small probability of chance for them. */
import { matchStars } from '../../src/match/match.js';
import { createRandom } from '../../src/stats/random.js';
import { type Cell, fixed, type TextTable } from './text-table.js';

/** Unrelated handfuls of stars: here the stated probability of chance can be held against how often it comes. */
export const FEW_KINDS = ['nothing known', 'nearly aligned'] as const;
const MOST_FEW = { 'nothing known': 12, 'nearly aligned': 8 } as const;
const SHIFTS_PX = [5, 20, 100, Number.POSITIVE_INFINITY] as const;
const STATED = [0.3, 0.1, 0.01, 0.001, 1e-5] as const;

function fewStars(random: () => number, most: number, width: number, height: number) {
  const fewest = most === MOST_FEW['nearly aligned'] ? 2 : 4;
  const n = fewest + Math.floor((most - fewest + 1) * random());
  return {
    x: Float64Array.from({ length: n }, () => (width - 1) * random()),
    y: Float64Array.from({ length: n }, () => (height - 1) * random()),
    brightness: Float64Array.from({ length: n }, () => random()),
    width,
    height,
  };
}

/** log10 of the stated probability for pairs of unrelated lists, and how many were accepted. */
export function fewStarPairs(kind: (typeof FEW_KINDS)[number], pairs: number, seed: number) {
  const random = createRandom(seed);
  const stated: number[] = [];
  let accepted = 0;
  for (let i = 0; i < pairs; i++) {
    const width = Math.round(200 + 1800 * random());
    const height = Math.round(200 + 1800 * random());
    const a = fewStars(random, MOST_FEW[kind], width, height);
    const b = fewStars(random, MOST_FEW[kind], width, height);
    const maxShiftPx = Math.min(SHIFTS_PX[i % SHIFTS_PX.length], Math.max(width, height) / 2);
    const options = kind === 'nearly aligned' ? { nearlyAligned: true, maxShiftPx } : {};
    const result = matchStars(a, b, options);
    if (result.found) accepted++;
    stated.push(
      result.found ? result.log10FalseProbability : (result.best?.log10FalseProbability ?? 0),
    );
  }
  return { kind, accepted, stated };
}

export function fewTable(outcomes: readonly ReturnType<typeof fewStarPairs>[]): TextTable {
  return {
    title: 'Handfuls of unrelated stars: pairs whose stated probability of chance is at most …',
    columns: ['pairs', 'number', ...STATED.map((p) => `≤ ${p}`), 'lowest log10', 'accepted'],
    rows: outcomes.map(({ kind, accepted, stated }): Cell[] => [
      kind,
      stated.length,
      ...STATED.map((p) => stated.filter((value) => value <= Math.log10(p)).length),
      fixed(Math.min(...stated), 1),
      accepted,
    ]),
  };
}
