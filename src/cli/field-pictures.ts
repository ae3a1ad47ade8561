/** Pictures and the page of `field`, as files. */
import type { FieldOutcome } from '../field/outcome.js';
import type { FieldDocument } from '../report/field-json.js';
import type { NamedPicture } from '../report/field-pictures.js';
import { type PictureFlags, wantsPictures, writePictures, writeTextFile } from './picture-files.js';
import type { Terminal } from './terminal.js';

const PICTURES = ['whiskers', 'size', 'stars', 'light'] as const;
/** Pictures of the second set. */
const TURNED = '-rotated';

/** Names of all pictures that may be written. */
export function fieldPictureNames(rotated: boolean): string[] {
  return [...PICTURES, ...(rotated ? PICTURES.map((name) => name + TURNED) : [])];
}

/**
 * Draws and writes what is asked for; does nothing where nothing is.
 * @throws OutputError
 */
export async function writeFieldPictures(
  flags: PictureFlags,
  outcome: FieldOutcome,
  document: () => FieldDocument,
  terminal: Terminal,
): Promise<void> {
  if (!wantsPictures(flags)) return;
  const pictures = await drawField(outcome);
  await writePictures(flags, pictures.flat(), terminal);
  const page = async (): Promise<string> => {
    const { fieldPage } = await import('../report/field-page.js');
    return fieldPage(document(), pictures);
  };
  await writeTextFile(flags.html, page, terminal);
}

/** Pictures of each set, in order. */
async function drawField(outcome: FieldOutcome): Promise<NamedPicture[][]> {
  const { fieldPictures } = await import('../report/field-pictures.js');
  const { greyStamp } = await import('../report/svg/stamps.js');
  const { greyPng } = await import('./png-data.js');
  const sets: NamedPicture[][] = [];
  for (const [index, set] of outcome.sets.entries()) {
    const pictures: NamedPicture[] = [];
    sets.push(pictures);
    if (set.leading === null) continue;
    const stamps = await Promise.all(
      set.cells.map(async ({ stamp }) =>
        stamp === null ? null : greyPng(greyStamp(stamp.pixels, stamp.side)),
      ),
    );
    const title = set.files.length === 1 ? (set.files[0] ?? '') : `${set.files.length} frames`;
    for (const { name, picture } of fieldPictures(set, title, stamps)) {
      pictures.push({ name: index === 1 ? name + TURNED : name, picture });
    }
  }
  return sets;
}
