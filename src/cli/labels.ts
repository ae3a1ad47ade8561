/** `LABEL=FRAME …` and `--telescope LABEL:key=value,…`: which frames belong to which telescope, and what is known of it. */
import { UsageError } from '../errors.js';
import type { FrameOverrides } from '../frame/frame.js';

/** One label with the names that follow it: files, folders, patterns, or `-`. */
export interface LabelNames {
  label: string;
  names: string[];
}

/** What the user gives for one label alone. */
export interface LabelFacts {
  overrides: FrameOverrides;
  seeingArcsec: number | null;
}

/** Words that stand in the place of a label where no telescope wins, and a key that no record can hold. */
const RESERVED = [
  'no difference shown',
  'not comparable',
  'depends',
  'cannot tell',
  'none shown',
  '__proto__',
];

const NAME_HELP =
  'write LABEL=FRAME, as in short=a.fits; further frames of the same telescope follow it. A file whose own name holds = is written ./name';

/**
 * Groups the arguments: one with `LABEL=` begins a telescope, those without belong to the one before. The part in front of the first
 * `=` is a label unless it holds a slash: that is a path.
 * @throws UsageError when fewer than two labels are named, one twice, or one without frames
 */
export function readLabels(args: readonly string[]): LabelNames[] {
  const labels: LabelNames[] = [];
  for (const arg of args) {
    const [, label = null, name = ''] = /^([^=/\\]*)=(.*)$/s.exec(arg) ?? [];
    if (label !== null) {
      labels.push({ label: checkedLabel(label, labels), names: name === '' ? [] : [name] });
    } else {
      const last = labels.at(-1);
      if (last === undefined)
        throw new UsageError(`${arg}: which telescope is it from?`, NAME_HELP);
      last.names.push(arg);
    }
  }
  if (labels.length < 2) {
    throw new UsageError(
      labels.length === 0 ? 'no telescope is named' : 'only one telescope is named',
      `name at least two: ${NAME_HELP}`,
    );
  }
  for (const { label, names } of labels) {
    if (names.length === 0) {
      throw new UsageError(`no frame of ${label} is named`, `write ${label}=FRAME`);
    }
  }
  if (labels.filter(({ names }) => names.includes('-')).length > 1) {
    throw new UsageError(
      '- (a list on standard input) is named for two telescopes',
      'name it once',
    );
  }
  return labels;
}

function checkedLabel(text: string, before: readonly LabelNames[]): string {
  const label = text.trim();
  if (label === '') throw new UsageError('a telescope has no name', NAME_HELP);
  if (RESERVED.includes(label.toLowerCase())) {
    throw new UsageError(`“${label}” cannot be the name of a telescope`, 'choose another word');
  }
  if (before.some((each) => each.label === label)) {
    throw new UsageError(
      `two telescopes are called ${label}`,
      'give them different names; more frames of one are listed behind its first',
    );
  }
  return label;
}

/** Keys of `--telescope`. */
const NUMBERS = {
  aperture: 'apertureMm',
  'focal-length': 'focalLengthMm',
  'pixel-size': 'pixelSizeUm',
  gain: 'gainElectronsPerAdu',
  saturation: 'saturationAdu',
} as const satisfies Record<string, keyof FrameOverrides>;

const KEYS = [...Object.keys(NUMBERS), 'seeing'];

/**
 * Facts of every label, in the order of `labels`.
 * @param shared what holds for all frames
 * @throws UsageError for an unknown label or key, and for a value that is no number above 0
 */
export function readTelescopes(
  values: readonly string[],
  labels: readonly LabelNames[],
  shared: FrameOverrides,
): LabelFacts[] {
  const facts = labels.map((): LabelFacts => ({ overrides: { ...shared }, seeingArcsec: null }));
  for (const value of values) {
    const index = labels.reduce(
      (best, { label }, i) =>
        value.startsWith(`${label}:`) && label.length > (labels[best]?.label.length ?? -1)
          ? i
          : best,
      -1,
    );
    const fact = facts[index];
    if (fact === undefined) {
      throw new UsageError(
        `--telescope ${value}: no telescope of that name`,
        `write LABEL:aperture=80 with LABEL one of ${labels.map(({ label }) => label).join(', ')}`,
      );
    }
    for (const part of value.slice((labels[index]?.label.length ?? 0) + 1).split(',')) {
      addFact(fact, part.trim(), value);
    }
  }
  return facts;
}

function addFact(fact: LabelFacts, part: string, value: string): void {
  const [, key = '', text = ''] = /^([^=]*)=?(.*)$/s.exec(part) ?? [];
  const number = Number(text);
  if (!KEYS.includes(key)) {
    throw new UsageError(
      `--telescope ${value}: “${key}” is not known`,
      `use ${KEYS.join(', ')}, as in LABEL:aperture=80,focal-length=480`,
    );
  }
  if (text.trim() === '' || !Number.isFinite(number) || number <= 0) {
    throw new UsageError(
      `--telescope ${value}: ${key} is no number above 0`,
      'use a point for decimals and no unit',
    );
  }
  if (key === 'seeing') fact.seeingArcsec = number;
  else fact.overrides[NUMBERS[key as keyof typeof NUMBERS]] = number;
}
