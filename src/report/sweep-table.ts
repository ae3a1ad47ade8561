/** The result of `sweep` as text. */
import type { SweepChannel, SweepOutcome } from '../sweep/result.js';
import { columnsText, fact, type TextStyle, wrap } from './layout.js';
import { NOT_MEASURED, signed, significant, withUncertainty } from './number.js';

const NAMES: Readonly<Record<SweepChannel, string>> = {
  R: 'red',
  G: 'green',
  B: 'blue',
  L: 'mono',
};
const NAME_WIDTH = 20;
const CANNOT = 'cannot tell';

export function sweepText(outcome: SweepOutcome, width: number, style: TextStyle): string {
  const { analysis, facts, frames } = outcome;
  if (analysis === null) return '';
  const first = frames[0]?.position ?? Number.NaN;
  const last = frames.at(-1)?.position ?? Number.NaN;
  const shown = outcome.channels.map((channel) => ({ channel, focus: analysis.channels[channel] }));
  const lines = [
    style.strong(`${frames.length} frames from ${first} to ${last} steps, ${analysis.stars} stars`),
    '',
    columnsText(
      [
        { head: 'colour', cells: shown.map(({ channel }) => NAMES[channel]) },
        {
          head: 'best focus\nsteps',
          align: 'right',
          cells: shown.map(({ focus }) =>
            focus?.bestFocus ? withUncertainty(focus.bestFocus) : CANNOT,
          ),
        },
        {
          head: 'size there\nrms px',
          align: 'right',
          cells: shown.map(({ focus }) =>
            focus?.sizeAtFocusPx ? significant(focus.sizeAtFocusPx) : NOT_MEASURED,
          ),
        },
      ],
      width,
      style,
    ),
    '',
  ];
  const add = (name: string, text: string): void => {
    lines.push(fact(name, text, NAME_WIDTH, width));
  };
  for (const [name, shift] of [
    ['blue − green', analysis.blueMinusGreen],
    ['red − green', analysis.redMinusGreen],
  ] as const) {
    if (shift.steps === null) {
      add(name, CANNOT);
      continue;
    }
    const parts = [`${signed(withUncertainty(shift.steps))} steps`];
    if (shift.um !== null) parts.push(`${signed(withUncertainty(shift.um))} µm`);
    if (shift.focalLengthOver !== null) parts.push(`f/${Math.round(shift.focalLengthOver)}`);
    if (shift.depthsOfFocus !== null) {
      parts.push(`${significant(shift.depthsOfFocus, 2)} times half the depth of focus`);
    }
    add(name, parts.join(' = '));
  }
  add(
    'depth of focus',
    analysis.depthOfFocusUm === null
      ? 'unknown: give --focal-ratio'
      : `±${significant(analysis.depthOfFocusUm)} µm (2 λN² at 530 nm)`,
  );
  if (analysis.compromiseFocus !== null) {
    add(
      'compromise',
      `${significant(analysis.compromiseFocus, 4)} steps: least sum of the three colours’ mean square sizes`,
    );
  }
  const direction =
    analysis.tiltDirectionDeg === null
      ? ''
      : `, larger positions towards ${analysis.tiltDirectionDeg.toFixed(0)}° (from +x towards +y)`;
  const missing = facts.stepUm === null || facts.pixelSizeUm === null;
  add(
    'tilt',
    analysis.tiltDeg === null
      ? missing
        ? `in degrees only with --step-um and --pixel-size${direction}`
        : CANNOT
      : `${withUncertainty(analysis.tiltDeg)}°${direction}`,
  );
  add(
    'curvature radius',
    analysis.curvatureRadiusMm === null
      ? missing
        ? 'only with --step-um and --pixel-size'
        : 'none beyond its error, or too few stars'
      : `${withUncertainty(analysis.curvatureRadiusMm)} mm`,
  );
  if (analysis.backlashSteps !== null) {
    add('backlash', `${signed(withUncertainty(analysis.backlashSteps))} steps, up less down`);
  }
  if (facts.stepUm !== null && analysis.stepUmFromCone !== null) {
    add(
      'check of the step',
      `the cone of light implies ${significant(analysis.stepUmFromCone)} µm; given ${facts.stepUm} µm`,
    );
  }
  const { cells } = analysis;
  if (cells.length > 0) {
    const text = (u: (typeof cells)[0]['focusOffset']) =>
      u === null ? NOT_MEASURED : signed(withUncertainty(u));
    lines.push(
      '',
      style.strong('Focus over the frame, steps from the typical star'),
      columnsText(
        [
          { head: 'column,\nrow', cells: cells.map(({ column, row }) => `${column}, ${row}`) },
          { head: 'stars', align: 'right', cells: cells.map(({ stars }) => String(stars)) },
          {
            head: 'focus',
            align: 'right',
            cells: cells.map(({ focusOffset }) => text(focusOffset)),
          },
          {
            head: 'radial −\ntangential',
            align: 'right',
            cells: cells.map(({ radialMinusTangential }) => text(radialMinusTangential)),
          },
        ],
        width,
        style,
      ),
    );
  }
  lines.push('', wrap(analysis.sentence, width));
  return `${lines.join('\n')}\n`;
}
