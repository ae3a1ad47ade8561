/** What a group of frames comes to: exposure kept, what it is worth, and what each cause took. */
import { medianOf, quantileOf } from '../stats/robust.js';
import type { GradedFrame, GroupSummary, ReasonCode } from './result.js';
import type { WeightParts } from './weight.js';

/** A graded frame and the parts of its weight. */
export interface Weighed {
  frame: GradedFrame;
  parts: WeightParts | null;
}

/** A cause, and what would have avoided it; the weather cannot be changed, but can be chosen. */
const REMEDIES: readonly { cause: ReasonCode; change: string }[] = [
  {
    cause: 'wide stars',
    change:
      'stars as narrow as in the best hour: refocus when the temperature falls, and wait for steady air',
  },
  { cause: 'elongated stars', change: 'round stars: guiding, balance, shelter from the wind' },
  { cause: 'low transparency', change: 'a clear sky all night: cloud, haze or dew took the light' },
  { cause: 'bright sky', change: 'a dark sky all night: no Moon, no twilight' },
];

const LOOK_AT_MOST = 12;

/** Each part of the weight as good as in this share of the kept frames is what the night could do. */
const WITHIN_REACH = 0.8;

/**
 * Adds a group up. Effective seconds are Σ weight × exposure: seconds of frames as good as the reference frame. A dropped frame cost what
 * a typical kept frame is worth. A kept frame lost what its light, sky and size lack against the best fifth of the kept frames (not against
 * the single best: luck is no yardstick), shared among the three by their logarithms.
 */
export function summarise(frames: readonly Weighed[]): GroupSummary {
  const seconds = ({ frame }: Weighed): number => frame.exposureSeconds ?? 0;
  const kept = frames.filter(({ frame }) => frame.decision === 'keep');
  const doubtful = frames.filter(({ frame }) => frame.decision === 'doubtful');
  const dropped = frames.filter(({ frame }) => frame.decision === 'drop');
  const weights = kept.flatMap(({ frame }) => (frame.weight === null ? [] : [frame.weight]));
  const typical = weights.length === 0 ? 1 : medianOf(weights);
  const droppedSeconds = new Map<ReasonCode, number>();
  const weakenedSeconds = new Map<ReasonCode, number>();
  const add = (map: Map<ReasonCode, number>, cause: ReasonCode, amount: number): void => {
    map.set(cause, (map.get(cause) ?? 0) + amount);
  };
  for (const each of dropped) {
    const cause = each.frame.reasons[0]?.code;
    if (cause !== undefined) add(droppedSeconds, cause, typical * seconds(each));
  }
  const reach = partsWithinReach(kept);
  for (const each of kept) {
    for (const [cause, lack] of lostWeight(each.parts, reach)) {
      add(weakenedSeconds, cause, lack * seconds(each));
    }
  }
  const causes = [...new Set([...droppedSeconds.keys(), ...weakenedSeconds.keys()])];
  const lost = causes
    .map((cause) => ({
      cause,
      droppedSeconds: droppedSeconds.get(cause) ?? 0,
      weakenedSeconds: weakenedSeconds.get(cause) ?? 0,
    }))
    .sort(
      (a, b) =>
        b.droppedSeconds + b.weakenedSeconds - a.droppedSeconds - a.weakenedSeconds ||
        (a.cause < b.cause ? -1 : 1),
    );
  return {
    kept: kept.length,
    doubtful: doubtful.length,
    dropped: dropped.length,
    totalSeconds: frames.reduce((sum, each) => sum + seconds(each), 0),
    keptSeconds: kept.reduce((sum, each) => sum + seconds(each), 0),
    effectiveSeconds: kept.reduce((sum, each) => sum + (each.frame.weight ?? 0) * seconds(each), 0),
    lost,
    gain: largestGain(lost),
    lookAt: lookAt(frames),
  };
}

/** What light, sky and size were in the best fifth of the kept frames, each by itself. */
function partsWithinReach(kept: readonly Weighed[]): WeightParts | null {
  const parts = kept.flatMap((each) => (each.parts === null ? [] : [each.parts]));
  if (parts.length === 0) return null;
  const high = (pick: (part: WeightParts) => number): number =>
    quantileOf(parts.map(pick), WITHIN_REACH);
  return {
    light: high((part) => part.light),
    sky: high((part) => part.sky),
    size: high((part) => part.size),
  };
}

/** Weight that a frame lacks, by cause; parts better than within reach give nothing back. */
function lostWeight(parts: WeightParts | null, reach: WeightParts | null): [ReasonCode, number][] {
  if (parts === null || reach === null) return [];
  const lack = (key: keyof WeightParts): number => Math.max(0, Math.log(reach[key] / parts[key]));
  const logs: [ReasonCode, number][] = [
    ['low transparency', lack('light')],
    ['bright sky', lack('sky')],
    ['wide stars', lack('size')],
  ];
  const total = logs.reduce((sum, [, log]) => sum + log, 0);
  if (total === 0) return [];
  const weight = parts.light * parts.sky * parts.size;
  const lost = weight * (Math.exp(total) - 1);
  return logs.map(([cause, log]) => [cause, (lost * log) / total]);
}

function largestGain(lost: GroupSummary['lost']): GroupSummary['gain'] {
  for (const { cause, droppedSeconds, weakenedSeconds } of lost) {
    const remedy = REMEDIES.find((each) => each.cause === cause);
    const effectiveSeconds = droppedSeconds + weakenedSeconds;
    if (remedy && effectiveSeconds > 0) return { change: remedy.change, effectiveSeconds };
  }
  return null;
}

/** Doubtful frames first, then kept ones with a trail. */
function lookAt(frames: readonly Weighed[]): GroupSummary['lookAt'] {
  const list: GroupSummary['lookAt'] = [];
  for (const { frame } of frames) {
    if (frame.decision !== 'doubtful') continue;
    list.push({ file: frame.file, why: frame.reasons[0]?.text ?? 'doubtful' });
  }
  for (const { frame } of frames) {
    if (frame.decision !== 'keep' || frame.trails.length === 0) continue;
    list.push({ file: frame.file, why: 'a trail crosses it; a stack with rejection removes it' });
  }
  return list.slice(0, LOOK_AT_MOST);
}

/** Several groups in one: sums, and the causes merged. */
export function addSummaries(parts: readonly GroupSummary[]): GroupSummary {
  const lost = new Map<ReasonCode, GroupSummary['lost'][number]>();
  for (const part of parts) {
    for (const each of part.lost) {
      const sum = lost.get(each.cause) ?? { ...each, droppedSeconds: 0, weakenedSeconds: 0 };
      sum.droppedSeconds += each.droppedSeconds;
      sum.weakenedSeconds += each.weakenedSeconds;
      lost.set(each.cause, sum);
    }
  }
  const sorted = [...lost.values()].sort(
    (a, b) =>
      b.droppedSeconds + b.weakenedSeconds - a.droppedSeconds - a.weakenedSeconds ||
      (a.cause < b.cause ? -1 : 1),
  );
  const total = (pick: (part: GroupSummary) => number): number =>
    parts.reduce((sum, part) => sum + pick(part), 0);
  return {
    kept: total((part) => part.kept),
    doubtful: total((part) => part.doubtful),
    dropped: total((part) => part.dropped),
    totalSeconds: total((part) => part.totalSeconds),
    keptSeconds: total((part) => part.keptSeconds),
    effectiveSeconds: total((part) => part.effectiveSeconds),
    lost: sorted,
    gain: largestGain(sorted),
    lookAt: parts.flatMap((part) => part.lookAt).slice(0, LOOK_AT_MOST),
  };
}
