/** Pictures of a result as SVG files in a folder. */
import { join } from 'node:path';
import type { NamedPicture } from '../report/field-pictures.js';
import type { Terminal } from './terminal.js';

/** Name of a picture's file. */
export function pictureFile(name: string): string {
  return `${name}.svg`;
}

/**
 * Makes the folder and checks, before the work, that the pictures can be written into it.
 * @throws OutputError
 */
export async function checkPictures(
  folder: string,
  names: readonly string[],
  force: boolean,
): Promise<void> {
  const { checkFolderTarget } = await import('./output.js');
  checkFolderTarget(folder, names.map(pictureFile), force);
}

/** @throws OutputError */
export async function writePictures(
  folder: string,
  pictures: readonly NamedPicture[],
  terminal: Terminal,
): Promise<void> {
  const { svgDocument } = await import('../report/svg/document.js');
  const { writeWhole } = await import('./output.js');
  for (const { name, picture } of pictures) {
    writeWhole(join(folder, pictureFile(name)), svgDocument(picture));
  }
  terminal.message(`wrote ${pictures.length} pictures into ${folder}`);
}
