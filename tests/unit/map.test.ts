/** The map of the code in DEVELOPERS.md: every source file has its line, and every file that it names exists. */
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const text = readFileSync(join(ROOT, 'DEVELOPERS.md'), 'utf8');
const section = text.split('\n## Map\n')[1]?.split('\n## ')[0] ?? '';

/** Files by path from the root: a row in bold names the folder of the rows that follow. */
function filesOnMap(): string[] {
  const files: string[] = [];
  let folder = '';
  for (const line of section.split('\n')) {
    const [, where = ''] = line.split('|');
    const heading = /\*\*`(src\/[a-z]+)`\*\*/.exec(where)?.[1];
    if (heading !== undefined) folder = `${heading}/`;
    else if (where.includes('**')) folder = '';
    for (const [, name] of where.matchAll(/`([\w./-]+\.[a-z]+)`/g)) files.push(folder + name);
  }
  return files;
}

describe('the map of the code', () => {
  const onMap = filesOnMap();

  test('names every source file, once', () => {
    const sources = readdirSync(join(ROOT, 'src'), { recursive: true, encoding: 'utf8' })
      .filter((name) => name.endsWith('.ts'))
      .map((name) => `src/${name.replaceAll('\\', '/')}`);
    expect(sources.length).toBeGreaterThan(50);
    expect(onMap.filter((name) => name.startsWith('src/')).sort()).toEqual(sources.sort());
  });

  test('names nothing that is not there', () => {
    expect(onMap.filter((name) => !existsSync(join(ROOT, name)))).toEqual([]);
  });
});
