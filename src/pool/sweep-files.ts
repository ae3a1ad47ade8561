/** The files of a through-focus run from path to analysis. A frame that cannot be used never stops the others. */
import { planChannels } from '../detect/lattice.js';
import { FrameReadError } from '../errors.js';
import type { Frame, FrameMetadata, FrameOverrides } from '../frame/frame.js';
import { openFrame } from '../frame/open.js';
import type { FrameResult } from '../measure/result.js';
import { analyseSweep } from '../sweep/analyse.js';
import {
  chainTransforms,
  followStars,
  isolatedStars,
  type Sighted,
  sight,
} from '../sweep/follow.js';
import type { SweepChannel, SweepFacts, SweepFrame, SweepOutcome } from '../sweep/result.js';
import type { Warning } from '../warnings.js';
import { errorData } from './measure-file.js';

export interface SweepTask {
  files: {
    file: string;
    fault: NonNullable<FrameResult['error']> | null;
    position: number | null;
  }[];
  overrides: FrameOverrides;
  stepUm: number | null;
  focalRatio: number | null;
  maxStars: number;
  seed: number;
}

const FEWEST_POSITIONS = 5;
/** Brightest stars that tell the size of the apertures. */
const SCOUTS = 12;
const SMALLEST_APERTURE_PX = 8;

interface Seen {
  file: string;
  position: number;
  metadata: FrameMetadata;
  sighted: Sighted;
}

/** Looks at every file, then follows the stars. @param step called once a file and pass */
export async function sweepFiles(task: SweepTask, step: () => void): Promise<SweepOutcome> {
  const failed: SweepOutcome['failed'] = [];
  const warnings: Warning[] = [];
  const seen: Seen[] = [];
  for (const { file, fault, position } of task.files) {
    try {
      if (fault !== null) failed.push({ file, error: fault });
      else seen.push(await lookAt(file, position, task.overrides, warnings));
    } catch (error) {
      failed.push({ file, error: errorData(error) });
    }
    step();
  }
  seen.sort((a, b) => a.position - b.position || a.file.localeCompare(b.file));
  const facts = factsOf(task, seen);
  const outcome: SweepOutcome = {
    analysis: null,
    facts,
    frames: seen.map(({ file, position }) => ({ file, position })),
    channels: [],
    size: null,
    failed,
    error: null,
    warnings,
  };
  const positions = new Set(seen.map(({ position }) => position)).size;
  if (positions < FEWEST_POSITIONS) {
    outcome.error = {
      code: 'few-positions',
      message: `${positions} different focuser positions; a focus curve needs at least ${FEWEST_POSITIONS}`,
      remedy: 'take 9 or more, evenly spaced, from well before best focus to well beyond it',
    };
    return outcome;
  }
  const sharpest = sharpestOf(seen);
  if (sharpest < 0) {
    outcome.error = {
      code: 'no-stars',
      message: 'no frame shows stars that could be followed',
      remedy: 'take a star field in focus once during the run, with stars that are not clipped',
    };
    return outcome;
  }
  await follow(task, seen, sharpest, outcome);
  return outcome;
}

/** Opens a frame, finds its position and its stars. */
async function lookAt(
  file: string,
  given: number | null,
  overrides: FrameOverrides,
  warnings: Warning[],
): Promise<Seen> {
  const frame = await openFrame(file, overrides);
  try {
    warnings.push(...frame.warnings);
    const position = given ?? frame.metadata.focusPosition;
    if (position === null) {
      throw new FrameReadError(
        'no-position',
        file,
        'its focuser position is not known: no FOCUSPOS or FOCPOS in the header',
        'give --position-pattern for positions in file names, or --positions with a list',
      );
    }
    return { file, position, metadata: frame.metadata, sighted: sight(frame) };
  } finally {
    frame.rows.close();
  }
}

function factsOf(task: SweepTask, seen: readonly Seen[]): SweepFacts {
  const first = <K extends 'pixelSizeUm' | 'focalLengthMm' | 'apertureMm'>(key: K): number | null =>
    seen.find(({ metadata }) => metadata[key] !== null)?.metadata[key] ?? null;
  const focalLengthMm = first('focalLengthMm');
  const apertureMm = first('apertureMm');
  return {
    stepUm: task.stepUm,
    pixelSizeUm: first('pixelSizeUm'),
    focalLengthMm,
    focalRatio:
      task.focalRatio ??
      (focalLengthMm !== null && apertureMm !== null ? focalLengthMm / apertureMm : null),
    seed: task.seed,
  };
}

/** Smallest stars among the frames that show at least a third as many as the richest: a cloud also makes few small stars. */
function sharpestOf(seen: readonly Seen[]): number {
  const most = Math.max(...seen.map(({ sighted }) => sighted.usable.length));
  let best = -1;
  seen.forEach(({ sighted }, i) => {
    if (sighted.usable.length < Math.max(3, most / 3) || !Number.isFinite(sighted.fwhmPx)) return;
    const before = seen[best]?.sighted.fwhmPx ?? Number.POSITIVE_INFINITY;
    if (sighted.fwhmPx < before) best = i;
  });
  return best;
}

async function follow(
  task: SweepTask,
  seen: readonly Seen[],
  sharpest: number,
  outcome: SweepOutcome,
): Promise<void> {
  const base = (seen[sharpest] as Seen).sighted;
  const chain = chainTransforms(
    seen.map(({ sighted }) => sighted),
    sharpest,
  );
  // First the apertures, from a few bright stars; then the stars that have room for them.
  const scouts = isolatedStars(base, 4 * base.fwhmPx, SCOUTS);
  const radii: number[] = [];
  const withFrame = async <T>(i: number, use: (frame: Frame) => T): Promise<T | null> => {
    const { file } = seen[i] as Seen;
    try {
      const frame = await openFrame(file, task.overrides);
      try {
        return use(frame);
      } finally {
        frame.rows.close();
      }
    } catch (error) {
      outcome.failed.push({ file, error: errorData(error) });
      return null;
    }
  };
  const placed = (stars: readonly number[]) => ({
    x: Float64Array.from(stars, (s) => base.x[s] as number),
    y: Float64Array.from(stars, (s) => base.y[s] as number),
  });
  const scout = placed(scouts);
  for (let i = 0; i < seen.length; i++) {
    const start = Math.max(SMALLEST_APERTURE_PX, 1.5 * (seen[i] as Seen).sighted.fwhmPx || 0);
    const found = await withFrame(i, (frame) =>
      followStars(
        frame,
        planChannels(frame),
        scout.x,
        scout.y,
        (chain[i] as (typeof chain)[0]).transform,
        start,
      ),
    );
    radii.push(found === null ? 0 : Math.max(...found.radii));
  }
  const stars = placed(isolatedStars(base, 1.5 * Math.max(...radii), task.maxStars));
  const frames: SweepFrame[] = [];
  let channels: SweepChannel[] = [];
  for (let i = 0; i < seen.length; i++) {
    const { file, position, metadata } = seen[i] as Seen;
    const { transform, matched } = chain[i] as (typeof chain)[0];
    const found = await withFrame(i, (frame) => {
      const plan = planChannels(frame);
      channels = plan.channels;
      return followStars(
        frame,
        plan,
        stars.x,
        stars.y,
        transform,
        Math.max(SMALLEST_APERTURE_PX, radii[i] as number),
      );
    });
    if (found === null) continue;
    frames.push({
      file,
      position,
      dateObs: metadata.dateObs,
      temperatureC: metadata.ambientTemperatureC,
      moments: Object.fromEntries(channels.map((c, k) => [c, found.moments[k]])),
      hfd: Object.fromEntries(channels.map((c, k) => [c, found.hfd[k]])),
      matched,
    });
  }
  outcome.channels = channels;
  outcome.size = { width: base.width, height: base.height };
  outcome.analysis = analyseSweep(
    { frames, channels, reference: channels.includes('G') ? 'G' : 'L', ...stars, ...outcome.size },
    outcome.facts,
  );
  outcome.warnings.push(...outcome.analysis.warnings);
  if (base.clipped > 0) {
    outcome.warnings.push({
      code: 'clipped-stars',
      message: `${base.clipped} clipped stars of the sharpest frame were left out; a shorter exposure lets more stars count`,
    });
  }
}
