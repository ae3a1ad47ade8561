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

/** All seeds, in a fixed order: a number and a seed of the random numbers always make the same damage. */
export function seeds(): Seed[] {
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
