/** The page of `grade` and `merge`: made from the document alone. */
import type { Decision, GradedFrame, GroupSummary, NightGroup } from '../grade/result.js';
import { shortNames } from './frames-table.js';
import type { GradeDocument } from './grade-json.js';
import {
  changesTable,
  gathered,
  groupsTable,
  limitsTable,
  minutes,
  referencesOf,
  usualTable,
} from './grade-page-groups.js';
import { figure } from './html/figure.js';
import { term } from './html/glossary.js';
import { type Html, html, type Part } from './html/markup.js';
import { htmlPage, methodSection, warningSection } from './html/page.js';
import { dataTable, factList } from './html/table.js';
import { count, fixed, NOT_MEASURED } from './number.js';
import { nightTrends, type TrendRow } from './svg/night-trends.js';

/** Frames with a row of their own: more would make a page that cannot be mailed. */
const MOST_ROWS = 1200;
/** Groups with a picture of their own. */
const MOST_PICTURES = 8;
const HOUR_MS = 3_600_000;
/** Frames over a longer time than this are drawn one after the other: a clock would leave gaps of days. */
const LONGEST_NIGHT_HOURS = 20;

const DECISION_SIGNS: Readonly<Record<Decision, string>> = {
  keep: '● keep',
  doubtful: '◇ doubtful',
  drop: '× drop',
};

interface Row {
  frame: GradedFrame;
  name: string;
}

/** The page as text. */
export function gradePage(document: GradeDocument): string {
  const { frames, groups, summary, story, complete } = document;
  const names = shortNames(frames.map(({ file }) => file));
  const rows = frames.map((frame, i): Row => ({ frame, name: names[i] as string }));
  const [first] = groups;
  const others = groups.length - 1;
  return htmlPage({
    title: `${first?.name ?? 'no group of frames'}${others > 0 ? ` and ${count(others)} more` : ''}`,
    command: 'grade',
    facts: `${count(frames.length)} frames in ${count(groups.length)} group${groups.length === 1 ? '' : 's'}.${complete ? '' : ' Interrupted: some frames are missing.'}`,
    summary: [
      ...(story.length === 0 ? ['No frame was graded. '] : story.map((each) => `${each} `)),
    ],
    sections: [
      { id: 'came-to', title: 'What it came to', body: [totals(summary)] },
      { id: 'pictures', title: 'Pictures', body: pictures(groups, rows) },
      { id: 'frames', title: 'Frames', body: [framesTable(rows, groups)] },
      {
        id: 'groups',
        title: 'Groups',
        body: [groupsTable(groups), referencesOf(groups)],
      },
      {
        id: 'limits',
        title: 'What is usual, and limits',
        body: [usualTable(groups), limitsTable(rows, groups)],
      },
      { id: 'trends', title: 'Changes', body: [changesTable(groups)] },
      warningSection(gathered(document.warnings)),
      methodSection(METHOD, document),
    ],
  });
}

const METHOD = [
  html`<p>Every frame is held against the good frames of its own group: same target, filter, exposure and size. The same stars are compared. What is usual is taken from the good side alone, so that even many spoiled frames do not pass for usual. A frame is doubtful or dropped where it lies beyond that by more than the good frames scatter, or beyond a limit of yours.</p>`,
  html`<p>Decisions are proposals, for stacking: look at doubtful frames yourself. Sky is drawn as its level, with the pedestal of the camera; it is judged by its noise. A trail is no reason to drop a frame.</p>`,
];

function totals(summary: GroupSummary): Html | null {
  const lost = summary.lost.filter(
    ({ droppedSeconds, weakenedSeconds }) => droppedSeconds + weakenedSeconds >= 30,
  );
  return factList([
    [
      'frames',
      `${count(summary.kept)} kept, ${count(summary.doubtful)} doubtful, ${count(summary.dropped)} dropped`,
    ],
    [
      'exposure',
      html`${minutes(summary.keptSeconds)} of ${minutes(summary.totalSeconds)} min kept, worth ${minutes(summary.effectiveSeconds)} min of ${term('reference', 'reference frames')}`,
    ],
    [
      'lost',
      lost
        .map(
          ({ cause, droppedSeconds, weakenedSeconds }) =>
            `${cause}: ${minutes(droppedSeconds + weakenedSeconds)} min`,
        )
        .join('; '),
    ],
    [
      'would have gained most',
      summary.gain === null
        ? null
        : `${summary.gain.change}: ${minutes(summary.gain.effectiveSeconds)} min`,
    ],
    [
      'worth a look',
      summary.lookAt.length === 0
        ? null
        : html`<ul class="cautions">${summary.lookAt.map(
            ({ file, why }) => html`<li>${shortNames([file])[0] ?? file}: ${why}</li>`,
          )}</ul>`,
    ],
  ]);
}

/** Members of a group in the order of time; frames without time come last, in input order. */
function inTime(rows: readonly Row[]): Row[] {
  const start = ({ frame }: Row): number => frame.startMs ?? Number.MAX_VALUE;
  return [...rows].sort((a, b) => start(a) - start(b));
}

function pictures(groups: readonly NightGroup[], rows: readonly Row[]): (Html | null)[] {
  const drawn = groups.slice(0, MOST_PICTURES).map((group, index) => {
    const members = inTime(rows.filter(({ frame }) => frame.group === index));
    const picture = trendsOf(group, members);
    return picture === null
      ? null
      : figure(
          picture,
          html`${group.name}. One mark for each frame: ● keep, ◇ doubtful, × drop. A mark with a roof lies beyond the panel, up or down. ${term('transparency', 'Starlight')} and ${term('ellipticity')} as in the table.`,
          `night-${index + 1}`,
        );
  });
  const more = groups.length - MOST_PICTURES;
  return [
    ...drawn,
    more > 0
      ? html`<p class="note">${count(more)} more groups have no picture here; \`bluerim merge\` makes pages of fewer frames.</p>`
      : null,
  ];
}

function trendsOf(group: NightGroup, members: readonly Row[]): ReturnType<typeof nightTrends> {
  const frames = members.map(({ frame }) => frame);
  const { x, xLabel, placeOf } = timeAxis(frames);
  const arcsec = inArcsec(frames);
  // What is usual is kept in px; the scale is that of the frames.
  const scaled = frames.find(({ fwhmPx, fwhmArcsec }) => fwhmPx !== null && fwhmArcsec !== null);
  const scale =
    arcsec && scaled?.fwhmPx && scaled.fwhmArcsec
      ? scaled.fwhmArcsec.value / scaled.fwhmPx.value
      : 1;
  const row = (
    quantity: 'fwhmPx' | 'ellipticity' | 'backgroundAdu' | 'transparency',
    name: string,
    label: string,
    factor: number,
    value: (frame: GradedFrame) => number | null | undefined,
  ): TrendRow => {
    const usual = group.usual[quantity];
    return {
      name,
      label,
      values: frames.map((frame) => value(frame) ?? null),
      usual: usual === undefined ? null : factor * usual.centre,
      changes: group.trends.changes
        .filter((change) => change.quantity === quantity)
        .map(placeOf)
        .filter((place) => place !== null),
    };
  };
  return nightTrends({
    name: group.name,
    x,
    xLabel,
    decisions: frames.map(({ decision }) => decision),
    rows: [
      row('fwhmPx', 'FWHM', arcsec ? 'FWHM, ″' : 'FWHM, px', scale, (f) =>
        arcsec ? f.fwhmArcsec?.value : f.fwhmPx?.value,
      ),
      row('ellipticity', 'Ellipticity', 'ellipticity', 1, (f) => f.ellipticity?.value),
      row('backgroundAdu', 'Sky', 'sky, ADU', 1, (f) => f.backgroundAdu),
      row('transparency', 'Starlight', 'starlight, %', 100, (f) =>
        f.transparency === null ? null : 100 * f.transparency.value,
      ),
    ],
  });
}

interface TimeAxis {
  x: number[];
  xLabel: string;
  placeOf: (change: { file: string; atMs: number }) => number | null;
}

/** Hours where every frame has its time and they are of one night; else the number of the frame. */
function timeAxis(frames: readonly GradedFrame[]): TimeAxis {
  const starts = frames.flatMap(({ startMs }) => (startMs === null ? [] : [startMs]));
  const [first = 0] = starts;
  const hours = ((starts.at(-1) ?? 0) - first) / HOUR_MS;
  if (starts.length === frames.length && hours > 0 && hours <= LONGEST_NIGHT_HOURS) {
    const stamp = new Date(first).toISOString();
    const [word, unit] = hours < 2 ? ['minutes', HOUR_MS / 60] : ['hours', HOUR_MS];
    return {
      x: starts.map((start) => (start - first) / unit),
      xLabel: `${word} after ${stamp.slice(11, 16)} UTC on ${stamp.slice(0, 10)}`,
      placeOf: ({ atMs }) => (atMs - first) / unit,
    };
  }
  return {
    x: frames.map((_, i) => i + 1),
    xLabel: 'number of the frame, in the order of time',
    placeOf: ({ file }) => {
      const index = frames.findIndex((frame) => frame.file === file);
      return index < 0 ? null : index + 0.5;
    },
  };
}

function inArcsec(frames: readonly GradedFrame[]): boolean {
  return frames.every(({ fwhmPx, fwhmArcsec }) => fwhmPx === null || fwhmArcsec !== null);
}

/** Frames that are doubtful or dropped go first into what fits, kept ones fill the rest. */
function shownRows(rows: readonly Row[]): Row[] {
  if (rows.length <= MOST_ROWS) return [...rows];
  const against = rows.filter(({ frame }) => frame.decision !== 'keep').slice(0, MOST_ROWS);
  let room = MOST_ROWS - against.length;
  const chosen = new Set(against);
  return rows.filter((row) => chosen.has(row) || (row.frame.decision === 'keep' && room-- > 0));
}

function framesTable(rows: readonly Row[], groups: readonly NightGroup[]): Html | null {
  const ordered = inTime(rows);
  const shown = shownRows(ordered);
  const frames = rows.map(({ frame }) => frame);
  const arcsec = inArcsec(frames);
  const several = groups.length > 1;
  const left = rows.length - shown.length;
  const lines = shown.map(({ frame, name }): Part[] => {
    const size = arcsec ? frame.fwhmArcsec : frame.fwhmPx;
    return [
      name,
      ...(several ? [frame.group === null ? NOT_MEASURED : frame.group + 1] : []),
      frame.startMs === null ? NOT_MEASURED : new Date(frame.startMs).toISOString().slice(11, 16),
      DECISION_SIGNS[frame.decision],
      number(frame.weight, 2),
      count(frame.starsUsed),
      number(size?.value, 2),
      number(frame.ellipticity?.value, 2),
      number(frame.transparency === null ? null : 100 * frame.transparency.value, 0),
      number(frame.backgroundAdu, 0),
      [...frame.reasons.map(({ text }) => text), ...frame.notes].join('; '),
    ];
  });
  const note = [
    html`Start: UTC. Stars: those measured. ${term('transparency', 'Starlight')} beside the ${term('reference', 'reference frame')}.`,
    left > 0
      ? html` <strong>${count(left)} of ${count(rows.length)} frames are left out here, so that the page stays small${
          shown.some(({ frame }) => frame.decision === 'keep') ? ': kept ones' : ''
        }; --csv and --json hold all.</strong>`
      : null,
  ];
  return dataTable({
    caption: 'Every frame, with its decision and what is against it',
    columns: [
      { head: 'frame' },
      ...(several ? [{ head: 'group' }] : []),
      { head: 'start' },
      { head: 'decision', align: 'left' },
      { head: term('weight') },
      { head: 'stars' },
      {
        head: arcsec
          ? html`${term('fwhm')}, ${term('arcsec')}`
          : html`${term('fwhm')}, ${term('px')}`,
      },
      { head: term('ellipticity') },
      { head: html`${term('transparency', 'starlight')}, %` },
      { head: html`sky, ${term('adu')}` },
      { head: 'reasons and notes', align: 'left' },
    ],
    rows: lines,
    note,
  });
}

function number(value: number | null | undefined, decimals: number): string {
  return value === null || value === undefined ? NOT_MEASURED : fixed(value, decimals);
}
