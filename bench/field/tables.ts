/** Tables of the field benchmark. */
import { fixed, type TextTable } from '../helpers/text-table.js';
import type { FrameOutcome } from './outcomes.js';
import type { RotationOutcome } from './rotations.js';

/** Half width of an interval up to which 10 % is no matter of chance (2 σ). */
const SHARP = 0.05;

const share = (part: number, of: number): string =>
  of === 0 ? '–' : `${((100 * part) / of).toFixed(1)} % (${part} of ${of})`;

function confusion(outcomes: readonly FrameOutcome[]): TextTable {
  const answers = [...new Set(outcomes.map(({ leading }) => leading))].sort();
  const kinds = [...new Set(outcomes.map(({ kind }) => kind))].sort();
  return {
    title: 'Leading cause by fault put in, all strengths (also those too weak to see)',
    columns: ['put in', 'frames', ...answers],
    rows: kinds.map((kind) => {
      const of = outcomes.filter((outcome) => outcome.kind === kind);
      return [
        kind,
        of.length,
        ...answers.map((answer) => of.filter(({ leading }) => leading === answer).length || null),
      ];
    }),
  };
}

function visibleTable(outcomes: readonly FrameOutcome[]): TextTable {
  const kinds = [...new Set(outcomes.map(({ kind }) => kind))]
    .filter((kind) => kind !== 'none')
    .sort();
  return {
    title: 'Where the corners show it (0.5 px, ellipticity 0.08, colour shift 0.5 px)',
    columns: ['put in', 'frames', 'right', 'undecided', 'wrong'],
    rows: kinds.map((kind) => {
      const of = outcomes.filter(
        (outcome) => outcome.kind === kind && outcome.verdict !== 'not visible',
      );
      const count = (verdict: string) => of.filter((outcome) => outcome.verdict === verdict).length;
      return [kind, of.length, count('right'), count('undecided'), count('wrong')];
    }),
  };
}

function targets(
  outcomes: readonly FrameOutcome[],
  rotations: readonly RotationOutcome[],
): TextTable {
  const visible = outcomes.filter(({ verdict }) =>
    ['right', 'wrong', 'undecided'].includes(verdict),
  );
  const decidable = visible.filter(({ kind }) => kind !== 'defocus');
  const count = (list: readonly FrameOutcome[], verdict: string) =>
    list.filter((outcome) => outcome.verdict === verdict).length;
  const sound = outcomes.filter(({ kind }) => kind === 'none');
  const rows: (string | number)[][] = [
    [
      'wrong leading cause, visible faults',
      share(count(visible, 'wrong'), visible.length),
      '≤ 5 %',
    ],
    [
      'decisive answer, visible faults',
      share(visible.length - count(visible, 'undecided'), visible.length),
      '≥ 80 %',
    ],
    [
      'the same without plain defocus',
      share(decidable.length - count(decidable, 'undecided'), decidable.length),
      '≥ 80 %',
    ],
    ['false alarm on sound optics', share(count(sound, 'false alarm'), sound.length), '≤ 2 %'],
  ];
  for (const quantity of ['tilt', 'curvature'] as const) {
    const amounts = outcomes.flatMap(({ amount }) =>
      amount && amount.quantity === quantity ? [amount] : [],
    );
    const large = amounts.filter(({ growthPx }) => growthPx > 0.5);
    rows.push([
      `${quantity} within 10 %, growth above 0.5 px`,
      share(large.filter(({ ratio }) => Math.abs(ratio - 1) <= 0.1).length, large.length),
      'all',
    ]);
    const sharp = large.filter(({ halfWidth }) => halfWidth !== null && halfWidth <= SHARP);
    rows.push([
      `the same where the interval is ± ${100 * SHARP} % or narrower`,
      share(sharp.filter(({ ratio }) => Math.abs(ratio - 1) <= 0.1).length, sharp.length),
      'all',
    ]);
    const far = large.filter(
      ({ ratio, halfWidth }) =>
        Math.abs(ratio - 1) > 0.1 && halfWidth !== null && Math.abs(ratio - 1) > 2 * halfWidth,
    );
    rows.push([
      'off by more than 10 % and by more than twice the interval',
      share(far.length, large.length),
      'none',
    ]);
    const ratios = large.map(({ ratio }) => ratio).sort((a, b) => a - b);
    rows.push([
      `${quantity}, median of measured over true`,
      fixed(ratios[ratios.length >> 1] ?? Number.NaN, 3),
      '0.9–1.1',
    ]);
    if (quantity === 'tilt')
      rows.push([
        'direction of tilt within 10°',
        share(
          large.filter(({ directionDeg }) => Math.abs(directionDeg) <= 10).length,
          large.length,
        ),
        'all',
      ]);
    const named = amounts.filter(({ covered }) => covered !== null);
    rows.push([
      `${quantity}, 68 % interval holds the truth`,
      share(named.filter(({ covered }) => covered).length, named.length),
      '60–76 %',
    ]);
  }
  const answered = rotations.filter(({ verdict }) => verdict === 'right' || verdict === 'wrong');
  rows.push([
    'turned camera, right where decided',
    share(answered.filter(({ verdict }) => verdict === 'right').length, answered.length),
    '≥ 98 %',
  ]);
  return { title: 'Field: targets', columns: ['quantity', 'reached', 'target'], rows };
}

function rotationTable(rotations: readonly RotationOutcome[]): TextTable {
  const keys = [
    ...new Set(rotations.map(({ fault, angleDeg }) => `${fault}, ${angleDeg}°`)),
  ].sort();
  return {
    title: 'Turned camera',
    columns: ['fault, turn', 'pairs', 'right', 'undecided', 'wrong', 'not seen'],
    rows: keys.map((key) => {
      const of = rotations.filter(({ fault, angleDeg }) => `${fault}, ${angleDeg}°` === key);
      const count = (verdict: string) => of.filter((one) => one.verdict === verdict).length;
      return [
        key,
        of.length,
        count('right'),
        count('undecided'),
        count('wrong'),
        count('not seen'),
      ];
    }),
  };
}

export function fieldTables(
  outcomes: readonly FrameOutcome[],
  rotations: readonly RotationOutcome[],
): TextTable[] {
  return [
    targets(outcomes, rotations),
    confusion(outcomes),
    visibleTable(outcomes),
    ...(rotations.length > 0 ? [rotationTable(rotations)] : []),
  ];
}
