/** Whole files that are damaged on purpose. Another format is one more entry. */
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { gunzipSync } from 'node:zlib';

export interface Seed {
  format: string;
  name: string;
  bytes(): Buffer;
}

const FIXTURES = fileURLToPath(new URL('../../fixtures/', import.meta.url));

/** Files of a folder below fixtures/ whose names end in one of `endings`. */
function filesOf(folder: string, endings: readonly string[]): string[] {
  return readdirSync(join(FIXTURES, folder))
    .filter((name) => endings.some((ending) => name.endsWith(ending)))
    .sort()
    .map((name) => join(FIXTURES, folder, name));
}

const nameOf = (path: string) => path.slice(FIXTURES.length);

/** Kinds of file that are damaged in a run of their own, so that a new kind does not change the inputs of the others. */
export const GROUPS = ['fits', 'pictures'] as const;
export type Group = (typeof GROUPS)[number];

/** All seeds of a group, in a fixed order: a number and a seed of the random numbers always make the same damage. */
export function seeds(group: Group): Seed[] {
  return group === 'fits' ? fitsSeeds() : pictureSeeds();
}

function pictureSeeds(): Seed[] {
  const seedsOf = (format: string, folder: string, endings: readonly string[]) =>
    filesOf(folder, endings).map((path) => ({
      format,
      name: nameOf(path),
      bytes: () => readFileSync(path),
    }));
  const png = seedsOf('png', 'pictures', ['.png']);
  const jpeg = seedsOf('jpeg', 'pictures', ['.jpg']);
  // The fixtures hold some 200 TIFF files and a dozen pictures.
  const pictures = [...png, ...jpeg, ...jpeg];
  return [...seedsOf('tiff', 'tiff', ['.tif']), ...pictures, ...pictures, ...pictures];
}

function fitsSeeds(): Seed[] {
  const plain = filesOf('frames', ['.fits']).map((path) => ({
    format: 'fits',
    name: nameOf(path),
    bytes: () => readFileSync(path),
  }));
  const packed = filesOf('packed', ['.fz.gz']).map((path) => ({
    format: 'compressed fits',
    name: nameOf(path).replace(/\.gz$/, ''),
    bytes: () => gunzipSync(readFileSync(path)),
  }));
  const gzip = filesOf('packed', ['.fz.gz']).map((path) => ({
    format: 'gzip',
    name: nameOf(path),
    bytes: () => readFileSync(path),
  }));
  // Tile-compressed files carry most of the code that untrusted bytes reach: they are taken three times as often.
  return [...plain, ...packed, ...packed, ...packed, ...gzip];
}
