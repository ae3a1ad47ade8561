/** Metadata from header keywords, with fall-backs, plausibility limits and the user's overrides.
 *
 * Conventions decided here:
 * - XPIXSZ is the pitch of the recorded pixel, binning included (the usual meaning of the keyword), unless its comment says
 *   "unbinned"; PIXSIZE1 is the pitch of the sensor's own pixel and is multiplied by the binning.
 * - EGAIN is e−/ADU. GAIN is taken as e−/ADU when its comment says so; without such a comment only when it is a positive
 *   non-integer up to 20, with a warning; integers are taken for the camera's unitless setting and left out, with a warning.
 * - PEDESTAL is the level of no light. Where it is negative or its comment calls it a correction to add, its sign is turned.
 * - A value outside its limits is left out with a warning; one that the user overrides is not looked at.
 */
import type { Warning } from '../warnings.js';
import type { FrameMetadata, FrameOverrides } from './frame.js';
import { capText, type Keyword, type KeywordSource, quoteValue } from './keywords.js';

type Warn = (code: string, message: string) => void;

interface Limits {
  min: number;
  max: number;
  /** What a plausible value is, for the warning. */
  allowed: string;
}

const LIMITS = {
  exposure: { min: 0, max: 1e6, allowed: '0 to 1,000,000 s' },
  gain: { min: 1e-6, max: 1e5, allowed: 'above 0 e-/ADU' },
  iso: { min: 1, max: 1e8, allowed: '1 to 100,000,000' },
  pixel: { min: 0.2, max: 200, allowed: '0.2 to 200 um' },
  binning: { min: 1, max: 64, allowed: '1 to 64' },
  focalLength: { min: 1, max: 1e6, allowed: '1 to 1,000,000 mm' },
  aperture: { min: 1, max: 1e5, allowed: '1 to 100,000 mm' },
  airmass: { min: 1, max: 45, allowed: '1 to 45' },
  temperature: { min: -273.15, max: 100, allowed: '-273.15 to 100 C' },
  focus: { min: -1e9, max: 1e9, allowed: 'a number of steps' },
  saturation: { min: 1e-12, max: 1e30, allowed: 'above 0' },
  pedestal: { min: -1e9, max: 1e9, allowed: 'a finite level' },
} satisfies Record<string, Limits>;

/** Reads the metadata; every doubt goes to `warnings`. */
export function readMetadata(
  source: KeywordSource,
  overrides: FrameOverrides,
  warnings: Warning[],
  path: string,
): FrameMetadata {
  const warn: Warn = (code, message) => {
    warnings.push({ code, message, file: path });
  };
  const binning = readBinning(source, warn);
  return {
    exposureSeconds: number(source, ['EXPTIME', 'EXPOSURE'], LIMITS.exposure, warn),
    gainElectronsPerAdu: overrides.gainElectronsPerAdu ?? readGain(source, warn),
    isoSpeed: number(source, ['ISOSPEED'], LIMITS.iso, warn),
    pixelSizeUm: overrides.pixelSizeUm ?? readPixelSize(source, binning, warn),
    binning,
    focalLengthMm:
      overrides.focalLengthMm ?? number(source, ['FOCALLEN'], LIMITS.focalLength, warn),
    apertureMm: overrides.apertureMm ?? number(source, ['APTDIA'], LIMITS.aperture, warn),
    filter: text(source, ['FILTER']),
    object: text(source, ['OBJECT']),
    telescope: text(source, ['TELESCOP']),
    instrument: text(source, ['INSTRUME']),
    dateObs: readDate(source, warn),
    airmass: number(source, ['AIRMASS'], LIMITS.airmass, warn),
    sensorTemperatureC: number(
      source,
      ['CCD-TEMP', 'CCDTEMP', 'CAMTEMP'],
      LIMITS.temperature,
      warn,
    ),
    focusPosition: number(source, ['FOCUSPOS', 'FOCPOS'], LIMITS.focus, warn),
    ambientTemperatureC: number(
      source,
      ['AMBTEMP', 'AMB-TEMP', 'FOCTEMP', 'FOCUSTEM'],
      LIMITS.temperature,
      warn,
    ),
    imageType: text(source, ['IMAGETYP', 'FRAMETYP', 'OBSTYPE']),
    pierSide: text(source, ['PIERSIDE']),
    saturationAdu: overrides.saturationAdu ?? number(source, ['SATURATE'], LIMITS.saturation, warn),
    pedestalAdu: readPedestal(source, warn),
  };
}

/** The first of `names` that holds a plausible number; implausible ones are reported and passed over. */
function number(
  source: KeywordSource,
  names: readonly string[],
  limits: Limits,
  warn: Warn,
): number | null {
  for (const name of names) {
    const keyword = source.find(name);
    if (keyword === undefined || keyword.text === '') continue;
    const value = plausible(keyword, limits, warn);
    if (value !== null) return value;
  }
  return null;
}

/** The keyword's number, when it lies within the limits; a number in quotes, also with a unit behind it ('11 C'), counts. */
function plausible(keyword: Keyword, limits: Limits, warn: Warn): number | null {
  const value = numberOf(keyword);
  if (value === null || !(value >= limits.min && value <= limits.max)) {
    warn(
      'header-value-ignored',
      `${keyword.name} = ${quoteValue(keyword)} is left out: plausible is ${limits.allowed}`,
    );
    return null;
  }
  if (keyword.problem === 'decimal-comma' || keyword.text.includes(',')) {
    warn(
      'decimal-comma',
      `${keyword.name} = ${quoteValue(keyword)} has a decimal comma; read as ${value}`,
    );
  }
  if (keyword.conflicting) {
    warn(
      'duplicate-keyword',
      `${keyword.name} is given several times with different values; the first, ${quoteValue(keyword)}, is used`,
    );
  }
  return value;
}

const QUOTED_NUMBER =
  /^\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[EeDd][+-]?\d+)?)\s*(?:[A-Za-z°µ]{1,4})?\s*$/;

function numberOf(keyword: Keyword): number | null {
  if (typeof keyword.value === 'number') return keyword.value;
  if (typeof keyword.value !== 'string') return null;
  const match = QUOTED_NUMBER.exec(keyword.value);
  return match?.[1] === undefined ? null : Number(match[1].replace(',', '.').replace(/[Dd]/, 'e'));
}

function text(source: KeywordSource, names: readonly string[]): string | null {
  for (const name of names) {
    const keyword = source.find(name);
    if (keyword === undefined) continue;
    const value = capText(keyword.text);
    if (value !== null) return value;
  }
  return null;
}

function readBinning(source: KeywordSource, warn: Warn): number | null {
  const x = number(source, ['XBINNING', 'CCDXBIN'], LIMITS.binning, warn);
  const y = number(source, ['YBINNING', 'CCDYBIN'], LIMITS.binning, warn);
  if (x !== null && y !== null && x !== y) {
    warn(
      'unequal-binning',
      `binned ${x} across and ${y} down: pixels are not square, sizes in px mix both`,
    );
  }
  return x;
}

function readPixelSize(source: KeywordSource, binning: number | null, warn: Warn): number | null {
  const recorded = source.find('XPIXSZ');
  const factor = binning ?? 1;
  let size: number | null = null;
  if (recorded !== undefined && recorded.text !== '') {
    size = plausible(recorded, LIMITS.pixel, warn);
    if (size !== null && factor > 1) {
      if (/unbinned|without binning|before binning/i.test(recorded.comment)) size *= factor;
      else {
        warn(
          'pixel-size-binning',
          `XPIXSZ = ${quoteValue(recorded)} is taken as the pixel after binning ${factor}; if it means the sensor's own pixel, give --pixel-size ${size * factor}`,
        );
      }
    }
  }
  if (size === null) {
    const own = number(source, ['PIXSIZE1'], LIMITS.pixel, warn);
    size = own === null ? null : own * factor;
  }
  const across = numberOrNull(source.find('XPIXSZ'));
  const down = numberOrNull(source.find('YPIXSZ'));
  if (across !== null && down !== null && down > 0 && Math.abs(across / down - 1) > 0.01) {
    warn('unequal-pixels', `pixels are ${across} um across and ${down} um down: not square`);
  }
  return size;
}

function numberOrNull(keyword: Keyword | undefined): number | null {
  return keyword === undefined ? null : numberOf(keyword);
}

/** A comment that names the unit: 'e-/ADU', '[electrons/DN]', 'electrons per ADU'. */
const GAIN_UNIT = /\b(?:e-?|el|electrons?)\s*(?:\/|per)\s*(?:adu|dn|count|a\/d)/i;
const LARGEST_BARE_GAIN = 20;

function readGain(source: KeywordSource, warn: Warn): number | null {
  const electrons = number(source, ['EGAIN'], LIMITS.gain, warn);
  if (electrons !== null) return electrons;
  const gain = source.find('GAIN');
  if (gain === undefined || gain.text === '') return null;
  if (GAIN_UNIT.test(gain.comment)) return plausible(gain, LIMITS.gain, warn);
  const value = numberOf(gain);
  if (value !== null && value > 0 && value <= LARGEST_BARE_GAIN && !Number.isInteger(value)) {
    warn(
      'gain-assumed',
      `GAIN = ${quoteValue(gain)} is taken as e-/ADU, though its comment does not say so; give --gain if it is the camera's setting`,
    );
    return plausible(gain, LIMITS.gain, warn);
  }
  warn(
    'gain-unknown',
    `GAIN = ${quoteValue(gain)} looks like a camera setting, not e-/ADU, and is left out; give --gain in e-/ADU for electrons`,
  );
  return null;
}

function readPedestal(source: KeywordSource, warn: Warn): number | null {
  const value = number(source, ['PEDESTAL'], LIMITS.pedestal, warn);
  if (value === null || value === 0) return value;
  const correction = /correction to add|add to/i.test(source.find('PEDESTAL')?.comment ?? '');
  return value < 0 || correction ? -value : value;
}

const ISO_DATE = /^\d{4}-\d{2}-\d{2}(?:T\d{2}:\d{2}(?::\d{2}(?:\.\d*)?)?Z?)?$/;
const TIME = /^\d{2}:\d{2}:\d{2}(?:\.\d*)?$/;
/** The form before 2000: day/month/two-digit year of the 1900s (§4.4.2.1). */
const OLD_DATE = /^(\d{2})\/(\d{2})\/(\d{2})$/;

function readDate(source: KeywordSource, warn: Warn): string | null {
  const keyword = source.find('DATE-OBS');
  if (keyword === undefined || keyword.text.trim() === '') return null;
  const written = keyword.text.trim();
  const old = OLD_DATE.exec(written);
  const date = old === null ? written : `19${old[3]}-${old[2]}-${old[1]}`;
  if (!ISO_DATE.test(date) || Number.isNaN(Date.parse(date.slice(0, 10)))) {
    warn(
      'header-value-ignored',
      `DATE-OBS = ${quoteValue(keyword)} is left out: it is not a date as YYYY-MM-DDThh:mm:ss`,
    );
    return null;
  }
  if (date.includes('T')) return date;
  const time = source.find('TIME-OBS')?.text.trim() ?? '';
  return TIME.test(time) ? `${date}T${time}` : date;
}
