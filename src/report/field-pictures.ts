/** The pictures of a field, by name. Stamps need their images encoded first: that is the caller's business. */
import type { FieldSetFacts } from '../field/outcome.js';
import type { FieldSet } from '../field/result.js';
import type { Picture } from './svg/document.js';
import { type MapOptions, mapPicture } from './svg/size-map.js';
import { stampsPicture } from './svg/stamps.js';
import { whiskerPicture } from './svg/whiskers.js';

export interface NamedPicture {
  /** File name without ending. */
  name: string;
  picture: Picture;
}

/**
 * @param stamps encoded image of each cell's stamp, in the order of the cells; null where there is none
 */
export function fieldPictures(
  set: FieldSetFacts & FieldSet,
  title: string,
  stamps: readonly (string | null)[],
): NamedPicture[] {
  const { cells, width, height } = set;
  if (cells.length === 0) return [];
  const across = Math.round(width / Math.min(...cells.map((cell) => cell.right - cell.left)));
  const down = Math.round(height / Math.min(...cells.map((cell) => cell.top - cell.bottom)));
  const side = Math.max(0, ...cells.map((cell) => cell.stamp?.side ?? 0));
  const middle = (cell: (typeof cells)[number]): { x: number; y: number } => ({
    x: 0.5 * (cell.left + cell.right),
    y: 0.5 * (cell.top + cell.bottom),
  });
  const pictures: NamedPicture[] = [
    {
      name: 'whiskers',
      picture: whiskerPicture(
        cells.map((cell) => ({ ...middle(cell), e1: cell.e1, e2: cell.e2, stars: cell.stars })),
        width,
        height,
        title,
      ),
    },
    {
      name: 'size',
      picture: mapPicture(
        cells.map((cell) => ({
          ...middle(cell),
          widthPx: cell.right - cell.left,
          heightPx: cell.top - cell.bottom,
          value: cell.fwhmPx.value,
        })),
        width,
        height,
        {
          title: `Star size over the frame: ${title}`,
          description: `FWHM in ${cells.length} cells, from ${smallest(set).toFixed(2)} to ${largest(set).toFixed(2)} px.`,
          label: 'FWHM, px',
          decimals: 2,
          surface: surfaceOf(set),
        },
      ),
    },
  ];
  if (stamps.some((image) => image !== null)) {
    pictures.push({
      name: 'stars',
      picture: stampsPicture(
        cells.map((cell, i) => ({ ...middle(cell), stars: cell.stars, image: stamps[i] ?? null })),
        width,
        height,
        across,
        down,
        side,
        title,
      ),
    });
  }
  const light = lightPicture(set, title);
  if (light !== null) pictures.push({ name: 'light', picture: light });
  return pictures;
}

/** The model's sizes between the points of the record, bilinear; null where the record holds none. */
function surfaceOf({ model, width, height }: FieldSetFacts & FieldSet): MapOptions['surface'] {
  const surface = model?.surface ?? null;
  if (surface === null) return null;
  const { across, down, fwhmPx, errorPx } = surface;
  const at = (value: number, length: number, points: number): [number, number] => {
    const place = Math.min(1, Math.max(0, (value + 0.5) / length)) * (points - 1);
    const cell = Math.min(points - 2, Math.floor(place));
    return [cell, place - cell];
  };
  return {
    errorOf: errorPx,
    at: (x, y) => {
      const [i, f] = at(x, width, across);
      const [j, g] = at(y, height, down);
      const value = (k: number, l: number): number => fwhmPx[l * across + k] as number;
      const low = value(i, j) + f * (value(i + 1, j) - value(i, j));
      const high = value(i, j + 1) + f * (value(i + 1, j + 1) - value(i, j + 1));
      return low + g * (high - low);
    },
  };
}

/** Illumination in the cells of the sky, with circles of equal light. */
function lightPicture(
  { illumination, width, height }: FieldSetFacts & FieldSet,
  title: string,
): Picture | null {
  const leading =
    illumination === null || illumination.reference === null
      ? null
      : illumination.channels[illumination.reference];
  if (!leading) return null;
  const { cellsX, cellsY, percent } = leading.map;
  return mapPicture(
    percent.map((value, i) => ({
      x: (((i % cellsX) + 0.5) * width) / cellsX - 0.5,
      y: ((Math.floor(i / cellsX) + 0.5) * height) / cellsY - 0.5,
      widthPx: width / cellsX,
      heightPx: height / cellsY,
      value,
    })),
    width,
    height,
    {
      title: `Light over the frame: ${title}`,
      description: `Light of the sky in per cent of that at the centre, the slope of the sky taken out; the corners get ${leading.meanCornerPercent.value.toFixed(0)} %.`,
      label: 'light, % of the centre',
      decimals: 0,
      // Cells with bright stars lie above 100 % and are no light of the sky.
      range: [Math.min(...leading.profile.illuminationPercent), 100],
      surface: null,
      circles: leading.radii
        .filter((each) => Number.isFinite(each.radiusPx?.value))
        .map((each) => ({
          x: (width - 1) / 2 + (leading.centreOffsetPx?.x.value ?? 0),
          y: (height - 1) / 2 + (leading.centreOffsetPx?.y.value ?? 0),
          radiusPx: each.radiusPx.value as number,
          label: `${each.illuminationPercent} %`,
        })),
    },
  );
}

function smallest(set: FieldSet): number {
  return Math.min(...set.cells.map((cell) => cell.fwhmPx.value));
}

function largest(set: FieldSet): number {
  return Math.max(...set.cells.map((cell) => cell.fwhmPx.value));
}
