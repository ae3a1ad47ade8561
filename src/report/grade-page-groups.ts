/** The parts of the page of a graded night that are about groups: what is usual in each, limits, changes; and its warnings. */
import type { GradedFrame, NightGroup, Reason } from '../grade/result.js';
import { shortNames } from './frames-table.js';
import type { GradeDocument } from './grade-json.js';
import { term } from './html/glossary.js';
import { type Html, html } from './html/markup.js';
import { dataTable, factList } from './html/table.js';
import { count, fixed, nominal } from './number.js';

/** Warnings that are shown, equal ones counted once. */
const MOST_WARNINGS = 40;
/** Limits that are listed. */
const MOST_LIMITS = 100;

export function minutes(seconds: number): string {
  return nominal(seconds / 60, seconds >= 600 ? 3 : 2);
}

export function groupsTable(groups: readonly NightGroup[]): Html | null {
  return dataTable({
    caption: 'Frames graded together',
    columns: [
      { head: 'number' },
      { head: 'target, filter, exposure', align: 'left' },
      { head: 'frames' },
      { head: 'kept' },
      { head: 'doubtful' },
      { head: 'dropped' },
      { head: 'kept, min' },
      { head: 'worth, min' },
    ],
    rows: groups.map(({ name, frames, summary }, i) => [
      i + 1,
      name,
      count(frames),
      count(summary.kept),
      count(summary.doubtful),
      count(summary.dropped),
      minutes(summary.keptSeconds),
      minutes(summary.effectiveSeconds),
    ]),
    note: html`Worth: minutes of frames as good as the ${term('reference', 'reference frame')} that reach the same depth.`,
  });
}

export function referencesOf(groups: readonly NightGroup[]): Html | null {
  return factList(
    groups.map(({ reference, referenceWhy }, i) => [
      `reference${groups.length > 1 ? ` of ${i + 1}` : ''}`,
      reference === null ? referenceWhy : `${shortNames([reference])[0] ?? ''}: ${referenceWhy}`,
    ]),
  );
}

const QUANTITY_WORDS: Readonly<Record<string, string>> = {
  fwhmPx: 'FWHM, px',
  ellipticity: 'ellipticity',
  transparency: 'starlight beside the reference frame',
  backgroundAdu: 'sky, ADU',
  stars: 'share of the reference frame’s stars',
  offsetXPx: 'place along x, px',
  offsetYPx: 'place along y, px',
};

export function usualTable(groups: readonly NightGroup[]): Html | null {
  return dataTable({
    caption: 'What the good frames show',
    columns: [
      { head: 'group' },
      { head: 'quantity', align: 'left' },
      { head: 'usual' },
      { head: '1 σ' },
    ],
    rows: groups.flatMap(({ usual }, i) =>
      Object.entries(usual).map(([quantity, found]) => [
        i + 1,
        QUANTITY_WORDS[quantity] ?? quantity,
        nominal(found.centre, 4),
        nominal(found.spread, 2),
      ]),
    ),
    note: '1 σ: from frame to frame.',
    sortable: false,
  });
}

/** Limits are in the record with the reasons that rest on them: those that no frame passed are not. */
export function limitsTable(
  rows: readonly { frame: GradedFrame }[],
  groups: readonly NightGroup[],
): Html | null {
  const found = new Map<string, { group: number; reason: Reason; frames: number }>();
  for (const { frame } of rows) {
    for (const reason of frame.reasons) {
      if (reason.limit === null || frame.group === null) continue;
      const { code, kind, severity, limit, unit } = reason;
      const key = [frame.group, code, kind, severity, limit, unit].join('|');
      const known = found.get(key);
      if (known) known.frames++;
      else found.set(key, { group: frame.group, reason, frames: 1 });
    }
  }
  const all = [...found.values()].sort((a, b) => a.group - b.group || b.frames - a.frames);
  return dataTable({
    caption: 'Limits that frames passed',
    columns: [
      ...(groups.length > 1 ? [{ head: 'group' }] : []),
      { head: 'for', align: 'left' },
      { head: 'limit' },
      { head: 'decides', align: 'left' },
      { head: 'whose', align: 'left' },
      { head: 'frames' },
    ],
    rows: all
      .slice(0, MOST_LIMITS)
      .map(({ group, reason, frames }) => [
        ...(groups.length > 1 ? [group + 1] : []),
        reason.code,
        `${nominal(reason.limit as number, 4)} ${reason.unit}`,
        reason.severity,
        reason.kind === 'fixed' ? 'yours' : 'the night’s own',
        count(frames),
      ]),
    note: 'Limits that no frame passed are not listed.',
    sortable: false,
  });
}

export function changesTable(groups: readonly NightGroup[]): Html | null {
  return dataTable({
    caption: 'Levels that changed at once',
    columns: [
      { head: 'group' },
      { head: 'quantity', align: 'left' },
      { head: 'before' },
      { head: 'after' },
      { head: 'σ' },
      { head: 'UTC' },
      { head: 'first frame after it', align: 'left' },
    ],
    rows: groups.flatMap(({ trends }, i) =>
      trends.changes.map((change) => [
        i + 1,
        QUANTITY_WORDS[change.quantity] ?? change.quantity,
        nominal(change.before),
        nominal(change.after),
        fixed(change.sigma, 0),
        new Date(change.atMs).toISOString().slice(11, 16),
        shortNames([change.file])[0] ?? '',
      ]),
    ),
    note: 'Among frames that were not dropped. σ: size of the step in its standard errors.',
  });
}

type Told = GradeDocument['warnings'][number];

/** Equal warnings of many frames become one; what is beyond the most is counted. */
export function gathered(warnings: readonly Told[]): { message: string; remedy?: string }[] {
  const kinds = new Map<string, { warning: Told; times: number }>();
  for (const warning of warnings) {
    const known = kinds.get(warning.message);
    if (known) known.times++;
    else kinds.set(warning.message, { warning, times: 1 });
  }
  const all = [...kinds.values()].map(({ warning, times }) =>
    times === 1 ? warning : { message: `${warning.message} (${count(times)} frames)` },
  );
  const more = all.length - MOST_WARNINGS;
  if (more <= 0) return all;
  return [
    ...all.slice(0, MOST_WARNINGS),
    { message: `${count(more)} more warnings; --json holds all.` },
  ];
}
