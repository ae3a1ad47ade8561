/** Several lenses on the same stars: their halo numbers beside what the simulation knows to be true. */
import type { HaloLevel, Uncertain } from '../measure/result.js';
import { type Column, columnsText, type TextStyle, wrap } from './layout.js';
import { fixed, NOT_MEASURED, signed, withUncertainty } from './number.js';
import { HALO_ROWS } from './words.js';

type HaloKey = (typeof HALO_ROWS)[number]['key'];

/** One lens: measured and true excess of each pair of colours, per cent. Null = not measured. */
export interface LensRow {
  name: string;
  measured: Readonly<Record<HaloKey, Uncertain>> | null;
  truth: Readonly<Record<HaloKey, number>> | null;
  level: HaloLevel | null;
}

/** The comparison as text, with one sentence. Ends without a line break. */
export function lensComparisonText(
  lenses: readonly LensRow[],
  width: number,
  style: TextStyle,
): string {
  const columns: Column[] = [
    { head: '', cells: lenses.map((lens) => lens.name) },
    ...HALO_ROWS.flatMap(({ key, words }): Column[] => [
      {
        head: `${words} %\nmeasured`,
        cells: lenses.map((lens) => signed(withUncertainty(lens.measured?.[key] ?? null, 2))),
      },
      {
        head: '\ntrue',
        cells: lenses.map((lens) =>
          lens.truth === null ? NOT_MEASURED : signed(fixed(lens.truth[key], 1)),
        ),
      },
    ]),
    { head: 'halo', cells: lenses.map((lens) => lens.level ?? NOT_MEASURED) },
  ];
  return [
    style.strong('The same stars through every lens'),
    columnsText(columns, width, style),
    '',
    style.strong(wrap(comparisonSentence(lenses), width)),
  ].join('\n');
}

function comparisonSentence(lenses: readonly LensRow[]): string {
  const shares = lenses.flatMap((lens) =>
    lens.measured === null
      ? []
      : [`${fixed(lens.measured.blueMinusRed.value, 0)} % (${lens.name})`],
  );
  if (shares.length === 0) return 'No lens could be measured.';
  return (
    `Of a star’s blue light, this much more than of its red light falls outside the green image: ` +
    `${shares.join(', ')}.`
  );
}
