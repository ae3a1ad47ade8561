/** Stacked star images at their place in the field: what the numbers look like. */
import { lineFrom, num, type Picture, textAt } from './document.js';
import { framePanel } from './panel.js';

export interface StampCell {
  /** Centre of the cell on the frame, px. */
  x: number;
  y: number;
  stars: number;
  /** PNG as a data: address; row 0 is the lowest y. Null = too few stars. */
  image: string | null;
}

/** A grey PNG of `side` × `side` values from 0 to 255. */
export type GreyStamp = { side: number; pixels: Uint8Array };

/**
 * Stretches stamps for looking at, all alike: brightness is each stamp's own peak = 1, shown as asinh(v/s)/asinh(1/s) with s = 0.03, so that
 * the foot of a star is seen beside its core. Row 0 of the result is the highest y, as pictures count.
 */
export function greyStamp(values: ArrayLike<number>, side: number): GreyStamp {
  let peak = 0;
  for (let i = 0; i < values.length; i++) peak = Math.max(peak, values[i] as number);
  const soft = 0.03;
  const full = Math.asinh(1 / soft);
  const pixels = new Uint8Array(side * side);
  for (let row = 0; row < side; row++) {
    for (let column = 0; column < side; column++) {
      const value = values[row * side + column] as number;
      const share = peak > 0 && value > 0 ? value / peak : 0;
      pixels[(side - 1 - row) * side + column] = Math.round(
        (255 * Math.asinh(share / soft)) / full,
      );
    }
  }
  return { side, pixels };
}

/**
 * @param columns, rows how many cells lie across and down
 * @param stampPx side of a stamp in pixels of the frame, for the scale bar
 */
export function stampsPicture(
  cells: readonly StampCell[],
  widthPx: number,
  heightPx: number,
  columns: number,
  rows: number,
  stampPx: number,
  name: string,
): Picture {
  const panel = framePanel(widthPx, heightPx, 44, 560);
  const size = 0.92 * Math.min(panel.options.width / columns, panel.options.height / rows);
  const parts = [panel.axes];
  for (const cell of cells) {
    const [cx, cy] = [panel.x(cell.x), panel.y(cell.y)];
    if (cell.image === null) {
      parts.push(textAt(cx, cy + 4, '–', { anchor: 'middle', className: 'muted' }));
      continue;
    }
    parts.push(
      `<image x="${num(cx - size / 2)}" y="${num(cy - size / 2)}" width="${num(size)}" height="${num(size)}" href="${cell.image}" image-rendering="pixelated"><title>${cell.stars} stars stacked</title></image>`,
    );
  }
  const bar = [1, 2, 5, 10, 20, 50].findLast((px) => px <= stampPx / 2) ?? 1;
  const length = (bar / stampPx) * size;
  parts.push(
    lineFrom(66, 18, 66 + length, 18, 'line', ' stroke-width="2"'),
    textAt(
      74 + length,
      22,
      `${bar} px; each stamp is scaled to its own peak, faint light raised alike`,
    ),
  );
  return {
    width: Math.max(panel.outerWidth, 520),
    height: panel.bottom + 50,
    title: `Star images over the frame: ${name}`,
    description: `Stacked star images of ${cells.filter((cell) => cell.image !== null).length} cells at their place in the frame.`,
    body: parts.join(''),
  };
}
