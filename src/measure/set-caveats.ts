/** What makes the colours of a filter set unlike those of one exposure: time, focus, air, and filters that contradict their place. */
import { channelOfFilter, SET_CHANNELS, type SetChannel } from '../frame/filter-name.js';
import type { Frame } from '../frame/frame.js';

/** Differences of air mass below this change the seeing by less than 2 % (size ∝ airmass^0.6). */
const SAME_AIRMASS = 0.03;

/** Warns about everything in the headers that can pass for, or hide, a colour error of the lens. */
export function setCaveats(
  set: Record<SetChannel, Frame>,
  warn: (code: string, message: string) => void,
): void {
  const all = SET_CHANNELS.map((channel) => set[channel].metadata);
  const span = timeSpanMinutes(all.map(({ dateObs }) => dateObs));
  warn(
    'set-seeing',
    `each filter has its own exposure${span === null ? '' : `, begun within ${span < 1 ? 'a minute' : `${span.toFixed(0)} minutes`}`}: seeing, focus and guiding may differ between them and look like, or hide, false colour; several sets taken in turn show how much`,
  );
  const focus = known(all.map(({ focusPosition }) => focusPosition));
  if (spread(focus) > 0) {
    warn(
      'set-refocused',
      `the focuser stood at different positions (${focus.join(', ')} for ${SET_CHANNELS.join(', ')}): refocusing for each filter hides the lens's colour error`,
    );
  }
  const airmass = known(all.map((each) => each.airmass));
  if (spread(airmass) > SAME_AIRMASS) {
    warn(
      'set-airmass',
      `air mass ${Math.min(...airmass).toFixed(2)} to ${Math.max(...airmass).toFixed(2)}: the frame through more air has larger stars for that reason`,
    );
  }
  for (const channel of SET_CHANNELS) {
    const { filter } = set[channel].metadata;
    if (filter === null) continue;
    const named = channelOfFilter(filter);
    if (named !== channel) {
      warn(
        'filter-contradiction',
        `${set[channel].path} stands for ${channel}, but its header names the filter '${filter}'${named === null ? '' : `, which is ${named}`}; it is used as ${channel}`,
      );
    }
  }
}

function known(values: readonly (number | null)[]): number[] {
  return values.filter((value): value is number => value !== null);
}

function spread(values: readonly number[]): number {
  return values.length < 2 ? 0 : Math.max(...values) - Math.min(...values);
}

/** Minutes between the first and the last start; null unless all three are known. */
function timeSpanMinutes(dates: readonly (string | null)[]): number | null {
  const times = dates.map((date) =>
    date === null ? Number.NaN : Date.parse(`${date.replace(/Z?$/, '')}Z`),
  );
  if (times.some((time) => !Number.isFinite(time))) return null;
  return spread(times) / 60_000;
}
