/** The night in plain sentences: what happened, when, and what it cost. */
import type { ChangePoint, Correlation, GradedFrame, NightGroup, ReasonCode } from './result.js';

/** What happened to the sky or the telescope when frames fail for a reason. */
const EVENTS: Readonly<Record<ReasonCode, string>> = {
  'wide stars': 'the stars were too wide (focus or seeing)',
  'elongated stars': 'the stars were drawn out (tracking, guiding or wind)',
  'low transparency': 'starlight was dimmed (cloud, haze or dew)',
  'bright sky': 'the sky was bright (moonlight, twilight or lit cloud)',
  'few stars': 'many stars were missing (cloud in part of the frame, or a shifted field)',
  'no stars': 'no stars were seen (cloud, a closed cover, or far out of focus)',
  'no match': 'the field could not be recognised',
  'not a night frame': 'the frames were no light frames',
  unreadable: 'the files could not be read',
};

/** Frames that fail one after another with at most this many others between them are one event. */
const BRIDGE = 1;
const FEWEST_FOR_EVENT = 2;
const MOST_SENTENCES = 14;

/** Sentences about one group, in the order of time. @param frames the group's, in time order */
export function storyOf(group: NightGroup, frames: readonly GradedFrame[]): string[] {
  const { summary } = group;
  const sentences = [headline(group)];
  const events: { at: number; text: string }[] = [];
  for (const run of failedRuns(frames)) {
    const first = frames[run.from] as GradedFrame;
    const last = frames[run.to] as GradedFrame;
    const many = framesText(run.dropped, run.count - run.dropped);
    events.push({
      at: first.startMs ?? Number.POSITIVE_INFINITY,
      text: `${timeSpan(first, last)}${EVENTS[run.cause]}: ${many}.`,
    });
  }
  for (const change of group.trends.changes) {
    const text = changeSentence(change);
    if (text !== null) events.push({ at: change.atMs, text });
  }
  const turned = meridianTurn(frames);
  if (turned !== null) {
    events.push({
      at: turned.startMs ?? 0,
      text: `${clock(turned.startMs)}the field turned by half a turn: the mount crossed the meridian.`,
    });
  }
  events.sort((a, b) => a.at - b.at || (a.text < b.text ? -1 : 1));
  sentences.push(...events.map(({ text }) => capital(text)));
  for (const each of group.trends.correlations) {
    const text = correlationSentence(each);
    if (text !== null) sentences.push(text);
  }
  const trails = frames.filter((frame) => frame.trails.length > 0).length;
  if (trails > 0) {
    sentences.push(
      `${trails} frame${trails === 1 ? ' shows' : 's show'} a trail of a satellite, aircraft or meteor; that is no fault: a stack with rejection removes it.`,
    );
  }
  if (summary.gain !== null && summary.gain.effectiveSeconds >= 0.05 * summary.totalSeconds) {
    sentences.push(
      `Most would have been gained by ${summary.gain.change}: worth another ${duration(summary.gain.effectiveSeconds)} of frames as good as the reference.`,
    );
  }
  return sentences.slice(0, MOST_SENTENCES);
}

/** '3 frames dropped, 1 doubtful'. */
function framesText(dropped: number, doubtful: number): string {
  const first = dropped > 0 ? dropped : doubtful;
  const words = `${first} frame${first === 1 ? '' : 's'} ${dropped > 0 ? 'dropped' : 'doubtful'}`;
  return dropped > 0 && doubtful > 0 ? `${words}, ${doubtful} doubtful` : words;
}

function headline({ name, summary, frames, reference }: NightGroup): string {
  const { kept, doubtful, dropped, totalSeconds, keptSeconds, effectiveSeconds } = summary;
  const parts = [
    `${kept} kept`,
    ...(doubtful > 0 ? [`${doubtful} doubtful`] : []),
    ...(dropped > 0 ? [`${dropped} dropped`] : []),
  ];
  const worth =
    reference === null
      ? ''
      : `, worth ${duration(effectiveSeconds)} of frames as good as the reference`;
  const time =
    totalSeconds > 0
      ? ` ${duration(keptSeconds)} of ${duration(totalSeconds)} exposure kept${worth}.`
      : '';
  return `${name}: ${frames} frame${frames === 1 ? '' : 's'}, ${parts.join(', ')}.${time}`;
}

interface Run {
  cause: ReasonCode;
  from: number;
  to: number;
  count: number;
  dropped: number;
}

/** Runs of frames that fail for one main reason. */
function failedRuns(frames: readonly GradedFrame[]): Run[] {
  const runs: Run[] = [];
  const open = new Map<ReasonCode, Run>();
  frames.forEach((frame, i) => {
    const cause = frame.reasons[0]?.code;
    if (cause === undefined) return;
    const run = open.get(cause);
    if (run !== undefined && i - run.to <= BRIDGE + 1) {
      run.to = i;
      run.count++;
      if (frame.decision === 'drop') run.dropped++;
      return;
    }
    const fresh = { cause, from: i, to: i, count: 1, dropped: frame.decision === 'drop' ? 1 : 0 };
    open.set(cause, fresh);
    runs.push(fresh);
  });
  return runs.filter(({ count }) => count >= FEWEST_FOR_EVENT);
}

/** Steps that a reader can act on; those that merely repeat a run of dropped frames are left to it. */
function changeSentence({ quantity, atMs, before, after }: ChangePoint): string | null {
  const at = clock(atMs);
  switch (quantity) {
    case 'fwhmPx':
      return `${at}the stars became ${after > before ? 'wider' : 'narrower'} at once, ${before.toFixed(1)} to ${after.toFixed(1)} px: ${after > before ? 'a focus change or slip?' : 'refocused?'}`;
    case 'offsetXPx':
    case 'offsetYPx':
      return `${at}the field jumped by ${Math.abs(after - before).toFixed(0)} px along ${quantity === 'offsetXPx' ? 'x' : 'y'}.`;
    case 'backgroundAdu':
      return `${at}the sky changed at once from ${before.toFixed(0)} to ${after.toFixed(0)} ADU.`;
    default:
      return null;
  }
}

function correlationSentence({ quantity, with: partner, slope }: Correlation): string | null {
  const more = slope > 0;
  if (quantity === 'fwhmPx') {
    if (partner === 'temperature') {
      return `The stars widened as it grew ${more ? 'warmer' : 'colder'}, ${Math.abs(slope).toFixed(2)} px per degree: as when the focus moves with the temperature.`;
    }
    if (partner === 'time') {
      return `The stars became ${more ? 'wider' : 'narrower'} through the night, ${Math.abs(slope).toFixed(2)} px per hour.`;
    }
    if (partner === 'air mass' && more) {
      return `The stars widened towards the horizon, ${slope.toFixed(2)} px per air mass, as the air makes them do.`;
    }
    return null;
  }
  if (partner !== 'time') return null;
  switch (quantity) {
    case 'backgroundAdu':
      return `The sky grew ${more ? 'brighter' : 'darker'} steadily, ${Math.abs(slope).toFixed(0)} ADU per hour: ${more ? 'Moon rising, dawn, or a lower target' : 'Moon setting, dusk, or a higher target'}.`;
    case 'transparency':
      return `Starlight ${more ? 'grew' : 'faded'} steadily, by ${Math.abs(100 * slope).toFixed(0)} % of the reference per hour: ${more ? 'the target rose or the air cleared' : 'the target sank, haze thickened, or dew settled on the lens'}.`;
    case 'offsetXPx':
    case 'offsetYPx':
      return `The field drifted by ${Math.abs(slope).toFixed(1)} px per hour along ${quantity === 'offsetXPx' ? 'x' : 'y'}: polar alignment or flexure.`;
    default:
      return null;
  }
}

/** The first frame whose side differs from the one before it. */
function meridianTurn(frames: readonly GradedFrame[]): GradedFrame | null {
  let last: boolean | null = null;
  for (const frame of frames) {
    if (frame.meridianTurned === null) continue;
    if (last !== null && last !== frame.meridianTurned) return frame;
    last = frame.meridianTurned;
  }
  return null;
}

/** 'At 22:10 UTC ', or nothing without a time. */
function clock(ms: number | null): string {
  return ms === null ? '' : `At ${hoursMinutes(ms)} UTC `;
}

function timeSpan(first: GradedFrame, last: GradedFrame): string {
  if (first.startMs === null || last.startMs === null) return '';
  return `From ${hoursMinutes(first.startMs)} to ${hoursMinutes(last.startMs)} UTC `;
}

function hoursMinutes(ms: number): string {
  return new Date(ms).toISOString().slice(11, 16);
}

function capital(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/** Seconds as people say them. */
function duration(seconds: number): string {
  const minutes = Math.round(seconds / 60);
  if (minutes < 1) return `${Math.round(seconds)} s`;
  if (minutes < 60) return `${minutes} min`;
  return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, '0')} min`;
}
