/** What a camera raw file says, as the keywords that the metadata are read from. */
import type { CfaPattern, FrameOverrides } from '../frame.js';
import type { Keyword, KeywordSource } from '../keywords.js';
import type { ExposureTags } from './raw-tags.js';

/** What is known about the frame; null where the file is silent. */
export interface RawFacts {
  /** Null for a mono camera. */
  pattern: CfaPattern | null;
  pedestalAdu: number | null;
  saturationAdu: number | null;
  make: string;
  model: string;
  exposure: ExposureTags;
}

/**
 * The keywords. A focal length and aperture come with a warning: behind a telescope without contacts cameras write a stale or invented value.
 * ISO is a setting, not electrons per ADU, and is no gain.
 */
export function rawKeywords(
  facts: RawFacts,
  overrides: FrameOverrides,
  warn: (code: string, message: string) => void,
): KeywordSource {
  const { exposureSeconds, focalLengthMm, fNumber, date } = facts.exposure;
  const apertureMm =
    focalLengthMm === null || fNumber === null
      ? null
      : Math.round((1000 * focalLengthMm) / fNumber) / 1000;
  const values: Record<string, string | number | null> = {
    BAYERPAT: facts.pattern,
    PEDESTAL: facts.pedestalAdu,
    SATURATE: facts.saturationAdu,
    EXPTIME: exposureSeconds,
    ISOSPEED: facts.exposure.isoSpeed ?? null,
    'DATE-OBS': date,
    INSTRUME: cameraName(facts.make, facts.model),
    FOCALLEN: focalLengthMm,
    APTDIA: apertureMm,
  };
  const used = [
    overrides.focalLengthMm === undefined && focalLengthMm !== null
      ? `focal length ${focalLengthMm} mm`
      : '',
    overrides.apertureMm === undefined && apertureMm !== null ? `aperture ${apertureMm} mm` : '',
  ].filter((text) => text !== '');
  if (used.length > 0) {
    warn(
      'lens-from-file',
      `${used.join(', ')}: as the camera wrote it; behind a telescope it may be wrong; give --focal-length and --aperture if so`,
    );
  }
  const keywords = new Map<string, Keyword>();
  for (const [name, value] of Object.entries(values)) {
    if (value === null) continue;
    const text = String(value);
    keywords.set(name, { name, value, text, comment: '', problem: null, conflicting: false });
  }
  return { find: (name) => keywords.get(name) };
}

/** Make and model; the make only once, where the model repeats it. */
function cameraName(make: string, model: string): string | null {
  const [maker, name] = [make.trim(), model.trim()];
  const whole = name.toLowerCase().startsWith(maker.toLowerCase()) ? name : `${maker} ${name}`;
  return whole.trim() === '' ? null : whole.trim();
}
