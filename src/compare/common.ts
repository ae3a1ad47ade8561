/** Which stars are the same in all frames of all labels, how the frames lie on each other, and at which scale. */
import { FLAG } from '../catalogue/flags.js';
import { ToolError } from '../errors.js';
import { type Match, matchStars } from '../match/match.js';
import { applyInverse, applyTransform, type Transform } from '../match/transform.js';
import { scaleOf } from '../measure/frame-facts.js';
import { matchListOf } from '../measure/match-list.js';
import type { SearchedFrame } from '../measure/search-frame.js';
import { noiseSnr } from '../measure/sources.js';
import type { Warning } from '../warnings.js';
import type { CommonField, LabelInput } from './label.js';
import type { AngularUnit, ComparedTelescope } from './result.js';

/** Signal-to-noise of a common star in the reference channel of every frame. */
export const COMMON_SNR = 10;
/** Fewest common stars of a comparison. */
const FEWEST_COMMON = 3;
/** The first frame is the label's reference unless another has this many times its usable stars. */
const MUCH_BETTER = 1.4;
/** Header scales that disagree with the stars by more are pointed out. */
const SCALE_DISAGREES = 0.02;
/** Brightest stars of the first label whose clipping is counted. */
const BRIGHT_STARS = 30;
/** Points along each axis at which the common field is looked for. */
const FIELD_GRID = 65;

/** One frame of a label on the sky of the first label. */
export interface RegisteredFrame {
  searched: SearchedFrame;
  fromFirst: readonly Transform[];
  /** px of this frame per px of the label's reference frame. */
  pxPerReferencePx: number;
  /** Source of each common star. */
  common: number[];
}

export interface RegisteredLabel {
  input: LabelInput;
  /** The reference frame first. */
  frames: [RegisteredFrame, ...RegisteredFrame[]];
  failed: ComparedTelescope['failed'];
  match: Match | null;
  headerScaleArcsecPerPx: number | null;
  scaleArcsecPerPx: number | null;
  scaleSource: ComparedTelescope['scaleSource'];
  unitPerPx: number;
  brightStars: number;
  brightClipped: number;
}

export interface CommonStars {
  labels: RegisteredLabel[];
  unit: AngularUnit;
  field: CommonField;
  /** Sources of the first label's reference frame that all frames see and at least one clips, brightest first, with each reference frame's source. */
  clipped: number[][];
}

/** A frame matched with the reference frame of its label: source of the reference → source of the frame. */
interface Laid {
  searched: SearchedFrame;
  partner: Map<number, number>;
  match: Match | null;
}

/**
 * Registers all frames, and lists the stars that every one of them sees, unsaturated, unflagged, with S/N ≥ 10, brightest of
 * the first label first.
 *
 * A frame that does not match its label's reference frame is left out with a warning. Scales: one label's header decides, the match
 * carries it to the others; their own headers are only checked against it, since nominal focal lengths are often off by a per cent
 * or two, and the stars are not.
 * @throws ToolError `no-frames`, `not-matched`, `few-common-stars`
 */
export function findCommon(
  inputs: readonly LabelInput[],
  warn: (warning: Warning) => void,
): CommonStars {
  const laid = inputs.map((input) => layLabel(input, warn));
  const first = laid[0] as ReturnType<typeof layLabel>;
  const firstList = matchListOf(first.frames[0].searched);
  const matched = laid.map((label, l) => {
    const [reference] = label.frames;
    if (l === 0) return { match: null, partner: null };
    const list = matchListOf(reference.searched);
    const match = matchStars(firstList.list, list.list);
    if (!match.found) throw notMatched(inputs[l] as LabelInput, inputs[0] as LabelInput, match);
    return { match, partner: partners(firstList.source, list.source, match) };
  });

  // Every frame as a map from sources of the very first frame.
  const fromFirst = laid.map((label, l) => {
    const base = matched[l]?.partner ?? null;
    return label.frames.map(({ partner }) => (base === null ? partner : joined(base, partner)));
  });
  const maps = fromFirst.flat();
  const everywhere = [...(maps[0] as Map<number, number>).keys()].filter((i) =>
    maps.every((map) => map.has(i)),
  );
  const usable = laid.map((label) => label.frames.map(({ searched }) => usableTest(searched)));
  const common = everywhere.filter((i) =>
    fromFirst.every((list, l) =>
      list.every((map, f) => usable[l]?.[f]?.(map.get(i) as number) === true),
    ),
  );
  const { searched: base } = first.frames[0];
  const brightness = (i: number): number => {
    const flux = base.found.sources.fits[base.found.reference]?.flux[i] ?? Number.NaN;
    return Number.isNaN(flux) ? Number.POSITIVE_INFINITY : flux;
  };
  const significance = base.found.sources.significance;
  const brightestFirst = (a: number, b: number): number => {
    const [p, q] = [brightness(a), brightness(b)];
    return p === q ? (significance[b] as number) - (significance[a] as number) || a - b : q - p;
  };
  common.sort(brightestFirst);
  everywhere.sort(brightestFirst);
  if (common.length < FEWEST_COMMON) throw tooFew(common.length, everywhere.length);

  const isClipped = (l: number, i: number): boolean =>
    (laid[l] as ReturnType<typeof layLabel>).frames.some(({ searched }, f) => {
      const source = fromFirst[l]?.[f]?.get(i) as number;
      return ((searched.found.sources.flags[source] as number) & FLAG.saturated) !== 0;
    });
  const bright = everywhere.slice(0, BRIGHT_STARS);
  const labels = laid.map((label, l): RegisteredLabel => {
    const { match } = matched[l] as { match: Match | null };
    const onto = match === null ? [] : [match.transform];
    const frames = label.frames.map(
      (frame, f): RegisteredFrame => ({
        searched: frame.searched,
        fromFirst: frame.match === null ? onto : [...onto, frame.match.transform],
        pxPerReferencePx: frame.match?.description.scale ?? 1,
        common: common.map((i) => fromFirst[l]?.[f]?.get(i) as number),
      }),
    );
    return {
      input: label.input,
      frames: frames as RegisteredLabel['frames'],
      failed: label.failed,
      match,
      headerScaleArcsecPerPx: scaleOf(label.frames[0].searched.frame.metadata),
      scaleArcsecPerPx: null,
      scaleSource: null,
      unitPerPx: 1,
      brightStars: bright.length,
      brightClipped: bright.filter((i) => isClipped(l, i)).length,
    };
  });
  return {
    labels,
    unit: setScales(labels, warn),
    field: commonField(labels),
    clipped: everywhere
      .filter((i) => labels.some((_, l) => isClipped(l, i)))
      .map((i) => fromFirst.map((maps) => maps[0]?.get(i) as number)),
  };
}

/** Lays the frames of one label on its reference frame. */
function layLabel(
  input: LabelInput,
  warn: (warning: Warning) => void,
): { input: LabelInput; frames: [Laid, ...Laid[]]; failed: ComparedTelescope['failed'] } {
  const { label, frames } = input;
  const failed = [...input.failed];
  const counts = frames.map((one) => {
    const test = usableTest(one);
    let n = 0;
    for (let i = 0; i < one.found.sources.n; i++) if (test(i)) n++;
    return n;
  });
  const most = Math.max(0, ...counts);
  if (frames.length === 0 || most === 0) {
    throw new ToolError(
      'no-frames',
      frames.length === 0
        ? `no frame of ${label} can be read`
        : `no frame of ${label} holds a usable star`,
      'give it other frames; `bluerim measure` says what is wrong with each',
    );
  }
  const start = (counts[0] as number) * MUCH_BETTER >= most ? 0 : counts.indexOf(most);
  const reference = frames[start] as SearchedFrame;
  const list = matchListOf(reference);
  const laid: [Laid, ...Laid[]] = [
    {
      searched: reference,
      partner: new Map(list.source.map((i) => [i, i])),
      match: null,
    },
  ];
  const leaveOut = (searched: SearchedFrame, message: string): void => {
    const file = searched.frame.path;
    warn({ code: 'frame-left-out', message, file });
    failed.push({
      file,
      error: { code: 'not-matched', message, remedy: 'check that it shows the same field' },
    });
  };
  for (const searched of frames) {
    if (searched === reference) continue;
    if (
      searched.frame.layout !== reference.frame.layout ||
      searched.plan.channels.length !== reference.plan.channels.length
    ) {
      leaveOut(
        searched,
        `left out of ${label}: its colours are laid out differently from those of ${reference.frame.path}`,
      );
      continue;
    }
    const own = matchListOf(searched);
    const match = matchStars(list.list, own.list, { nearlyAligned: true });
    if (match.found) {
      laid.push({ searched, partner: partners(list.source, own.source, match), match });
    } else {
      leaveOut(
        searched,
        `left out of ${label}: its stars do not match those of ${reference.frame.path}. ${match.explanation}`,
      );
    }
  }
  return { input, frames: laid, failed };
}

function partners(
  sourceA: readonly number[],
  sourceB: readonly number[],
  match: Match,
): Map<number, number> {
  const map = new Map<number, number>();
  for (let k = 0; k < match.matched; k++) {
    map.set(
      sourceA[match.indexA[k] as number] as number,
      sourceB[match.indexB[k] as number] as number,
    );
  }
  return map;
}

function joined(one: Map<number, number>, two: Map<number, number>): Map<number, number> {
  const map = new Map<number, number>();
  for (const [from, through] of one) {
    const to = two.get(through);
    if (to !== undefined) map.set(from, to);
  }
  return map;
}

/** Whether a source of a frame is a star fit for comparing. */
export function usableTest({ found }: SearchedFrame): (i: number) => boolean {
  const { sources, locus } = found;
  const fits = sources.fits[found.reference];
  if (!fits || !locus) return () => false;
  return (i) => sources.flags[i] === 0 && noiseSnr(fits, i) >= COMMON_SNR;
}

/** Gives every label its scale; returns the unit of angles. */
function setScales(labels: RegisteredLabel[], warn: (warning: Warning) => void): AngularUnit {
  const ratio = (label: RegisteredLabel): number => label.match?.description.scale ?? 1;
  const anchor = labels.find((label) => label.headerScaleArcsecPerPx !== null);
  if (!anchor) {
    for (const label of labels) label.unitPerPx = 1 / ratio(label);
    warn({
      code: 'no-scale',
      message:
        'no telescope gives focal length and pixel size (--focal-length, --pixel-size): angles are in pixels of the first telescope, and rows that need arcsec are left out',
    });
    return 'px';
  }
  const firstScale = (anchor.headerScaleArcsecPerPx as number) * ratio(anchor);
  for (const label of labels) {
    const scale = firstScale / ratio(label);
    const own = label.headerScaleArcsecPerPx;
    const agrees = own !== null && Math.abs(own / scale - 1) <= SCALE_DISAGREES;
    if (own !== null && !agrees) {
      warn({
        code: 'scale-disagrees',
        message: `${label.input.label}: focal length and pixel size give ${own.toPrecision(4)} arcsec per px, but its stars say ${scale.toPrecision(4)} beside ${anchor.input.label}; the stars are believed`,
        file: label.frames[0].searched.frame.path,
      });
    }
    label.scaleArcsecPerPx = scale;
    label.scaleSource = agrees ? 'header' : 'match';
    label.unitPerPx = scale;
  }
  return 'arcsec';
}

/** The part of the sky that lies on every frame, looked at on a grid over the first one. */
function commonField(labels: readonly RegisteredLabel[]): CommonField {
  const frames = labels.flatMap((label) => label.frames);
  const at = new Float64Array(2);
  const contains = (x: number, y: number): boolean =>
    frames.every(({ searched, fromFirst }) => {
      onFrame(fromFirst, x, y, at);
      const { width, height } = searched.frame.rows;
      const [u, v] = at as unknown as [number, number];
      return u >= 0 && v >= 0 && u <= width - 1 && v <= height - 1;
    });
  const { width, height } = (frames[0] as RegisteredFrame).searched.frame.rows;
  const seen: [number, number][] = [];
  for (let j = 0; j < FIELD_GRID; j++) {
    for (let i = 0; i < FIELD_GRID; i++) {
      const x = ((width - 1) * i) / (FIELD_GRID - 1);
      const y = ((height - 1) * j) / (FIELD_GRID - 1);
      if (contains(x, y)) seen.push([x, y]);
    }
  }
  const mean = (axis: 0 | 1): number =>
    seen.reduce((sum, point) => sum + point[axis], 0) / seen.length;
  const centreX = mean(0);
  const centreY = mean(1);
  let farthest = 0;
  for (const [x, y] of seen) farthest = Math.max(farthest, (x - centreX) ** 2 + (y - centreY) ** 2);
  return { contains, centreX, centreY, halfDiagonalPx: Math.sqrt(farthest) };
}

/** A point of the first reference frame on another frame; `out` receives x and y. */
export function onFrame(
  fromFirst: readonly Transform[],
  x: number,
  y: number,
  out: Float64Array,
): void {
  out[0] = x;
  out[1] = y;
  for (const transform of fromFirst) {
    applyTransform(transform, out[0] as number, out[1] as number, out);
  }
}

/** The reverse: where a point of a frame lies on the first reference frame. NaN where a polynomial cannot be turned round. */
export function ontoFirst(
  fromFirst: readonly Transform[],
  x: number,
  y: number,
  out: Float64Array,
): void {
  out[0] = x;
  out[1] = y;
  for (let t = fromFirst.length - 1; t >= 0; t--) {
    applyInverse(fromFirst[t] as Transform, out[0] as number, out[1] as number, out);
  }
}

function notMatched(
  one: LabelInput,
  other: LabelInput,
  { reason, explanation }: { reason: string; explanation: string },
): ToolError {
  return new ToolError(
    'not-matched',
    `the stars of ${one.label} are not those of ${other.label}: ${explanation}`,
    reason === 'too-few-stars'
      ? 'longer exposures show more stars'
      : 'check that both look at the same part of the sky, with at least a third of the smaller field in common',
  );
}

function tooFew(common: number, seen: number): ToolError {
  return new ToolError(
    'few-common-stars',
    `only ${common} star${common === 1 ? ' is' : 's are'} usable in all frames (${seen} are seen in all): at least ${FEWEST_COMMON} are needed`,
    'expose so that the same stars are neither clipped nor faint in every telescope, or leave out the frames that show least',
  );
}
