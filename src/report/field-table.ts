/** The report of `field` as text: the map in nine places, the causes, what to check next. */
import type { CorrectedCircle } from '../field/corrected-circle.js';
import type { FieldNinth } from '../field/ninths.js';
import type { FieldOutcome, FieldSetFacts } from '../field/outcome.js';
import type { Cause, FieldSet, RotationFinding, RotationResult } from '../field/result.js';
import { escapeControls } from './escape.js';
import { type Column, columnsText, fact, type TextStyle, wrap } from './layout.js';
import { count, fixed, NOT_MEASURED, withUncertainty } from './number.js';
import { scaleWords } from './words.js';

const FACT_INDENT = 14;
const COLUMNS = ['left', 'middle', 'right'] as const;
const ROWS = ['upper', 'centre', 'lower'] as const;

/** Names of the sets when there are two. */
export const SET_NAMES = ['first set', 'camera turned'] as const;

/** The whole report with a closing line break; empty when no frame could be read. */
export function fieldText(outcome: FieldOutcome, width: number, style: TextStyle): string {
  const several = outcome.sets.length > 1;
  const parts = outcome.sets.flatMap((set, i) =>
    set.leading === null
      ? []
      : [setText(set, several ? (SET_NAMES[i] ?? null) : null, width, style)],
  );
  if (outcome.rotation !== undefined) parts.push(rotationText(outcome.rotation, width, style));
  return parts.length === 0 ? '' : `${parts.join('\n\n\n')}\n`;
}

function setText(
  set: FieldSetFacts & FieldSet,
  name: string | null,
  width: number,
  style: TextStyle,
): string {
  const [first] = set.files;
  const more = set.files.length - 1;
  const files = `${escapeControls(first ?? '')}${more > 0 ? ` and ${count(more)} more` : ''}`;
  const heading = name === null ? files : `${name}: ${files}`;
  const facts = `${count(set.width)} × ${count(set.height)} px, ${scaleWords(set.scaleArcsecPerPx)}; ${count(set.stars)} stars in ${count(set.frames)} frame${set.frames === 1 ? '' : 's'}`;
  const parts = [`${style.strong(heading)}\n${style.faint(wrap(facts, width))}`];
  if (set.places.some((place) => place.fwhmPx !== null)) {
    parts.push(placesText(set.places, width, style));
  }
  if (set.causes.length > 0) parts.push(causesText(set.causes, width, style));
  parts.push(
    [
      fact('light', lightText(set), FACT_INDENT, width),
      fact('sharp circle', circleText(set.correctedCircle), FACT_INDENT, width),
    ].join('\n'),
  );
  parts.push(style.strong(wrap(set.summary, width)));
  const lead = leadingCause(set);
  if (lead) parts.push(adviceText(lead, width));
  return parts.join('\n\n');
}

/** The cause that the advice is about: the leading one, or the largest where it is undecided. */
export function leadingCause(set: FieldSet): Cause | null {
  return set.causes.find((each) => each.cause === set.leading) ?? set.causes[0] ?? null;
}

function placesText(places: readonly FieldNinth[], width: number, style: TextStyle): string {
  const cell = (row: number, column: number): string => {
    const place = places[3 * row + column];
    if (!place || place.fwhmPx === null) return `${NOT_MEASURED}\n`;
    return `${withUncertainty(place.fwhmPx, 2)}\n${style.faint(shape(place))}`;
  };
  const columns: Column[] = [
    { head: 'FWHM, px', cells: ROWS.map((row) => `${row}\n`) },
    ...COLUMNS.map((head, column) => ({ head, cells: ROWS.map((_, row) => cell(row, column)) })),
  ];
  const legend =
    'Under each size: ellipticity, 0 is round, and the angle of the long axis. x runs to the right, y upwards: the first stored row is the lowest.';
  return `${columnsText(columns, width, style)}\n${style.faint(wrap(legend, width))}`;
}

function shape({ ellipticity, elongationAngleDeg: angle }: FieldNinth): string {
  if (ellipticity === null) return NOT_MEASURED;
  if (angle === null) return 'round';
  return `${fixed(ellipticity.value, 2)} at ${fixed(angle, 0)}°`;
}

function causesText(causes: readonly Cause[], width: number, style: TextStyle): string {
  const columns: Column[] = [
    { head: 'cause', cells: causes.map((each) => each.cause) },
    {
      head: 'strength',
      cells: causes.map((each) => `${withUncertainty(each.strength)} ${each.unit}`),
    },
    { head: 'effect\npx', cells: causes.map((each) => fixed(each.effectPx, 2)), align: 'right' },
    {
      head: 'direction\n°',
      cells: causes.map((each) =>
        each.directionDeg === null ? NOT_MEASURED : withUncertainty(each.directionDeg, 0),
      ),
    },
    {
      head: 'confidence',
      cells: causes.map((each) => fixed(each.confidence, 2)),
      align: 'right',
    },
  ];
  const legend =
    'Effect: what the cause adds to the worst stars. Direction: from +x towards +y. Confidence: from 0 to 1, against the alternatives named.';
  return `${columnsText(columns, width, style)}\n${style.faint(wrap(legend, width))}`;
}

/** Light at the corners, radii and what cannot be said, in a sentence or two. */
export function lightText({ illumination }: FieldSet): string {
  if (illumination === null) return 'not looked at';
  const leading =
    illumination.reference === null ? null : illumination.channels[illumination.reference];
  if (!leading) {
    const bound =
      illumination.cornerAtMostPercent === null
        ? ''
        : `; the corners get at most ${fixed(illumination.cornerAtMostPercent, 0)} % of the centre’s light`;
    return `${illumination.reason ?? 'cannot be told'}${bound}`;
  }
  const radii = leading.radii
    .filter((each) => Number.isFinite(each.radiusPx?.value))
    .map((each) => {
      const mm = each.radiusMm?.value;
      const inMm = mm !== undefined && mm !== null ? ` (${fixed(mm, 1)} mm)` : '';
      return `${each.illuminationPercent} % at ${fixed(each.radiusPx?.value ?? Number.NaN, 0)} px${inMm}`;
    });
  const fills = {
    yes: 'the lit circle fills the sensor',
    no: 'the lit circle does not fill the sensor',
    'cannot tell': 'whether the lit circle fills the sensor cannot be told',
  }[illumination.fillsSensor];
  return [
    `the corners get ${withUncertainty(leading.meanCornerPercent, 1)} % of the centre’s light`,
    ...radii,
    fills,
    ...(illumination.reason === null ? [] : [illumination.reason]),
  ].join('; ');
}

/** The well-corrected circle in a sentence or two. */
export function circleText(circle: CorrectedCircle | null): string {
  if (circle === null) return 'not looked for';
  const { status, reason, radiusPx, radiusMm, halfDiagonalShare, limitedBy } = circle;
  const limits = `FWHM at most ${fixed(circle.maxGrowth, 2)} × the centre’s, ellipticity at most ${fixed(circle.maxEllipticity, 2)}`;
  const serves = formatText(circle);
  if (status === 'cannot tell') {
    const reach =
      circle.atLeastPx === null
        ? ''
        : `; at least ${lengthText(circle.atLeastPx, circle.atLeastMm)}`;
    return `cannot tell: ${reason ?? ''}${reach}${serves} (${limits})`;
  }
  const { value, low, high } = radiusPx;
  if (value === null) {
    const early =
      low === null ? '' : `, though it may end at ${lengthText(low, radiusMm?.low ?? null)}`;
    return `reaches the corners, ${lengthText(circle.atLeastPx ?? Number.NaN, circle.atLeastMm)}${early}${serves} (${limits})`;
  }
  if (value === 0)
    return `none: ${limitedBy} is beyond the limit at the centre already (${limits})`;
  const range =
    high === null
      ? `from ${fixed(low ?? value, 0)} px, may reach the corners`
      : `${fixed(low ?? value, 0)} to ${fixed(high, 0)} px`;
  const share = fixed(100 * (halfDiagonalShare.value ?? Number.NaN), 0);
  return `radius ${lengthText(value, radiusMm?.value ?? null)} (${range}), ${share} % of the half diagonal; ${limitedBy} ends it${serves} (${limits})`;
}

function lengthText(px: number, mm: number | null): string {
  return `${fixed(px, 0)} px${mm === null ? '' : `, ${fixed(mm, 1)} mm`}`;
}

/** The sensor that the circle would serve. */
function formatText({ formatMm, formatAtLeast, radiusMm }: CorrectedCircle): string {
  if (formatMm !== null) {
    return `; serves a sensor of ${formatMm[0]} × ${formatMm[1]} mm${formatAtLeast ? ' or more' : ''}`;
  }
  return radiusMm === null || formatAtLeast ? '' : '; too small for a sensor of 13.2 × 8.8 mm';
}

function adviceText(cause: Cause, width: number): string {
  const lines: string[] = [];
  cause.evidence.forEach((sentence, i) => {
    lines.push(fact(i === 0 ? 'evidence' : '', sentence, FACT_INDENT, width));
  });
  if (cause.alternatives.length > 0) {
    lines.push(fact('could also be', `${cause.alternatives.join('; ')}`, FACT_INDENT, width));
  }
  if (cause.nextCheck !== '') lines.push(fact('next', cause.nextCheck, FACT_INDENT, width));
  if (cause.caution !== null) lines.push(fact('caution', cause.caution, FACT_INDENT, width));
  return lines.join('\n');
}

function rotationText(rotation: RotationResult, width: number, style: TextStyle): string {
  const block = (head: string, findings: readonly RotationFinding[]): string[] =>
    findings.map((finding, i) =>
      fact(
        i === 0 ? head : '',
        `${finding.sentence}${finding.significance > 0 ? ` (${fixed(finding.significance, 1)} σ)` : ''}`,
        FACT_INDENT,
        width,
      ),
    );
  return [
    style.strong(`Camera turned by ${fixed(rotation.angleDeg, 1)}°`),
    ...block('camera', rotation.followsCamera),
    ...block('telescope', rotation.followsTube),
    ...block('undecided', rotation.undecided),
    ...(rotation.advice === '' ? [] : [fact('advice', rotation.advice, FACT_INDENT, width)]),
  ].join('\n');
}
