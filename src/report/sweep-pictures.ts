/** The pictures of a through-focus run, by name. */
import type { SweepOutcome } from '../sweep/result.js';
import type { NamedPicture } from './field-pictures.js';
import { mapPicture } from './svg/size-map.js';
import { vCurvesPicture } from './svg/v-curves.js';

/** File names without ending. */
export const SWEEP_PICTURES = ['v-curves', 'focus-surface'] as const;

export function sweepPictures({ analysis, size }: SweepOutcome): NamedPicture[] {
  if (analysis === null || size === null) return [];
  const curves = vCurvesPicture(analysis);
  const pictures: NamedPicture[] = curves === null ? [] : [{ name: 'v-curves', picture: curves }];
  const cells = analysis.cells.flatMap(({ x, y, focusOffset }) =>
    focusOffset === null
      ? []
      : [{ x, y, widthPx: size.width / 3, heightPx: size.height / 3, value: focusOffset.value }],
  );
  if (cells.length > 0) {
    pictures.push({
      name: 'focus-surface',
      picture: mapPicture(cells, size.width, size.height, {
        title: 'Best focus over the frame',
        description: `Best focus of ${cells.length} cells against the typical star, steps.`,
        label: 'focus offset, steps',
        decimals: 1,
        surface: null,
      }),
    });
  }
  return pictures;
}
