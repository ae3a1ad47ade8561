/** Pictures and pages of a result as files. */
import { join } from 'node:path';
import { UsageError } from '../errors.js';
import type { NamedPicture } from '../report/field-pictures.js';
import type { Terminal } from './terminal.js';

export type PictureKind = 'svg' | 'png';

/** Where pictures and a page are wanted; undefined = not asked for. */
export interface PictureFlags {
  svg?: string;
  png?: string;
  html?: string;
  /** The result itself, which no page may write over. */
  output?: string;
  force?: boolean;
}

const KINDS: readonly PictureKind[] = ['svg', 'png'];

/** PNG files have this many pixels for each unit of the drawing. */
const PNG_SCALE = 2;
/** The density at which sharp draws one pixel for each unit of a drawing (its documentation, `density`). */
const UNIT_DENSITY = 72;

/** Whether pictures or a page are asked for. */
export function wantsPictures({ svg, png, html }: PictureFlags): boolean {
  return svg !== undefined || png !== undefined || html !== undefined;
}

/** Name of a picture's file. */
export function pictureFile(name: string, kind: PictureKind = 'svg'): string {
  return `${name}.${kind}`;
}

/**
 * Makes the folders and checks, before the work, that pictures and page can be written.
 * @throws UsageError, OutputError
 */
export async function checkPictures(flags: PictureFlags, names: readonly string[]): Promise<void> {
  if (flags.html !== undefined && flags.html === flags.output) {
    throw new UsageError('--html and --output name the same file', 'give them different names');
  }
  const { checkFileTarget, checkFolderTarget } = await import('./output.js');
  const force = flags.force ?? false;
  for (const kind of KINDS) {
    const folder = flags[kind];
    if (folder === undefined) continue;
    const files = names.map((name) => pictureFile(name, kind));
    checkFolderTarget(folder, files, force);
  }
  if (flags.html !== undefined) checkFileTarget(flags.html, force);
}

/** Writes the pictures into the folders that are asked for; does nothing where none is. @throws OutputError */
export async function writePictures(
  flags: PictureFlags,
  pictures: readonly NamedPicture[],
  terminal: Terminal,
): Promise<void> {
  const { svgDocument } = await import('../report/svg/document.js');
  const { writeWhole } = await import('./output.js');
  for (const kind of KINDS) {
    const folder = flags[kind];
    if (folder === undefined) continue;
    for (const { name, picture } of pictures) {
      const svg = svgDocument(picture);
      writeWhole(join(folder, pictureFile(name, kind)), kind === 'svg' ? svg : await pngOf(svg));
    }
    terminal.message(`wrote ${pictures.length} pictures into ${folder}`);
  }
}

/** Writes a page or a drawing, where one is asked for; only then is it made. @throws OutputError */
export async function writeTextFile(
  file: string | undefined,
  text: () => string | Promise<string>,
  terminal: Terminal,
): Promise<void> {
  if (file === undefined) return;
  const { writeWhole } = await import('./output.js');
  writeWhole(file, await text());
  terminal.message(`wrote ${file}`);
}

/** A drawing as PNG. */
async function pngOf(svg: string): Promise<Uint8Array> {
  const { default: sharp } = await import('sharp');
  return sharp(Buffer.from(svg), { density: PNG_SCALE * UNIT_DENSITY })
    .png({ compressionLevel: 9 })
    .toBuffer();
}
