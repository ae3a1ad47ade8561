/** Several frames as text: one row each, a combined row, and what the combination says about itself. */
import type { CombinedResult } from '../measure/combine.js';
import type { ChannelName, FrameResult, Uncertain } from '../measure/result.js';
import { escapeControls } from './escape.js';
import { paintChannel } from './frame-table.js';
import { type Column, columnsText, type TextStyle, wrap } from './layout.js';
import { count, NOT_MEASURED, signed, withUncertainty } from './number.js';
import { CHANNEL_ORDER } from './words.js';

/** Longest file name shown; its end, where the number is, tells more than its start. */
const NAME_WIDTH = 32;

function shortened(name: string): string {
  const characters = [...name];
  return characters.length <= NAME_WIDTH
    ? name
    : `…${characters.slice(characters.length - NAME_WIDTH + 1).join('')}`;
}

/** Names for a list of files: without their folders where that leaves them distinct, cut at the start where too long. */
export function shortNames(files: readonly string[]): string[] {
  const bare = files.map((file) => file.replace(/^.*[\\/](?=[^\\/]+$)/, ''));
  const names = new Set(bare).size === files.length ? bare : files;
  return names.map((name) => shortened(escapeControls(name)));
}

/** Names of the rows; a set goes by its green frame. */
function frameNames(results: readonly FrameResult[]): string[] {
  const names = shortNames(results.map((each) => each.setFiles?.G ?? each.file));
  return results.map((each, i) => (each.setFiles ? `set of ${names[i]}` : (names[i] as string)));
}

/** A row per frame in input order, failed ones included. Ends without a line break. */
export function framesText(
  results: readonly FrameResult[],
  combined: CombinedResult | null,
  width: number,
  style: TextStyle,
): string {
  const channels = CHANNEL_ORDER.filter((name) =>
    results.some((each) => each.channels[name] !== undefined),
  );
  const combinedRow = <T>(cell: (all: CombinedResult) => T): T[] =>
    combined === null ? [] : [cell(combined)];
  const hasHalo = results.some((each) => each.halo !== null);
  const columns: Column[] = [
    {
      head: 'frame',
      cells: [
        ...frameNames(results),
        ...combinedRow((all) => style.strong(`${all.files.length} combined`)),
      ],
    },
    {
      head: 'stars\nused',
      align: 'right',
      cells: [
        ...results.map((each) =>
          each.status === 'failed'
            ? style.warn('failed')
            : each.stars === null
              ? NOT_MEASURED
              : count(each.stars.used),
        ),
        ...combinedRow((all) => count(all.starsUsed)),
      ],
    },
    ...channels.map((name) => sizeColumn(name, results, combined, style)),
  ];
  // One column, one kind of number: over the perfect lens only where that is known for every frame.
  const overPerfect = results.every(
    (each) => each.halo === null || each.halo.blueMinusRed.overPerfectLensPercent !== null,
  );
  if (hasHalo) {
    const shown = (
      contrast:
        | {
            excessPercent: Uncertain | null;
            overPerfectLensPercent: Uncertain | null;
          }
        | undefined,
    ): string =>
      signed(
        withUncertainty(
          (overPerfect ? contrast?.overPerfectLensPercent : contrast?.excessPercent) ?? null,
          2,
        ),
      );
    columns.push(
      {
        head: 'blue − red\nhalo %',
        cells: [
          ...results.map((each) => shown(each.halo?.blueMinusRed)),
          ...combinedRow((all) => shown(all.halo?.blueMinusRed)),
        ],
      },
      {
        head: 'halo',
        cells: [
          ...results.map((each) => each.halo?.level ?? NOT_MEASURED),
          ...combinedRow((all) => all.halo?.level ?? NOT_MEASURED),
        ],
      },
    );
  }
  const verdicts = results.map((each) => each.linearity?.verdict ?? NOT_MEASURED);
  if (verdicts.some((verdict) => verdict === 'stretched')) {
    columns.push({ head: 'data', cells: [...verdicts, ...combinedRow(() => '')] });
  }
  const legend =
    'FWHM: star width at half brightness, pixel included.' +
    (hasHalo
      ? ` Blue − red halo: how much more blue than red light falls outside the green image, ${
          overPerfect
            ? 'over what a perfect lens shows'
            : 'as measured (what a perfect lens shows is not known for every frame)'
        }.`
      : '');
  const parts = [`${columnsText(columns, width, style)}\n${style.faint(wrap(legend, width))}`];
  if (combined !== null && combined.notes.length > 0) {
    parts.push(combined.notes.map((note) => wrap(`Note: ${note}.`, width, 6)).join('\n'));
  }
  return parts.join('\n\n');
}

function sizeColumn(
  name: ChannelName,
  results: readonly FrameResult[],
  combined: CombinedResult | null,
  style: TextStyle,
): Column {
  return {
    head: `FWHM px\n${paintChannel(name, style)}`,
    cells: [
      ...results.map((each) => withUncertainty(each.channels[name]?.fwhmPx ?? null, 2)),
      ...(combined === null ? [] : [withUncertainty(combined.channels[name]?.fwhmPx ?? null, 2)]),
    ],
  };
}
