/** The same stars side by side: one angular scale, one stretch. For looking at; nothing is measured from it. */
import type { StarCrop } from '../../compare/crops.js';
import type { AngularUnit } from '../../compare/result.js';
import { shortLabels } from '../compare-words.js';
import { nominal } from '../number.js';
import { lineFrom, num, type Picture, textAt } from './document.js';

/** A colour picture of `side` × `side` pixels: red, green, blue from 0 to 255, row by row from the top. */
export interface ColourStamp {
  side: number;
  pixels: Uint8Array;
}

/** Brightness that is shown as about half bright, as a share of the brightest: the foot of a star is seen beside its core. */
const SOFT = 0.001;
/** What no sample covers, grey. */
const NOTHING = 72;

/** The brightest of all samples of all stars: full white, per angular unit² with the whole star = 1. Clipped cores do not count. */
export function brightestOf(crops: readonly StarCrop[]): number {
  let brightest = 0;
  for (const { images, saturated } of crops) {
    if (saturated && crops.length > 1) continue;
    for (const { rgb } of Object.values(images)) {
      for (const value of rgb) if (value > brightest) brightest = value;
    }
  }
  return brightest;
}

/**
 * One crop as it is shown: asinh(v/s)/asinh(1/s) with v in units of `brightest` and s = 0.001, alike for all colours, stars and
 * telescopes. Row 0 of the result is the highest y, as pictures count.
 */
export function colourStamp(rgb: Float32Array, side: number, brightest: number): ColourStamp {
  const pixels = new Uint8Array(3 * side * side);
  const full = Math.asinh(1 / SOFT);
  for (let plane = 0; plane < 3; plane++) {
    for (let row = 0; row < side; row++) {
      for (let column = 0; column < side; column++) {
        const value = rgb[(plane * side + row) * side + column] as number;
        const share = Math.max(0, brightest > 0 ? value / brightest : 0);
        pixels[3 * ((side - 1 - row) * side + column) + plane] = Number.isNaN(value)
          ? NOTHING
          : Math.min(255, Math.round((255 * Math.asinh(share / SOFT)) / full));
      }
    }
  }
  return { side, pixels };
}

const LEFT = 112;
const TOP = 96;
const RIGHT = 16;
const GAP = 8;
const WIDEST = 760;
const LARGEST_CELL = 176;
const LETTER = 7.4;
const BARS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100];

/**
 * @param images picture of every crop by label, as an address; a label without pixels has none
 * @param brightest what full white stands for
 */
export function cropsPicture(
  crops: readonly StarCrop[],
  images: readonly Readonly<Record<string, string>>[],
  labels: readonly string[],
  unit: AngularUnit,
  brightest: number,
): Picture | null {
  const shown = labels.filter((label) => images.some((each) => each[label] !== undefined));
  const [first] = crops;
  if (first === undefined || shown.length === 0) return null;
  const cell = Math.min(LARGEST_CELL, (WIDEST - LEFT - RIGHT) / shown.length - GAP);
  const names = shortLabels(shown, Math.max(6, Math.floor(cell / LETTER)));
  const parts: string[] = [];
  shown.forEach((label, column) => {
    const x = LEFT + column * (cell + GAP);
    parts.push(
      textAt(x + cell / 2, TOP - 8, names.get(label) ?? '', {
        anchor: 'middle',
        className: 'strong',
      }),
    );
    crops.forEach((_, row) => {
      const y = TOP + row * (cell + GAP);
      const href = images[row]?.[label];
      parts.push(
        href === undefined
          ? textAt(x + cell / 2, y + cell / 2, 'no pixels', {
              anchor: 'middle',
              className: 'muted',
            })
          : `<image x="${num(x)}" y="${num(y)}" width="${num(cell)}" height="${num(cell)}" href="${href}"/>`,
      );
    });
  });
  crops.forEach(({ magnitude, saturated }, row) => {
    const y = TOP + (row + 0.5) * (cell + GAP);
    const lines = saturated
      ? ['a brighter star,', 'core clipped', 'in at least one']
      : [`star ${row + 1}`, ...(magnitude === null ? [] : [magnitudeWords(magnitude, row)])];
    lines.forEach((line, i) => {
      parts.push(
        textAt(LEFT - 10, y + 15 * (i - (lines.length - 1) / 2), line, {
          anchor: 'end',
          className: i === 0 && !saturated ? '' : 'small muted',
        }),
      );
    });
  });
  // All crops span one angle: that is what makes them comparable.
  const span = first.side * first.unitPerSample;
  const bar = BARS.findLast((length) => length <= span / 2) ?? span / 2;
  const length = (bar / span) * cell;
  const height = TOP + crops.length * (cell + GAP);
  const scale = `${nominal(bar)} ${unit}`;
  const stretch = `One stretch for all: white is ${nominal(100 * brightest, 2)} % of a star’s light per ${unit}², faint light raised (asinh). Each star is white on the whole.`;
  parts.push(
    lineFrom(LEFT, height + 12, LEFT + length, height + 12, 'line', ' stroke-width="3"'),
    textAt(LEFT + length + 10, height + 16, `${scale}, the scale of every crop`),
  );
  const width = Math.max(LEFT + shown.length * (cell + GAP) - GAP + RIGHT, 640);
  return {
    width,
    height: height + 34,
    title: 'The same stars through every telescope',
    description: `${crops.length} stars as ${[...names.values()].join(', ')} ${shown.length === 1 ? 'shows' : 'show'} them, ${nominal(span, 2)} ${unit} wide. ${stretch}`,
    body: [
      textAt(16, 22, 'The same stars, side by side', { className: 'strong' }),
      textAt(16, 40, stretch, { className: 'small muted' }),
      textAt(
        16,
        56,
        'Turned to lie alike; smoothed a little by that. To look at: the numbers come from the frames themselves.',
        { className: 'small muted' },
      ),
      ...parts,
    ].join(''),
  };
}

function magnitudeWords(magnitude: number, row: number): string {
  if (magnitude >= 0.05) return `${magnitude.toFixed(1)} mag fainter`;
  return row === 0 ? 'the brightest' : 'as bright';
}
