/** The direction of imports: what may see what. Read from the sources, so that no lint plug-in is needed. */
import { readdirSync, readFileSync } from 'node:fs';
import { join, posix } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';

const SRC = fileURLToPath(new URL('../../src', import.meta.url));

/** Folder → folders it may import from, itself and the files directly under src always included. */
const MAY_IMPORT: Readonly<Record<string, readonly string[]>> = {
  stats: ['simd'],
  simd: [],
  frame: ['stats', 'simd'],
  catalogue: ['frame', 'stats'],
  optics: ['stats'],
  match: ['catalogue', 'stats'],
  detect: ['catalogue', 'stats', 'frame', 'simd'],
  measure: ['detect', 'optics', 'match', 'catalogue', 'stats', 'frame'],
  field: ['measure', 'detect', 'optics', 'match', 'catalogue', 'stats', 'frame'],
  grade: ['measure', 'detect', 'optics', 'match', 'catalogue', 'stats', 'frame'],
  sweep: ['measure', 'detect', 'optics', 'match', 'catalogue', 'stats', 'frame'],
  compare: ['field', 'measure', 'detect', 'optics', 'match', 'catalogue', 'stats', 'frame'],
  report: [
    'sweep',
    'compare',
    'grade',
    'field',
    'measure',
    'detect',
    'optics',
    'match',
    'catalogue',
    'stats',
    'frame',
  ],
  pool: [
    'sweep',
    'grade',
    'compare',
    'field',
    'measure',
    'detect',
    'optics',
    'match',
    'catalogue',
    'stats',
    'frame',
  ],
  // The truth shares no code with what measures it.
  simulate: ['frame', 'stats', 'catalogue'],
  cli: [
    'report',
    'pool',
    'simulate',
    'sweep',
    'compare',
    'grade',
    'field',
    'measure',
    'detect',
    'optics',
    'match',
    'catalogue',
    'stats',
    'frame',
  ],
};

const FILE_SYSTEM = /^node:(fs|fs\/promises)$/;
const MAY_TOUCH_FILES = ['frame', 'pool', 'cli'];
const TERMINAL_PACKAGES = ['chalk', 'commander', 'cli-progress'];

interface Source {
  /** Path below src, with forward slashes. */
  name: string;
  folder: string;
  text: string;
  imports: string[];
}

function sources(): Source[] {
  return readdirSync(SRC, { recursive: true, encoding: 'utf8' })
    .map((name) => name.replaceAll('\\', '/'))
    .filter((name) => name.endsWith('.ts'))
    .map((name) => {
      const text = readFileSync(join(SRC, name), 'utf8');
      const imports = [...text.matchAll(/(?:\bfrom|\bimport)\s*\(?\s*'([^']+)'/g)].map(
        (match) => match[1] as string,
      );
      return {
        name,
        folder: name.includes('/') ? (name.split('/')[0] as string) : '',
        text,
        imports,
      };
    });
}

/** Folder that a relative import leads to; '' for files directly under src. */
function targetFolder(source: Source, specifier: string): string {
  const path = posix.normalize(posix.join(posix.dirname(source.name), specifier));
  return path.includes('/') ? (path.split('/')[0] as string) : '';
}

const all = sources();
const isIndex = (source: Source): boolean => source.name === 'index.ts';

describe('imports', () => {
  test('the sources were found and their imports read', () => {
    expect(all.length).toBeGreaterThan(20);
    expect(all.flatMap((source) => source.imports).length).toBeGreaterThan(50);
  });

  test('every folder has its rule', () => {
    const folders = new Set(all.map((source) => source.folder).filter((folder) => folder !== ''));
    expect([...folders].filter((folder) => !(folder in MAY_IMPORT))).toEqual([]);
  });

  test('point one way', () => {
    const wrong = all
      .filter((source) => !isIndex(source))
      .flatMap((source) =>
        source.imports
          .filter((specifier) => specifier.startsWith('.'))
          .map((specifier) => ({ source, to: targetFolder(source, specifier) }))
          .filter(
            ({ to }) =>
              to !== '' && to !== source.folder && !(MAY_IMPORT[source.folder] ?? []).includes(to),
          )
          .map(({ to }) => `${source.name} imports from ${to}/`),
      );
    expect(wrong).toEqual([]);
  });

  test('relative imports end in .js', () => {
    const wrong = all.flatMap((source) =>
      source.imports
        .filter((specifier) => specifier.startsWith('.') && !specifier.endsWith('.js'))
        .map((specifier) => `${source.name}: ${specifier}`),
    );
    expect(wrong).toEqual([]);
  });

  test('nothing imports the public index', () => {
    const wrong = all.filter((source) =>
      source.imports.some((specifier) => /(^|\/)\.\.?\/index\.js$/.test(specifier)),
    );
    expect(wrong.map((source) => source.name)).toEqual([]);
  });

  test('only frame, pool and cli touch files', () => {
    const wrong = all.filter(
      (source) =>
        !MAY_TOUCH_FILES.includes(source.folder) &&
        source.imports.some((specifier) => FILE_SYSTEM.test(specifier)),
    );
    expect(wrong.map((source) => source.name)).toEqual([]);
  });

  test('only cli touches the process, the console, the clock and the terminal', () => {
    const wrong = all.filter(
      (source) =>
        source.folder !== 'cli' &&
        (/(?<![.\w])(process\s*\.|console\s*\.|performance\s*\.now|Date\.now|new Date\(\s*\))/.test(
          source.text.replace(/\/\*[\s\S]*?\*\/|\/\/.*/g, ''),
        ) ||
          source.imports.some((specifier) => TERMINAL_PACKAGES.includes(specifier))),
    );
    expect(wrong.map((source) => source.name)).toEqual([]);
  });

  test('heavy packages are loaded only when needed', () => {
    const heavy = ['sharp', 'piscina', 'cli-progress', 'libraw-wasm'];
    const wrong = all.flatMap((source) =>
      [...source.text.matchAll(/^import (?!type).*from '([^']+)'/gm)]
        .filter((match) => heavy.includes(match[1] as string))
        .map((match) => `${source.name}: ${match[1]}`),
    );
    expect(wrong).toEqual([]);
  });
});
