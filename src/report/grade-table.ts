/** A graded night as text: the story first, then every frame of each group, then why frames are doubtful or dropped. */
import type { GradedFrame, GroupSummary, Night, NightGroup } from '../grade/result.js';
import { escapeControls } from './escape.js';
import { shortNames } from './frames-table.js';
import { type Column, columnsText, fact, type TextStyle, wrap } from './layout.js';
import { count, fixed, NOT_MEASURED, nominal } from './number.js';

/** Ends with a line break. */
export function nightText(night: Night, width: number, style: TextStyle): string {
  const names = shortNames(night.frames.map(({ file }) => file));
  const blocks: string[] = [];
  if (night.story.length > 0) {
    blocks.push(
      [
        style.strong('The night'),
        ...night.story.map((sentence) => wrap(escapeControls(sentence), width, 2)),
      ].join('\n'),
    );
  }
  night.groups.forEach((group, index) => {
    const members = night.frames
      .map((frame, i) => ({ frame, name: names[i] as string }))
      .filter(({ frame }) => frame.group === index);
    blocks.push(groupText(group, members, width, style));
  });
  const apart = night.frames
    .map((frame, i) => ({ frame, name: names[i] as string }))
    .filter(({ frame }) => frame.group === null);
  if (apart.length > 0) {
    blocks.push(
      [style.strong('Not graded'), ...apart.map((row) => reasonText(row, width, style))].join('\n'),
    );
  }
  if (night.groups.length > 1) {
    blocks.push([style.strong('All together'), totals(night.summary, true)].join('\n'));
  }
  if (blocks.length === 0) blocks.push('No frame was measured.');
  return `${blocks.join('\n\n')}\n`;
}

interface Row {
  frame: GradedFrame;
  name: string;
}

function groupText(
  group: NightGroup,
  members: readonly Row[],
  width: number,
  style: TextStyle,
): string {
  const rows = [...members].sort(
    (a, b) =>
      (a.frame.startMs ?? Number.POSITIVE_INFINITY) -
        (b.frame.startMs ?? Number.POSITIVE_INFINITY) || (a.name < b.name ? -1 : 1),
  );
  const against = rows.filter(({ frame }) => frame.reasons.length > 0);
  const [reference] = group.reference === null ? [] : shortNames([group.reference]);
  const parts = [
    style.strong(wrap(escapeControls(group.name), width)),
    fact(
      'reference  ',
      reference === undefined ? group.referenceWhy : `${reference}: ${group.referenceWhy}`,
      11,
      width,
    ),
    '',
    columnsText(frameColumns(rows, style), width, style),
  ];
  if (against.length > 0) {
    parts.push('', style.strong('Why'));
    parts.push(...against.map((row) => reasonText(row, width, style)));
  }
  parts.push('', totals(group.summary, group.reference !== null));
  return parts.join('\n');
}

function frameColumns(rows: readonly Row[], style: TextStyle): Column[] {
  const frames = rows.map(({ frame }) => frame);
  const arcsec =
    frames.every((frame) => frame.fwhmPx === null || frame.fwhmArcsec !== null) &&
    frames.some((frame) => frame.fwhmArcsec !== null);
  const number = (head: string, cell: (frame: GradedFrame) => string): Column => ({
    head,
    align: 'right',
    cells: frames.map(cell),
  });
  const columns: Column[] = [
    { head: 'frame', cells: rows.map(({ name }) => name) },
    {
      head: 'start\nUTC',
      cells: frames.map(({ startMs }) =>
        startMs === null ? NOT_MEASURED : new Date(startMs).toISOString().slice(11, 16),
      ),
    },
    { head: 'decision', cells: frames.map((frame) => painted(frame, style)) },
    number('weight', ({ weight }) => (weight === null ? NOT_MEASURED : fixed(weight, 2))),
    number('stars', ({ starsUsed }) => count(starsUsed)),
    number(arcsec ? 'FWHM\n″' : 'FWHM\npx', ({ fwhmPx, fwhmArcsec }) => {
      const size = arcsec ? fwhmArcsec : fwhmPx;
      return size === null ? NOT_MEASURED : fixed(size.value, 2);
    }),
    number('ellip-\nticity', ({ ellipticity }) =>
      ellipticity === null ? NOT_MEASURED : fixed(ellipticity.value, 2),
    ),
    number('star-\nlight %', ({ transparency }) =>
      transparency === null ? NOT_MEASURED : fixed(100 * transparency.value, 0),
    ),
    number('sky\nADU', ({ backgroundAdu }) =>
      backgroundAdu === null ? NOT_MEASURED : fixed(backgroundAdu, 0),
    ),
    number('shift\npx', ({ offsetPx }) =>
      offsetPx === null
        ? NOT_MEASURED
        : fixed(Math.sqrt(offsetPx[0] * offsetPx[0] + offsetPx[1] * offsetPx[1]), 0),
    ),
  ];
  if (frames.some((frame) => frame.blueMinusRedPercent !== null)) {
    columns.push(
      number('blue −\nred %', ({ blueMinusRedPercent }) =>
        blueMinusRedPercent === null ? NOT_MEASURED : fixed(blueMinusRedPercent.value, 0),
      ),
    );
  }
  if (frames.some((frame) => frame.trails.length > 0)) {
    columns.push({
      head: 'trail',
      cells: frames.map(({ trails }) => (trails.length === 0 ? '' : 'yes')),
    });
  }
  return columns;
}

function painted({ decision }: GradedFrame, style: TextStyle): string {
  if (decision === 'keep') return style.green('keep');
  return decision === 'drop' ? style.red('drop') : style.warn('doubtful');
}

function reasonText({ frame, name }: Row, width: number, style: TextStyle): string {
  const texts = frame.reasons.map(({ text }) => text).join('; ');
  return wrap(`${name}  ${painted(frame, style)}: ${escapeControls(texts)}`, width, 4);
}

/** Kept and effective exposure, and what each cause took. */
function totals(summary: GroupSummary, hasReference: boolean): string {
  const counts = `kept ${count(summary.kept)}, doubtful ${count(summary.doubtful)}, dropped ${count(summary.dropped)}`;
  const worth = hasReference
    ? `, worth ${minutes(summary.effectiveSeconds)} min of reference frames`
    : '';
  // Without exposures there is no time to add up.
  const time =
    summary.totalSeconds > 0
      ? `; ${minutes(summary.keptSeconds)} of ${minutes(summary.totalSeconds)} min kept${worth}`
      : '; exposure not known';
  const lines = [counts + time];
  const lost = summary.lost.filter(
    ({ droppedSeconds, weakenedSeconds }) => droppedSeconds + weakenedSeconds >= 30,
  );
  if (lost.length > 0) {
    const words = lost.map(
      ({ cause, droppedSeconds, weakenedSeconds }) =>
        `${cause} ${minutes(droppedSeconds + weakenedSeconds)} min`,
    );
    lines.push(`lost: ${words.join(', ')}`);
  }
  return lines.join('\n');
}

function minutes(seconds: number): string {
  return nominal(seconds / 60, seconds >= 600 ? 3 : 2);
}
