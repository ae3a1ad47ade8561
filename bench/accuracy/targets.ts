/** Targets of the measurement and how often they were reached. */

export type Verdict = 'reached' | 'missed' | 'unclear';

/** |value| ≤ limit, given the value's own 1 σ: a miss counts only when it is clear of the benchmark's noise. */
function judge(value: number, sigma: number, limit: number): Verdict {
  if (!Number.isFinite(value)) return 'missed';
  if (Math.abs(value) <= limit) return 'reached';
  return Math.abs(value) - 2 * (Number.isFinite(sigma) ? sigma : 0) > limit ? 'missed' : 'unclear';
}

interface Entry {
  target: string;
  cells: number;
  counts: Record<Verdict, number>;
  worst: string;
  worstRatio: number;
}

export interface TargetSummary {
  target: string;
  cells: number;
  reached: number;
  missed: number;
  unclear: number;
  /** The cell that stands worst against its limit. */
  worst: string;
}

/** Collects verdicts by target. */
export class TargetBook {
  readonly #entries = new Map<string, Entry>();

  /** Files one cell and returns its verdict. `text` names the cell and its value. */
  file(target: string, value: number, sigma: number, limit: number, text: string): Verdict {
    const verdict = judge(value, sigma, limit);
    let entry = this.#entries.get(target);
    if (!entry) {
      entry = {
        target,
        cells: 0,
        counts: { reached: 0, missed: 0, unclear: 0 },
        worst: '',
        worstRatio: -1,
      };
      this.#entries.set(target, entry);
    }
    entry.cells++;
    entry.counts[verdict]++;
    const ratio = Number.isFinite(value) ? Math.abs(value) / limit : Number.POSITIVE_INFINITY;
    if (ratio > entry.worstRatio) {
      entry.worstRatio = ratio;
      entry.worst = text;
    }
    return verdict;
  }

  summary(): TargetSummary[] {
    return [...this.#entries.values()].map(({ target, cells, counts, worst }) => ({
      target,
      cells,
      ...counts,
      worst,
    }));
  }
}
