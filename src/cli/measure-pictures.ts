/** Pictures and the page of `measure`, as files. */

import type { StarCatalogue } from '../catalogue/catalogue.js';
import type { FrameOverrides } from '../frame/frame.js';
import type { NamedPicture } from '../report/field-pictures.js';
import type { MeasureDocument } from '../report/json.js';
import {
  checkPictures,
  type PictureFlags,
  wantsPictures,
  writePictures,
  writeTextFile,
} from './picture-files.js';
import type { Terminal } from './terminal.js';

const NAMES = ['profiles', 'encircled', 'contrast'] as const;

/** Name of a frame's picture: with the frame's place among several. */
function nameOf(name: string, index: number, frames: number): string {
  return frames === 1 ? name : `${index + 1}-${name}`;
}

/**
 * Refuses, before the work, what cannot be written.
 * @throws OutputError
 */
export async function checkMeasurePictures(flags: PictureFlags, frames: number): Promise<void> {
  if (!wantsPictures(flags)) return;
  const { MOST_PICTURED } = await import('../report/measure-page.js');
  const names = Array.from({ length: Math.min(frames, MOST_PICTURED) }, (_, i) =>
    NAMES.map((name) => nameOf(name, i, frames)),
  );
  await checkPictures(flags, names.flat());
}

/**
 * @param catalogues stars of each frame, for marking them on its image; null where there are none
 * @throws OutputError
 */
export async function writeMeasurePictures(
  flags: PictureFlags,
  document: () => MeasureDocument,
  catalogues: readonly (StarCatalogue | null)[],
  overrides: FrameOverrides,
  terminal: Terminal,
): Promise<void> {
  if (!wantsPictures(flags)) return;
  const { measurePage, measurePictures, MOST_PICTURED } = await import('../report/measure-page.js');
  const made = document();
  const { frames } = made;
  const pictured = frames.slice(0, MOST_PICTURED);
  const pictures: NamedPicture[] = pictured.flatMap((result, i) =>
    measurePictures(result).map(({ name, picture }) => ({
      name: nameOf(name, i, frames.length),
      picture,
    })),
  );
  await writePictures(flags, pictures, terminal);
  const page = async (): Promise<string> => {
    const { frameImages } = await import('./frame-image.js');
    const images = [];
    for (const [i, result] of pictured.entries()) {
      images.push(await frameImages(result, catalogues[i] ?? null, overrides));
    }
    return measurePage(made, images);
  };
  await writeTextFile(flags.html, page, terminal);
}
