/** A night's frames graded: groups → reference → registration → weights → limits → decisions → trends → story. Pure: the same records give
 * the same night, in whatever order or in however many pieces they were measured.
 */
import type { Warning } from '../warnings.js';
import { decisionOf, type Evidence, limitsOfGroup, reasonsOf } from './decide.js';
import { groupByHeader, groupName } from './groups.js';
import { FEWEST_FOR_USUAL } from './limits.js';
import type { NightFrame } from './night-frame.js';
import {
  chooseReference,
  FEWEST_REFERENCE_STARS,
  type Reference,
  registerGroup,
} from './reference.js';
import type { Registration } from './register.js';
import type { GradedFrame, GradeOptions, Night, NightGroup, Reason } from './result.js';
import { storyOf } from './story.js';
import { addSummaries, summarise, type Weighed } from './summary.js';
import { changePoints, correlations } from './trends.js';
import { usualOf } from './usual.js';
import { weightOf, weightParts } from './weight.js';

export const DEFAULT_GRADE_OPTIONS: Readonly<GradeOptions> = {
  strictness: 'normal',
  maxFwhmArcsec: null,
  maxFwhmPx: null,
  maxEllipticity: null,
  minTransparency: null,
  maxBackgroundAdu: null,
  minStars: null,
  reference: null,
};

/** Fewest unmatched frames with stars that may be a field of their own. */
const FEWEST_OWN_FIELD = 3;
const STARS_OF_OWN_FIELD = 15;

/** One group while it is worked on. */
interface Working {
  frames: number[];
  reference: Reference | null;
  registrations: Map<number, Registration | null>;
  part: number;
}

/**
 * Grades every frame. `frames` may come in any order; `Night.frames` keeps it.
 * @param frames records of one night (or several: time only orders them)
 */
export function gradeNight(frames: readonly NightFrame[], options: GradeOptions): Night {
  const warnings: Warning[] = [];
  const graded: GradedFrame[] = frames.map((frame) => ungraded(frame));
  const groups: NightGroup[] = [];
  const story: string[] = [];
  for (const members of groupByHeader(frames)) {
    for (const working of splitByStars(frames, members, options.reference)) {
      const { group, sentences } = gradeGroup(frames, working, options, graded, groups.length);
      groups.push(group);
      story.push(...sentences);
      const measured = working.frames.filter((i) => frames[i]?.fwhmPx).length;
      if (measured < FEWEST_FOR_USUAL) {
        const of = measured < group.frames ? ` (${measured} with measured stars)` : '';
        warnings.push({
          code: 'few-frames',
          message: `${group.name}: ${group.frames} frame${group.frames === 1 ? '' : 's'}${of}, too few to know what is usual; only fixed limits and missing stars count`,
        });
      }
    }
  }
  if (
    options.reference !== null &&
    !groups.some((group) => group.reference === options.reference)
  ) {
    warnings.push({
      code: 'reference-unused',
      message:
        'the frame given with --reference is not among the frames, or has too few stars; others were chosen',
      file: options.reference,
    });
  }
  return {
    frames: graded,
    groups,
    story,
    summary: addSummaries(groups.map((each) => each.summary)),
    warnings,
  };
}

/** A group as its headers make it, and out of it fields that its stars show to be different. */
function splitByStars(
  frames: readonly NightFrame[],
  members: readonly number[],
  wanted: string | null,
): Working[] {
  const found: Working[] = [];
  let left = [...members];
  for (;;) {
    const reference = chooseReference(frames, left, wanted);
    const registrations =
      reference === null
        ? new Map<number, Registration | null>(left.map((i) => [i, null]))
        : registerGroup(frames, left, reference.index);
    const strangers = left.filter(
      (i) =>
        registrations.get(i) === null && (frames[i] as NightFrame).starsUsed >= STARS_OF_OWN_FIELD,
    );
    const own = reference === null ? [] : ownField(frames, strangers);
    const rest = new Set(own);
    const stay = left.filter((i) => !rest.has(i));
    found.push({ frames: stay, reference, registrations, part: found.length });
    if (own.length === 0) return found;
    left = own;
  }
}

/** Strangers that match each other well enough to be a field; empty when they are no field. */
function ownField(frames: readonly NightFrame[], strangers: readonly number[]): number[] {
  if (strangers.length < FEWEST_OWN_FIELD) return [];
  const reference = chooseReference(frames, strangers, null);
  if (reference === null) return [];
  const registrations = registerGroup(frames, strangers, reference.index);
  const matched = strangers.filter((i) => registrations.get(i) !== null);
  return matched.length >= FEWEST_OWN_FIELD ? matched : [];
}

function gradeGroup(
  frames: readonly NightFrame[],
  { frames: members, reference, registrations, part }: Working,
  options: GradeOptions,
  graded: GradedFrame[],
  index: number,
): { group: NightGroup; sentences: string[] } {
  const first = frames[reference?.index ?? (members[0] as number)] as NightFrame;
  const evidence = members.map((i): Evidence => {
    const frame = frames[i] as NightFrame;
    const registration = registrations.get(i) ?? null;
    const light = registration?.transparency?.value ?? null;
    const parts = reference === null ? null : weightParts(frame, first, light);
    return { frame, registration, parts };
  });
  const limits = limitsOfGroup(evidence, options);
  const weighed: Weighed[] = evidence.map((each, k) => {
    const i = members[k] as number;
    const reasons = reasonsOf(each, limits, options, reference !== null);
    const frame = describe(each, reasons, index);
    graded[i] = frame;
    return { frame, parts: each.parts };
  });
  const inOrder = weighed.map(({ frame }) => frame);
  const usual: NightGroup['usual'] = {};
  if (limits.fwhm) usual.fwhmPx = limits.fwhm.usual;
  if (limits.ellipticity) usual.ellipticity = limits.ellipticity.usual;
  if (limits.transparency) usual.transparency = limits.transparency.usual;
  if (limits.stars) usual.stars = limits.stars.usual;
  const sky = inOrder.flatMap(({ backgroundAdu }) =>
    backgroundAdu === null ? [] : [backgroundAdu],
  );
  const usualSky = usualOf(sky, 'low', (centre) => 0.01 * Math.abs(centre));
  if (usualSky !== null) usual.backgroundAdu = usualSky;
  const usable = inOrder.filter((frame) => frame.decision !== 'drop');
  const group: NightGroup = {
    name: groupName(first, part),
    target: first.metadata?.object ?? null,
    filter: first.metadata?.filter ?? null,
    exposureSeconds: first.metadata?.exposureSeconds ?? null,
    frames: members.length,
    reference: reference === null ? null : first.file,
    referenceWhy:
      reference?.why ??
      `no frame has ${FEWEST_REFERENCE_STARS} measured stars: nothing to compare with`,
    usual,
    // With the dropped frames, steps would only repeat the decisions.
    trends: { changes: changePoints(usable), correlations: correlations(usable) },
    summary: summarise(weighed),
  };
  return { group, sentences: storyOf(group, inOrder) };
}

/** The published record of a frame. */
function describe(
  { frame, registration, parts }: Evidence,
  reasons: Reason[],
  group: number,
): GradedFrame {
  const notes: string[] = [];
  if (registration?.meridianTurned)
    notes.push('turned by half a turn against the reference: other side of the meridian');
  if (frame.trails.length > 0) {
    notes.push(
      `${frame.trails.length === 1 ? 'a trail crosses' : `${frame.trails.length} trails cross`} the frame`,
    );
  }
  return {
    ...ungraded(frame),
    group,
    decision: decisionOf(reasons),
    reasons,
    notes,
    weight: parts === null ? null : weightOf(parts),
    matchedShare: registration?.matchedShare ?? null,
    transparency: registration?.transparency ?? null,
    offsetPx: registration?.offsetPx ?? null,
    rotationDeg: registration?.rotationDeg ?? null,
    meridianTurned: registration?.meridianTurned ?? null,
  };
}

/** A frame before it is judged; the final word for files that cannot be read and frames that are no light frames. */
function ungraded(frame: NightFrame): GradedFrame {
  const arcsec = frame.scaleArcsecPerPx;
  const reason = refusal(frame);
  return {
    file: frame.file,
    group: null,
    decision: reason === null ? 'keep' : 'drop',
    reasons: reason === null ? [] : [reason],
    notes: [],
    weight: null,
    startMs: frame.startMs,
    exposureSeconds: frame.metadata?.exposureSeconds ?? null,
    starsFound: frame.starsFound,
    starsUsed: frame.starsUsed,
    matchedShare: null,
    fwhmPx: frame.fwhmPx,
    fwhmArcsec:
      frame.fwhmPx === null || arcsec === null
        ? null
        : {
            value: frame.fwhmPx.value * arcsec,
            low: frame.fwhmPx.low * arcsec,
            high: frame.fwhmPx.high * arcsec,
          },
    ellipticity: frame.ellipticity,
    elongationAngleDeg: frame.elongationAngleDeg,
    backgroundAdu: frame.backgroundAdu,
    noiseAdu: frame.noiseAdu,
    transparency: null,
    offsetPx: null,
    rotationDeg: null,
    meridianTurned: null,
    blueMinusRedPercent: frame.blueMinusRedPercent,
    trails: frame.trails,
    focusPosition: frame.metadata?.focusPosition ?? null,
    ambientTemperatureC: frame.ambientTemperatureC,
    airmass: frame.metadata?.airmass ?? null,
    error: frame.error,
  };
}

function refusal(frame: NightFrame): Reason | null {
  const blank = {
    value: null,
    limit: null,
    usual: null,
    unit: '',
    kind: 'state',
    severity: 'drop',
  } as const;
  if (frame.status === 'failed') {
    return {
      ...blank,
      code: 'unreadable',
      text: frame.error?.message ?? 'the file cannot be read',
    };
  }
  if (frame.imageType !== 'light') {
    return {
      ...blank,
      code: 'not a night frame',
      text: `the header calls it a ${frame.imageType} frame`,
    };
  }
  return null;
}
