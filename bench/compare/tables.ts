/** What the trials come to: coverage per quantity, telescopes wrongly called different. */
import { type Cell, fixed, type TextTable } from '../helpers/text-table.js';
import { type RowOutcome, TRUE_QUANTITIES, type TrialOutcome } from './trials.js';

/** Coverage of 68 % intervals that 200 trials reach by luck alone lies within this range in 98 of 100 cases. */
const COVERAGE: readonly [number, number] = [0.6, 0.76];
const FALSE_LIMIT = 0.05;

const percent = (share: number): string => `${fixed(100 * share, 1)} %`;

function deviations(trials: readonly TrialOutcome[], quantity: string): RowOutcome[] {
  return trials
    .flatMap(({ rows }) => rows)
    .filter((row) => row.quantity === quantity && row.deviation !== null);
}

function coverageOf(trials: readonly TrialOutcome[], quantity: string): number {
  const rows = deviations(trials, quantity);
  return rows.filter(({ covered }) => covered === true).length / rows.length;
}

function spread(values: readonly number[]): [mean: number, deviation: number] {
  const mean = values.reduce((sum, v) => sum + v, 0) / values.length;
  const square = values.reduce((sum, v) => sum + (v - mean) ** 2, 0) / values.length;
  return [mean, Math.sqrt(square)];
}

export function coverageTable(trials: readonly TrialOutcome[]): TextTable {
  const rows: Cell[][] = TRUE_QUANTITIES.map((quantity) => {
    const own = deviations(trials, quantity);
    const [mean, deviation] = spread(own.map((row) => row.deviation as number));
    const covered = coverageOf(trials, quantity);
    const named = own.filter((row) => row.named);
    return [
      quantity,
      own.length,
      percent(covered),
      fixed(mean, 2),
      fixed(deviation, 2),
      named.length,
      named.filter((row) => row.right === false).length,
      covered >= COVERAGE[0] && covered <= COVERAGE[1] ? 'reached' : 'missed',
    ];
  });
  return {
    title: 'Two different telescopes: recorded difference against the true one',
    columns: [
      'quantity',
      'trials',
      'within 68 %',
      'mean deviation',
      'scatter',
      'called better',
      'wrongly',
      'target 60–76 %',
    ],
    rows,
  };
}

/** Rows of a trial that call one of two equal telescopes better. */
function named(trial: TrialOutcome): RowOutcome[] {
  return trial.rows.filter((row) => row.named);
}

/** The recorded images themselves differ that way: another pixel or other air, not the telescope. The row has to say so. */
function isExplained(row: RowOutcome): boolean {
  return row.caveats.length > 0;
}

function falseShare(trials: readonly TrialOutcome[]): number {
  const wrong = trials.filter((trial) => named(trial).some((row) => !isExplained(row)));
  return wrong.length / trials.length;
}

export function sameTable(trials: readonly TrialOutcome[]): TextTable {
  const kinds = [...new Set(trials.map(({ kind }) => kind))];
  const rows: Cell[][] = kinds.map((kind) => {
    const own = trials.filter((trial) => trial.kind === kind);
    const all = own.flatMap(named);
    const bare = all.filter((row) => !isExplained(row));
    const explained = all.filter(isExplained);
    const list = (group: readonly RowOutcome[]): string | null => {
      const names = [...new Set(group.map(({ quantity }) => quantity))];
      const counts = names.map(
        (name) => `${name} ${group.filter(({ quantity }) => quantity === name).length}`,
      );
      return counts.length === 0 ? null : counts.join(', ');
    };
    return [
      kind === 'noise and rotation' ? kind : `noise, rotation ${kind}`,
      own.length,
      own.filter((trial) => named(trial).some((row) => !isExplained(row))).length,
      list(bare),
      own.filter((trial) => named(trial).some(isExplained)).length,
      list(explained),
    ];
  });
  return {
    title: 'One telescope twice: trials in which any row calls one better',
    columns: [
      'what differs',
      'trials',
      'without caveat',
      'in which rows',
      'with a caveat',
      'in which rows',
    ],
    rows,
  };
}

export function targetTable(
  different: readonly TrialOutcome[],
  same: readonly TrialOutcome[],
): TextTable {
  const shares = TRUE_QUANTITIES.map((quantity) => coverageOf(different, quantity));
  const within = shares.filter((share) => share >= COVERAGE[0] && share <= COVERAGE[1]).length;
  const wrong = different.flatMap(named).filter((row) => row.right === false).length;
  const judged = different.flatMap(named).filter((row) => row.right !== null).length;
  const failed = [...different, ...same].filter(({ error }) => error !== null).length;
  const verdict = (reached: boolean): string => (reached ? 'reached' : 'missed');
  return {
    title: 'Targets',
    columns: ['target', 'value', ''],
    rows: [
      [
        'true difference within the 68 % interval in 60–76 % of trials, every quantity',
        `${within} of ${shares.length} quantities, ${percent(Math.min(...shares))} to ${percent(Math.max(...shares))}`,
        verdict(within === shares.length),
      ],
      [
        'one telescope twice: called better in any row, without caveat, ≤ 5 %',
        `${percent(falseShare(same))} of ${same.length}`,
        verdict(falseShare(same) <= FALSE_LIMIT),
      ],
      [
        'the worse of two different ones called better: none',
        `${wrong} of ${judged} verdicts`,
        verdict(wrong === 0),
      ],
      [
        'comparisons that failed: none',
        `${failed} of ${different.length + same.length}`,
        verdict(failed === 0),
      ],
    ],
  };
}
