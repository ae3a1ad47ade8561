/** Which stars of several records are the same, and at which scale each was taken. */
import { FLAG } from '../catalogue/flags.js';
import { ToolError } from '../errors.js';
import { type Match, matchStars } from '../match/match.js';
import { scaleOf } from '../measure/frame-facts.js';
import type { Warning } from '../warnings.js';
import {
  columnOf,
  isGood,
  matchListOfRecord,
  type RecordFrame,
  type RecordLabel,
} from './record-label.js';
import type { AngularUnit, ComparedTelescope } from './result.js';
import { unmatchedWords } from './words.js';

/** Fewest common stars of a comparison, and header scales that disagree by more are pointed out. */
const FEWEST_COMMON = 3;
const SCALE_DISAGREES = 0.02;
/** Brightest stars of the first label whose clipping is counted. */
const BRIGHT_STARS = 30;

/** One frame with the row of each common star, in the order that all frames of all labels share. */
export interface LaidFrame {
  frame: RecordFrame;
  common: number[];
  unitPerPx: number;
}

export interface LaidLabel {
  label: RecordLabel;
  /** The reference frame first. */
  frames: [LaidFrame, ...LaidFrame[]];
  failed: ComparedTelescope['failed'];
  match: Match | null;
  scaleArcsecPerPx: number | null;
  scaleSource: ComparedTelescope['scaleSource'];
  headerScaleArcsecPerPx: number | null;
  unitPerPx: number;
  /** Usable stars of the reference frame, whether the others see them or not. */
  ownStars: number;
  /** Of the brightest stars that all see: how many this one clips in any frame. */
  brightStars: number;
  brightClipped: number;
}

export interface RecordCommon {
  labels: LaidLabel[];
  unit: AngularUnit;
  common: number;
}

type Rows = Map<number, number>;

function countUsable(frame: RecordFrame): number {
  const test = isGood(frame);
  let n = 0;
  for (let i = 0; i < frame.stars.length; i++) if (test(i)) n++;
  return n;
}

function pairsOf(from: readonly number[], to: readonly number[], match: Match): Rows {
  const map: Rows = new Map();
  for (let k = 0; k < match.matched; k++) {
    map.set(from[match.indexA[k] as number] as number, to[match.indexB[k] as number] as number);
  }
  return map;
}

interface Laid {
  label: RecordLabel;
  frames: { frame: RecordFrame; rows: Rows; scale: number }[];
  failed: ComparedTelescope['failed'];
}

/** Lays the frames of one label on the one with most usable stars. */
function layFrames(label: RecordLabel, warn: (warning: Warning) => void): Laid {
  const counts = label.frames.map(countUsable);
  const most = Math.max(0, ...counts);
  if (most === 0) {
    throw new ToolError(
      'no-frames',
      `no frame of ${label.label} holds a usable star`,
      'give it other frames; `bluerim measure` says what is wrong with each',
    );
  }
  const reference = label.frames[counts.indexOf(most)] as RecordFrame;
  const own = matchListOfRecord(reference);
  const same: Rows = new Map(own.source.map((i) => [i, i]));
  const frames = [{ frame: reference, rows: same, scale: 1 }];
  const failed = [...label.failed];
  for (const frame of label.frames) {
    if (frame === reference) continue;
    const other = matchListOfRecord(frame);
    const match = matchStars(own.list, other.list, { nearlyAligned: true });
    if (match.found && frame.result.layout === reference.result.layout) {
      const rows = pairsOf(own.source, other.source, match);
      frames.push({ frame, rows, scale: match.description.scale });
      continue;
    }
    const { file } = frame.result;
    const message = `left out of ${label.label}: its stars or colours do not match those of ${reference.result.file}`;
    warn({ code: 'frame-left-out', message, file });
    const remedy = 'check that it shows the same field';
    failed.push({ file, error: { code: 'not-matched', message, remedy } });
  }
  return { label, frames, failed };
}

/**
 * Registers all records, and lists the stars that every frame sees, unflagged, with S/N ≥ 10, brightest of the first label first.
 * @throws ToolError `no-frames`, `not-matched`, `few-common-stars`
 */
export function findRecordCommon(
  labels: readonly RecordLabel[],
  warn: (warning: Warning) => void,
): RecordCommon {
  const laid = labels.map((label) => layFrames(label, warn));
  const [first] = laid as [Laid, ...Laid[]];
  const base = (first.frames[0] as Laid['frames'][number]).frame;
  const baseList = matchListOfRecord(base);
  const matched = laid.map(({ frames, label }, l): { match: Match; rows: Rows } | null => {
    if (l === 0) return null;
    const list = matchListOfRecord((frames[0] as Laid['frames'][number]).frame);
    const match = matchStars(baseList.list, list.list);
    if (!match.found) {
      throw new ToolError(
        'not-matched',
        unmatchedWords(label.label, first.label.label, match),
        'check that both look at the same part of the sky, with at least a third of the smaller field in common',
      );
    }
    return { match, rows: pairsOf(baseList.source, list.source, match) };
  });
  const rowOf = (l: number, f: number, i: number): number | undefined => {
    const onLabel = l === 0 ? i : matched[l]?.rows.get(i);
    return onLabel === undefined ? undefined : laid[l]?.frames[f]?.rows.get(onLabel);
  };
  const tests = laid.map(({ frames }) => frames.map(({ frame }) => isGood(frame)));
  const everywhere = baseList.source.filter((i) =>
    laid.every(({ frames }, l) => frames.every((_, f) => rowOf(l, f, i) !== undefined)),
  );
  const common = everywhere.filter((i) =>
    tests.every((list, l) => list.every((test, f) => test(rowOf(l, f, i) as number))),
  );
  if (common.length < FEWEST_COMMON) {
    throw new ToolError(
      'few-common-stars',
      `only ${common.length} star${common.length === 1 ? ' is' : 's are'} usable in all frames: at least ${FEWEST_COMMON} are needed`,
      'expose so that the same stars are neither clipped nor faint in every telescope',
    );
  }
  // Without a flux: clipped, and brighter than all others.
  const flux = columnOf(base, `flux_${base.reference}`).map((v) =>
    Number.isNaN(v) ? Number.POSITIVE_INFINITY : v,
  );
  const brightestFirst = (a: number, b: number): number =>
    flux[a] === flux[b] ? a - b : (flux[b] as number) - (flux[a] as number);
  common.sort(brightestFirst);
  const bright = everywhere.sort(brightestFirst).slice(0, BRIGHT_STARS);
  const isClipped = (l: number, i: number): boolean =>
    (laid[l] as Laid).frames.some(
      ({ frame }, f) =>
        ((frame.stars.flags[rowOf(l, f, i) as number] as number) & FLAG.saturated) !== 0,
    );

  const scales = scalesOf(laid, matched, warn);
  return {
    unit: scales.unit,
    common: common.length,
    labels: laid.map(({ label, frames, failed }, l) => ({
      label,
      failed,
      match: matched[l]?.match ?? null,
      frames: frames.map(({ frame, scale }, f) => ({
        frame,
        common: common.map((i) => rowOf(l, f, i) as number),
        unitPerPx: (scales.perPx[l] as number) / scale,
      })) as LaidLabel['frames'],
      unitPerPx: scales.perPx[l] as number,
      scaleArcsecPerPx: scales.unit === 'px' ? null : (scales.perPx[l] as number),
      scaleSource: scales.source[l] ?? null,
      headerScaleArcsecPerPx: scales.header[l] ?? null,
      ownStars: countUsable((frames[0] as Laid['frames'][number]).frame),
      brightStars: bright.length,
      brightClipped: bright.filter((i) => isClipped(l, i)).length,
    })),
  };
}

/** One label's header decides, the match carries it to the others, as with frames. */
function scalesOf(
  laid: readonly Laid[],
  matched: readonly ({ match: Match } | null)[],
  warn: (warning: Warning) => void,
): {
  unit: AngularUnit;
  perPx: number[];
  header: (number | null)[];
  source: ComparedTelescope['scaleSource'][];
} {
  const header = laid.map(({ frames }) => {
    const { metadata } = (frames[0] as Laid['frames'][number]).frame.result;
    return metadata === null ? null : scaleOf(metadata);
  });
  const ratio = laid.map((_, l) => matched[l]?.match.description.scale ?? 1);
  const anchor = header.findIndex((scale) => scale !== null);
  if (anchor < 0) {
    warn({
      code: 'no-scale',
      message:
        'no telescope gives focal length and pixel size: angles are in pixels of the first telescope',
    });
    return { unit: 'px', perPx: ratio.map((r) => 1 / r), header, source: header.map(() => null) };
  }
  const first = (header[anchor] as number) * (ratio[anchor] as number);
  const perPx = ratio.map((r) => first / r);
  const source = header.map((own, l): ComparedTelescope['scaleSource'] => {
    const scale = perPx[l] as number;
    const agrees = own !== null && Math.abs(own / scale - 1) <= SCALE_DISAGREES;
    if (own !== null && !agrees) {
      warn({
        code: 'scale-disagrees',
        message: `${laid[l]?.label.label}: focal length and pixel size give ${own.toPrecision(4)} arcsec per px, but its stars say ${scale.toPrecision(4)}; the stars are believed`,
      });
    }
    return agrees ? 'header' : 'match';
  });
  return { unit: 'arcsec', perPx, header, source };
}
