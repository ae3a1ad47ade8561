/** Which stars are the same in all frames of all labels, how the frames lie on each other, and at which scale. */
import { FLAG } from '../catalogue/flags.js';
import { ToolError } from '../errors.js';
import { type Match, matchStars } from '../match/match.js';
import type { NoMatch } from '../match/outcome.js';
import { scaleOf } from '../measure/frame-facts.js';
import { matchListOf } from '../measure/match-list.js';
import type { MeasureOptions } from '../measure/options.js';
import type { SearchedFrame } from '../measure/search-frame.js';
import { noiseSnr } from '../measure/sources.js';
import type { Warning } from '../warnings.js';
import { commonField, distanceFrom, type PlacedFrame } from './common-field.js';
import type { CommonField, LabelInput } from './label.js';
import type { AngularUnit, ComparedTelescope } from './result.js';
import { unmatchedWords } from './words.js';

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
/** 'centre' zone: share of the common field's half diagonal. */
const CENTRE_ZONE = 0.5;

/** One frame of a label on the sky of the first label. */
export interface RegisteredFrame extends PlacedFrame {
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
 * Zone 'centre' keeps those within half the half diagonal of the common field. A frame that does not match its label's reference frame is left out with a warning. Scales: one label's header decides, the match
 * carries it to the others; their own headers are only checked against it, since nominal focal lengths are often off by a per cent
 * or two, and the stars are not.
 * @throws ToolError `no-frames`, `not-matched`, `few-common-stars`
 */
export function findCommon(
  inputs: readonly LabelInput[],
  zone: MeasureOptions['zone'],
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
  const placed = laid.map((label, l) => {
    const match = matched[l]?.match ?? null;
    const onto = match === null ? [] : [match.transform];
    return label.frames.map(
      (frame): PlacedFrame => ({
        searched: frame.searched,
        fromFirst: frame.match === null ? onto : [...onto, frame.match.transform],
      }),
    );
  });
  const field = commonField(placed.flat());
  const { x, y } = first.frames[0].searched.found.sources;
  const inZone = (i: number): boolean =>
    zone === 'all' ||
    distanceFrom(field, x[i] as number, y[i] as number) <= CENTRE_ZONE * field.halfDiagonalPx;
  const usable = laid.map((label) => label.frames.map(({ searched }) => usableTest(searched)));
  const common = everywhere.filter(
    (i) =>
      inZone(i) &&
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
    const frames = label.frames.map(
      (frame, f): RegisteredFrame => ({
        ...(placed[l]?.[f] as PlacedFrame),
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
    field,
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

function notMatched(one: LabelInput, other: LabelInput, refusal: NoMatch): ToolError {
  return new ToolError(
    'not-matched',
    unmatchedWords(one.label, other.label, refusal),
    refusal.reason === 'too-few-stars'
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
