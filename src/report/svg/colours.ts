/** Colours of a quantity: one sequential map, readable with any colour vision and in grey (cividis: Nuñez, Anderton & Renslow 2018, PLoS ONE 13, e0199239). */
import { interpolateCividis } from 'd3-scale-chromatic';
import { num, textAt } from './document.js';

/** Colour of `value` between `low` and `high`; the middle where both are equal. */
export function colourOf(value: number, low: number, high: number): string {
  const t = high > low ? (value - low) / (high - low) : 0.5;
  return interpolateCividis(Math.max(0, Math.min(1, t)));
}

/** Class of text that can be read on that colour: the map runs from dark to light. */
export function textClassOn(value: number, low: number, high: number): 'on-dark' | 'on-light' {
  const t = high > low ? (value - low) / (high - low) : 0.5;
  return t < 0.45 ? 'on-dark' : 'on-light';
}

const STEPS = 40;

/** A vertical colour bar with its ends and middle labelled. */
export function colourBar(
  left: number,
  top: number,
  height: number,
  low: number,
  high: number,
  label: string,
  format: (value: number) => string,
): string {
  const width = 14;
  const parts: string[] = [];
  for (let i = 0; i < STEPS; i++) {
    const y = top + (height * (STEPS - 1 - i)) / STEPS;
    parts.push(
      `<rect x="${num(left)}" y="${num(y)}" width="${width}" height="${num(height / STEPS + 0.5)}" fill="${colourOf(i, 0, STEPS - 1)}"/>`,
    );
  }
  for (const share of [0, 0.5, 1]) {
    const value = low + share * (high - low);
    const y = top + height * (1 - share);
    parts.push(textAt(left + width + 5, y + 4, format(value), { className: 'small' }));
  }
  parts.push(textAt(left + width + 46, top + height / 2, label, { anchor: 'middle', rotate: -90 }));
  return parts.join('');
}

/** Width that a colour bar with its labels takes. */
export const COLOUR_BAR_WIDTH = 72;
