/** Doubts about profiles, said alike for one frame and for a filter set. */
import { CROWDED } from './effective-profiles.js';
import type { FrameResult } from './result.js';
import type { Warn } from './search-frame.js';
import { UNDERSAMPLED_PX } from './systematics.js';
import { haloCaution } from './verdict.js';

/** Warns where neighbours shine into the wings. */
export function warnOfCrowd(
  { lowered, crowding, rMax }: { lowered: boolean; crowding: number; rMax: number },
  warn: Warn,
): void {
  if (!lowered && !(crowding > CROWDED)) return;
  warn(
    'crowded',
    `crowded field: light is counted only within ${rMax.toFixed(1)} px, and wings may hold light of unresolved neighbours`,
  );
}

/** Warns of channels without star light. */
export function warnOfDark(dark: readonly string[], warn: Warn): void {
  if (dark.length === 0) return;
  warn(
    'channel-without-light',
    `no star light in ${dark.join(' and ')}: no sizes there, and no comparison of colours`,
  );
}

/** Whether stars of that recorded FWHM are narrower than the grid can show, with the warning; NaN (no profile) is not. */
export function undersampledAt(fwhmPx: number, warn: Warn): boolean {
  const undersampled = fwhmPx < UNDERSAMPLED_PX;
  if (undersampled) {
    warn(
      'undersampled',
      `stars are only ${fwhmPx.toFixed(1)} px wide: too narrow for trustworthy sizes and halos`,
    );
  }
  return undersampled;
}

/** Warns of data that is not linear. */
export function warnOfStretch(linearity: FrameResult['linearity'], warn: Warn): void {
  if (linearity?.verdict === 'stretched') {
    warn('stretched', `the data is not linear: ${linearity.reasons.join('; ')}`);
  }
}

/** Says what became of halo numbers from such data. */
export function warnOfHalo(
  withheld: boolean,
  linearity: FrameResult['linearity'],
  warn: Warn,
): void {
  warn(
    withheld ? 'halo-withheld' : 'halo-from-stretched-data',
    haloCaution(withheld, linearity?.verdict === 'stretched'),
  );
}
